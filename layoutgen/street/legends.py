"""Legends: words and figures given as points, put on the lanes of the nearest street."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from layoutgen.errors import Finding
from layoutgen.geometry.polyline import Polylines
from layoutgen.street.design import Legend, Segment, Strip
from layoutgen.street.features import FeatureParams, Spot, placed

ROLE = "legends"
_MOST_LINES = 3  # WORD-02
#: a bearing farther than this from the street belongs to another street
_ASKEW_DEG = 60.0
#: letters for a driver are not smaller (WORD-15) nor larger than this
_HEIGHTS_FT = (1.0, 24.0)


class _Unfit(Exception):
    """Why a legend cannot be painted, and the fix."""


def with_legends(
    segments: Sequence[Segment],
    axes: Polylines,
    tables: Mapping[str, gpd.GeoDataFrame],
    params: FeatureParams,
) -> tuple[tuple[Segment, ...], list[Finding]]:
    """Segments with their legends by station; findings about those that cannot be painted."""
    if ROLE not in tables:
        return tuple(segments), []
    spots, findings = placed(
        tables[ROLE], ROLE, axes, params.legend_reach_ft, "features.legend_reach"
    )
    by_segment: dict[int, list[Legend]] = defaultdict(list)
    for spot in sorted(spots, key=lambda s: (s.station_ft, s.own_id)):
        try:
            by_segment[spot.segment].append(_legend(spot, segments[spot.segment], axes))
        except _Unfit as fault:
            text, fix = fault.args
            findings.append(
                Finding("legend_unfit", "warning", ROLE, spot.own_id, text, fix, spot.shape, 1)
            )
    out = list(segments)
    for i, legends in by_segment.items():
        out[i] = replace(out[i], legends=tuple(legends))
    return tuple(out), findings


def _legend(spot: Spot, segment: Segment, axes: Polylines) -> Legend:
    row = spot.row
    at = np.array([spot.station_ft])
    ahead = axes.directions(np.array([spot.segment]), at)[0]
    foot = axes.locate(np.array([spot.segment]), at)[0]
    dx, dy = shapely.get_coordinates(spot.shape)[0] - foot
    offset = float(dx * ahead[1] - dy * ahead[0])
    way = _way(row.get("bearing_deg"), ahead, offset, segment)
    lanes, nearest = _lanes(_text(row, "lanes"), offset, segment)
    lines, figure = _message(row)
    return Legend(
        legend_id=spot.own_id,
        station_ft=spot.station_ft,
        offset_ft=offset,
        lines=lines,
        figure=figure,
        way=way,
        lanes=_checked(lanes, len(segment.lanes(way))),
        nearest=nearest,
        height_ft=_height(row.get("height_ft")),
        color=_text(row, "color") or "white",
    )


def _message(row: Mapping[str, Any]) -> tuple[tuple[str, ...], str]:
    """Lines of words in reading order, or the name of a figure."""
    text, figure = _text(row, "text"), _text(row, "figure")
    lines = tuple(" ".join(line.upper().split()) for line in text.split("|"))
    lines = tuple(line for line in lines if line)
    if bool(lines) == bool(figure):
        raise _Unfit("needs either text or figure", "fill in one of the two")
    if len(lines) > _MOST_LINES:
        text = f"has {len(lines)} lines, more than the {_MOST_LINES} of WORD-02"
        raise _Unfit(text, "shorten it, or make two legends of it")
    return lines, figure


def _way(bearing: Any, ahead: Any, offset: float, segment: Segment) -> int:
    """Direction of the traffic that reads it; without a bearing, of the lane nearest the point."""
    known = [way for way in (1, -1) if segment.lanes(way)]
    if not known:
        raise _Unfit("the street has no travel lanes", "check the street")
    if bearing is None or bearing != bearing:
        return min(known, key=lambda w: min(_away(s, offset) for s in segment.lanes(w)))
    heading = math.degrees(math.atan2(ahead[0], ahead[1]))
    off = abs((float(bearing) - heading + 180.0) % 360.0 - 180.0)
    way = 1 if off < 90.0 else -1
    if min(off, 180.0 - off) > _ASKEW_DEG:
        text = f"its bearing of {float(bearing):.0f} deg is across the nearest street"
        raise _Unfit(text, "move the point to its street, or correct bearing_deg")
    if way not in known:
        raise _Unfit("no lane of the nearest street runs its way", "correct bearing_deg or oneway")
    return way


def _away(strip: Strip, offset: float) -> float:
    return max(strip.left_ft - offset, offset - strip.right_ft, 0.0)


def _lanes(text: str, offset: float, segment: Segment) -> tuple[str, bool]:
    """(which lanes, only the nearest one?): a point on the roadway means the lane it lies on."""
    if text:
        return text.lower(), False
    left, right = segment.edges_ft
    return "all", left <= offset <= right


def _checked(lanes: str, count: int) -> tuple[int, ...]:
    """Numbers of the lanes from the left of their driver; empty = all."""
    words = {"all": (), "left": (1,), "right": (count,)}
    if lanes in words:
        return words[lanes]
    number = lanes.removesuffix(".0")
    if not number.isdigit() or not 1 <= int(number) <= count:
        text = f"lanes is '{lanes}', but the street has {count} lanes that way"
        raise _Unfit(text, f"use all, left, right, or 1 to {count} from the left")
    return (int(number),)


def _height(value: Any) -> float:
    if value is None or value != value:
        return 0.0
    low, high = _HEIGHTS_FT
    if not low <= float(value) <= high:
        text = f"a height of {float(value):g} ft is outside {low:g} to {high:g} ft"
        raise _Unfit(text, "check the unit of height_ft")
    return float(value)


def _text(row: Mapping[str, Any], key: str) -> str:
    value = row.get(key)
    return "" if value is None or value != value else str(value).strip()

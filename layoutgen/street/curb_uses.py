"""What the curb is for: zones, driveways and hydrants, put on a side of the nearest street."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import geopandas as gpd
import shapely

from layoutgen.config import Params, length
from layoutgen.errors import Finding
from layoutgen.geometry.polyline import Polylines
from layoutgen.street.design import CurbPoint, CurbZone, Segment
from layoutgen.street.features import Spot, placed, text_of

#: a zone that loses more than this at the end of its street is told (ft)
_LOST_FT = 10.0


class CurbUseParams(Params):
    """`[curb_uses]`: how zones, driveways and hydrants find their streets."""

    reach_ft: float = length(
        "60 ft",
        low="5 ft",
        high="200 ft",
        source="common practice",
        text="a zone, driveway or hydrant farther from every street axis is reported",
    )
    zone_ft: float = length(
        "40 ft",
        low="5 ft",
        high="300 ft",
        source="common practice",
        text="length of a zone given as a point without length",
    )


def with_curb_uses(
    segments: Sequence[Segment],
    axes: Polylines,
    tables: Mapping[str, gpd.GeoDataFrame],
    params: CurbUseParams,
) -> tuple[tuple[Segment, ...], list[Finding]]:
    """Segments with their zones, driveways and hydrants; findings about rows without a street."""
    out = list(segments)
    findings: list[Finding] = []
    for role in ("curb_zones", "curb_points"):
        if role not in tables:
            continue
        known, found = _known(tables[role], role)
        spots, more = placed(known, role, axes, params.reach_ft, "curb_uses.reach")
        findings += found + more
        by_segment: dict[int, list[Any]] = defaultdict(list)
        for spot in sorted(spots, key=lambda s: (s.station_ft, s.own_id)):
            side = _side(spot, axes)
            if role == "curb_points":
                by_segment[spot.segment].append(_point(spot, side))
                continue
            zone, lost = _zone(spot, side, axes, params)
            by_segment[spot.segment].append(zone)
            findings += lost
        for i, records in by_segment.items():
            fields: dict[str, Any] = {role: tuple(records)}
            out[i] = replace(out[i], **fields)
    return tuple(out), findings


def _known(table: gpd.GeoDataFrame, role: str) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    """Rows that say what they are, and a finding about the others."""
    column = "use" if role == "curb_zones" else "kind"
    mute = table[column].isna()
    if not mute.any():
        return table, []
    count = int(mute.sum())
    text = f"{count} rows do not say what they are; they were left out"
    fix = f"map {column} in [inputs.{role}.fields] and its codes in values"
    found = Finding("curb_use_unknown", "error", role, "", text, fix, None, count)
    return table[~mute].reset_index(drop=True), [found]


def _side(spot: Spot, axes: Polylines) -> int:
    """+1 right, -1 left of the axis: as told, else as drawn."""
    told = text_of(spot, "side")
    if told:
        return 1 if told == "right" else -1
    middle = _middle(spot.shape)
    foot = axes.locate([spot.segment], [spot.station_ft])[0]
    ahead = axes.directions([spot.segment], [spot.station_ft])[0]
    across = (middle.x - foot[0]) * ahead[1] - (middle.y - foot[1]) * ahead[0]
    return 1 if across >= 0 else -1


def _middle(shape: Any) -> Any:
    """Middle of a line along itself, or the point."""
    if shapely.get_dimensions(shape) == 1:
        parts = shapely.get_parts(shape)
        return max(parts, key=lambda p: p.length).interpolate(0.5, normalized=True)
    return shape.centroid


def _point(spot: Spot, side: int) -> CurbPoint:
    width = spot.row.get("width_ft")
    known = None if width is None or width != width else float(width)
    return CurbPoint(spot.own_id, text_of(spot, "kind"), side, spot.station_ft, known)


def _zone(
    spot: Spot, side: int, axes: Polylines, params: CurbUseParams
) -> tuple[CurbZone, list[Finding]]:
    """The zone on its street, cut at the ends of the street."""
    total = float(axes.lengths[spot.segment])
    if shapely.get_dimensions(spot.shape) == 1:
        line = axes.lines()[spot.segment]
        along = shapely.line_locate_point(line, shapely.points(shapely.get_coordinates(spot.shape)))
        low, high = float(along.min()), float(along.max())
        wanted = float(spot.shape.length)
    else:
        told = spot.row.get("length_ft")
        wanted = params.zone_ft if told is None or told != told else float(told)
        low, high = spot.station_ft - wanted / 2, spot.station_ft + wanted / 2
    low, high = max(0.0, low), min(total, high)
    zone = CurbZone(spot.own_id, text_of(spot, "use"), side, low, high)
    if wanted - (high - low) <= _LOST_FT:
        return zone, []
    text = f"{high - low:.0f} of {wanted:.0f} ft lie along one street; the rest was left out"
    fix = "give a zone per block"
    return zone, [Finding("zone_cut", "warning", "curb_zones", spot.own_id, text, fix, spot.shape)]

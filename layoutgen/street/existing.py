"""Crosswalks that are there already: painted where they lie, not where a rule would put them."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from layoutgen.config import Params, length, measure
from layoutgen.errors import Finding
from layoutgen.geometry.polyline import Floats, Polylines
from layoutgen.street.design import Cut, Leg

ROLE = "crosswalks"
#: an axis that lies this far before the curb line of the crossing street is inside the intersection
_INSIDE_FT = 8.0


class ExistingParams(Params):
    """`[crosswalks]`: how axes of existing crosswalks find their leg."""

    reach_ft: float = length(
        "100 ft",
        low="10 ft",
        high="300 ft",
        source="common practice",
        text="an axis that crosses a leg farther out than this is midblock",
    )
    max_skew_deg: float = measure(
        "angle",
        "45 deg",
        low="0 deg",
        high="60 deg",
        source="XWALK-17",
        text="an axis more askew than this crosses another street",
    )


@dataclass(frozen=True)
class _Seen:
    """An axis that crosses a leg: row of the input, and its line in leg coordinates."""

    row: int
    line: Cut


def with_existing(
    legs: Sequence[Leg],
    axes: Polylines,
    table: gpd.GeoDataFrame | None,
    params: ExistingParams,
) -> tuple[list[Leg], list[Finding]]:
    """Legs with the axis of their existing crosswalk, and findings about axes that found none.

    Args:
        legs: all legs.
        axes: street axes.
        table: role crosswalks on the working plane, if given.
        params: limits.
    """
    if table is None:
        return list(legs), []
    shapes = table.geometry.to_numpy()
    gone = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    lines = _single(np.where(gone, shapely.LineString(), shapes))
    # what comes back to where it began has no direction
    gone |= np.hypot(*_directions(lines).T) < 1.0
    lines = np.where(gone, shapely.LineString(), lines)
    by_leg = _one_street(legs, _crossed(legs, axes, lines, params))
    out = list(legs)
    used: set[int] = set()
    for k, seen in by_leg.items():
        first = min(seen, key=lambda s: (s.line.station_ft, s.row))
        out[k] = replace(legs[k], crossing=first.line, existing=True)
        used.add(first.row)
    found = {s.row for seen in by_leg.values() for s in seen}
    rest = [i for i in range(len(table)) if i not in used]
    return out, _told(rest, gone, found, lines)


def _crossed(
    legs: Sequence[Leg], axes: Polylines, lines: Any, params: ExistingParams
) -> Mapping[int, list[_Seen]]:
    """Number of leg -> axes that cross it near enough and square enough."""
    at = {(leg.segment.index, leg.at_end): k for k, leg in enumerate(legs)}
    street_lines = axes.lines()
    row, street = shapely.STRtree(street_lines).query(lines, predicate="intersects")
    meet = shapely.intersection(lines[row], street_lines[street])
    station = shapely.line_locate_point(street_lines[street], shapely.centroid(meet))
    ways = _directions(lines[row])
    ahead = axes.directions(street, station) if len(street) else np.empty((0, 2))
    out: dict[int, list[_Seen]] = defaultdict(list)
    steepest = math.tan(math.radians(params.max_skew_deg))
    for i, j, s, way, on in zip(
        row.tolist(), street.tolist(), station.tolist(), ways, ahead, strict=True
    ):
        at_end = s > axes.lengths[j] / 2
        k = at.get((j, bool(at_end)))
        out_ft = float(axes.lengths[j]) - s if at_end else s
        along, across = float(way @ on), float(way @ [on[1], -on[0]])
        if k is None or out_ft > params.reach_ft or abs(along) > steepest * abs(across):
            continue
        if out_ft < legs[k].layout.curb.station_ft - _INSIDE_FT:
            continue
        # seen from the other end both axes of the frame turn round, and the slope stays
        out[k].append(_Seen(i, Cut(out_ft, along / across)))
    return out


def _one_street(
    legs: Sequence[Leg], by_leg: Mapping[int, list[_Seen]]
) -> Mapping[int, list[_Seen]]:
    """Axes on one leg each, the one they cross most squarely; on both carriageways of a street."""
    of_row: dict[int, list[tuple[float, str, int]]] = defaultdict(list)
    for k, seen in by_leg.items():
        for s in seen:
            of_row[s.row].append((round(abs(s.line.slope), 6), legs[k].leg_id, k))
    kept: set[tuple[int, int]] = set()
    for row, own in of_row.items():
        best = legs[min(own)[2]]
        kept |= {(row, k) for _, _, k in own if legs[k] is best or _halves(best, legs[k])}
    out = {k: [s for s in seen if (s.row, k) in kept] for k, seen in by_leg.items()}
    return {k: seen for k, seen in out.items() if seen}


def _halves(one: Leg, other: Leg) -> bool:
    """Whether two legs of one intersection are carriageways of one street."""
    apart = abs((one.bearing_deg - other.bearing_deg + 180.0) % 360.0 - 180.0)
    ways = {bool(one.inbound), bool(other.inbound)} == {True, False}
    return one.intersection_id == other.intersection_id and ways and apart < 40.0


def _directions(lines: Any) -> Floats:
    """(n, 2) vectors from the first to the last point of each line."""
    first, last = (shapely.get_point(lines, k) for k in (0, -1))
    way = [shapely.get_x(last) - shapely.get_x(first), shapely.get_y(last) - shapely.get_y(first)]
    return np.asarray(np.nan_to_num(np.column_stack(way)))


def _single(lines: Any) -> Any:
    """The longest part of each multi-line."""
    multi = shapely.get_type_id(lines) == 5
    out = lines.copy()
    out[multi] = [max(g.geoms, key=lambda part: part.length) for g in lines[multi]]
    return out


def _told(rest: Sequence[int], gone: Any, found: set[int], lines: Any) -> list[Finding]:
    """One finding per reason, with all places."""
    reasons: dict[str, list[int]] = defaultdict(list)
    for i in rest:
        reasons["none" if gone[i] else "twice" if i in found else "midblock"].append(i)
    said = {
        "none": ("crosswalk_no_line", "warning", "have no line that can be used", "redraw them"),
        "twice": ("crosswalk_twice", "notice", "cross a leg that has a nearer one; not used", ""),
        "midblock": (
            "crosswalk_midblock",
            "notice",
            "cross no leg of an intersection (midblock, inside it, driveways, paths); not laid out",
            "mark them by hand",
        ),
    }
    out = []
    for reason, rows in sorted(reasons.items()):
        code, severity, text, fix = said[reason]
        place = None if reason == "none" else shapely.multipoints(shapely.centroid(lines[rows]))
        words = f"{len(rows)} existing crosswalks {text}"
        out.append(Finding(code, severity, ROLE, "", words, fix, place, len(rows)))  # type: ignore[arg-type]
    return out

"""Pedestrian crossings given as points: put on a leg, or on a segment as a midblock crossing."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from layoutgen.config import Params, length
from layoutgen.errors import Finding
from layoutgen.gis.read import points_of
from layoutgen.street.design import CrossingPoint, Design, Leg

ROLE = "crossing_points"


class CrossingParams(Params):
    """`[crossing_points]`: how points of crossings find their street."""

    reach_ft: float = length(
        "15 ft",
        low="0.1 ft",
        high="60 ft",
        source="common practice",
        text="a point farther from every street axis is reported",
    )
    leg_reach_ft: float = length(
        "60 ft",
        low="0 ft",
        high="300 ft",
        source="common practice",
        text="a point this near behind the curb line of an intersection belongs to that leg; "
        "farther ones are midblock crossings",
    )


def with_crossings(
    design: Design, tables: Mapping[str, gpd.GeoDataFrame], params: CrossingParams
) -> tuple[Design, list[Finding]]:
    """The design with the crossings of role `crossing_points`, and findings about those that fit
    no street."""
    if ROLE not in tables:
        return design, []
    table = tables[ROLE]
    places = points_of(table)
    gone = shapely.is_missing(places) | shapely.is_empty(places)
    where = np.where(gone, shapely.Point(), places)
    segment, station, gap = _nearest(design, where)
    far = ~gone & (gap > params.reach_ft)
    midblock: dict[int, list[CrossingPoint]] = defaultdict(list)
    at_leg: dict[str, list[CrossingPoint]] = defaultdict(list)
    walk = _Walk(design, params.leg_reach_ft)
    for i in np.flatnonzero(~gone & ~far).tolist():
        row, s = table.iloc[i], float(station[i])
        own = int(segment[i])
        found = walk.leg_of(own, s)
        point = CrossingPoint(
            _text(row["crossing_id"]) or f"{design.segments[own].segment_id}@{s:.0f}",
            s if found is None else found[1],
            _text(row["markings"]),
            _text(row["control"]),
        )
        if found is None:
            midblock[own].append(point)
        else:
            at_leg[found[0].leg_id].append(point)
    blocks = tuple(
        replace(b, crossings=_sorted(midblock.get(b.segment.index, ()))) for b in design.blocks
    )
    legs = {leg_id: _sorted(points) for leg_id, points in sorted(at_leg.items())}
    out = replace(design, blocks=blocks, leg_crossings=legs)
    return out, _findings(table, places, gone, far, params)


class _Walk:
    """From a point along the street to the legs of the intersections around it."""

    def __init__(self, design: Design, reach_ft: float) -> None:
        self.design, self.reach_ft = design, reach_ft
        self.at_node: dict[str, list[tuple[int, bool]]] = defaultdict(list)
        for s in design.segments:
            self.at_node[s.start].append((s.index, False))
            self.at_node[s.end].append((s.index, True))

    def leg_of(self, segment: int, station: float) -> tuple[Leg, float] | None:
        """(leg, leg station) of the nearest leg whose curb line is within reach."""
        rest = self.design.segments[segment].length_ft - station
        found = [*self._legs(segment, False, station), *self._legs(segment, True, rest)]
        near = [
            (at - leg.layout.curb.station_ft, leg.leg_id, leg, at)
            for leg, at in found
            if at - leg.layout.curb.station_ft <= self.reach_ft
        ]
        if not near:
            return None
        *_, leg, at = min(near, key=lambda one: one[:2])
        return leg, at

    def _legs(self, segment: int, at_end: bool, way: float) -> Iterator[tuple[Leg, float]]:
        """Legs beyond one end of a segment, through mere joints, with the way to their node."""
        todo, seen = [(segment, at_end, way)], {segment}
        while todo:
            here, end, so_far = todo.pop()
            block = self.design.blocks[here]
            leg = block.end_leg if end else block.start_leg
            if leg is not None:
                yield leg, so_far
                continue
            node = block.segment.end if end else block.segment.start
            for other, other_end in self.at_node[node]:
                if other not in seen and so_far <= self.reach_ft:
                    seen.add(other)
                    length_ft = self.design.segments[other].length_ft
                    todo.append((other, not other_end, so_far + length_ft))


def _nearest(design: Design, places: Any) -> tuple[Any, Any, Any]:
    """(segment, station, distance) of the nearest axis of every point; the first of equal ones."""
    axes = design.axes.lines()
    segment = np.zeros(len(places), dtype=np.int64)
    (point, line), gap = shapely.STRtree(axes).query_nearest(places, return_distance=True)
    order = np.lexsort([line, point])
    first = np.unique(point[order], return_index=True)[1]
    rows = order[first]
    segment[point[rows]] = line[rows]
    distance = np.full(len(places), np.inf)
    distance[point[rows]] = gap[rows]
    return segment, shapely.line_locate_point(axes[segment], places), distance


def _sorted(points: Sequence[CrossingPoint]) -> tuple[CrossingPoint, ...]:
    return tuple(sorted(points, key=lambda p: (p.station_ft, p.crossing_id)))


def _findings(
    table: gpd.GeoDataFrame, places: Any, gone: Any, far: Any, params: CrossingParams
) -> list[Finding]:
    """One finding for all points of a kind: an extract has them by the hundred."""
    said = (
        ("null_geometry", gone, "have no usable geometry", "redraw them"),
        ("crossing_off_street", far,
         f"are farther than {params.reach_ft:g} ft from every street: on paths, or on streets that "
         "are left out", "move them onto the street line, or raise crossing_points.reach"),
    )  # fmt: skip
    out = []
    for code, mask, text, fix in said:
        count = int(mask.sum())
        if count:
            ids = sorted(_text(v) for v in table["crossing_id"][mask])
            place = shapely.multipoints(list(places[mask])) if code != "null_geometry" else None
            told = f"{count} of {len(table)} crossing points {text}"
            out.append(Finding(code, "warning", ROLE, ids[0], told, fix, place, count))
    return out


def _text(value: Any) -> str:
    return "" if value is None or value != value else str(value)

"""Gores: where a ramp leaves a one-way roadway or joins it, the wedge of pavement between the two.

Only what stands in the street lines is used: the wedge begins where the edges of both traveled ways
part, and ends where the edges of both roadways do.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from layoutgen.geometry.polyline import Polylines, offset_lines
from layoutgen.street.design import Gore, Segment

#: a ramp leaves and joins at less than this angle
_ANGLE_DEG = 45.0
#: directions at a node are taken over this length (ft)
_CHORD_FT = 60.0
#: the wedge is measured at stations so far apart, and no farther from the node than this (ft)
_STEP_FT, _REACH_FT = 5.0, 600.0
#: a wider lane is a lane with room at its sides (common practice)
_LANE_FT = 14.0
#: classes from the main roadway down
_RANK = ("freeway", "arterial", "collector", "ramp", "local")
_End = tuple[Segment, bool]


def with_gores(segments: Sequence[Segment], axes: Polylines) -> tuple[Segment, ...]:
    """Segments with the gores on them."""
    at_node: dict[str, list[_End]] = defaultdict(list)
    for s in segments:
        if s.oneway != "both" and not s.roundabout and s.paved:
            at_node[s.start].append((s, False))
            at_node[s.end].append((s, True))
    found: dict[int, list[Gore]] = defaultdict(list)
    for ends in at_node.values():
        for leaving in (True, False):
            gore = _gore([e for e in ends if _leaves(e) == leaving], axes, leaving)
            if gore is not None and len(ends) == 3:
                found[gore[0].index].append(gore[1])
    return tuple(
        replace(s, gores=tuple(found[s.index])) if s.index in found else s for s in segments
    )


def _leaves(end: _End) -> bool:
    """Whether traffic leaves the node on it."""
    segment, at_end = end
    return (segment.oneway == "forward") != at_end


def _gore(pair: Sequence[_End], axes: Polylines, leaving: bool) -> tuple[Segment, Gore] | None:
    """(main roadway, gore) of two roadways that leave one node, or arrive at it."""
    if len(pair) != 2 or "ramp" not in {s.street_class for s, _ in pair}:
        return None
    main, ramp = sorted(pair, key=lambda e: (_rank(e[0]), -e[0].width_ft, e[0].segment_id))
    turn = _turn_deg(_outward(main, axes), _outward(ramp, axes))
    if not 0.5 < abs(turn) < _ANGLE_DEG or main[0].levels != ramp[0].levels:
        return None
    side = 1 if turn > 0 else -1  # seen outward from the node
    wedge = _wedge(main, ramp, side, axes)
    if len(wedge) < 3:
        return None
    own = side * (-1 if main[1] else 1)
    flip = main[0].length_ft if main[1] else 0.0
    if main[1]:
        wedge = [(flip - s, -a, -b) for s, a, b in wedge]
    open_ft = wedge[0][0]
    return main[0], Gore(own, main[1], leaving, open_ft, tuple(wedge))


def _rank(segment: Segment) -> int:
    known = segment.street_class in _RANK
    return _RANK.index(segment.street_class) if known else len(_RANK)


def _outward(end: _End, axes: Polylines) -> tuple[float, float]:
    """Unit direction from the node along a segment."""
    segment, at_end = end
    reach = min(_CHORD_FT, segment.length_ft)
    total = segment.length_ft
    near, far = (total, total - reach) if at_end else (0.0, reach)
    a, b = axes.locate([segment.index] * 2, [near, far])
    dx, dy = b - a
    norm = math.hypot(dx, dy) or 1.0
    return dx / norm, dy / norm


def _turn_deg(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Clockwise angle from one direction to another."""
    return math.degrees(math.atan2(b[0] * a[1] - b[1] * a[0], a[0] * b[0] + a[1] * b[1]))


def _wedge(main: _End, ramp: _End, side: int, axes: Polylines) -> list[tuple[float, float, float]]:
    """(station from the node, edge of the main traveled way, edge of the ramp's) in coordinates of
    the main roadway seen outward, between where these part and where the pavements do."""
    reach = min(main[0].length_ft, _REACH_FT)
    lines = [_edge_line(ramp, -side, axes, paved=paved) for paved in (False, True)]
    edges = [_offset(main, side, paved=paved) for paved in (False, True)]
    stations = np.arange(0.0, reach, _STEP_FT)
    traveled, paved = (_offsets(main, line, stations, side, axes) for line in lines)
    out = []
    for station, near, far in zip(
        stations.tolist(), traveled.tolist(), paved.tolist(), strict=True
    ):
        if far * side >= edges[1] * side:
            break
        if near * side > edges[0] * side + 0.5:
            out.append((station, edges[0], near))
    return out


def _offset(end: _End, side: int, *, paved: bool) -> float:
    """Offset, seen outward, of the edge of the traveled way or of the roadway on a side."""
    segment, at_end = end
    sign = -1 if at_end else 1
    lanes = [s for s in segment.strips if s.kind == "travel_lane"]
    low, high = segment.edges_ft
    if not paved and lanes:
        low, high = min(s.left_ft for s in lanes), max(s.right_ft for s in lanes)
        # a single lane between curbs is as wide as the pavement; traffic uses its middle
        spare = max(0.0, high - low - len(lanes) * _LANE_FT) / 2
        low, high = low + spare, high - spare
    edges = (low * sign, high * sign)
    return max(edges) if side > 0 else min(edges)


def _edge_line(end: _End, side: int, axes: Polylines, *, paved: bool) -> shapely.Geometry:
    """Line of an edge of a segment, on a side seen outward."""
    segment, at_end = end
    offset = _offset(end, side, paved=paved) * (-1 if at_end else 1)
    return offset_lines(axes.lines()[[segment.index]], np.array([offset]))[0]


def _offsets(
    main: _End, line: shapely.Geometry, stations: np.ndarray, side: int, axes: Polylines
) -> np.ndarray:
    """Offset at which a line lies beside the main roadway, at every station from the node.

    Where the line has not come so far yet, or has ended: no offset to speak of.
    """
    segment, at_end = main
    sign = -1.0 if at_end else 1.0
    along = segment.length_ft - stations if at_end else stations
    index = np.full(len(stations), segment.index)
    near = axes.locate(index, along, np.full(len(stations), -60.0 * side * sign))
    far = axes.locate(index, along, np.full(len(stations), 150.0 * side * sign))
    rays = shapely.linestrings(np.stack([near, far], axis=1))
    hits = shapely.intersection(rays, line)
    start = shapely.points(near)
    met = ~shapely.is_empty(hits)
    out = np.full(len(stations), -1e9 * side, dtype=float)
    out[met] = (shapely.distance(start[met], hits[met]) - 60.0) * side
    return out

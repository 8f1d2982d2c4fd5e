"""Forks and merges of one-way roadways: where their edges part, and where one hides in the other.

The lines of both branches start at one node, so near it their roadways overlap. From where the
edges of their lanes part the neutral area between them opens; it is taken to be paved as far as it
is no wider than `PAVED_FT`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.records import changed
from layoutgen.street.design import Block, Design, Gore, Segment, Strip

#: common practice: a gore is paved as far as it is no wider than this
PAVED_FT = 12.0
#: how far along the branches it is looked for, and how finely
_REACH_FT = 1200.0
_STEP_FT = 5.0
#: branches that part by more do not run side by side
_APART_DEG = 60.0
_DRIVEN = ("travel_lane", "turn_lane", "center_turn_lane")

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class _Branch:
    """A segment that leaves a node, seen outward: its line, its lanes, the way of its traffic."""

    segment: Segment
    at_end: bool
    line: shapely.LineString
    left_ft: float
    right_ft: float
    outward: bool
    heading_deg: float


def with_gores(blocks: Sequence[Block]) -> tuple[Block, ...]:
    """Blocks with the gores at their ends."""
    found: dict[int, list[Gore]] = defaultdict(list)
    for trio in _trios(blocks):
        for index, gore in _gores(trio):
            found[index].append(gore)
    return tuple(
        changed(b, gores=tuple(found[b.segment.index])) if b.segment.index in found else b
        for b in blocks
    )


def neutral_areas(design: Design) -> NDArray[np.object_]:
    """Paved areas between the roadways at forks and merges, where there are any."""
    out = []
    for block in design.blocks:
        for gore in block.gores:
            if gore.leads and gore.profile:
                own = _branch(block.segment, gore.at_end)
                stations, gaps = (np.array(v) for v in zip(*gore.profile, strict=True))
                near = _edge(own, gore.side, stations)
                far = _edge(own, gore.side, stations, gaps)
                out.append(shapely.Polygon(np.vstack([near, far[::-1]])).buffer(0.0))
    areas = np.empty(len(out), dtype=object)
    areas[:] = out
    return areas


def _trios(blocks: Sequence[Block]) -> Iterator[tuple[_Branch, _Branch, _Branch]]:
    """(trunk, left branch, right branch) at nodes where three one-way roadways meet, no more."""
    at_node: Mapping[str, list[tuple[Block, bool]]] = defaultdict(list)
    for block in blocks:
        at_node[block.segment.start].append((block, False))
        at_node[block.segment.end].append((block, True))
    for ends in at_node.values():
        if len(ends) == 3 and all(_plain(block, at_end) for block, at_end in ends):
            trio = _sorted([_branch(block.segment, at_end) for block, at_end in ends])
            if trio is not None:
                yield trio


def _plain(block: Block, at_end: bool) -> bool:
    segment = block.segment
    leg = block.end_leg if at_end else block.start_leg
    one_way = segment.oneway != "both" and not segment.roundabout
    return one_way and leg is None and segment.paved and segment.axis is not None


def _branch(segment: Segment, at_end: bool) -> _Branch:
    line = shapely.reverse(segment.axis) if at_end else segment.axis
    strips: Sequence[Strip] = [s.reversed() for s in segment.strips] if at_end else segment.strips
    lanes = [s for s in strips if s.kind in _DRIVEN]
    out = (segment.oneway == "forward") != at_end
    reach = min(60.0, line.length / 2)
    (x0, y0), (x1, y1) = shapely.get_coordinates(shapely.line_interpolate_point(line, [0.0, reach]))
    heading = float(np.degrees(np.arctan2(x1 - x0, y1 - y0)))
    left, right = min(s.left_ft for s in lanes), max(s.right_ft for s in lanes)
    return _Branch(segment, at_end, line, left, right, out, heading)


def _sorted(own: Sequence[_Branch]) -> tuple[_Branch, _Branch, _Branch] | None:
    """The trunk is the one whose traffic runs alone toward or away from the node."""
    for trunk in own:
        pair = [b for b in own if b is not trunk]
        alike = pair[0].outward == pair[1].outward != trunk.outward
        turn = (pair[1].heading_deg - pair[0].heading_deg + 180.0) % 360.0 - 180.0
        if alike and 0.0 < abs(turn) < _APART_DEG:
            left, right = pair if turn > 0 else pair[::-1]
            return trunk, left, right
    return None


def _gores(trio: tuple[_Branch, _Branch, _Branch]) -> Iterator[tuple[int, Gore]]:
    _trunk, left, right = trio
    classes = tuple(sorted({b.segment.street_class for b in trio}))
    lead = min((left, right), key=_rank)
    for own, other, side in ((left, right, 1), (right, left, -1)):
        profile = _profile(own, other, side)
        hidden = [(s, *span) for s in (-1, 1) if (span := _hidden(own, other, s)) is not None]
        gore = Gore(
            at_end=own.at_end,
            side=side,
            diverges=own.outward,
            leads=own is lead,
            classes=classes,
            profile=profile,
            hidden=tuple(hidden),
        )
        yield own.segment.index, gore


def _rank(branch: _Branch) -> tuple[bool, str]:
    """A ramp does not lead."""
    return branch.segment.street_class == "ramp", branch.segment.segment_id


def _edge(branch: _Branch, side: int, stations: Floats, out_ft: Any = 0.0) -> Floats:
    """Points along the outer side of the lanes of a branch, or so far beyond it."""
    edge = branch.right_ft if side > 0 else branch.left_ft
    offset = np.broadcast_to(edge + side * np.asarray(out_ft), len(stations))[:, None]
    a = shapely.get_coordinates(shapely.line_interpolate_point(branch.line, stations))
    near = np.maximum(0.0, stations - 0.5)
    far = np.minimum(branch.line.length, stations + 0.5)
    p = shapely.get_coordinates(shapely.line_interpolate_point(branch.line, near))
    q = shapely.get_coordinates(shapely.line_interpolate_point(branch.line, far))
    way = (q - p) / np.hypot(*(q - p).T)[:, None]
    return np.asarray(a + offset * np.column_stack([way[:, 1], -way[:, 0]]), dtype=float)


def _offsets(branch: _Branch, xy: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Offset of points from the line of a branch, positive to the right; whether beside it."""
    points = shapely.points(xy)
    at = shapely.line_locate_point(branch.line, points)
    near, far = np.maximum(0.0, at - 0.5), np.minimum(branch.line.length, at + 0.5)
    p = shapely.get_coordinates(shapely.line_interpolate_point(branch.line, near))
    q = shapely.get_coordinates(shapely.line_interpolate_point(branch.line, far))
    way = (q - p) / np.hypot(*(q - p).T)[:, None]
    off = xy - shapely.get_coordinates(shapely.line_interpolate_point(branch.line, at))
    beside = (at > 0.0) & (at < branch.line.length)
    return off[:, 0] * way[:, 1] - off[:, 1] * way[:, 0], beside


def _stations(branch: _Branch) -> Floats:
    return np.arange(0.0, min(_REACH_FT, float(branch.line.length)), _STEP_FT)


def _profile(own: _Branch, other: _Branch, side: int) -> tuple[tuple[float, float], ...]:
    """(outward station, gap between the lanes of both branches), from 0 to the end of pavement."""
    stations = _stations(own)
    offset, beside = _offsets(other, _edge(own, side, stations))
    inner = other.left_ft if side > 0 else other.right_ft
    gap = (inner - offset) if side > 0 else (offset - inner)
    good = beside & np.isfinite(gap)
    closed = np.flatnonzero(good & (gap <= 0.0))
    first = int(closed[-1]) if len(closed) else 0
    if first + 1 >= len(stations) or not good[first + 1]:
        return ()
    begin = _between((stations[first], stations[first + 1]), (gap[first], gap[first + 1]))
    out = [(begin, 0.0)] if gap[first] <= 0.0 else []
    for s, g, ok in zip(stations[first + 1 :], gap[first + 1 :], good[first + 1 :], strict=True):
        if not ok or g > PAVED_FT:
            break
        out.append((float(s), float(g)))
    return tuple(out) if len(out) > 1 else ()


def _between(stations: tuple[float, float], gaps: tuple[float, float]) -> float:
    """Station where the gap is 0."""
    share = -gaps[0] / max(gaps[1] - gaps[0], 1e-9)
    return float(stations[0] + share * (stations[1] - stations[0]))


def _hidden(own: _Branch, other: _Branch, side: int) -> tuple[float, float] | None:
    """Outward stations between which an edge of a branch lies in the lanes of the other."""
    stations = _stations(own)
    offset, beside = _offsets(other, _edge(own, side, stations))
    inside = beside & (offset > other.left_ft + 0.1) & (offset < other.right_ft - 0.1)
    which = np.flatnonzero(inside)
    if not len(which):
        return None
    first = 0.0 if which[0] <= 1 else float(stations[which[0]])
    return first, float(min(stations[which[-1]] + _STEP_FT, own.line.length))

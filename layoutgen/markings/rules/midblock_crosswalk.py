"""Crosswalk inside a block, where the data has a crossing, with the line where traffic waits.

MUTCD 11th edition 3C.04 to 3C.08 and 3B.19. Away from intersections a crosswalk should be a
high-visibility one (XWALK-06), at least 6 ft wide, 8 ft from 40 mph on (XWALK-04). Before one that
nothing controls, on approaches of several lanes, a yield or stop line stands 20 to 50 ft ahead
(STOP-04), with the R1-5 signs that belong to it; which of the two is a matter of state law. Whether
a crossing should be marked at all needs engineering judgment (XWALK-27): only those are that the
data calls marked.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Literal, get_args

from layoutgen.config import choice, length, number
from layoutgen.markings.approaches import Approach, approaches, half_table_ft, seen_along, table_at
from layoutgen.markings.checks.crosswalk import MIDBLOCK_CHECKS
from layoutgen.markings.crosswalk_bars import (
    WALK_ROWS,
    WalkParams,
    WalkStyle,
    parted_strips,
    walk_shape,
)
from layoutgen.markings.marking import (
    Bar,
    BarsShape,
    Frame,
    Marking,
    Rule,
    TeethShape,
)
from layoutgen.street.design import Block, CrossingPoint, Cut

_FAST_MPH = 40.0  # XWALK-04
_CLEAR_FT = 4.0  # STOP-02, to the stop line of the next intersection
#: a stop or yield line keeps off the ramp of a raised crosswalk (common practice)
_OFF_RAMP_FT = 1.0
_CONTROLLED = ("signal", "stop", "yield")


class Params(WalkParams):
    at: tuple[Literal["marked", "unknown", "unmarked"], ...] = choice(
        ("marked",),
        source="XWALK-27",
        text="crossings that get one, by what the data says of their markings",
    )
    keep_style: bool = choice(
        False, source="XWALK-06", text="paint the style that the data gives, where it gives one"
    )
    width_ft: float = length(
        "10 ft", low="6 ft", high="30 ft", source="XWALK-03", text="along travel, over all"
    )
    fast_width_ft: float = length(
        "10 ft", low="8 ft", high="30 ft", source="XWALK-04", text="the same from 40 mph on"
    )
    advance: Literal["yield", "stop", "none"] = choice(
        "yield",
        source="STOP-04",
        text="line before a crossing that nothing controls; state law says which (STOP-11)",
    )
    advance_lanes: int = number(
        2,
        low=1,
        high=4,
        source="STOP-04",
        text="lanes of an approach from which on it gets that line",
        unit="lanes",
    )
    advance_gap_ft: float = length(
        "30 ft", low="20 ft", high="50 ft", source="STOP-04", text="from it to the crosswalk"
    )
    control_gap_ft: float = length(
        "4 ft",
        low="4 ft",
        high="50 ft",
        source="STOP-02",
        text="from the crosswalk to the stop line of a signal, or of a sign that faces one lane; "
        "signs that face several lanes have the line in advance",
    )
    stop_width_ft: float = length(
        "24 in", low="12 in", high="24 in", source="STOP-01", text="stop line"
    )
    base_ft: float = length(
        "24 in", low="12 in", high="24 in", source="YIELD-01", text="base of a yield triangle"
    )
    height_ft: float = length(
        "36 in", low="18 in", high="36 in", source="YIELD-02", text="1.5 times the base"
    )
    gap_ft: float = length(
        "12 in", low="3 in", high="12 in", source="YIELD-03", text="between triangles"
    )


def mark(block: Block, params: Params) -> Iterator[Marking]:
    if not block.crossings or block.segment.roundabout:
        return
    for point in block.crossings:
        if _known(point) in params.at:
            yield from _crossing(block, point, params)


def _known(point: CrossingPoint) -> str:
    return (
        point.markings
        if point.markings == "unmarked"
        else "marked"
        if point.markings
        else "unknown"
    )


def _crossing(block: Block, point: CrossingPoint, params: Params) -> Iterator[Marking]:
    segment = block.segment
    half = (params.fast_width_ft if segment.speed_mph >= _FAST_MPH else params.width_ft) / 2
    at = point.station_ft
    first = next(iter(approaches(block)), None)
    clear = half + _CLEAR_FT
    if first is None or not first.holds(first.at(at) - clear, first.at(at) + clear):
        return
    if params.keep_style and point.markings in get_args(WalkStyle):
        params = params.model_copy(update={"style": point.markings})
    shape = walk_shape((Cut(at - half), Cut(at + half)), parted_strips(segment.strips), at, params)
    if shape is None:
        return
    yield Marking(
        kind="crosswalk",
        frame=Frame(segment),
        shape=shape,
        color="white",
        travel=seen_along(block),
        anchor=segment.segment_id,
        station_ft=at,
        offset_ft=sum(segment.edges_ft) / 2,
        width_ft=2 * half,
        style=params.style,
        reason=_reason(block, point),
        sources=(*WALK_ROWS[params.style], "XWALK-04", "XWALK-06"),
        tag="midblock",
        priority=100,
    )
    for approach in approaches(block):
        yield from _line(approach, point, half, params)


def _reason(block: Block, point: CrossingPoint) -> str:
    said = f"marked as {point.markings}" if point.markings else "of unknown marking"
    table = table_at(block.segment, point.station_ft)
    on = f"; raised, on speed table {table.hump_id}" if table else ""
    return f"crossing {point.crossing_id} inside the block, {said} (input crossing_points){on}"


def _ramp_ft(approach: Approach, point: CrossingPoint, edge_ft: float) -> float:
    """How far the ramp of a raised crosswalk reaches beyond its edge, toward an approach."""
    table = table_at(approach.block.segment, point.station_ft)
    if table is None:
        return 0.0
    return max(0.0, approach.at(table.station_ft) + half_table_ft(table) - edge_ft)


def _line(
    approach: Approach, point: CrossingPoint, half_ft: float, params: Params
) -> Iterator[Marking]:
    """Where the traffic of one direction waits."""
    controlled = point.control in _CONTROLLED
    several = len(approach.lanes) >= params.advance_lanes
    if controlled:
        kind = "yield" if point.control == "yield" else "stop"
        ahead = several and point.control != "signal"
        gap = params.advance_gap_ft if ahead else params.control_gap_ft
    elif several and params.advance != "none":
        kind, gap = params.advance, params.advance_gap_ft
    else:
        return
    edge = approach.at(point.station_ft) + half_ft
    gap = max(gap, _ramp_ft(approach, point, edge) + _OFF_RAMP_FT)
    near = edge + gap
    depth = params.height_ft if kind == "yield" else params.stop_width_ft
    if not approach.holds(near, near + depth):
        return
    left, right = approach.sides_ft if kind == "yield" else approach.waiting_ft
    shape = _teeth(near, (left, right), params) if kind == "yield" else None
    rows = ("YIELD-01", "YIELD-02", "YIELD-03", "YIELD-07") if kind == "yield" else ("STOP-01",)
    why = (
        f"{point.control} controls this crossing"
        if controlled
        else (
            f"{len(approach.lanes)} lanes come to a crossing that nothing controls; with R1-5 signs"
        )
    )
    yield Marking(
        kind=f"{kind}_line",
        frame=approach.frame,
        shape=shape or BarsShape(near, (Bar(Cut(near), Cut(near + depth), left, right),)),
        color="white",
        travel=-1,
        anchor=approach.block.segment.segment_id,
        station_ft=near,
        offset_ft=(left + right) / 2,
        width_ft=depth,
        style="triangles" if kind == "yield" else "solid",
        reason=f"{why}; {gap:g} ft before the crosswalk",
        sources=(*rows, "STOP-02" if gap < 20.0 else "STOP-04"),
        tag="midblock",
        priority=90,
    )


def _teeth(near: float, sides: tuple[float, float], params: Params) -> TeethShape:
    room = sides[1] - sides[0]
    count = max(1, math.floor((room + params.gap_ft) / (params.base_ft + params.gap_ft) + 1e-9))
    size = (params.base_ft, params.height_ft, params.gap_ft)
    return TeethShape(near, Cut(near), *sides, count, *size)


RULE = Rule(on="block", params=Params, mark=mark, checks=MIDBLOCK_CHECKS)

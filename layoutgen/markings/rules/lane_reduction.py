"""Lane reduction: where a street goes on with fewer lanes, the edge moves in along a taper.

MUTCD 11th edition 3B.12: a taper of L = W S from 45 mph on, L = W S^2 / 60 below (TAPER-01,
TAPER-02), 100 ft at least in towns and 200 ft outside (TAPER-03). The lane line beside the ending
lane stops before it (LANE-06). Lane-reduction arrows stand ahead of the taper from 45 mph on
(ARROW-10), below where asked for.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from layoutgen.config import choice, length
from layoutgen.markings.conformity import Check, LaidOut, Paint, within
from layoutgen.markings.marking import (
    Color,
    FigureShape,
    Frame,
    Marking,
    Patch,
    PatchesShape,
    Rule,
    RuleParams,
)
from layoutgen.street.design import Block, Strip

_FAST_MPH = 45.0
#: a bend of the taper is followed in straight pieces of this length
_PIECE_FT = 20.0


class Params(RuleParams):
    taper: bool = choice(True, source="TAPER-01", text="the line along the taper")
    line_width_ft: float = length(
        "4 in", low="4 in", high="12 in", source="LINE-01", text="as wide as an edge line"
    )
    inset_ft: float = length(
        "2 in",
        low="0 in",
        high="12 in",
        source="EDGE-05",
        text="from the edge of the traveled way to the line",
    )
    urban_least_ft: float = length(
        "100 ft", low="100 ft", high="300 ft", source="TAPER-03", text="shortest taper in towns"
    )
    rural_least_ft: float = length(
        "200 ft", low="200 ft", high="500 ft", source="TAPER-03", text="shortest taper outside"
    )
    slow_arrows: bool = choice(
        False, source="ARROW-10", text="lane-reduction arrows below 45 mph too"
    )
    arrow_gap_ft: float = length(
        "100 ft",
        low="20 ft",
        high="300 ft",
        source="common practice",
        text="from the last arrow to the beginning of the taper, and between two arrows",
    )


@dataclass(frozen=True)
class Ending:
    """A lane that ends at one end of a block, as its traffic goes.

    Attributes:
        way: direction of its traffic.
        lane: the lane that ends.
        side: +1 its outer edge lies right of its middle along the axis, -1 left.
        right: whether it is the rightmost lane as its driver sees it.
    """

    way: int
    lane: Strip
    side: int
    right: bool


def mark(block: Block, params: Params) -> Iterator[Marking]:
    if block.segment.roundabout or block.inside:
        return
    for way in (1, -1):
        ending = ending_lane(block, way)
        if ending is not None:
            yield from _reduction(block, ending, params)


def ending_lane(block: Block, way: int) -> Ending | None:
    """The outer lane of a direction that the street beyond a mere joint does not have."""
    onward = block.after if way == 1 else block.before
    lanes = block.segment.lanes(way)
    there = [s for s in onward if s.kind == "travel_lane" and s.direction == way]
    if not onward or not there or len(there) >= len(lanes):
        return None
    outer, inner = lanes[-1], lanes[0]
    # which side loses its lane: the one whose edge the roadway beyond draws in most
    right = abs(outer.right_ft - max(s.right_ft for s in there))
    left = abs(inner.left_ft - min(s.left_ft for s in there))
    at_right = right >= left
    lane = outer if at_right else inner
    if block.segment.oneway == "both":  # the center line stays, so it is the curb side that ends
        at_right = lane_side(lanes, block) == 1
        lane = outer if at_right else inner
    side = 1 if at_right else -1
    return Ending(way, lane, side, side * way == 1)


def lane_side(lanes: tuple[Strip, ...], block: Block) -> int:
    """+1 where the curb side of a direction lies right of the axis."""
    others = [s for s in block.segment.strips if s.kind == "travel_lane" and s not in lanes]
    middle = sum(s.center_ft for s in lanes) / len(lanes)
    return 1 if not others or middle > sum(s.center_ft for s in others) / len(others) else -1


def taper_ft(width_ft: float, speed_mph: float, least_ft: float) -> float:
    """Length of a merging taper (TAPER-01, TAPER-02)."""
    fast = speed_mph >= _FAST_MPH
    return max(width_ft * speed_mph if fast else width_ft * speed_mph**2 / 60.0, least_ft)


def _reduction(block: Block, ending: Ending, params: Params) -> Iterator[Marking]:
    segment = block.segment
    rural = segment.setting == "rural" or segment.street_class == "freeway"
    least = params.rural_least_ft if rural else params.urban_least_ft
    wanted = taper_ft(ending.lane.width_ft, segment.speed_mph, least)
    room = segment.length_ft - 20.0
    if room < least:
        return
    taper = min(wanted, room)
    if params.taper:
        yield _taper(block, ending, taper, params)
    if segment.speed_mph >= _FAST_MPH or params.slow_arrows:
        yield from _arrows(block, ending, taper, params)


def _station(block: Block, way: int, before_ft: float) -> float:
    """Station so far before the end of the block, as traffic of a direction goes."""
    return block.segment.length_ft - before_ft if way == 1 else before_ft


def _taper(block: Block, ending: Ending, taper: float, params: Params) -> Marking:
    """The line from the outer edge of the ending lane to its inner one."""
    side, lane, width = ending.side, ending.lane, params.line_width_ft
    outer, inner = (lane.right_ft, lane.left_ft) if side == 1 else (lane.left_ft, lane.right_ft)
    outer, inner = outer - side * params.inset_ft, inner - side * params.inset_ft
    count = max(1, round(taper / _PIECE_FT))
    patches = []
    for k in range(count):
        shares = k / count, (k + 1) / count
        (s, a), (t, b) = (
            (_station(block, ending.way, taper * (1 - q)), outer + (inner - outer) * q)
            for q in shares
        )
        inward = -side * width
        patches.append(Patch((s + t) / 2, ((s, a), (t, b), (t, b + inward), (s, a + inward))))
    median = ending.right == (block.segment.driving_side == "left")
    color: Color = "yellow" if median and block.segment.oneway != "both" else "white"
    middle = _station(block, ending.way, taper / 2)
    reason = f"a lane ends: taper of {taper:.0f} ft for {lane.width_ft:.0f} ft at "
    return Marking(
        kind="lane_reduction",
        frame=Frame(block.segment),
        shape=PatchesShape(tuple(patches)),
        color=color,
        travel=ending.way,
        anchor=block.segment.segment_id,
        station_ft=middle,
        offset_ft=lane.center_ft,
        width_ft=width,
        style="taper",
        reason=reason + f"{block.segment.speed_mph:.0f} mph",
        sources=("TAPER-01", "TAPER-02", "TAPER-03"),
        tag="taper",
        priority=72,
    )


def _arrows(block: Block, ending: Ending, taper: float, params: Params) -> Iterator[Marking]:
    """Two arrows in the lane that ends, which bend toward the lane that stays."""
    name = "arrow_lane_reduction" if ending.right else "arrow_lane_reduction_right"
    arrow = params.figure(name)
    for number in (1, 2):
        before = taper + number * params.arrow_gap_ft + (number - 1) * arrow.length_ft
        upstream = _station(block, ending.way, before + arrow.length_ft)
        if not 10.0 < upstream < block.segment.length_ft - 10.0:
            return
        yield Marking(
            kind="lane_reduction",
            frame=Frame(block.segment),
            shape=FigureShape(name, upstream, ending.lane.center_ft, ending.way, drawing=arrow),
            color="white",
            travel=ending.way,
            anchor=block.segment.segment_id,
            station_ft=upstream,
            offset_ft=ending.lane.center_ft,
            width_ft=arrow.width_ft,
            style="arrow",
            reason="the lane ends ahead",
            sources=("ARROW-10",),
            tag="arrow",
            priority=60,
            shift_ft=20.0,
        )


def _long(paint: Paint, _: LaidOut) -> str | None:
    """Length for the shift across that it makes."""
    segment = paint.segment
    if segment is None:
        return None
    along, across = paint.extent_ft
    asked = taper_ft(across - 1.0, segment.speed_mph, 100.0)
    if along >= asked - 25.0 or segment.length_ft < asked + 25.0:
        return None
    return f"{along:.0f} ft for {across:.1f} ft at {segment.speed_mph:.0f} mph"


def _least(paint: Paint, _: LaidOut) -> str | None:
    segment = paint.segment
    rural = segment is not None and segment.setting == "rural"
    along = paint.extent_ft[0]
    return None if within(along, 198.0 if rural else 98.0, 1e9) else f"{along:.0f} ft long"


_TAPER = ("taper",)
CHECKS = (
    Check("TAPER-01", "L = W S from 45 mph on", _long, ("lane_reduction",), _TAPER),
    Check("TAPER-02", "L = W S^2 / 60 below 45 mph", _long, ("lane_reduction",), _TAPER),
    Check("TAPER-03", "at least 100 ft, 200 ft outside towns", _least, ("lane_reduction",), _TAPER),
)
RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

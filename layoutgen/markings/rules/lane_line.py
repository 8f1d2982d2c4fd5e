"""Lane line: white, between lanes of one direction.

MUTCD 11th edition 3B.06, 3B.07: broken; solid beside a lane that must turn (LANE-01), and wide
dotted before that (LANE-03); double solid where lanes must not be changed (LANE-02). It ends well
before a lane that ends (LANE-06).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Literal

from layoutgen.config import choice, length, number
from layoutgen.markings.checks.lane_line import CHECKS
from layoutgen.markings.lanes import turns
from layoutgen.markings.marking import (
    Frame,
    LineParams,
    LineShape,
    Marking,
    Rule,
    Stroke,
)
from layoutgen.markings.preferential import own_lanes
from layoutgen.markings.reductions import advance_ft, reductions
from layoutgen.markings.runs import way_ends
from layoutgen.street.design import Block, Leg, Strip

#: a dotted lane line (LINE-06, LINE-07)
_DOTTED = (3.0, 9.0)


class Params(LineParams):
    turn_line_width_ft: float = length(
        "8 in", low="4 in", high="12 in", source="LANE-05", text="solid line beside a turn lane"
    )
    turn_solid_ft: float = length(
        "100 ft",
        low="0 ft",
        high="600 ft",
        source="common practice",
        text="solid stretch before the stop line beside a lane that must turn",
    )
    drop_ft: float = length(
        "600 ft",
        low="0 ft",
        high="5280 ft",
        source="LANE-03",
        text="wide dotted stretch before that, where a lane comes to be one that must turn",
    )
    drop_width_ft: float = length(
        "8 in", low="8 in", high="12 in", source="LINE-02", text="width of the dotted line"
    )
    crossing: Literal["allowed", "discouraged", "prohibited"] = choice(
        "allowed",
        source="LANE-02",
        text="changing lanes: broken, solid, or double solid line",
    )
    double_gap_ft: float = length(
        "4 in", low="2 in", high="12 in", source="LINE-03", text="between the lines of a double"
    )
    signal_solid_ft: float = length(
        "0 ft",
        low="0 ft",
        high="300 ft",
        source="LANE-07",
        text="solid stretch of a normal line before a signal; 0 = none",
    )
    reduction_at: tuple[str, ...] = choice(
        ("freeway", "arterial"),
        source="LANE-06",
        text="classes of streets on which it ends before a lane that ends, as `at` of "
        "lane_reduction",
    )
    reduction_share: float = number(
        0.75,
        low=0.0,
        high=1.0,
        source="LANE-06",
        text="how far before the taper it ends, as a share of the distance of the Lane Ends sign",
    )


def mark(block: Block, params: Params) -> Iterator[Marking]:
    if block.segment.roundabout:
        return
    # the line beside a lane for buses or carpools is of its own kind (rule preferential_lane)
    own = [lane.shared_ft for lane in own_lanes(block) if lane.shared_ft is not None]
    for way in (1, -1):
        lanes = block.segment.lanes(way)
        for a, b in pairwise(lanes):
            if not any(abs(a.right_ft - edge) < 1e-6 for edge in own):
                yield from _between(block, way, (a, b), params)
        yield from _beside_pocket(block, way, params)


def _between(
    block: Block, way: int, pair: tuple[Strip, Strip], params: Params
) -> Iterator[Marking]:
    """Line between two neighbor lanes, upstream to downstream: broken, dotted, solid."""
    edge = pair[0].right_ft
    widest = max(params.turn_line_width_ft, _over_all_ft(params))
    start, stop = way_ends(block, way, edge, widest)
    origin = start if way == 1 else stop
    total = stop - start - _given_up(block, way, pair, params)
    ahead = block.end_leg if way == 1 else block.start_leg
    turning = _must_turn(ahead, way, pair)
    solid = params.turn_solid_ft if turning else _before_signal(ahead, params)
    solid = max(0.0, min(solid, total))
    drop = min(params.drop_ft, total - solid) if turning else 0.0
    if total - solid - drop < params.shortest_ft:
        drop = total - solid if drop else 0.0
    cuts = (0.0, total - solid - drop, total - solid, total)
    styles = (_open_style(params), "dotted", "solid" if turning else "solid_approach")
    for (near, far), style in zip(pairwise(cuts), styles, strict=True):
        if far - near >= params.shortest_ft:
            ends = sorted((origin + way * near, origin + way * far))
            shape = LineShape(ends[0], ends[1], _strokes(edge, style, params))
            yield _marking(block, shape, way, style)


def _over_all_ft(params: Params) -> float:
    """Width of the line between lanes: of a double one with its gap, where crossing is barred."""
    double = 2 * params.line_width_ft + params.double_gap_ft
    return double if params.crossing == "prohibited" else params.line_width_ft


def _open_style(params: Params) -> str:
    return {"allowed": "broken", "discouraged": "solid_lane"}.get(params.crossing, "double_solid")


def _strokes(edge: float, style: str, params: Params) -> tuple[Stroke, ...]:
    if style == "broken":
        return (Stroke(edge, params.line_width_ft, params.painted_ft, params.gap_ft),)
    if style == "dotted":
        return (Stroke(edge, params.drop_width_ft, *_DOTTED),)
    if style == "double_solid":
        shift = (params.line_width_ft + params.double_gap_ft) / 2
        return tuple(Stroke(edge + d, params.line_width_ft) for d in (-shift, shift))
    return (Stroke(edge, params.turn_line_width_ft if style == "solid" else params.line_width_ft),)


def _given_up(block: Block, way: int, pair: Sequence[Strip], params: Params) -> float:
    """Length at the downstream end without a line: before and along a taper (LANE-06)."""
    before = params.reduction_share * advance_ft(block.segment.speed_mph)
    for found in reductions(block, way, params.reduction_at):
        if set(pair) & set(found.lanes):
            return found.length_ft + before
    return 0.0


def _must_turn(ahead: Leg | None, way: int, pair: tuple[Strip, Strip]) -> bool:
    """Whether exactly one of two lanes must turn."""
    if ahead is None or len(ahead.movements) != len(ahead.inbound):
        return False
    told = {round(s.center_ft, 3): m for s, m in zip(ahead.inbound, ahead.movements, strict=True)}
    sign = -1 if way == 1 else 1
    must = [turns(told.get(round(sign * s.center_ft, 3), ())) == "must" for s in pair]
    return must[0] != must[1]


def _before_signal(ahead: Leg | None, params: Params) -> float:
    signal = ahead is not None and ahead.control == "signal"
    return params.signal_solid_ft if signal else 0.0


def _beside_pocket(block: Block, way: int, params: Params) -> Iterator[Marking]:
    """Solid line between a turn pocket and the through lane beside it."""
    leg = block.end_leg if way == 1 else block.start_leg
    pocket = next((s for s in leg.strips if s.kind == "turn_lane"), None) if leg else None
    lanes = [s for s in leg.inbound if s.kind == "travel_lane"] if leg else []
    if leg is None or pocket is None or not lanes:
        return
    edge = pocket.left_ft if lanes[0].center_ft < pocket.center_ft else pocket.right_ft
    near = leg.layout.inbound_end.clear(edge, params.turn_line_width_ft)
    far = min(leg.layout.inbound_end.station_ft + leg.pocket_ft, leg.room_ft)
    if far - near < params.shortest_ft:
        return
    total = block.segment.length_ft
    start, stop = (total - far, total - near) if way == 1 else (near, far)
    stroke = Stroke(-edge if way == 1 else edge, params.turn_line_width_ft)
    yield _marking(block, LineShape(start, stop, (stroke,)), way, "solid")


_WHY = {
    "solid": ("beside a lane that must turn", ("LINE-01", "LANE-01")),
    "dotted": ("before a lane that must turn", ("LANE-03", "LINE-02", "LINE-06", "LINE-07")),
    "broken": ("between lanes of one direction", ("LINE-01", "LINE-04", "LINE-05")),
    "solid_lane": ("changing lanes is discouraged", ("LINE-01",)),
    "solid_approach": ("between lanes before a signal", ("LINE-01", "LANE-07")),
    "double_solid": ("changing lanes is prohibited", ("LINE-01", "LANE-02", "LINE-03")),
}


def _marking(block: Block, shape: LineShape, way: int, style: str) -> Marking:
    segment = block.segment
    why, sources = _WHY[style]
    offsets = [s.offset_ft for s in shape.strokes]
    return Marking(
        kind="lane_line",
        frame=Frame(segment),
        shape=shape,
        color="white",
        travel=way,
        anchor=segment.segment_id,
        station_ft=(shape.start_ft + shape.stop_ft) / 2,
        offset_ft=sum(offsets) / len(offsets),
        width_ft=shape.strokes[0].width_ft,
        style="solid_normal" if style in ("solid_lane", "solid_approach") else style,
        reason=f"{why}; lanes from {segment.lanes_source}",
        sources=sources,
        priority=70,
    )


RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

"""Lane line: white, between lanes of one direction.

MUTCD 11th edition 3B.06: broken, and solid beside a lane that must turn (LANE-01).
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from layoutgen.config import length
from layoutgen.markings.checks.lines import LANE_CHECKS
from layoutgen.markings.lanes import turns
from layoutgen.markings.marking import (
    Frame,
    LineParams,
    LineShape,
    Marking,
    Rule,
    Stroke,
)
from layoutgen.markings.runs import way_ends
from layoutgen.street.design import Block, Leg, Strip


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


def mark(block: Block, params: Params) -> Iterator[Marking]:
    if block.segment.roundabout:
        return
    for way in (1, -1):
        lanes = block.segment.lanes(way)
        for a, b in pairwise(lanes):
            yield from _between(block, way, a, b, params)
        yield from _beside_pocket(block, way, params)


def _between(block: Block, way: int, a: Strip, b: Strip, params: Params) -> Iterator[Marking]:
    """Line between two neighbor lanes: broken, solid before the stop where one must turn."""
    edge = a.right_ft
    start, stop = way_ends(block, way, edge, params.turn_line_width_ft)
    ahead = block.end_leg if way == 1 else block.start_leg
    solid = _solid_length(ahead, way, (a, b), params)
    solid = min(solid, max(0.0, stop - start))
    split = stop - solid if way == 1 else start + solid
    parts = [(start, split), (split, stop)] if way == 1 else [(split, stop), (start, split)]
    if parts[0][1] - parts[0][0] >= params.shortest_ft:
        stroke = Stroke(edge, params.line_width_ft, params.painted_ft, params.gap_ft)
        yield _marking(block, LineShape(*parts[0], (stroke,)), way, "broken")
    if solid >= params.shortest_ft:
        stroke = Stroke(edge, params.turn_line_width_ft)
        yield _marking(block, LineShape(*parts[1], (stroke,)), way, "solid")


def _solid_length(ahead: Leg | None, way: int, pair: tuple[Strip, Strip], params: Params) -> float:
    """Length of the solid stretch: where exactly one of the two lanes must turn."""
    if ahead is None or len(ahead.movements) != len(ahead.inbound):
        return 0.0
    told = {round(s.center_ft, 3): m for s, m in zip(ahead.inbound, ahead.movements, strict=True)}
    sign = -1 if way == 1 else 1
    must = [turns(told.get(round(sign * s.center_ft, 3), ())) == "must" for s in pair]
    return params.turn_solid_ft if must[0] != must[1] else 0.0


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


def _marking(block: Block, shape: LineShape, way: int, style: str) -> Marking:
    segment = block.segment
    solid = style == "solid"
    why = "beside a lane that must turn" if solid else "between lanes of one direction"
    return Marking(
        kind="lane_line",
        frame=Frame(segment),
        shape=shape,
        color="white",
        travel=way,
        anchor=segment.segment_id,
        station_ft=(shape.start_ft + shape.stop_ft) / 2,
        offset_ft=shape.strokes[0].offset_ft,
        width_ft=shape.strokes[0].width_ft,
        style=style,
        reason=f"{why}; lanes from {segment.lanes_source}",
        sources=("LINE-01", "LANE-01") if solid else ("LINE-01", "LINE-04", "LINE-05"),
        priority=70,
    )


RULE = Rule(on="block", params=Params, mark=mark, checks=LANE_CHECKS)

"""Red pavement of a lane for buses, over its full width.

MUTCD 11th edition 3H.07 (GREEN-06). Off unless asked for: it needs the authority's decision.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from layoutgen.config import choice, length
from layoutgen.markings.conformity import Check, LaidOut, Paint, color_check
from layoutgen.markings.marking import Frame, LineShape, Marking, Rule, RuleParams, Stroke
from layoutgen.markings.preferential import own_lanes
from layoutgen.street.design import Block


class Params(RuleParams):
    at: tuple[Literal["bus", "taxi", "bike_bus"], ...] = choice(
        (), source="GREEN-06", text="lanes that are painted red; none = no red pavement"
    )
    shortest_ft: float = length(
        "30 ft",
        low="0 ft",
        high="300 ft",
        source="common practice",
        text="shorter lanes are left as they are",
    )


def mark(block: Block, params: Params) -> Iterator[Marking]:
    if not params.at or not any(block.segment.lane_use):
        return
    for lane in own_lanes(block):
        start, stop = lane.ends
        if lane.use not in params.at or stop - start < params.shortest_ft:
            continue
        strip = lane.strip
        yield Marking(
            kind="red_lane",
            frame=Frame(block.segment),
            shape=LineShape(start, stop, (Stroke(strip.center_ft, strip.width_ft),)),
            color="red",
            travel=strip.direction,
            anchor=block.segment.segment_id,
            station_ft=(start + stop) / 2,
            offset_ft=strip.center_ft,
            width_ft=strip.width_ft,
            style=lane.use,
            reason=f"the lane is for {lane.use} traffic and its pavement is wanted red",
            sources=("GREEN-06", "LINE-14"),
            tag=lane.use,
            priority=30,
        )


def _full_width(paint: Paint, _: LaidOut) -> str | None:
    """Paint over its length: the lane's width, give or take a line beside it."""
    if paint.segment is None:
        return None
    lanes = [s for s in paint.segment.strips if s.kind == "travel_lane"]
    lane = min(lanes, key=lambda s: abs(s.center_ft - paint.offset_ft), default=None)
    if lane is None:
        return None
    narrow = [p.short_ft for p in paint.parts if p.long_ft > 30.0]
    least = min(narrow, default=lane.width_ft)
    short = least < lane.width_ft - 1.0
    return f"{least:.1f} ft of a lane of {lane.width_ft:.1f} ft" if short else None


CHECKS = (
    Check("GREEN-06", "red pavement over the full lane", _full_width, ("red_lane",)),
    color_check("LINE-14", ["red_lane"], ["red"]),
)
RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

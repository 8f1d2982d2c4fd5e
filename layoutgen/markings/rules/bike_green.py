"""Green pavement in bike lanes: the whole lane, or the stretch before intersections.

MUTCD 11th edition 3H.06 (GREEN-01, GREEN-05). Never under crosswalks or shared-lane markings
(GREEN-02). Off unless asked for: it is the agency's choice where cyclists and turning traffic meet.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from layoutgen.config import choice, length
from layoutgen.markings.bike_ends import (
    Gaps,
    bike_ends,
    crossed_end,
    has_dotted_line,
    may_be_crossed,
    traffic_way,
)
from layoutgen.markings.conformity import Check, LaidOut, Paint, color_check
from layoutgen.markings.marking import Frame, LineShape, Marking, Rule, RuleParams, Stroke
from layoutgen.street.design import Block, Leg, Strip

Span = tuple[float, float]


class Params(RuleParams):
    at: Literal["nowhere", "conflicts", "approaches", "whole_lane"] = choice(
        "nowhere",
        source="GREEN-05",
        text="nowhere; before intersections where turning traffic may cross the lane; before every "
        "intersection; the whole lane",
    )
    approach_ft: float = length(
        "60 ft",
        low="20 ft",
        high="300 ft",
        source="BIKE-27",
        text="length before an intersection at speed limits up to 30 mph",
    )
    fast_approach_ft: float = length(
        "90 ft",
        low="20 ft",
        high="400 ft",
        source="BIKE-28",
        text="the same above 30 mph",
    )
    inset_ft: float = length(
        "3 in",
        low="0 in",
        high="12 in",
        source="common practice",
        text="from the middle of the lines of the lane to the green",
    )
    dots: bool = choice(
        False,
        source="GREEN-04",
        text="where the line of the lane is dotted, green beside its dots only, in their cycle",
    )
    dotted_ft: float = length(
        "50 ft",
        low="8 ft",
        high="200 ft",
        source="BIKE-13 gives no length; BIKE-15",
        text="length of the dotted line, as of bike_lane",
    )
    dot_ft: float = length(
        "2 ft", low="2 ft", high="3 ft", source="BIKE-14", text="its dots, as of bike_lane"
    )
    dot_gap_ft: float = length(
        "6 ft", low="2 ft", high="9 ft", source="BIKE-14", text="its gaps, as of bike_lane"
    )
    turn_gap_ft: float = length(
        "100 ft",
        low="100 ft",
        high="500 ft",
        source="BIKE-16",
        text="ends this far before the stop line beside a lane that must turn across",
    )
    roundabout_gap_ft: float = length(
        "100 ft",
        low="100 ft",
        high="500 ft",
        source="BIKE-17",
        text="ends this far before a roundabout",
    )


def mark(block: Block, params: Params) -> Iterator[Marking]:
    segment = block.segment
    if params.at == "nowhere" or segment.roundabout or not segment.has("bike_lane"):
        return
    for k, strip in enumerate(segment.strips):
        if strip.kind == "bike_lane" and strip.width_ft > 2 * params.inset_ft:
            for span, dots in _stretches(block, strip, params):
                if span[1] - span[0] >= 5.0:
                    yield _marking(block, k, (span, dots), params)


def _stretches(block: Block, strip: Strip, params: Params) -> Iterator[tuple[Span, bool]]:
    """Stretches of a lane that are green, and whether only beside the dots of its line."""
    gaps = Gaps(params.turn_gap_ft, params.roundabout_gap_ft)
    ends = bike_ends(block, strip, (strip.center_ft, strip.width_ft), gaps)
    green = _span(block, strip, ends, params)
    last = crossed_end(block, strip, gaps, params.dotted_ft)
    has_dots = params.dots and last and has_dotted_line(block.segment.strips, strip)
    if not last or not has_dots or green[0] == green[1]:
        yield green, False
        return
    before = (ends[0], last[0]) if strip.direction == 1 else (last[1], ends[1])
    yield (max(green[0], before[0]), min(green[1], before[1])), False
    yield last, True


def _marking(block: Block, k: int, part: tuple[Span, bool], params: Params) -> Marking:
    segment, strip = block.segment, block.segment.strips[k]
    span, dots = part
    width = strip.width_ft - 2 * params.inset_ft
    pattern = (params.dot_ft, params.dot_gap_ft) if dots else (0.0, 0.0)
    where = "in the whole bike lane" if params.at == "whole_lane" else "before intersections"
    return Marking(
        kind="bike_green",
        frame=Frame(segment),
        shape=LineShape(*span, (Stroke(strip.center_ft, width, *pattern),)),
        color="green",
        travel=traffic_way(segment.strips, k),
        anchor=segment.segment_id,
        station_ft=sum(span) / 2,
        offset_ft=strip.center_ft,
        width_ft=width,
        style=f"{params.at}_dots" if dots else params.at,
        reason=f"green is wanted {where}" + (", beside the dots of its line" if dots else ""),
        sources=("GREEN-01", "GREEN-04") if dots else ("GREEN-01", "GREEN-05"),
        priority=30,
    )


def _span(block: Block, strip: Strip, ends: Span, params: Params) -> Span:
    """Stations between which a lane is green; empty where it is not."""
    if params.at == "whole_lane":
        return ends
    ahead: Leg | None = block.end_leg if strip.direction == 1 else block.start_leg
    if ahead is None or (params.at == "conflicts" and not _conflict(ahead, strip)):
        return ends[0], ends[0]
    slow = block.segment.speed_mph <= 30.0
    length_ft = min(params.approach_ft if slow else params.fast_approach_ft, ends[1] - ends[0])
    if strip.direction == 1:
        return ends[1] - length_ft, ends[1]
    return ends[0], ends[0] + length_ft


def _conflict(leg: Leg, strip: Strip) -> bool:
    """Whether traffic beside the lane may turn across it at a leg ahead."""
    offset = -strip.center_ft if leg.at_end else strip.center_ft
    return may_be_crossed(leg, offset)


def _under_crosswalk(paint: Paint, laid: LaidOut) -> str | None:
    walks = laid.near(paint.shape, 0.0, ("crosswalk",))
    shared = sum(p.shape.intersection(paint.shape).area for p in walks)
    return f"{shared:.1f} sq ft under a crosswalk" if shared > 0.1 else None


def _in_bike_lane(paint: Paint, _: LaidOut) -> str | None:
    if paint.segment is None:
        return None
    strips = [
        s for s in paint.segment.strips if s.left_ft - 0.5 < paint.offset_ft < s.right_ft + 0.5
    ]
    good = {"bike_lane", "buffer"} & {s.kind for s in strips}
    return None if good or not strips else f"in a {strips[0].kind}"


def _in_cycle(paint: Paint, laid: LaidOut) -> str | None:
    """Every piece of green in pieces lies beside a dot of the line, and is as long."""
    if len(paint.parts) < 3 or max(p.along_ft for p in paint.parts) > 6.0:
        return None
    lines = [p for p in laid.near(paint.shape, 1.5, ("bike_lane",)) if len(p.parts) >= 3]
    dots = [q.shape for p in lines for q in p.parts if q.long_ft < 4.0]
    if not dots:
        return "in pieces beside a line without dots"
    for part in paint.parts:
        beside = part.shape.buffer(0.5)
        if not any(dot.intersection(beside).area > 0.8 * dot.area for dot in dots):
            return "a piece of green beside a gap of the dotted line"
    return None


_KINDS = ("bike_green",)
CHECKS = (
    Check("GREEN-01", "green in bike lanes only", _in_bike_lane, _KINDS),
    Check("GREEN-02", "no green under crosswalks", _under_crosswalk,
          ("bike_green", "bike_extension", "bike_box", "turn_box")),
    Check("GREEN-04", "green in the cycle of the dotted line", _in_cycle, _KINDS),
    color_check("LINE-14", _KINDS, ["green"]),
)  # fmt: skip
RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

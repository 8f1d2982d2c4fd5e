"""Buffer: what fills the space between a bike lane and the traffic or parked cars beside it.

MUTCD 11th edition 9E.06, 9E.07: diagonals or chevrons, optional below 2 ft (BUFFER-02), should up
to 3 ft (BUFFER-03), shall above (BUFFER-04), shall from 2 ft beside separated lanes (BUFFER-06).
Diagonals slant away from the motor traffic beside them (BUFFER-07). The lines at its sides are
those of the bike lane.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise
from typing import Literal

from layoutgen.config import choice, length, measure
from layoutgen.markings.bike_ends import Gaps, bike_ends, dotted_length, parted, traffic_way
from layoutgen.markings.conformity import (
    INCH,
    Check,
    LaidOut,
    Paint,
    Part,
    Test,
    color_check,
    within,
)
from layoutgen.markings.hatching import Hatch, hatch
from layoutgen.markings.marking import Color, Frame, Marking, PatchesShape, Rule, RuleParams
from layoutgen.street.design import Block, Segment, Strip

#: from here on strokes are 12 in wide (CHEV-01)
_FAST_MPH = 45.0
#: shorter streets need not have room for strokes
_ROOM_FT = 300.0
#: two double lines leave no room for strokes in a narrower buffer
_DOUBLES_FT = 4.0


class Params(RuleParams):
    style: Literal["diagonals", "chevrons"] = choice(
        "diagonals", source="BUFFER-03", text="what fills a buffer"
    )
    from_width_ft: float = length(
        "2 ft",
        low="1 ft",
        high="3 ft",
        source="BUFFER-03",
        text="narrower buffers stay empty; those of separated lanes are filled from 2 ft at least",
    )
    spacing_ft: float = length(
        "20 ft",
        low="10 ft",
        high="40 ft",
        source="BUFFER-05",
        text="between strokes; at least 10 ft",
    )
    width_ft: float = length(
        "8 in", low="4 in", high="12 in", source="CHEV-02", text="a stroke; 12 in from 45 mph on"
    )
    angle_deg: float = measure(
        "angle", "45 deg", low="30 deg", high="45 deg", source="CHEV-03", text="to the lane"
    )
    edge_ft: float = length(
        "4 in",
        low="0 in",
        high="12 in",
        source="common practice",
        text="from the middle of the lines at the sides to the strokes",
    )
    dotted_ft: float = length(
        "50 ft",
        low="0 ft",
        high="200 ft",
        source="BIKE-13",
        text="strokes end this far before an intersection where traffic may turn across, as its "
        "lines are dotted there",
    )
    turn_gap_ft: float = length(
        "100 ft",
        low="100 ft",
        high="500 ft",
        source="BIKE-16",
        text="strokes end this far before the stop line beside a lane that must turn across",
    )
    roundabout_gap_ft: float = length(
        "100 ft",
        low="100 ft",
        high="500 ft",
        source="BIKE-17",
        text="strokes end this far before a roundabout",
    )


def mark(block: Block, params: Params) -> Iterator[Marking]:
    segment = block.segment
    if segment.roundabout or not segment.has("buffer"):
        return
    for k, strip in enumerate(segment.strips):
        step = bike_side(segment, k)
        if strip.kind == "buffer" and step and strip.width_ft >= _least(segment, k, step, params):
            yield from _filled(block, k, step, params)


def bike_side(segment: Segment, k: int) -> int:
    """-1 or +1: on which side of a strip its bike lane lies; 0 = there is none."""
    strips = segment.strips
    for step in (1, -1):
        if 0 <= k + step < len(strips) and strips[k + step].kind == "bike_lane":
            return step
    return 0


def _least(segment: Segment, k: int, step: int, params: Params) -> float:
    """Width from which a buffer is filled: one of a separated lane always from 2 ft."""
    side = segment.strips[k + step].center_ft > 0
    separated = segment.bike[1 if side else 0] in ("separated", "two_way")
    return min(params.from_width_ft, 2.0) if separated else params.from_width_ft


def _filled(block: Block, k: int, step: int, params: Params) -> Iterator[Marking]:
    """Strokes between the lines of one buffer."""
    segment, strip = block.segment, block.segment.strips[k]
    lane = segment.strips[k + step]
    opposed = opposes(segment, k, step)
    edge = 1.0 + params.edge_ft if opposed else params.edge_ft
    sides = _sides(strip, step, edge)
    if abs(sides[1] - sides[0]) < 0.5:
        return
    gaps = Gaps(params.turn_gap_ft, params.roundabout_gap_ft)
    ends = bike_ends(block, lane, (strip.center_ft, strip.width_ft), gaps)
    crossed = dotted_length(block, lane, ends[1] - ends[0], params.dotted_ft)
    span = parted(ends, lane.direction, crossed)[0]
    way = traffic_way(segment.strips, k)
    wide = max(params.width_ft, 1.0 if segment.speed_mph >= _FAST_MPH else 0.0)
    rule = Hatch(wide, params.angle_deg, params.spacing_ft, params.style == "chevrons")
    patches = hatch((span[0] + 2.0, span[1] - 2.0), sides, way, rule)
    color: Color = "yellow" if opposed else "white"
    if patches:
        yield Marking(
            kind="buffer",
            frame=Frame(segment),
            shape=PatchesShape(patches),
            color=color,
            travel=way,
            anchor=segment.segment_id,
            station_ft=sum(span) / 2,
            offset_ft=strip.center_ft,
            width_ft=wide,
            style=params.style,
            reason=f"buffer of {strip.width_ft:.1f} ft beside a bike lane",
            sources=("BUFFER-03", "BUFFER-04", "BUFFER-05", "BUFFER-07", "CHEV-02", "CHEV-03"),
            priority=45,
        )


def _sides(strip: Strip, step: int, edge_ft: float) -> tuple[float, float]:
    """(edge toward traffic, edge toward the bike lane), inside the lines."""
    near, far = (strip.left_ft, strip.right_ft) if step == 1 else (strip.right_ft, strip.left_ft)
    return near + step * edge_ft, far - step * edge_ft


def opposes(segment: Segment, k: int, step: int) -> bool:
    """Whether the traffic beyond a buffer comes toward the cyclists (not if cars park there)."""
    strips = segment.strips
    beyond = strips[k - step].kind if 0 <= k - step < len(strips) else "shoulder"
    return beyond != "parking" and traffic_way(strips, k) == -strips[k + step].direction


def _spacing(paint: Paint, laid: LaidOut) -> str | None:
    """Distance between the middles of neighboring strokes, along the street."""
    if paint.segment is None or len(paint.parts) < 2:
        return None
    line = laid.design.axes.lines()[paint.segment.index]
    at = sorted(line.project(part.shape.centroid) for part in paint.parts)
    least = min(b - a for a, b in pairwise(at))
    return None if least >= 9.9 else f"strokes {least:.1f} ft apart"


def _slant(paint: Paint, _: LaidOut) -> str | None:
    """Diagonals lead away from the traffic beside them as it goes on."""
    if paint.segment is None:
        return None
    lanes = [s for s in paint.segment.strips if s.kind == "travel_lane"]
    lane = min(lanes, key=lambda s: abs(s.center_ft - paint.offset_ft), default=None)
    if lane is None:
        return None
    along = lane.direction
    right = math.copysign(1.0, (paint.offset_ft - lane.center_ft) * along)
    turns = [p.turn_deg * right for p in paint.parts if p.long_ft > 2 * p.short_ft]
    return "diagonals slant toward traffic" if turns and min(turns) < 0 else None


def _strokes(paint: Paint, _: LaidOut) -> str | None:
    if paint.segment is None or paint.style != "diagonals":
        return None
    least = 1.0 if paint.segment.speed_mph >= _FAST_MPH else 8.0 / 12.0
    thin = min((p.shape.area / p.long_ft for p in paint.parts), default=least)
    return None if thin >= 0.8 * least else f"strokes of {thin * 12:.1f} in"


def _empty(low_ft: float, high_ft: float, *, separated: bool = False) -> Test:
    """A buffer of such a width without strokes, over a stretch long enough for some."""

    def test(block: Block, laid: LaidOut) -> str | None:
        segment = block.segment
        if segment.length_ft < _ROOM_FT or not segment.has("buffer"):
            return None
        paints = laid.on_segment(segment, "buffer")
        for k, strip in enumerate(segment.strips):
            step = bike_side(segment, k) if strip.kind == "buffer" else 0
            asked = step and low_ft - 1e-6 <= strip.width_ft <= high_ft + 1e-6
            if not asked or (separated and not _is_separated(segment, segment.strips[k + step])):
                continue
            if opposes(segment, k, step) and strip.width_ft < _DOUBLES_FT:
                continue
            if not any(strip.left_ft < p.offset_ft < strip.right_ft for p in paints):
                return f"nothing fills a buffer of {strip.width_ft:.1f} ft"
        return None

    return test


def _is_separated(segment: Segment, lane: Strip) -> bool:
    return segment.bike[1 if lane.center_ft > 0 else 0] in ("separated", "two_way")


def stroke_of(part: Part) -> tuple[float, float]:
    """(width at right angles to it, angle to the lane in degrees) of a diagonal."""
    thick = part.shape.area / max(part.across_ft, 1e-6)
    angle = math.atan2(part.across_ft, max(part.along_ft - thick, 1e-6))
    return thick * math.sin(angle), math.degrees(angle)


def _agency(widths_ft: tuple[float, float], low_deg: float) -> Test:
    """Widths and angles that an agency asks of diagonals."""

    def test(paint: Paint, _: LaidOut) -> str | None:
        for width, angle in map(stroke_of, paint.parts):
            if not within(width, *widths_ft):
                return f"strokes of {width * 12:.1f} in"
            if not low_deg - 1.0 <= angle <= 46.0:
                return f"strokes at {angle:.0f} degrees"
        return None

    return test


def _wide_buffer(block: Block, _: LaidOut) -> str | None:
    for k, strip in enumerate(block.segment.strips):
        if strip.kind == "buffer" and bike_side(block.segment, k) and strip.width_ft < 1.49:
            return f"a buffer of {strip.width_ft * 12:.0f} in"
    return None


def _angle(paint: Paint, _: LaidOut) -> str | None:
    turns = [abs(p.turn_deg) for p in paint.parts if p.long_ft > 2.5 * p.short_ft]
    wrong = [t for t in turns if not within(t, 25.0, 50.0)]
    return f"strokes at {wrong[0]:.0f} degrees" if wrong else None


_KINDS = ("buffer",)
CHECKS = (
    Check("BUFFER-03", "a buffer of 2 to 3 ft is filled", _empty(2.0, 3.0), on="block"),
    Check("BUFFER-04", "a buffer above 3 ft is filled", _empty(3.001, 99.0), on="block"),
    Check("BUFFER-06", "a separated lane's buffer from 2 ft on is filled",
          _empty(2.0, 99.0, separated=True), on="block"),
    Check("BUFFER-08", "strokes 4 to 6 in wide at 45 degrees", _agency((4 * INCH, 6 * INCH), 45.0),
          _KINDS, ("diagonals",)),
    Check("BUFFER-09", "strokes 4 to 8 in wide at 30 to 45 degrees",
          _agency((4 * INCH, 8 * INCH), 30.0), _KINDS, ("diagonals",)),
    Check("BUFFER-10", "buffers of at least 18 in", _wide_buffer, on="block"),
    Check("BUFFER-05", "strokes at least 10 ft apart", _spacing, _KINDS),
    Check("BUFFER-07", "diagonals slant away from traffic", _slant, _KINDS, ("diagonals",)),
    Check("CHEV-03", "strokes at 30 to 45 degrees", _angle, _KINDS, ("diagonals",)),
    Check("CHEV-02", "strokes 8 in wide, 12 in from 45 mph on", _strokes, _KINDS),
    color_check("LINE-14", _KINDS, ["white", "yellow"]),
)  # fmt: skip
RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

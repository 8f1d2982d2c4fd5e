"""Curb zones: bus stops, loading, taxis, fire lanes, charging and no-parking stretches at the curb.

Words and outlines stand in the parking or shoulder strip beside the curb; a bus stop without such a
strip gets its words in the lane (HOV-04). A no-parking stretch is hatched with white diagonals that
slant away from traffic (CHEV-09). MUTCD 11th edition 3B.27, 3E.03.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Literal

from layoutgen.config import choice, length, measure
from layoutgen.markings.conformity import Check, LaidOut, Paint, color_check
from layoutgen.markings.curbside import Bay, bay_of, zone_span
from layoutgen.markings.marking import (
    Color,
    FigureShape,
    Frame,
    LineShape,
    Marking,
    Patch,
    PatchesShape,
    Rule,
    RuleParams,
    Stroke,
)
from layoutgen.street.design import Block, CurbZone, Segment, Strip

#: words of a zone, the first that a driver meets first
_WORDS = {
    "bus_stop": ("BUS", "STOP"),
    "loading": ("LOAD", "ZONE"),
    "taxi": ("TAXI", "ONLY"),
    "fire_lane": ("FIRE", "LANE"),
    "charging": ("EV", "ONLY"),
}
_SOURCES = {"bus_stop": ("HOV-04",), "taxi": ("HOV-04",), "no_parking": ("CHEV-09",)}
_TOLD = {
    "bus_stop": "a bus stop",
    "loading": "a loading zone",
    "taxi": "a taxi stand",
    "fire_lane": "a fire lane",
    "charging": "charging",
    "no_parking": "no parking",
}
#: gap between lines, in letter heights (WORD-03); lines of one message (WORD-02)
_LEAST_GAP = 4.0
_MOST_LINES = 3
#: a shallower strip takes no outline, a shorter stretch nothing at all (ft)
_LEAST_DEPTH_FT = 5.0
_LEAST_FT = 8.0
Use = Literal["bus_stop", "loading", "taxi", "fire_lane", "no_parking", "charging"]


class Params(RuleParams):
    at: tuple[Use, ...] = choice(
        ("bus_stop", "loading", "taxi", "fire_lane", "no_parking", "charging"),
        source="common practice",
        text="uses that are painted",
    )
    outline: bool = choice(True, source="common practice", text="lines around a zone in its strip")
    line_width_ft: float = length(
        "4 in", low="4 in", high="12 in", source="LINE-01", text="lines of the outline"
    )
    fire_lane_color: Literal["white", "red"] = choice(
        "white",
        source="LINE-14",
        text="lines and words of fire lanes; local code decides, red needs its warrant",
    )
    word_height_ft: float = length(
        "6 ft", low="4 ft", high="10 ft", source="WORD-01", text="letters"
    )
    word_gap_ft: float = length(
        "24 ft", low="4 ft", high="40 ft", source="WORD-03", text="between two words"
    )
    word_margin_ft: float = length(
        "1 ft",
        low="6 in",
        high="3 ft",
        source="common practice",
        text="least distance of a word to the edges of its strip",
    )
    hatch_width_ft: float = length(
        "8 in",
        low="4 in",
        high="12 in",
        source="CHEV-02",
        text="diagonals of a no-parking stretch; never under 12 in from 45 mph on",
    )
    hatch_spacing_ft: float = length(
        "10 ft", low="4 ft", high="40 ft", source="common practice", text="between two diagonals"
    )
    hatch_angle_deg: float = measure(
        "angle",
        "45 deg",
        low="30 deg",
        high="45 deg",
        source="CHEV-03",
        text="between diagonals and the curb",
    )


def mark(block: Block, params: Params) -> Iterator[Marking]:
    for zone in block.segment.curb_zones:
        if zone.use not in params.at or block.segment.roundabout:
            continue
        bay = bay_of(block.segment, zone.side, ("parking", "shoulder"))
        if bay is not None and bay.depth_ft >= _LEAST_DEPTH_FT:
            own = _cut(block, zone, bay.strip, bay.way)
            if own is not None:
                yield from _in_bay(block, own, bay, params)
        elif zone.use == "bus_stop":
            yield from _in_lane(block, zone, params)


def _cut(block: Block, zone: CurbZone, strip: Strip, way: int) -> CurbZone | None:
    """The zone without what lies in crosswalks, before stop lines and in intersections."""
    span = zone_span(block, zone, strip, way)
    if span is None or span[1] - span[0] < _LEAST_FT:
        return None
    return replace(zone, from_ft=span[0], to_ft=span[1])


def _in_bay(block: Block, zone: CurbZone, bay: Bay, params: Params) -> Iterator[Marking]:
    color: Color = params.fire_lane_color if zone.use == "fire_lane" else "white"
    if params.outline:
        yield from _outline(block, zone, bay, color, params)
    if zone.use == "no_parking":
        yield from _hatch(block, zone, bay, params)
    middle, room = bay.at(bay.depth_ft / 2), bay.depth_ft - 2 * params.word_margin_ft
    yield from _words(block, zone, (middle, room, bay.way), color, params)


def _in_lane(block: Block, zone: CurbZone, params: Params) -> Iterator[Marking]:
    """Words in the lane next to the curb, where buses stop in it."""
    lanes = [s for s in block.segment.strips if s.kind == "travel_lane"]
    lane = max(lanes, key=lambda s: s.center_ft * zone.side, default=None)
    own = None if lane is None else _cut(block, zone, lane, lane.direction)
    if lane is None or own is None or not _is_outer(block.segment, lane, zone.side):
        return
    room = min(lane.width_ft - 2 * params.word_margin_ft, 8.0)
    yield from _words(block, own, (lane.center_ft, room, lane.direction), "white", params)


def _is_outer(segment: Segment, lane: Strip, side: int) -> bool:
    """Whether nothing but a bike lane or shoulder lies between a lane and the curb of a side."""
    outside = [s for s in segment.strips if (s.center_ft - lane.center_ft) * side > 0]
    return all(s.kind in ("bike_lane", "buffer", "shoulder") for s in outside)


def _words(
    block: Block,
    zone: CurbZone,
    place: tuple[float, float, int],
    color: Color,
    params: Params,
) -> Iterator[Marking]:
    """Words of the zone around its middle; fewer where it is short."""
    offset, width, way = place
    words = tuple(w.strip().upper() for w in zone.text.split("|") if w.strip())
    words = words[:_MOST_LINES] or _WORDS.get(zone.use, ())
    height, room = params.word_height_ft, zone.to_ft - zone.from_ft - 2.0
    gap = min(params.word_gap_ft, (room - len(words) * height) / max(1, len(words) - 1))
    if gap < (_LEAST_GAP * height if len(words) > 1 else 0.0):
        return  # a message half told, or lines too near to be read one after the other
    total = len(words) * height + (len(words) - 1) * gap
    start = (zone.from_ft + zone.to_ft) / 2 - way * total / 2
    for k, text in enumerate(words):
        station = start + way * k * (height + gap)
        shape = FigureShape("", station, offset, way, text, height, min(width, height))
        yield _marking(block, zone, shape, (station, offset), ("word", color, way), text)


def _outline(
    block: Block, zone: CurbZone, bay: Bay, color: Color, params: Params
) -> Iterator[Marking]:
    """A line toward traffic, unless one is there, and one across the strip at either end."""
    width = params.line_width_ft
    if not bay.lined:
        offset = bay.at(width / 2)
        line = LineShape(zone.from_ft, zone.to_ft, (Stroke(offset, width),))
        middle = (zone.from_ft + zone.to_ft) / 2
        yield _marking(block, zone, line, (middle, offset), ("line", color, bay.way), "outline")
    inner, curb = bay.at(width), bay.curb_ft
    ends = ((zone.from_ft, zone.from_ft + width), (zone.to_ft - width, zone.to_ft))
    patches = tuple(Patch(a, ((a, inner), (b, inner), (b, curb), (a, curb))) for a, b in ends)
    place = (zone.from_ft, bay.at(bay.depth_ft / 2))
    what = ("ends", color, bay.way)
    yield _marking(block, zone, PatchesShape(patches), place, what, "outline")


def _hatch(block: Block, zone: CurbZone, bay: Bay, params: Params) -> Iterator[Marking]:
    """Diagonals from the traffic side forward to the curb, inside the outline."""
    edge = 2 * params.line_width_ft
    t = math.radians(params.hatch_angle_deg)
    inner, curb = bay.at(edge), bay.at(bay.depth_ft - 0.25)
    lean = bay.way * abs(curb - inner) / math.tan(t)
    # CHEV-01: 12 in where traffic is fast
    thin = 1.0 if block.segment.speed_mph >= 45.0 else 0.0
    thick = max(params.hatch_width_ft, thin) / math.sin(t)
    low = zone.from_ft + edge + max(0.0, -lean)
    high = zone.to_ft - edge - max(0.0, lean) - thick
    if high < low:
        return
    count = int((high - low) / params.hatch_spacing_ft + 1e-6) + 1
    first = (low + high - (count - 1) * params.hatch_spacing_ft) / 2
    patches = []
    for k in range(count):
        s = first + k * params.hatch_spacing_ft
        corners = ((s, inner), (s + thick, inner), (s + thick + lean, curb), (s + lean, curb))
        patches.append(Patch(s, corners))
    place = ((zone.from_ft + zone.to_ft) / 2, bay.at(bay.depth_ft / 2))
    shape = PatchesShape(tuple(patches))
    yield _marking(block, zone, shape, place, ("hatch", "white", bay.way), "diagonals")


def _marking(
    block: Block,
    zone: CurbZone,
    shape: FigureShape | LineShape | PatchesShape,
    place: tuple[float, float],
    what: tuple[str, Color, int],
    style: str,
) -> Marking:
    part, color, way = what
    word = isinstance(shape, FigureShape)
    width = shape.width_ft if isinstance(shape, FigureShape) else 1.0 / 3.0
    return Marking(
        kind="word" if word else "curb_zone",
        frame=Frame(block.segment),
        shape=shape,
        color=color,
        travel=way,
        anchor=block.segment.segment_id,
        station_ft=place[0],
        offset_ft=place[1],
        width_ft=width,
        style=style if word else f"{zone.use} {style}",
        reason=f"the curb is for {_TOLD[zone.use]} here ({zone.zone_id})",
        sources=_SOURCES.get(zone.use, ("LINE-14",)) + (("WORD-01",) if word else ()),
        tag=f"{zone.zone_id}-{part}",
        priority=55 if word else 50,
        shift_ft=10.0 if word else 0.0,
        clear_ft=10.0 if word else 0.0,
        group=zone.zone_id if word else "",
    )


def _slant(paint: Paint, _: LaidOut) -> str | None:
    """Which way the diagonals lead: forward to the curb means away from traffic."""
    segment = paint.segment
    if segment is None:
        return None
    lanes = [s for s in segment.strips if s.kind == "travel_lane"]
    lane = min(lanes, key=lambda s: abs(s.center_ft - paint.offset_ft), default=None)
    if lane is None:
        return None
    # seen along travel, the curb lies to the right (+1) or to the left of the lane
    right = math.copysign(1.0, (paint.offset_ft - lane.center_ft) * lane.direction)
    turns = [p.turn_deg * right for p in paint.parts if p.long_ft > 2 * p.short_ft]
    return "diagonals slant toward traffic" if turns and min(turns) < 0 else None


def _white(paint: Paint, _: LaidOut) -> str | None:
    return None if paint.color == "white" else f"is {paint.color}"


CHECKS = (
    Check("CHEV-09", "white diagonals", _white, ("curb_zone",), ("no_parking diagonals",)),
    color_check("LINE-14", ["curb_zone"], ["white", "red"]),
    Check(
        "CHEV-09",
        "diagonals slant away from traffic",
        _slant,
        ("curb_zone",),
        ("no_parking diagonals",),
    ),
)
RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

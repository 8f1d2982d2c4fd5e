"""Checks of bike lanes: MUTCD 11th edition 9E.01, 9E.02, 9E.05 to 9E.08."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from layoutgen.markings.bike_ends import (
    has_dotted_line,
    is_between_lanes,
    is_crossed,
    may_be_crossed,
    traffic_edge,
    traffic_way,
)
from layoutgen.markings.conformity import Check, LaidOut, Paint, width_check
from layoutgen.street.design import Block, Leg, Segment, Strip

_KINDS = ("bike_lane",)
_LINES = ("traffic_line", "traffic_dotted", "buffer_line", "buffer_dotted",
          "outer_buffer_line", "outer_buffer_dotted")  # fmt: skip
#: paint whose middle lies this near to the edge of a lane is a line of it
_EDGE_FT = 0.8
#: shorter stretches of lane need not hold all that a lane should
_ROOM_FT = 120.0
#: how far into a lane its first symbol may stand; the standard gives no number (common practice)
_FIRST_FT = 100.0
#: what is measured along a skewed line may be off by this much
_SKEW_FT = 6.0
_FAST_MPH, _SLOW_MPH, _LONG_BLOCK_FT = 35.0, 30.0, 400.0


def bike_lanes(segment: Segment) -> Iterator[tuple[int, Strip]]:
    """Bike lanes of a street with their place among its strips."""
    for k, strip in enumerate(segment.strips):
        if strip.kind == "bike_lane" and not segment.roundabout:
            yield k, strip


def lines_of(segment: Segment, strip: Strip, laid: LaidOut) -> list[Paint]:
    """Lines at the edges of a lane."""
    return [
        p
        for p in laid.on_segment(segment, *_KINDS)
        if min(abs(p.offset_ft - strip.left_ft), abs(p.offset_ft - strip.right_ft)) < _EDGE_FT
    ]


def figures_of(segment: Segment, strip: Strip, laid: LaidOut) -> list[Paint]:
    """Symbols, words and arrows in a lane."""
    return [
        p
        for p in laid.on_segment(segment, *_KINDS)
        if strip.left_ft + _EDGE_FT <= p.offset_ft <= strip.right_ft - _EDGE_FT
    ]


def _is_arrow(paint: Paint) -> bool:
    """One piece as long as an arrow, and narrow."""
    return len(paint.parts) == 1 and paint.extent_ft[0] > 2.0 * paint.extent_ft[1]


def _span_ft(block: Block, strip: Strip) -> tuple[float, float]:
    """Segment stations between the intersections at both ends."""
    start, stop = 0.0, block.segment.length_ft
    if block.start_leg is not None:
        leg = block.start_leg.layout
        start = (leg.outbound_end if strip.direction == 1 else leg.inbound_end).station_ft
    if block.end_leg is not None:
        leg = block.end_leg.layout
        stop -= (leg.inbound_end if strip.direction == 1 else leg.outbound_end).station_ft
    return start, stop


def _ahead(block: Block, strip: Strip) -> Leg | None:
    return block.end_leg if strip.direction == 1 else block.start_leg


def _leg_offset(leg: Leg, strip: Strip) -> float:
    return -strip.center_ft if leg.at_end else strip.center_ft


def _gap_ft(leg: Leg, paint: Paint) -> float:
    """From where lines end on an approach to the near edge of a marking."""
    near = leg.segment.length_ft - paint.to_ft if leg.at_end else paint.from_ft
    offset = -paint.offset_ft if leg.at_end else paint.offset_ft
    return near - leg.layout.inbound_end.at(offset)


def _whole(block: Block, strip: Strip, laid: LaidOut) -> str | None:
    """Whether a lane with room for both has line and symbol."""
    start, stop = _span_ft(block, strip)
    ahead = _ahead(block, strip)
    cut = ahead is not None and (ahead.circular or is_crossed(ahead, _leg_offset(ahead, strip)))
    if stop - start - 100.0 * cut < _ROOM_FT:
        return None
    signs = [p for p in figures_of(block.segment, strip, laid) if not _is_arrow(p)]
    if not signs:
        return "no bicycle symbol or words in it"
    edges = [block.segment.strips[0].left_ft, block.segment.strips[-1].right_ft]
    curbed = strip.left_ft == edges[0] or strip.right_ft == edges[1]
    lined = bool(lines_of(block.segment, strip, laid))
    return None if lined or (curbed and len(block.segment.strips) == 1) else "no line beside it"


def _first(block: Block, strip: Strip, laid: LaidOut) -> str | None:
    """Distance of the first symbol or word from the intersection behind."""
    behind = block.start_leg if strip.direction == 1 else block.end_leg
    start, stop = _span_ft(block, strip)
    signs = [p for p in figures_of(block.segment, strip, laid) if not _is_arrow(p)]
    if behind is None or stop - start < _ROOM_FT or not signs:
        return None
    ways = [p.from_ft - start if strip.direction == 1 else stop - p.to_ft for p in signs]
    return None if min(ways) <= _FIRST_FT else f"the first symbol is {min(ways):.0f} ft in"


def _separated_arrow(block: Block, strip: Strip, laid: LaidOut) -> str | None:
    side = block.segment.bike[1 if strip.center_ft > 0 else 0]
    return _lone_symbol(block, strip, laid) if side in ("separated", "two_way") else None


def _lone_symbol(block: Block, strip: Strip, laid: LaidOut) -> str | None:
    """A symbol without an arrow within 20 ft."""
    figures = figures_of(block.segment, strip, laid)
    arrows = [p.station_ft for p in figures if _is_arrow(p)]
    for paint in figures:
        if not _is_arrow(paint) and not any(abs(a - paint.station_ft) < 32.0 for a in arrows):
            return "a symbol without an arrow"
    return None


def _between(block: Block, strip: Strip, laid: LaidOut) -> str | None:
    """Symbol and arrow in a lane between general lanes that leads to an intersection."""
    if _ahead(block, strip) is None or not is_between_lanes(block.segment.strips, strip):
        return None
    figures = figures_of(block.segment, strip, laid)
    arrows = sum(_is_arrow(p) for p in figures)
    if arrows and len(figures) > arrows:
        return None
    return "no arrow" if len(figures) > arrows else "no symbol"


def _through_space(block: Block, strip: Strip, _: LaidOut) -> str | None:
    if not is_between_lanes(block.segment.strips, strip):
        return None
    least = 6.0 if block.segment.speed_mph > 40.0 else 4.0
    return None if strip.width_ft >= least - 0.01 else f"{strip.width_ft:.1f} ft wide"


def _wide(_: Block, strip: Strip, __: LaidOut) -> str | None:
    """Width of the lane, as far as it is not wider because nothing else is there."""
    return None if strip.width_ft >= 5.0 - 0.05 else f"{strip.width_ft:.1f} ft wide"


def _dotted_from(block: Block, strip: Strip, laid: LaidOut) -> tuple[float, Leg] | None:
    """Where the solid line toward traffic ends before an intersection that traffic may turn at."""
    leg = _ahead(block, strip)
    if leg is None or leg.circular or not leg.inbound:
        return None
    offset = _leg_offset(leg, strip)
    if is_crossed(leg, offset) or not may_be_crossed(leg, offset):
        return None
    if not has_dotted_line(block.segment.strips, strip):
        return None
    start, stop = _span_ft(block, strip)
    lanes = [s.center_ft for s in block.segment.lanes(strip.direction)]
    if stop - start < _ROOM_FT or not lanes:
        return None
    toward = min(lanes, key=lambda c: abs(c - strip.center_ft))
    edge = strip.left_ft if toward < strip.center_ft else strip.right_ft
    solid = [
        _gap_ft(leg, p)
        for p in lines_of(block.segment, strip, laid)
        if abs(p.offset_ft - edge) < _EDGE_FT and max(q.long_ft for q in p.parts) > 15.0
    ]
    return (min(solid), leg) if solid else None


def _dotted(block: Block, strip: Strip, laid: LaidOut) -> str | None:
    found = _dotted_from(block, strip, laid)
    if found is None or found[0] > 2.0 + _SKEW_FT:
        return None
    return "its line is solid up to the intersection"


def _dotted_range(block: Block, strip: Strip, laid: LaidOut) -> str | None:
    found = _dotted_from(block, strip, laid)
    if found is None or 50.0 - _SKEW_FT <= found[0] <= 200.0 + _SKEW_FT:
        return None
    return f"its line is solid up to {max(0.0, found[0]):.0f} ft before the intersection"


def _dotted_long(block: Block, strip: Strip, laid: LaidOut) -> str | None:
    segment = block.segment
    if segment.length_ft < _LONG_BLOCK_FT and segment.speed_mph <= _FAST_MPH:
        return None
    found = _dotted_from(block, strip, laid)
    if found is None or found[0] >= 200.0 - _SKEW_FT:
        return None
    return f"its line is solid up to {max(0.0, found[0]):.0f} ft before the intersection"


def _near(leg: Leg, strip: Strip, laid: LaidOut) -> float | None:
    """Nearest marking of a lane to the end of an approach."""
    own = lines_of(leg.segment, strip, laid) + figures_of(leg.segment, strip, laid)
    return min((_gap_ft(leg, p) for p in own), default=None)


def _before_turn(block: Block, strip: Strip, laid: LaidOut, least_ft: float) -> str | None:
    leg = _ahead(block, strip)
    if leg is None or leg.circular or not is_crossed(leg, _leg_offset(leg, strip)):
        return None
    near = _near(leg, strip, laid)
    return None if near is None or near >= least_ft - 1.0 else f"goes on to {near:.0f} ft before"


def _drop(block: Block, strip: Strip, laid: LaidOut) -> str | None:
    return _before_turn(block, strip, laid, 100.0)


def _beside_turn(block: Block, strip: Strip, laid: LaidOut) -> str | None:
    return _before_turn(block, strip, laid, 25.0)


def _roundabout(block: Block, strip: Strip, laid: LaidOut) -> str | None:
    leg = _ahead(block, strip)
    near = _near(leg, strip, laid) if leg is not None and leg.circular else None
    return None if near is None or near >= 99.0 else f"goes on to {near:.0f} ft before"


def _separation(block: Block, strip: Strip, laid: LaidOut) -> str | None:
    """What parts a lane from traffic that comes toward its cyclists."""
    segment = block.segment
    strips, k = segment.strips, segment.strips.index(strip)
    side = segment.bike[1 if strip.center_ft > 0 else 0]
    if side != "contraflow" or traffic_way(strips, k) == strip.direction:
        return None
    step = -1 if traffic_edge(strips, strip) == strip.left_ft else 1
    beside = strips[k + step].kind if 0 <= k + step < len(strips) else "shoulder"
    if not lines_of(segment, strip, laid) + figures_of(segment, strip, laid):
        return None
    if beside in ("buffer", "median", "parking"):
        return None
    if segment.speed_mph > _SLOW_MPH + 1.0:
        return f"no buffer at {segment.speed_mph:.0f} mph"
    lines = [p for p in lines_of(segment, strip, laid) if p.color == "yellow"]
    return None if any(len(p.parts) >= 2 for p in lines) else "no double yellow line"


def _buffer_width(block: Block, laid: LaidOut) -> str | None:
    """Buffers at least three times as wide as their lines."""
    for strip in block.segment.strips:
        lines = lines_of(block.segment, strip, laid) if strip.kind == "buffer" else []
        widest = max((q.short_ft for p in lines for q in p.parts), default=0.0)
        if strip.width_ft < 3.0 * widest - 0.01:
            return f"a buffer of {strip.width_ft:.1f} ft with lines of {widest * 12:.0f} in"
    return None


def _in_shoulder(paint: Paint, laid: LaidOut) -> str | None:
    del laid
    if paint.segment is None or max(p.long_ft for p in paint.parts) > 15.0:
        return None
    at = [s.kind for s in paint.segment.strips
          if s.left_ft + _EDGE_FT < paint.offset_ft < s.right_ft - _EDGE_FT]  # fmt: skip
    return "stands in a shoulder" if at[:1] == ["shoulder"] else None


def _lanes(test: Callable[[Block, Strip, LaidOut], str | None]) -> Callable[..., str | None]:
    """The first breach of the bike lanes of a block."""

    def ask(block: Block, laid: LaidOut) -> str | None:
        for _, strip in bike_lanes(block.segment):
            wrong = test(block, strip, laid) if block.segment.paved else None
            if wrong:
                return f"bike lane at {strip.center_ft:+.1f} ft: {wrong}"
        return None

    return ask


CHECKS = (
    Check("BIKE-01", "a bike lane has a line and a symbol or words", _lanes(_whole), on="block"),
    Check("BIKE-02", "the first symbol at the beginning", _lanes(_first), on="block"),
    Check("BIKE-03", "a symbol after an intersection", _lanes(_first), on="block"),
    Check("BIKE-05", "no bicycle symbol or arrow in a shoulder", _in_shoulder, _KINDS),
    Check("BIKE-06", "a symbol or words beyond every intersection", _lanes(_first), on="block"),
    Check("BIKE-10", "dotted 50 to 200 ft before an intersection", _lanes(_dotted_range),
          on="block"),
    Check("BIKE-12", "dotted for 200 ft on long blocks or above 35 mph", _lanes(_dotted_long),
          on="block"),
    Check("BIKE-13", "dotted where traffic may turn across", _lanes(_dotted), on="block"),
    Check("BIKE-16", "ends 100 ft before a lane that must turn", _lanes(_drop), on="block"),
    Check("BIKE-17", "ends 100 ft before a roundabout", _lanes(_roundabout), on="block"),
    Check("BIKE-19", "none outside of a lane that must turn", _lanes(_beside_turn), on="block"),
    Check("BIKE-20", "symbol and arrow in a lane between lanes", _lanes(_between), on="block"),
    Check("BIKE-23", "4 ft between lanes, 6 ft above 40 mph", _lanes(_through_space), on="block"),
    Check("BIKE-24", "at least 5 ft wide", _lanes(_wide), on="block"),
    width_check("BIKE-25", _KINDS, 0.5, 8.0 / 12.0, _LINES),
    Check("BIKE-32", "parted from traffic that comes toward it", _lanes(_separation), on="block"),
    Check("BUFFER-01", "buffers three times as wide as their lines", _buffer_width, on="block"),
    Check("BUFFER-11", "an arrow after the symbol of a separated lane", _lanes(_separated_arrow),
          on="block"),
)  # fmt: skip

"""Bike lane: its lines, those of its buffer, and the bicycle symbol with an arrow after it.

MUTCD 11th edition 9E.01: a line and a symbol make the lane (BIKE-01), the first symbol stands at
its beginning (BIKE-02) and is repeated after major intersections (BIKE-03); the distance between
is the agency's. What parts cyclists from traffic that comes toward them is yellow (LINE-15): a
double line beside a contraflow lane (BIKE-32), two of them in a buffer (CHAN-02), a broken line in
the middle of a track for both directions. Not drawn yet: what fills a buffer.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from layoutgen.config import choice, length
from layoutgen.markings.bike_ends import Gaps, bike_ends, traffic_way
from layoutgen.markings.checks.bike import LANE_CHECKS
from layoutgen.markings.marking import (
    FigureShape,
    Frame,
    LineShape,
    Marking,
    Rule,
    RuleParams,
    Stroke,
)
from layoutgen.markings.spacing import Spacing, spread
from layoutgen.street.design import Block, Strip

_SYMBOL_FT = 6.0  # BIKE-07, 72 in
_ARROW_FT = 6.0  # BIKE-07, 72 in

_REASONS = {
    "parking": "bike lane on this side; line toward parking",
    "traffic": "bike lane on this side; line toward traffic",
    "buffer": "bike lane on this side; line toward its buffer",
    "outer_buffer": "buffer beside a bike lane; line on its other side",
    "opposing": "bike lane against the traffic beside it; line toward traffic",
    "track": "track for both directions; line between them",
}
#: rows behind the yellow lines
_YELLOW = {
    "opposing": ("BIKE-32", "LINE-15", "LINE-03", "CHAN-02"),
    "track": ("LINE-15", "LINE-20"),
}


class Params(RuleParams):
    line_width_ft: float = length(
        "6 in", low="4 in", high="8 in", source="BIKE-25", text="line on the traffic side"
    )
    parking_line_width_ft: float = length(
        "4 in", low="4 in", high="6 in", source="LINE-01", text="line on the parking side"
    )
    opposing_line_width_ft: float = length(
        "4 in",
        low="4 in",
        high="6 in",
        source="LINE-01",
        text="yellow lines toward cyclists or traffic of the other direction",
    )
    double_gap_ft: float = length(
        "4 in",
        low="3 in",
        high="12 in",
        source="LINE-03",
        text="between the two lines of a double line",
    )
    track_painted_ft: float = length(
        "3 ft",
        low="1 ft",
        high="10 ft",
        source="LINE-20",
        text="painted part of the broken line in the middle of a track for both directions",
    )
    track_gap_ft: float = length("9 ft", low="3 ft", high="30 ft", source="LINE-20", text="its gap")
    parking_line: bool = choice(
        True, source="common practice", text="also mark the side toward parked cars"
    )
    arrow: bool = choice(True, source="BIKE-04", text="an arrow after each symbol")
    symbol_gap_ft: float = length(
        "6 ft", low="2 ft", high="20 ft", source="BIKE-07", text="from symbol to arrow"
    )
    first_ft: float = length(
        "20 ft",
        low="0 ft",
        high="200 ft",
        source="BIKE-02",
        text="from the beginning of the line to the first symbol",
    )
    spacing_ft: float = length(
        "250 ft",
        low="50 ft",
        high="2000 ft",
        source="BIKE-03 gives no number; common practice",
        text="largest distance between symbols; they are spread evenly",
    )
    last_gap_ft: float = length(
        "50 ft",
        low="0 ft",
        high="500 ft",
        source="common practice",
        text="no symbol nearer than this to the end of the line",
    )
    turn_gap_ft: float = length(
        "100 ft",
        low="100 ft",
        high="500 ft",
        source="BIKE-16",
        text="the lane's markings end this far before the stop line beside a lane that must turn "
        "across it (BIKE-19)",
    )
    roundabout_gap_ft: float = length(
        "100 ft",
        low="100 ft",
        high="500 ft",
        source="BIKE-17",
        text="the lane's markings end this far before a roundabout",
    )
    shortest_ft: float = length(
        "20 ft",
        low="0 ft",
        high="200 ft",
        source="common practice",
        text="shorter stretches are left unmarked",
    )


def mark(block: Block, params: Params) -> Iterator[Marking]:
    strips = block.segment.strips
    for k, strip in enumerate(strips):
        if strip.kind != "bike_lane" or block.segment.roundabout:
            continue
        start, stop = _ends(block, strip, (strip.center_ft, strip.width_ft), params)
        if stop - start < params.shortest_ft:
            continue
        yield from _lines(block, k, params)
        yield from _symbols(block, strip, (start, stop), params)


def symbol_stations(length_ft: float, params: Params, fresh: bool) -> list[float]:
    """Distances of the symbols from the beginning of a lane.

    The first stands `first_ft` in where the lane begins or comes from an intersection (fresh),
    else half a spacing in; the rest are spread evenly, none farther apart than `spacing_ft`, and
    the last keeps `last_gap_ft` to the end where the length allows more than one.
    """
    first = params.first_ft if fresh else params.spacing_ft / 2
    unit = _SYMBOL_FT + (params.symbol_gap_ft + _ARROW_FT if params.arrow else 0.0)
    return spread(length_ft, Spacing(first, params.spacing_ft, params.last_gap_ft, unit, fresh))


def _ends(
    block: Block, strip: Strip, part: tuple[float, float], params: Params
) -> tuple[float, float]:
    """Segment stations between which a part of the lane (offset, width) is marked."""
    return bike_ends(block, strip, part, Gaps(params.turn_gap_ft, params.roundabout_gap_ft))


def _lines(block: Block, k: int, params: Params) -> Iterator[Marking]:
    """Lines on the sides of the lane that are not the curb."""
    strips = block.segment.strips
    opposed = traffic_way(strips, k) == -strips[k].direction
    for step, edge in ((-1, strips[k].left_ft), (1, strips[k].right_ft)):
        beside = strips[k + step] if 0 <= k + step < len(strips) else None
        kind = beside.kind if beside else "shoulder"
        if beside is None or kind == "shoulder":
            continue
        if kind == "parking":
            if params.parking_line:
                stroke = Stroke(edge, params.parking_line_width_ft)
                yield _line(block, k, (stroke,), "parking", params)
        elif kind == "bike_lane":
            if step == 1:
                yield _line(block, k, (_track_middle(edge, params),), "track", params)
        elif opposed and not (kind == "buffer" and _is_parked(strips, k + 2 * step)):
            yield from _opposed_lines(block, k, (beside, step), params)
        elif kind == "buffer":
            for at, side in ((edge, "buffer"), (edge + step * beside.width_ft, "outer_buffer")):
                yield _line(block, k, (Stroke(at, params.line_width_ft),), side, params)
        else:
            yield _line(block, k, (Stroke(edge, params.line_width_ft),), "traffic", params)


def _is_parked(strips: Sequence[Strip], k: int) -> bool:
    """Whether parked cars stand behind the buffer, so that no traffic comes toward the cyclists."""
    return 0 <= k < len(strips) and strips[k].kind == "parking"


def _track_middle(offset_ft: float, params: Params) -> Stroke:
    return Stroke(
        offset_ft, params.opposing_line_width_ft, params.track_painted_ft, params.track_gap_ft
    )


def _opposed_lines(
    block: Block, k: int, beside: tuple[Strip, int], params: Params
) -> Iterator[Marking]:
    """Double yellow line toward traffic that comes toward the cyclists, or one on either side of
    the buffer between, if it has room for two."""
    strip, step = block.segment.strips[k], beside[1]
    edge = strip.right_ft if step == 1 else strip.left_ft
    width, gap = params.opposing_line_width_ft, params.double_gap_ft
    room = beside[0].width_ft
    shift, half = (width + gap) / 2, width + gap / 2
    middles = [edge]
    if beside[0].kind == "buffer":
        is_wide = room >= 2 * (2 * half + gap)
        middles = [edge + step * half] + [edge + step * (room - half)] * int(is_wide)
    for middle in middles:
        pair = tuple(Stroke(middle + d, width) for d in (-shift, shift))
        yield _line(block, k, pair, "opposing", params)


def _line(block: Block, k: int, strokes: tuple[Stroke, ...], side: str, params: Params) -> Marking:
    """One line beside the lane, from where its markings begin to where they end."""
    strips = block.segment.strips
    offsets, width = [s.offset_ft for s in strokes], strokes[0].width_ft
    middle, spread = sum(offsets) / len(offsets), max(offsets) - min(offsets) + width
    ends = _ends(block, strips[k], (middle, spread), params)
    yellow = _YELLOW.get(side, ())
    return Marking(
        kind="bike_lane",
        frame=Frame(block.segment),
        shape=LineShape(*ends, strokes),
        color="yellow" if yellow else "white",
        travel=traffic_way(strips, k),
        anchor=block.segment.segment_id,
        station_ft=sum(ends) / 2,
        offset_ft=middle,
        width_ft=width,
        style=f"{side}_line",
        reason=_REASONS[side],
        sources=yellow or ("BIKE-01", "LINE-16"),
        tag="line",
        priority=70,
    )


def _symbols(
    block: Block, strip: Strip, ends: tuple[float, float], params: Params
) -> Iterator[Marking]:
    way = strip.direction
    behind = block.start_leg if way == 1 else block.end_leg
    fresh = behind is not None or _begins_here(block, strip)
    origin = ends[0] if way == 1 else ends[1]
    for number, s in enumerate(symbol_stations(ends[1] - ends[0], params, fresh)):
        why = "first symbol of the lane" if fresh and not number else "repeated by spacing"
        yield _figure(block, strip, ("bike_symbol", "symbol"), origin + way * s, why)
        if params.arrow:
            at = s + _SYMBOL_FT + params.symbol_gap_ft
            yield _figure(block, strip, ("bike_arrow", "arrow"), origin + way * at, why)


def _begins_here(block: Block, strip: Strip) -> bool:
    """Whether no lane of the same way and side leads into this one beyond the block's end."""
    behind = block.before if strip.direction == 1 else block.after
    return not any(
        s.kind == "bike_lane"
        and s.direction == strip.direction
        and (s.center_ft > 0) == (strip.center_ft > 0)
        for s in behind
    )


def _figure(
    block: Block, strip: Strip, figure: tuple[str, str], station: float, why: str
) -> Marking:
    name, tag = figure
    return Marking(
        kind="bike_lane",
        frame=Frame(block.segment),
        shape=FigureShape(name, station, strip.center_ft, strip.direction),
        color="white",
        travel=traffic_way(block.segment.strips, block.segment.strips.index(strip)),
        anchor=block.segment.segment_id,
        station_ft=station,
        offset_ft=strip.center_ft,
        width_ft=40.0 / 12.0 if tag == "symbol" else 2.0,
        style=tag,
        reason=f"bike lane, {why}",
        sources=("BIKE-01", "BIKE-02", "BIKE-03", "BIKE-07"),
        tag=tag,
        priority=40,
    )


RULE = Rule(on="block", params=Params, mark=mark, checks=LANE_CHECKS)

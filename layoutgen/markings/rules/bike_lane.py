"""Bike lane: its lines, those of its buffer, and the bicycle symbol with an arrow after it.

MUTCD 11th edition 9E.01: a line and a symbol or words make the lane (BIKE-01), the first symbol
stands at its beginning (BIKE-02) and is repeated after major intersections (BIKE-03); the distance
between is the agency's. Before an intersection the line is dotted where turning traffic crosses the
lane (9E.02, BIKE-13). What parts cyclists from traffic that comes toward them is yellow (LINE-15):
a double line beside a contraflow lane (BIKE-32), two of them in a buffer (CHAN-02), a broken line
in the middle of a track for both directions.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from layoutgen.config import choice, length
from layoutgen.markings.bike_ends import (
    Gaps,
    bike_ends,
    crossed_end,
    needs_arrow,
    traffic_way,
)
from layoutgen.markings.checks.bike_lane import CHECKS
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
#: lines that traffic crosses where it turns
_DOTTED = ("traffic", "buffer", "outer_buffer")
#: room that words leave to the sides of the lane, together
_SIDES_FT = 1.0
#: how far a symbol that meets other paint may be moved, with what belongs to it
_SHIFT_FT = 20.0
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
    dotted_ft: float = length(
        "50 ft",
        low="0 ft",
        high="200 ft",
        source="BIKE-13 gives no length; BIKE-15",
        text="the line toward traffic is dotted this far before an intersection where turning "
        "traffic may cross the lane; 0 = solid to its end",
    )
    dot_ft: float = length(
        "2 ft", low="2 ft", high="3 ft", source="BIKE-14", text="piece of the dotted line"
    )
    dot_gap_ft: float = length(
        "6 ft", low="2 ft", high="9 ft", source="BIKE-14", text="gap of the dotted line"
    )
    parking_line: bool = choice(
        True, source="common practice", text="also mark the side toward parked cars"
    )
    legend: Literal["symbol", "words"] = choice(
        "symbol", source="BIKE-01", text="a bicycle, or BIKE LANE with the first word nearest"
    )
    letter_ft: float = length(
        "6 ft", low="44 in", high="72 in", source="BIKE-08", text="height of the letters"
    )
    arrow: bool = choice(
        True,
        source="BIKE-04",
        text="an arrow after each symbol; separated lanes and lanes between general lanes always "
        "have it (BUFFER-11, BIKE-20)",
    )
    symbol_gap_ft: float = length(
        "6 ft", low="2 ft", high="20 ft", source="BIKE-07", text="from symbol or word to the next"
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


def symbol_stations(
    length_ft: float, params: Params, fresh: bool, unit_ft: float | None = None
) -> list[float]:
    """Distances of the symbols from the beginning of a lane.

    The first stands `first_ft` in where the lane begins or comes from an intersection (fresh),
    else half a spacing in; the rest are spread evenly, none farther apart than `spacing_ft`, and
    the last keeps `last_gap_ft` to the end where the length allows more than one. `unit_ft` is the
    length of a symbol with all that belongs to it.
    """
    first = params.first_ft if fresh else params.spacing_ft / 2
    unit = unit_ft or group_length(legend(params, arrow=params.arrow))
    return spread(length_ft, Spacing(first, params.spacing_ft, params.last_gap_ft, unit, fresh))


@dataclass(frozen=True)
class Part:
    """A figure or word of a group, `at_ft` beyond the group's near edge."""

    tag: str
    figure: str
    text: str
    at_ft: float
    length_ft: float


def legend(params: Params, *, arrow: bool) -> list[Part]:
    """What repeats along a lane, in the order cyclists meet it."""
    wanted = [("symbol", "bike_symbol", "", _SYMBOL_FT)]
    if params.legend == "words":
        wanted = [("word", "", text, params.letter_ft) for text in ("BIKE", "LANE")]
    if arrow:
        wanted.append(("arrow", "bike_arrow", "", _ARROW_FT))
    out: list[Part] = []
    for tag, name, text, long in wanted:
        at = out[-1].at_ft + out[-1].length_ft + params.symbol_gap_ft if out else 0.0
        out.append(Part(tag, name, text, at, long))
    return out


def group_length(parts: Sequence[Part]) -> float:
    """From the near edge of the first to the far edge of the last."""
    return parts[-1].at_ft + parts[-1].length_ft


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
                yield from _line(block, k, (stroke,), "parking", params)
        elif kind == "bike_lane":
            if step == 1:
                yield from _line(block, k, (_track_middle(edge, params),), "track", params)
        elif opposed and not (kind == "buffer" and _is_parked(strips, k + 2 * step)):
            yield from _opposed_lines(block, k, (beside, step), params)
        elif kind == "buffer":
            for at, side in ((edge, "buffer"), (edge + step * beside.width_ft, "outer_buffer")):
                yield from _line(block, k, (Stroke(at, params.line_width_ft),), side, params)
        else:
            yield from _line(block, k, (Stroke(edge, params.line_width_ft),), "traffic", params)


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
        yield from _line(block, k, pair, "opposing", params)


def _line(
    block: Block, k: int, strokes: tuple[Stroke, ...], side: str, params: Params
) -> Iterator[Marking]:
    """One line beside the lane, from where its markings begin to where they end.

    Toward traffic that may turn across the lane, its end is dotted.
    """
    strips = block.segment.strips
    offsets, width = [s.offset_ft for s in strokes], strokes[0].width_ft
    middle, spread = sum(offsets) / len(offsets), max(offsets) - min(offsets) + width
    start, stop = _ends(block, strips[k], (middle, spread), params)
    gaps = Gaps(params.turn_gap_ft, params.roundabout_gap_ft)
    wanted = params.dotted_ft if side in _DOTTED else 0.0
    crossed = crossed_end(block, strips[k], gaps, wanted)
    solid, rest = (start, stop), (stop, stop)
    if crossed and strips[k].direction == 1:
        solid, rest = (start, crossed[0]), (crossed[0], min(stop, crossed[1]))
    elif crossed:
        solid, rest = (crossed[1], stop), (max(start, crossed[0]), crossed[1])
    if solid[1] - solid[0] >= (params.shortest_ft if crossed else 0.01):
        yield _stretch(block, k, LineShape(*solid, strokes), side)
    if rest[1] - rest[0] > 0.01:
        dots = tuple(
            Stroke(s.offset_ft, s.width_ft, params.dot_ft, params.dot_gap_ft) for s in strokes
        )
        yield _stretch(block, k, LineShape(*rest, dots), side, dotted=True)


def _stretch(block: Block, k: int, shape: LineShape, side: str, *, dotted: bool = False) -> Marking:
    strips = block.segment.strips
    yellow = _YELLOW.get(side, ())
    why = "; dotted, because traffic may turn across it" if dotted else ""
    return Marking(
        kind="bike_lane",
        frame=Frame(block.segment),
        shape=shape,
        color="yellow" if yellow else "white",
        travel=traffic_way(strips, k),
        anchor=block.segment.segment_id,
        station_ft=(shape.start_ft + shape.stop_ft) / 2,
        offset_ft=sum(s.offset_ft for s in shape.strokes) / len(shape.strokes),
        width_ft=shape.strokes[0].width_ft,
        style=f"{side}_dotted" if dotted else f"{side}_line",
        reason=_REASONS[side] + why,
        sources=("BIKE-13", "BIKE-14") if dotted else yellow or ("BIKE-01", "LINE-16"),
        tag="dotted" if dotted else "line",
        priority=70,
    )


def _symbols(
    block: Block, strip: Strip, ends: tuple[float, float], params: Params
) -> Iterator[Marking]:
    way = strip.direction
    behind = block.start_leg if way == 1 else block.end_leg
    fresh = behind is not None or _begins_here(block, strip)
    origin = ends[0] if way == 1 else ends[1]
    parts = legend(params, arrow=params.arrow or needs_arrow(block.segment, strip))
    long = group_length(parts)
    for number, s in enumerate(symbol_stations(ends[1] - ends[0], params, fresh, long)):
        why = "first symbol of the lane" if fresh and not number else "repeated by spacing"
        name = f"{strip.center_ft:.1f}/{number}"
        for part in parts:
            made = _figure(block, strip, part, origin + way * (s + part.at_ft), why)
            yield replace(made, group=name, shift_ft=_SHIFT_FT)


def _begins_here(block: Block, strip: Strip) -> bool:
    """Whether no lane of the same way and side leads into this one beyond the block's end."""
    behind = block.before if strip.direction == 1 else block.after
    return not any(
        s.kind == "bike_lane"
        and s.direction == strip.direction
        and (s.center_ft > 0) == (strip.center_ft > 0)
        for s in behind
    )


def _figure(block: Block, strip: Strip, part: Part, station: float, why: str) -> Marking:
    width = {"symbol": 40.0 / 12.0, "arrow": 2.0}.get(part.tag, strip.width_ft - _SIDES_FT)
    shape = FigureShape(part.figure, station, strip.center_ft, strip.direction)
    if part.text:
        shape = replace(shape, text=part.text, height_ft=part.length_ft, width_ft=width)
    return Marking(
        kind="bike_lane",
        frame=Frame(block.segment),
        shape=shape,
        color="white",
        travel=traffic_way(block.segment.strips, block.segment.strips.index(strip)),
        anchor=block.segment.segment_id,
        station_ft=station,
        offset_ft=strip.center_ft,
        width_ft=width,
        style=part.text or part.tag,
        reason=f"bike lane, {why}",
        sources=("BIKE-01", "BIKE-08")
        if part.text
        else ("BIKE-01", "BIKE-02", "BIKE-03", "BIKE-07"),
        tag=part.tag,
        priority=40,
    )


RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

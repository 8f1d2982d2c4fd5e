"""Preferential lane: the diamond or the words of a lane for buses, carpools or taxis, and its line.

MUTCD 11th edition 3E.02, 3E.03: the symbol stands in the middle of the lane (HOV-05), a diamond
of lines (HOV-01 to HOV-03) in carpool lanes, words in the others (HOV-04). A wide solid line parts
it from the next lane, dotted where a turn across it is let in.
"""

from __future__ import annotations

from collections.abc import Iterator

from layoutgen.config import choice, length
from layoutgen.markings.conformity import Check, LaidOut, Paint, color_check, within
from layoutgen.markings.marking import (
    FigureShape,
    Frame,
    LineShape,
    Marking,
    Rule,
    RuleParams,
    Stroke,
)
from layoutgen.markings.preferential import OwnLane, own_lanes
from layoutgen.markings.spacing import Spacing, spread
from layoutgen.street.design import Block

_DIAMOND = "lane_diamond"
_WORDS = {"bus": ("BUS", "ONLY"), "taxi": ("TAXI", "ONLY"), "hov": ("HOV",)}
_FOR = {"bus": "buses", "taxi": "taxis", "hov": "vehicles with several people"}


class Params(RuleParams):
    hov_words: bool = choice(
        False, source="HOV-04", text="the word HOV instead of the diamond in carpool lanes"
    )
    first_ft: float = length(
        "50 ft",
        low="10 ft",
        high="500 ft",
        source="common practice",
        text="from the beginning of the lane to its first symbol",
    )
    spacing_ft: float = length(
        "500 ft",
        low="80 ft",
        high="2640 ft",
        source="common practice",
        text="largest distance between symbols; they are spread evenly",
    )
    last_gap_ft: float = length(
        "50 ft",
        low="0 ft",
        high="500 ft",
        source="common practice",
        text="no symbol nearer than this to the end of the lane",
    )
    word_height_ft: float = length(
        "8 ft", low="6 ft", high="12 ft", source="WORD-01", text="letters"
    )
    word_gap_ft: float = length(
        "32 ft", low="24 ft", high="80 ft", source="WORD-03", text="between two words"
    )
    word_margin_ft: float = length(
        "1 ft",
        low="6 in",
        high="3 ft",
        source="common practice",
        text="least distance of a word to the edges of its lane",
    )
    line_width_ft: float = length(
        "8 in", low="8 in", high="12 in", source="LINE-02", text="wide line to the next lane"
    )
    open_ft: float = length(
        "100 ft",
        low="0 ft",
        high="500 ft",
        source="common practice",
        text="dotted part of that line before an intersection, where turning traffic enters",
    )
    dot_ft: float = length("3 ft", low="1 ft", high="6 ft", source="LINE-06", text="its dots")
    dot_gap_ft: float = length("9 ft", low="3 ft", high="18 ft", source="LINE-07", text="its gaps")
    shortest_ft: float = length(
        "30 ft",
        low="0 ft",
        high="300 ft",
        source="common practice",
        text="shorter lanes are left unmarked",
    )


def mark(block: Block, params: Params) -> Iterator[Marking]:
    if not any(block.segment.lane_use):
        return
    for lane in own_lanes(block):
        if lane.ends[1] - lane.ends[0] >= params.shortest_ft:
            yield from _lines(block, lane, params)
            yield from _symbols(block, lane, params)


def _lines(block: Block, lane: OwnLane, params: Params) -> Iterator[Marking]:
    """Solid line to the next lane, dotted before an intersection ahead."""
    if lane.shared_ft is None:
        return
    way = lane.strip.direction
    ahead = block.end_leg if way == 1 else block.start_leg
    dotted = min(params.open_ft, lane.ends[1] - lane.ends[0]) if ahead is not None else 0.0
    start, stop = lane.ends
    split = stop - dotted if way == 1 else start + dotted
    solid = (start, split) if way == 1 else (split, stop)
    broken = (split, stop) if way == 1 else (start, split)
    width, at = params.line_width_ft, lane.shared_ft
    parts = ((solid, Stroke(at, width), "solid"),
             (broken, Stroke(at, width, params.dot_ft, params.dot_gap_ft), "dotted"))  # fmt: skip
    for span, stroke, style in parts:
        if span[1] - span[0] > 1.0:
            shape = LineShape(*span, (stroke,))
            yield _marking(block, lane, shape, (sum(span) / 2, at), (style, "line"))


def _symbols(block: Block, lane: OwnLane, params: Params) -> Iterator[Marking]:
    """Diamonds, or words in the order a driver meets them."""
    way, strip = lane.strip.direction, lane.strip
    words = () if lane.use == "hov" and not params.hov_words else _WORDS[lane.use]
    figure = params.figure(_DIAMOND)
    size = params.word_height_ft
    gaps = max(0, len(words) - 1) * params.word_gap_ft
    unit = len(words) * size + gaps if words else figure.length_ft
    rule = Spacing(params.first_ft, params.spacing_ft, params.last_gap_ft, unit)
    room = min(strip.width_ft - 2 * params.word_margin_ft, size)
    for number, place in enumerate(spread(lane.ends[1] - lane.ends[0], rule)):
        group = f"{lane.use}{lane.side}-{number}"
        if not words:
            at = lane.start_ft + way * place
            shape = FigureShape(_DIAMOND, at, strip.center_ft, way, drawing=figure)
            yield _marking(block, lane, shape, (at, strip.center_ft), ("diamond", group))
        for k, text in enumerate(words):
            at = lane.start_ft + way * (place + k * (size + params.word_gap_ft))
            shape = FigureShape("", at, strip.center_ft, way, text, size, room)
            yield _marking(block, lane, shape, (at, strip.center_ft), (text, group))


def _marking(
    block: Block,
    lane: OwnLane,
    shape: FigureShape | LineShape,
    place: tuple[float, float],
    what: tuple[str, str],
) -> Marking:
    style, group = what
    line = isinstance(shape, LineShape)
    word = isinstance(shape, FigureShape) and bool(shape.text)
    return Marking(
        kind="word" if word else "preferential_lane",
        frame=Frame(block.segment),
        shape=shape,
        color="white",
        travel=lane.strip.direction,
        anchor=block.segment.segment_id,
        station_ft=place[0],
        offset_ft=place[1],
        width_ft=_width(shape),
        style=style,
        reason=f"this lane is for {_FOR[lane.use]}",
        sources=_sources(style, line=line, word=word),
        tag=f"{lane.use}-line" if line else lane.use,
        priority=75 if line else 50,
        shift_ft=0.0 if line else 60.0,
        clear_ft=0.0 if line else 20.0,
        group="" if line else group,
    )


def _width(shape: FigureShape | LineShape) -> float:
    if isinstance(shape, LineShape):
        return shape.strokes[0].width_ft
    return shape.drawing.width_ft if shape.drawing else shape.width_ft


def _sources(style: str, *, line: bool, word: bool) -> tuple[str, ...]:
    if line:
        return ("LINE-02", "LINE-16") + (("LINE-06", "LINE-07") if style == "dotted" else ())
    return ("HOV-04", "HOV-05", "WORD-01") if word else ("HOV-01", "HOV-02", "HOV-03", "HOV-05")


def _diamond_width(paint: Paint, _: LaidOut) -> str | None:
    wide = paint.extent_ft[1]
    return None if within(wide, 2.5, 20.0) else f"{wide:.2f} ft wide"


def _diamond_length(paint: Paint, _: LaidOut) -> str | None:
    long = paint.extent_ft[0]
    return None if within(long, 12.0, 60.0) else f"{long:.2f} ft long"


def _diamond_stroke(paint: Paint, _: LaidOut) -> str | None:
    """Mean width of its lines: paint over the length of the middle lines of its four sides."""
    long, wide = paint.extent_ft
    side = (long**2 + wide**2) ** 0.5 / 2
    # four sides of stroke t on an outline l by w: area = 4 (side t) - corners shared, nearly
    stroke = paint.shape.area / (4 * side) * (1 + paint.shape.area / (long * wide))
    return None if stroke >= 0.5 - 0.02 else f"lines of {stroke * 12:.1f} in"


def _centered(paint: Paint, _: LaidOut) -> str | None:
    if paint.segment is None:
        return None
    lanes = [s for s in paint.segment.strips if s.kind == "travel_lane"]
    off = min((abs(s.center_ft - paint.offset_ft) for s in lanes), default=0.0)
    return f"{off:.1f} ft beside the middle of its lane" if off > 1.0 else None


_KINDS = ("preferential_lane",)
CHECKS = (
    Check("HOV-01", "diamond at least 2.5 ft wide", _diamond_width, _KINDS, ("diamond",)),
    Check("HOV-02", "diamond at least 12 ft long", _diamond_length, _KINDS, ("diamond",)),
    Check("HOV-03", "diamond of lines at least 6 in wide", _diamond_stroke, _KINDS, ("diamond",)),
    Check("HOV-05", "in the middle of the lane", _centered, _KINDS, ("diamond",)),
    color_check("LINE-16", _KINDS, ["white"]),
)
RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

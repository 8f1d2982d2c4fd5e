"""Preferential lane: the diamond or the words of a lane for buses, carpools or taxis, and its line.

MUTCD 11th edition 3E.02, 3E.03: the symbol stands in the middle of the lane (HOV-05), a diamond
of lines (HOV-01 to HOV-03) in carpool lanes, words in the others (HOV-04), with a bicycle where
those may use it too. A wide line parts it from the next lane: solid where crossing is discouraged,
double where it is prohibited, broken where it is let; dotted before an intersection where traffic
turns to the side of the lane.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Literal

from layoutgen.config import choice, length
from layoutgen.markings.checks.preferential_lane import CHECKS
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
from layoutgen.street.design import Block, Leg

_DIAMOND = "lane_diamond"
#: distance to other figures; to those of a lane beside that has its own (ft)
_CLEAR_FT, _BESIDE_FT = 20.0, 0.5
_BICYCLE = "bike_symbol"
_WORDS = {
    "bus": ("BUS", "ONLY"),
    "taxi": ("TAXI", "ONLY"),
    "hov": ("HOV",),
    "bike_bus": ("BUS", "ONLY"),
}
_FOR = {
    "bus": "buses",
    "taxi": "taxis",
    "hov": "vehicles with several people",
    "bike_bus": "buses and bicycles",
}


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
    line: Literal["solid", "double_solid", "broken"] = choice(
        "solid",
        source="LINE-16",
        text="line to the next lane: crossing is discouraged, prohibited, or let",
    )
    broken_painted_ft: float = length(
        "10 ft", low="5 ft", high="20 ft", source="LINE-04", text="piece of a broken line"
    )
    broken_gap_ft: float = length(
        "30 ft", low="10 ft", high="60 ft", source="LINE-05", text="gap of a broken line"
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
    """Line to the next lane, dotted before an intersection ahead."""
    if lane.shared_ft is None:
        return
    way = lane.strip.direction
    ahead = block.end_leg if way == 1 else block.start_leg
    dotted = min(params.open_ft, lane.ends[1] - lane.ends[0]) if _turns(ahead, lane) else 0.0
    start, stop = lane.ends
    split = stop - dotted if way == 1 else start + dotted
    whole = (start, split) if way == 1 else (split, stop)
    last = (split, stop) if way == 1 else (start, split)
    dots = Stroke(lane.shared_ft, params.line_width_ft, params.dot_ft, params.dot_gap_ft)
    parts = ((whole, _strokes(lane.shared_ft, params), params.line), (last, (dots,), "dotted"))
    for span, strokes, style in parts:
        if span[1] - span[0] > 1.0:
            shape = LineShape(*span, strokes)
            yield _marking(block, lane, shape, (sum(span) / 2, lane.shared_ft), (style, "line"))


def _strokes(at_ft: float, params: Params) -> tuple[Stroke, ...]:
    """The line that parts the lane from the next one."""
    width = params.line_width_ft
    if params.line == "broken":
        return (Stroke(at_ft, width, params.broken_painted_ft, params.broken_gap_ft),)
    if params.line == "double_solid":
        return tuple(Stroke(at_ft + d, width) for d in (-width, width))
    return (Stroke(at_ft, width),)


def _turns(ahead: Leg | None, lane: OwnLane) -> bool:
    """Whether traffic of other lanes turns across this one at the intersection ahead."""
    side = "right" if lane.side * lane.strip.direction == 1 else "left"
    return ahead is not None and side in ahead.exits


def _symbols(block: Block, lane: OwnLane, params: Params) -> Iterator[Marking]:
    """Diamonds, or words in the order a driver meets them, a bicycle after them."""
    way, strip = lane.strip.direction, lane.strip
    pieces = _pieces(lane, params)
    sizes = [_length(shape) for shape in pieces]
    unit = sum(sizes) + (len(pieces) - 1) * params.word_gap_ft
    rule = Spacing(params.first_ft, params.spacing_ft, params.last_gap_ft, unit)
    for number, place in enumerate(spread(lane.ends[1] - lane.ends[0], rule)):
        group = f"{lane.use}{lane.side}-{number}"
        at = lane.start_ft + way * place
        for shape, size in zip(pieces, sizes, strict=True):
            own = replace(shape, upstream_ft=at)
            style = shape.text or ("bicycle" if shape.name == _BICYCLE else "diamond")
            yield _marking(block, lane, own, (at, strip.center_ft), (style, group))
            at += way * (size + params.word_gap_ft)


def _pieces(lane: OwnLane, params: Params) -> list[FigureShape]:
    """What stands in the lane at one place, upstream first, still without its station."""
    at, way = lane.strip.center_ft, lane.strip.direction
    if lane.use == "hov" and not params.hov_words:
        return [FigureShape(_DIAMOND, 0.0, at, way, drawing=params.figure(_DIAMOND))]
    size = params.word_height_ft
    room = min(lane.strip.width_ft - 2 * params.word_margin_ft, size)
    out = [FigureShape("", 0.0, at, way, text, size, room) for text in _WORDS[lane.use]]
    if lane.use == "bike_bus":
        out.append(FigureShape(_BICYCLE, 0.0, at, way, drawing=params.figure(_BICYCLE)))
    return out


def _length(shape: FigureShape) -> float:
    return shape.drawing.length_ft if shape.drawing else shape.height_ft


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
        clear_ft=0.0 if line else _BESIDE_FT if lane.paired else _CLEAR_FT,
        group="" if line else group,
    )


def _width(shape: FigureShape | LineShape) -> float:
    if isinstance(shape, LineShape):
        return shape.strokes[0].width_ft
    return shape.drawing.width_ft if shape.drawing else shape.width_ft


def _sources(style: str, *, line: bool, word: bool) -> tuple[str, ...]:
    if style == "bicycle":
        return ("HOV-04", "HOV-05", "BIKE-07")
    if line:
        return ("LINE-02", "LINE-16") + (("LINE-06", "LINE-07") if style == "dotted" else ())
    return ("HOV-04", "HOV-05", "WORD-01") if word else ("HOV-01", "HOV-02", "HOV-03", "HOV-05")


RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

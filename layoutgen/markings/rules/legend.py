"""Legend: words and figures at the places that role `legends` gives, in their lanes.

MUTCD 11th edition 3B.20 and 3B.21. The point is the middle of the message. Lines follow each other
as the driver meets them (WORD-06), up to three (WORD-02), four to ten letter heights apart
(WORD-03, WORD-04). What cannot be painted is told in findings.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal, cast, get_args

from layoutgen.config import choice
from layoutgen.markings.conformity import color_check
from layoutgen.markings.marking import Color, FigureShape, Frame, Marking, Rule
from layoutgen.markings.messages import (
    Label,
    Message,
    MessageParams,
    letter_height,
    line_gap,
    message_length,
    message_markings,
)
from layoutgen.markings.symbols import Figure, resized
from layoutgen.street.design import Block, Leg, Legend, Strip


class Params(MessageParams):
    point: Literal["middle", "first_line"] = choice(
        "middle",
        source="design",
        text="what the point of a legend is: the middle of the message, or of its first line",
    )


def mark(block: Block, params: Params) -> Iterator[Marking]:
    for legend in block.legends:
        for number, lane in _lanes(block, legend):
            if legend.figure:
                yield _figure(block, legend, (number, lane), params)
            else:
                yield from _words(block, legend, (number, lane), params)


def _lanes(block: Block, legend: Legend) -> list[tuple[int, Strip]]:
    """(number from the left of the driver, lane) of the lanes that a legend is for."""
    lanes = sorted(block.segment.lanes(legend.way), key=lambda s: s.center_ft * legend.way)
    numbered = list(enumerate(lanes, start=1))
    if legend.nearest:
        return [min(numbered, key=lambda p: abs(p[1].center_ft - legend.offset_ft))]
    return [pair for pair in numbered if not legend.lanes or pair[0] in legend.lanes]


def _words(
    block: Block, legend: Legend, at: tuple[int, Strip], params: Params
) -> Iterator[Marking]:
    number, lane = at
    speed = block.segment.speed_mph
    height = letter_height(params, speed, legend.height_ft)
    total = message_length(legend.lines, height, line_gap(params, speed, height))
    before = total / 2 if params.point == "middle" else height / 2
    upstream = legend.station_ft - legend.way * before
    refused = _refused(block, legend, upstream, total)
    message = Message(Frame(block.segment), lane, legend.way, upstream, legend.lines)
    yield from message_markings(
        message, _label(block, legend, number, refused), params, legend.height_ft
    )


def _figure(block: Block, legend: Legend, at: tuple[int, Strip], params: Params) -> Marking:
    number, lane = at
    drawing, fault = _drawing(legend, params)
    long = drawing.length_ft if drawing else 1.0
    upstream = legend.station_ft - legend.way * long / 2
    if drawing and drawing.width_ft > lane.width_ft:
        fault = f"the figure is {drawing.width_ft:.2f} ft wide, its lane {lane.width_ft:.2f} ft"
    label = _label(block, legend, number, fault or _refused(block, legend, upstream, long))
    return Marking(
        kind="symbol",
        frame=Frame(block.segment),
        shape=FigureShape(legend.figure, upstream, lane.center_ft, legend.way, drawing=drawing),
        color=label.color,
        travel=legend.way,
        anchor=label.anchor,
        station_ft=upstream,
        offset_ft=lane.center_ft,
        width_ft=drawing.width_ft if drawing else 1.0,
        style=legend.figure,
        reason=label.reason,
        sources=("WORD-07", "WORD-09"),
        tag=label.tag,
        priority=60,
        refused=label.refused,
    )


def _drawing(legend: Legend, params: Params) -> tuple[Figure | None, str]:
    """The figure at its size, or why there is none."""
    try:
        found = params.figure(legend.figure)
    except ValueError as fault:
        return None, str(fault)
    return resized(found, legend.height_ft) if legend.height_ft else found, ""


def _label(block: Block, legend: Legend, number: int, refused: str) -> Label:
    color = legend.color if legend.color in get_args(Color) else "white"
    name = legend.legend_id.replace("/", "_")
    return Label(
        anchor=block.segment.segment_id,
        tag=f"{name}.lane{number}",
        reason=f"legend {legend.legend_id} of the input",
        sources=("WORD-01", "WORD-02", "WORD-06"),
        color=cast(Color, color),
        refused=f"legend {legend.legend_id}: {refused}" if refused else "",
    )


def _refused(block: Block, legend: Legend, upstream: float, long: float) -> str:
    """Why a message has no room between what stands at the ends of the street."""
    way, total = legend.way, block.segment.length_ft
    near, far = sorted((upstream, upstream + way * long))
    start = _reach(block.start_leg, inbound=way == -1)
    end = total - _reach(block.end_leg, inbound=way == 1)
    if near >= start - 1e-6 and far <= end + 1e-6:
        return ""
    return f"it needs {long:.0f} ft of street, and reaches into a crossing or past the street's end"


def _reach(leg: Leg | None, *, inbound: bool) -> float:
    """Length of a street's end that crosswalk, stop line and crossing street take."""
    if leg is None:
        return 0.0
    cut = leg.layout.inbound_end if inbound else leg.layout.outbound_end
    return max(0.0, cut.farthest(*leg.edges_ft))


CHECKS = (color_check("LINE-14", ["symbol"], get_args(Color)),)

RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

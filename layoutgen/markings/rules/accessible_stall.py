"""Accessible stalls: the symbol of access in stalls at the curb, and the aisle beside them.

A curb zone `accessible` is parted into stalls, each with its symbol facing the traffic that parks
there, and hatched aisles between them. Colors follow local code: white alone, or white on a blue
square (MUTCD 11th edition 3A.03, LINE-14: blue is for accessible parking). Sizes of stall and aisle
are from memory of accessibility rules; check them against those in force.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from layoutgen.config import choice, length
from layoutgen.markings.conformity import color_check
from layoutgen.markings.curbside import ANGLE_FT, Bay, Span, bay_of, zone_span
from layoutgen.markings.marking import (
    Color,
    FigureShape,
    Frame,
    Marking,
    Patch,
    PatchesShape,
    Rule,
    RuleParams,
)
from layoutgen.street.design import Block, CurbZone

_FIGURE = "accessible_symbol"


class Params(RuleParams):
    background: bool = choice(
        True, source="LINE-14", text="a blue square under the symbol; false = white alone"
    )
    square_ft: float = length(
        "5 ft", low="3.5 ft", high="7 ft", source="from memory", text="side of the blue square"
    )
    stall_ft: float = length(
        "20 ft", low="18 ft", high="26 ft", source="PARK-08", text="length of a stall at the curb"
    )
    aisle_ft: float = length(
        "5 ft", low="3 ft", high="8 ft", source="from memory", text="hatched aisle behind a stall"
    )
    line_width_ft: float = length(
        "4 in", low="4 in", high="6 in", source="PARK-02", text="lines of stall and aisle"
    )
    hatch_spacing_ft: float = length(
        "3 ft", low="1 ft", high="5 ft", source="common practice", text="between lines of an aisle"
    )


def mark(block: Block, params: Params) -> Iterator[Marking]:
    for zone in block.segment.curb_zones:
        if zone.use != "accessible" or block.segment.roundabout:
            continue
        bay = bay_of(block.segment, zone.side)
        span = zone_span(block, zone, bay.strip, bay.way) if bay else None
        if bay is None or span is None or bay.depth_ft >= ANGLE_FT:
            continue  # stalls at an angle are marked by hand
        own = replace(zone, from_ft=span[0], to_ft=span[1])
        for number, stall in enumerate(stalls(own, bay.way, params), 1):
            yield from _stall(block, own, bay, (number, stall), params)


def stalls(zone: CurbZone, way: int, params: Params) -> list[tuple[Span, Span]]:
    """(stall, aisle behind it) of a zone, each (from, to), the first that traffic comes to first.

    An aisle lies upstream of its stall, where the next driver leaves the street.
    """
    each = params.stall_ft + params.aisle_ft
    room = zone.to_ft - zone.from_ft
    count = int((room + 1e-6) // each)
    first = (room - count * each) / 2
    out = []
    for k in range(count):
        at = first + k * each
        spans = [(at, at + params.aisle_ft), (at + params.aisle_ft, at + each)]
        if way == 1:
            aisle, stall = [(zone.from_ft + a, zone.from_ft + b) for a, b in spans]
        else:
            aisle, stall = [(zone.to_ft - b, zone.to_ft - a) for a, b in spans]
        out.append((stall, aisle))
    return out


def _stall(
    block: Block,
    zone: CurbZone,
    bay: Bay,
    place: tuple[int, tuple[Span, Span]],
    params: Params,
) -> Iterator[Marking]:
    number, (stall, aisle) = place
    middle = (sum(stall) / 2, bay.at(bay.depth_ft / 2))
    tag = f"{zone.zone_id}-{number}"
    figure = params.figure(_FIGURE)
    upstream = middle[0] - bay.way * figure.length_ft / 2
    symbol = FigureShape(_FIGURE, upstream, middle[1], bay.way, drawing=figure)
    half = params.square_ft / 2
    if params.background and 2 * half <= bay.depth_ft - 2 * params.line_width_ft:
        square = _box((middle[0] - half, middle[0] + half), (middle[1] - half, middle[1] + half))
        shape = PatchesShape((Patch(middle[0], square),))
        yield _marking(block, bay, shape, middle, (f"{tag}-ground", "blue"))
    yield _marking(block, bay, symbol, (upstream, middle[1]), (f"{tag}-symbol", "white"))
    lines = PatchesShape(tuple(_lines(bay, stall, aisle, params)))
    yield _marking(block, bay, lines, middle, (f"{tag}-lines", "white"))


def _lines(bay: Bay, stall: Span, aisle: Span, params: Params) -> Iterator[Patch]:
    """Lines across the bay at both ends and between aisle and stall, and the aisle's hatching.

    Distances count from the upstream end of the aisle, so that both sides of a street are alike.
    """
    width = params.line_width_ft
    inner, curb = bay.at(width if bay.lined else 0.0), bay.curb_ft
    origin = min(*stall, *aisle) if bay.way == 1 else max(*stall, *aisle)
    whole = params.stall_ft + params.aisle_ft
    for at in (0.0, params.aisle_ft, whole - width):
        ends = origin + bay.way * at, origin + bay.way * (at + width)
        yield Patch(sum(ends) / 2, _box(ends, (inner, curb)))
    near, far = width + 0.05, params.aisle_ft - 0.05
    count = max(1, int(abs(curb - inner) / params.hatch_spacing_ft + 1e-6))
    step = abs(curb - inner) / count
    thick = width * math.hypot(1.0, step / (far - near))
    s, t = origin + bay.way * near, origin + bay.way * far
    for k in range(count):
        a, b = inner + bay.side * step * k, inner + bay.side * (step * (k + 1) - thick)
        up = bay.side * thick
        yield Patch((s + t) / 2, ((s, a), (s, a + up), (t, b + up), (t, b)))


def _box(stations: Span, offsets: Span) -> tuple[tuple[float, float], ...]:
    (s, t), (a, b) = stations, offsets
    return ((s, a), (t, a), (t, b), (s, b))


def _marking(
    block: Block,
    bay: Bay,
    shape: FigureShape | PatchesShape,
    place: Span,
    what: tuple[str, Color],
) -> Marking:
    tag, color = what
    part = tag.rsplit("-", 1)[1]
    drawing = shape.drawing if isinstance(shape, FigureShape) else None
    return Marking(
        kind="accessible_stall",
        frame=Frame(block.segment),
        shape=shape,
        color=color,
        travel=bay.way,
        anchor=block.segment.segment_id,
        station_ft=place[0],
        offset_ft=place[1],
        width_ft=drawing.width_ft if drawing else 1.0 / 3.0,
        style=part,
        reason="accessible parking at the curb here; sizes as local code has them",
        sources=("LINE-14", "PARK-01") if color == "white" else ("LINE-14",),
        tag=tag,
        priority=30 if color == "blue" else 58 if drawing else 52,
    )


CHECKS = (color_check("LINE-14", ["accessible_stall"], ["white", "blue"]),)
RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

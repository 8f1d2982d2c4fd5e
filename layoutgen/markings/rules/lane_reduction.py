"""Lane reduction: the line along the taper where a lane ends, and arrows that tell of it.

MUTCD 11th edition 3B.12. Where a street goes on with fewer lanes, a slanting edge line leads from
the edge of the lane that ends to that of the lane beside it, W x S long (TAPER-01 to TAPER-03). On
fast roads arrows stand in the lane before the taper (ARROW-10). The broken lane line is the lane
line's own (LANE-06).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from layoutgen.config import choice, length, measure, number
from layoutgen.markings.checks.lane_reduction import CHECKS
from layoutgen.markings.marking import (
    Color,
    FigureShape,
    Frame,
    LineShape,
    Marking,
    Rule,
    RuleParams,
    Stroke,
)
from layoutgen.markings.reductions import Reduction, advance_ft, reductions
from layoutgen.markings.runs import way_ends
from layoutgen.markings.symbols import Figure, resized
from layoutgen.street.design import Block


class Params(RuleParams):
    at: tuple[str, ...] = choice(
        ("freeway", "arterial"),
        source="LANE-06, TAPER-01",
        text="classes of streets on which lanes that end are marked",
    )
    line_width_ft: float = length(
        "4 in", low="4 in", high="8 in", source="LINE-01", text="line along the taper"
    )
    inset_ft: float = length(
        "2 in",
        low="0 in",
        high="12 in",
        source="EDGE-05",
        text="from the edge of the lane to the line, as in edge_line",
    )
    arrows_from_mph: float = measure(
        "speed",
        "45 mph",
        low="5 mph",
        high="90 mph",
        source="ARROW-10",
        text="speed limit from which arrows stand before the taper",
    )
    arrows: int = number(2, low=0, high=4, source="common practice", text="arrows before the taper")
    arrow_length_ft: float = length(
        "18 ft", low="9 ft", high="24 ft", source="from memory: ARROW-26", text="their length"
    )
    shortest_ft: float = length(
        "50 ft",
        low="10 ft",
        high="400 ft",
        source="common practice",
        text="where less is left for the taper, nothing is marked",
    )


class _What(NamedTuple):
    """What a marking is, and why."""

    style: str
    color: Color
    reason: str
    sources: tuple[str, ...]


def mark(block: Block, params: Params) -> Iterator[Marking]:
    if not block.after and not block.before:
        return
    for way in (1, -1):
        for found in reductions(block, way, params.at):
            yield from _taper(block, found, params)


def _taper(block: Block, found: Reduction, params: Params) -> Iterator[Marking]:
    start, stop = way_ends(block, found.way, found.from_ft, params.line_width_ft)
    room = stop - start
    if room < params.shortest_ft:
        return
    taper = min(found.length_ft, room)
    yield _line(block, found, taper, params)
    if block.segment.speed_mph >= params.arrows_from_mph and params.arrows:
        yield from _arrows(block, found, (taper, room), params)


def _line(block: Block, found: Reduction, taper_ft: float, params: Params) -> Marking:
    segment, width = block.segment, params.line_width_ft
    inward = -found.to_right * (params.inset_ft + width / 2)
    begin, end = found.upstream(taper_ft), found.end_ft
    sides = (found.from_ft + inward, found.to_ft + inward)
    if found.way == -1:
        begin, end, sides = end, begin, sides[::-1]
    short = "" if taper_ft >= found.length_ft else f", {found.length_ft:.0f} ft are wanted"
    ends = "a lane ends" if len(found.lanes) == 1 else f"{len(found.lanes)} lanes end"
    rows = ("TAPER-01",) if segment.speed_mph >= 45.0 else ("TAPER-02",)
    return _marking(
        block,
        found,
        LineShape(begin, end, (Stroke(sides[0], width, stop_offset_ft=sides[1]),)),
        _What(
            "taper_line",
            _color(block, found),
            f"{ends} here; taper of {taper_ft:.0f} ft at {segment.speed_mph:g} mph{short}",
            (*rows, "TAPER-03", "LINE-01"),
        ),
    )


def _color(block: Block, found: Reduction) -> Color:
    """White on the side traffic keeps to, yellow on the other (LINE-15, LINE-16)."""
    on_right = found.to_right == found.way
    return "white" if on_right == (block.segment.driving_side == "right") else "yellow"


def _arrows(
    block: Block, found: Reduction, reach: tuple[float, float], params: Params
) -> Iterator[Marking]:
    """Arrows in lanes that end, evenly over the distance of the Lane Ends sign upstream."""
    taper, room = reach
    figure = _figure(found, params)
    if figure is None:
        return
    step = advance_ft(block.segment.speed_mph) / (params.arrows + 1)
    for k in range(1, params.arrows + 1):
        before = taper + k * step
        if before + figure.length_ft > room:
            return
        at = found.upstream(before + figure.length_ft)
        what = _What("arrow", "white", f"a lane ends {before:.0f} ft ahead", ("ARROW-10",))
        for lane in found.lanes:
            middle = lane.center_ft
            shape = FigureShape("arrow_lane_reduction", at, middle, found.way, drawing=figure)
            yield _marking(block, found, shape, what)


def _figure(found: Reduction, params: Params) -> Figure | None:
    """The arrow that points into the lane beside; None where the project has no such figure."""
    toward_left = found.to_right == found.way
    name = "arrow_lane_reduction" if toward_left else "arrow_lane_reduction_right"
    try:
        return resized(params.figure(name), params.arrow_length_ft)
    except ValueError:
        return None


def _marking(
    block: Block,
    found: Reduction,
    shape: LineShape | FigureShape,
    what: _What,
) -> Marking:
    is_line = isinstance(shape, LineShape)
    if isinstance(shape, LineShape):
        along, width = (shape.start_ft + shape.stop_ft) / 2, shape.strokes[0].width_ft
        across = (found.from_ft + found.to_ft) / 2
    else:
        along, across = shape.upstream_ft, shape.offset_ft
        width = shape.drawing.width_ft if shape.drawing else 0.0
    return Marking(
        kind="lane_reduction",
        frame=Frame(block.segment),
        shape=shape,
        color=what.color,
        travel=found.way,
        anchor=block.segment.segment_id,
        station_ft=along,
        offset_ft=across,
        width_ft=width,
        style=what.style,
        reason=what.reason,
        sources=what.sources,
        tag="line" if is_line else "arrow",
        priority=68 if is_line else 60,
        shift_ft=0.0 if is_line else 20.0,
    )


RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

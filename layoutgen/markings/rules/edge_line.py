"""Edge line: white on the right of traffic, yellow on the left of one-way and divided roadways.

MUTCD 11th edition 3B.09, 3B.10. Where the pavement has no curb, it shows where the lane ends.
Freeways and busy rural arterials must have it (EDGE-01), rural arterials and collectors of some
traffic should (EDGE-02); along curbs it is left to a policy. It stops before intersections
(EDGE-03) and is not needed beside a marked bike lane (EDGE-06).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from layoutgen.config import choice, length
from layoutgen.markings.checks.edge_line import CHECKS
from layoutgen.markings.edges import Edge, EdgePlace, edges_of, wants_edges
from layoutgen.markings.marking import Frame, LineShape, Marking, Rule, RuleParams, Stroke
from layoutgen.markings.reductions import reductions
from layoutgen.markings.runs import way_ends
from layoutgen.street.design import Block

#: slope of the curb line of a street that a ramp meets at less than 45 deg
_SHARP = 1.0
_BIKE = ("bike_lane", "buffer")


class Params(RuleParams):
    at: tuple[EdgePlace, ...] = choice(
        ("required", "recommended", "ramps"),
        source="EDGE-01, EDGE-02; ramps: common practice",
        text="streets that get edge lines: freeways and rural arterials of 20 ft and 6000 "
        "vehicles per day; rural arterials and collectors of 3000; ramps, but for those that meet "
        "a street at a sharp angle; every street, curbs or not",
    )
    omit: tuple[Literal["bike_lane", "parking"], ...] = choice(
        ("bike_lane", "parking"),
        source="EDGE-06",
        text="no edge line beside these: their own lines mark the edge",
    )
    line_width_ft: float = length(
        "4 in", low="4 in", high="8 in", source="LINE-01", text="width of the line"
    )
    inset_ft: float = length(
        "2 in",
        low="0 in",
        high="12 in",
        source="EDGE-05",
        text="from the edge of the traveled way to the line",
    )
    reduction_at: tuple[str, ...] = choice(
        ("freeway", "arterial"),
        source="TAPER-01",
        text="classes of streets on which the line of lane_reduction takes its place along a "
        "taper, as `at` there",
    )
    shortest_ft: float = length(
        "20 ft",
        low="0 ft",
        high="500 ft",
        source="common practice",
        text="shorter stretches are left unmarked",
    )


def mark(block: Block, params: Params) -> Iterator[Marking]:
    segment = block.segment
    if segment.roundabout or not wants_edges(segment, _places(block, params)):
        return
    for edge in edges_of(segment.strips, segment.driving_side):
        kind = "bike_lane" if edge.beside in _BIKE else edge.beside
        if kind not in params.omit:
            yield from _line(block, edge, params)


def _places(block: Block, params: Params) -> tuple[EdgePlace, ...]:
    """Without ramps where one meets a street at a sharp angle: its lines would cross the lanes."""
    legs = (block.start_leg, block.end_leg)
    sharp = any(leg is not None and abs(leg.layout.curb.slope) > _SHARP for leg in legs)
    return tuple(at for at in params.at if at != "ramps" or not sharp)


def _line(block: Block, edge: Edge, params: Params) -> Iterator[Marking]:
    width = params.line_width_ft
    offset = edge.offset_ft + edge.inward * (params.inset_ft + width / 2)
    start, stop = way_ends(block, edge.way, offset, width)
    for ended in reductions(block, edge.way, params.reduction_at):
        if abs(ended.from_ft - edge.offset_ft) < 1e-6:
            begin = ended.upstream(min(ended.length_ft, stop - start))
            start, stop = (start, begin) if edge.way == 1 else (begin, stop)
    for near, far in _seen(block, edge, (start, stop)):
        if far - near >= params.shortest_ft:
            yield _marking(block, edge, LineShape(near, far, (Stroke(offset, width),)))


def _seen(block: Block, edge: Edge, run: tuple[float, float]) -> Iterator[tuple[float, float]]:
    """The stretch without what lies in another roadway at a fork."""
    hidden = []
    for gore in block.gores:
        outward = -1 if gore.at_end else 1
        for side, near, far in gore.hidden:
            if side * outward == -edge.inward:
                ends = (near, far)
                total = block.segment.length_ft
                hidden.append(ends if not gore.at_end else (total - far, total - near))
    at = run[0]
    for near, far in sorted(hidden):
        yield at, min(near, run[1])
        at = max(at, far)
    yield at, run[1]


def _marking(block: Block, edge: Edge, shape: LineShape) -> Marking:
    segment = block.segment
    side = "right" if edge.color == "white" else "left"
    sides = side if segment.driving_side == "right" else {"right": "left", "left": "right"}[side]
    traffic = f", {segment.adt} vehicles per day" if segment.adt else ""
    (stroke,) = shape.strokes
    return Marking(
        kind="edge_line",
        frame=Frame(segment),
        shape=shape,
        color=edge.color,
        travel=edge.way,
        anchor=segment.segment_id,
        station_ft=(shape.start_ft + shape.stop_ft) / 2,
        offset_ft=stroke.offset_ft,
        width_ft=stroke.width_ft,
        style=edge.color,
        reason=f"{sides} edge of a {segment.setting} {segment.street_class}{traffic}",
        sources=("LINE-01", "LINE-16" if edge.color == "white" else "LINE-15", "EDGE-05"),
        priority=65,
    )


RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

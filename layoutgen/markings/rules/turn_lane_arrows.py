"""Arrows of a two-way left-turn lane: pairs, one for each direction, tips toward each other.

MUTCD 11th edition 3B.05. A pair stands just downstream of where the lane begins (TWLTL-02) and is
repeated along it; never an arrow for one direction alone (TWLTL-03). The distances are an agency's.
"""

from __future__ import annotations

from collections.abc import Iterator

from layoutgen.config import length
from layoutgen.markings.checks.turn_lane_arrows import CHECKS
from layoutgen.markings.marking import FigureShape, Frame, Marking, Rule, RuleParams
from layoutgen.markings.runs import center_lane_ends, shared_run
from layoutgen.street.design import Block, Strip


class Params(RuleParams):
    tip_gap_ft: float = length(
        "32 ft", low="8 ft", high="60 ft", source="TWLTL-05", text="from tip to tip of a pair"
    )
    first_ft: float = length(
        "50 ft",
        low="0 ft",
        high="200 ft",
        source="TWLTL-16",
        text="from where the shared lane begins to the nearest arrow",
    )
    spacing_ft: float = length(
        "400 ft",
        low="100 ft",
        high="1000 ft",
        source="TWLTL-06",
        text="largest distance between pairs; they are spread evenly",
    )
    least_spacing_ft: float = length(
        "200 ft",
        low="0 ft",
        high="400 ft",
        source="TWLTL-06",
        text="least distance between pairs; a shorter lane gets one, in its middle",
    )
    median_ft: float = length(
        "0 ft",
        low="0 ft",
        high="600 ft",
        source="CHAN-02",
        text="no arrows so near to where the street goes on without the lane: `length` of "
        "flush_median, where that is on",
    )


def mark(block: Block, params: Params) -> Iterator[Marking]:
    segment = block.segment
    center = next((s for s in segment.strips if s.kind == "center_turn_lane"), None)
    if center is None or segment.oneway != "both" or segment.roundabout:
        return
    figure = params.figure(_name(block))
    unit = 2 * figure.length_ft + params.tip_gap_ft
    start, stop = shared_run(block, center.center_ft, center.width_ft)
    start += params.median_ft * center_lane_ends(block, at_end=False)
    stop -= params.median_ft * center_lane_ends(block, at_end=True)
    for k, at in enumerate(_places(stop - start, unit, params)):
        for way in (1, -1):
            tail = start + at if way == 1 else start + at + unit
            yield _arrow(block, center, (way, tail, k), params)


def _name(block: Block) -> str:
    """Drivers turn off to the left where they keep to the right."""
    return "arrow_left" if block.segment.driving_side == "right" else "arrow_right"


def _places(length_ft: float, unit_ft: float, params: Params) -> list[float]:
    """Distances of the pairs from one end, the same from either end."""
    span = length_ft - 2 * params.first_ft - unit_ft
    if span < 0.0:
        middle = (length_ft - unit_ft) / 2
        return [middle] if middle >= 4.0 else []
    if span < params.least_spacing_ft + unit_ft:
        return [params.first_ft + span / 2]
    count = max(1, -int(-(span) // (params.spacing_ft + unit_ft)))
    return [params.first_ft + span * k / count for k in range(count + 1)]


def _arrow(block: Block, center: Strip, place: tuple[int, float, int], params: Params) -> Marking:
    way, tail, number = place
    segment, name = block.segment, _name(block)
    return Marking(
        kind="turn_lane_arrow",
        frame=Frame(segment),
        shape=FigureShape(name, tail, center.center_ft, way, drawing=params.figure(name)),
        color="white",
        travel=way,
        anchor=segment.segment_id,
        station_ft=tail,
        offset_ft=center.center_ft,
        width_ft=params.figure(name).width_ft,
        style=name.removeprefix("arrow_"),
        reason="lane for left turns of both directions"
        if name == "arrow_left"
        else "lane for right turns of both directions",
        sources=("TWLTL-02", "TWLTL-03", "TWLTL-05", "TWLTL-06"),
        priority=60,
        shift_ft=40.0,
        group=f"turn_lane/{segment.segment_id}/{number}",
    )


RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

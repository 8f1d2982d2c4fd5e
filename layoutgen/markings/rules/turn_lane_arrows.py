"""Arrows of a two-way left-turn lane: pairs of left-turn arrows that face each other's traffic.

MUTCD 11th edition 3B.05: a pair at or just beyond the beginning of the lane (TWLTL-02), repeated as
the agency likes (TWLTL-05 to TWLTL-16); never an arrow for one direction alone (TWLTL-03), and none
where the lane has become the turn lane of one approach (TWLTL-04).
"""

from __future__ import annotations

from collections.abc import Iterator

from layoutgen.config import choice, length
from layoutgen.markings.conformity import Check, LaidOut, Paint
from layoutgen.markings.marking import FigureShape, Frame, Marking, Rule, RuleParams
from layoutgen.markings.spacing import Spacing, spread
from layoutgen.street.design import Block, Leg, Strip


class Params(RuleParams):
    pair_gap_ft: float = length(
        "32 ft",
        low="12 ft",
        high="60 ft",
        source="TWLTL-13",
        text="between the tips of the two arrows of a pair",
    )
    first_ft: float = length(
        "50 ft",
        low="10 ft",
        high="200 ft",
        source="TWLTL-16",
        text="from where the lane begins to the nearest arrow",
    )
    spacing_ft: float = length(
        "400 ft",
        low="200 ft",
        high="1000 ft",
        source="TWLTL-06",
        text="largest distance between two pairs; they are spread evenly",
    )
    repeat: bool = choice(
        True, source="TWLTL-06", text="pairs along the lane; false = at its ends only"
    )


def mark(block: Block, params: Params) -> Iterator[Marking]:
    segment = block.segment
    strip = next((s for s in segment.strips if s.kind == "center_turn_lane"), None)
    if strip is None or segment.roundabout or segment.oneway != "both":
        return
    arrow = params.figure(_arrow(block))
    start, stop = _ends(block)
    unit = 2 * arrow.length_ft + params.pair_gap_ft
    most = params.spacing_ft if params.repeat else 1e9
    rule = Spacing(params.first_ft, most, params.first_ft, unit)
    places = spread(stop - start, rule)
    last = stop - start - params.first_ft - unit
    if len(places) >= 1 and places[-1] < last - params.spacing_ft / 2:
        places.append(last)  # a pair at the other end too: traffic enters there as well
    for number, place in enumerate(places, 1):
        yield from _pair(block, strip, start + place, number, params)


def _arrow(block: Block) -> str:
    """The turn across oncoming traffic: left, or right where traffic keeps left."""
    return "arrow_right" if block.segment.driving_side == "left" else "arrow_left"


def _ends(block: Block) -> tuple[float, float]:
    """Stations between which the lane serves both directions."""
    start, stop = 0.0, block.segment.length_ft
    if block.start_leg is not None:
        start = _reach(block.start_leg)
    if block.end_leg is not None:
        stop -= _reach(block.end_leg)
    return start, stop


def _reach(leg: Leg) -> float:
    """Leg station at which the lane for both begins: behind a turn pocket, else the stop line."""
    ends = max(leg.layout.inbound_end.station_ft, leg.layout.outbound_end.station_ft)
    pocket = leg.layout.inbound_end.station_ft + leg.pocket_ft if leg.pocket_ft else 0.0
    return min(max(ends, pocket), leg.room_ft)


def _pair(block: Block, strip: Strip, at: float, number: int, params: Params) -> Iterator[Marking]:
    """Two arrows tip to tip: every driver meets the own arrow first."""
    name = _arrow(block)
    arrow = params.figure(name)
    far = at + 2 * arrow.length_ft + params.pair_gap_ft
    for way, upstream in ((1, at), (-1, far)):
        yield Marking(
            kind="turn_arrow",
            frame=Frame(block.segment),
            shape=FigureShape(name, upstream, strip.center_ft, way, drawing=arrow),
            color="white",
            travel=way,
            anchor=block.segment.segment_id,
            station_ft=upstream,
            offset_ft=strip.center_ft,
            width_ft=arrow.width_ft,
            style="two_way_left_turn",
            reason="two-way left-turn lane; arrows of both directions",
            sources=("TWLTL-02", "TWLTL-03", "TWLTL-13"),
            tag="both_ways",
            priority=58,
            shift_ft=40.0,
            group=f"pair{number}",
        )


def _paired(paint: Paint, laid: LaidOut) -> str | None:
    """An arrow in the lane for both directions has its opposite nearby."""
    segment = paint.segment
    if segment is None or (paint.leg is not None and paint.leg.pocket_ft):
        return None
    strip = next((s for s in segment.strips if s.kind == "center_turn_lane"), None)
    if strip is None or not strip.left_ft < paint.offset_ft < strip.right_ft:
        return None
    for other in laid.on_segment(segment, "turn_arrow"):
        turned = abs((other.bearing_deg - paint.bearing_deg) % 360.0 - 180.0) < 20.0
        near = abs(other.station_ft - paint.station_ft) < 80.0
        if turned and near and strip.left_ft < other.offset_ft < strip.right_ft:
            return None
    return "an arrow of one direction alone"


CHECKS = (
    Check("TWLTL-03", "arrows in pairs of both directions", _paired, ("turn_arrow",),
          ("two_way_left_turn",)),
)  # fmt: skip
RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

"""Yield-ahead triangle: a figure in every approach lane, ahead of a YIELD sign.

MUTCD 11th edition 3B.20 and 3B.22. Never without a YIELD sign (YIELD-10), and nowhere required, so
that nothing is painted until `enabled = true` asks for it. 20 ft long from 45 mph on, else 13 ft
(YIELD-11, from memory). It stands where the warning sign would (Table 2C-3).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from layoutgen.config import choice, length
from layoutgen.markings.approaches import Approach, approaches, stopping_ft
from layoutgen.markings.checks.waiting import YIELD_AHEAD_CHECKS
from layoutgen.markings.marking import FigureShape, Marking, Rule, RuleParams
from layoutgen.street.design import Block, Leg, Strip

_FAST_MPH = 45.0  # YIELD-11


class Params(RuleParams):
    enabled: bool = choice(
        False, source="YIELD-10", text="true = paint it; an option, for engineering judgment"
    )
    at: tuple[Literal["yield", "roundabout"], ...] = choice(
        ("yield", "roundabout"),
        source="YIELD-10",
        text="approaches that get it: to YIELD signs, to roundabouts",
    )
    distance_ft: float = length(
        "0 ft",
        low="0 ft",
        high="1500 ft",
        source="ADV-01",
        text="from the yield position to the tip; 0 = by speed (ADV-01 to ADV-14)",
    )
    least_ft: float = length(
        "100 ft",
        low="30 ft",
        high="500 ft",
        source="common practice",
        text="in a block too short for that it moves nearer, down to this distance",
    )
    margin_ft: float = length(
        "1 ft",
        low="0 ft",
        high="6 ft",
        source="common practice",
        text="least distance of the triangle to the edges of its lane",
    )


def mark(block: Block, params: Params) -> Iterator[Marking]:
    if block.segment.roundabout or block.segment.street_class == "alley":
        return
    for approach in approaches(block):
        leg = approach.leg
        if leg is not None and leg.control == "yield" and _place(leg) in params.at:
            for lane in approach.lanes:
                yield from _triangle(approach, leg, lane, params)


def _place(leg: Leg) -> str:
    return "roundabout" if leg.circular else "yield"


def _triangle(approach: Approach, leg: Leg, lane: Strip, params: Params) -> Iterator[Marking]:
    speed = approach.block.segment.speed_mph
    drawing = params.figure("yield_ahead_long" if speed >= _FAST_MPH else "yield_ahead")
    line = leg.layout.stop.at(lane.center_ft)
    wanted = params.distance_ft or stopping_ft(speed)
    upstream = min(line + wanted, approach.begin_ft)
    if (
        upstream - line < min(wanted, params.least_ft)
        or upstream - drawing.length_ft < approach.end_ft
    ):
        return
    if drawing.width_ft > lane.width_ft - 2 * params.margin_ft + 1e-9:
        return
    moved = (
        f", {line + wanted - upstream:.0f} ft nearer than wanted"
        if upstream < line + wanted
        else ""
    )
    yield Marking(
        kind="yield_ahead",
        frame=approach.frame,
        shape=FigureShape(drawing.name, upstream, lane.center_ft, -1, drawing=drawing),
        color="white",
        travel=-1,
        anchor=approach.block.segment.segment_id,
        station_ft=upstream,
        offset_ft=lane.center_ft,
        width_ft=drawing.width_ft,
        style=drawing.name,
        reason=f"YIELD controls {leg.leg_id} ({leg.control_source}); {upstream - line:.0f} ft "
        f"before the yield position, by {speed:g} mph{moved}",
        sources=("YIELD-10", "YIELD-11"),
        priority=60,
        group=f"yield_ahead/{leg.leg_id}",
    )


RULE = Rule(on="block", params=Params, mark=mark, checks=YIELD_AHEAD_CHECKS)

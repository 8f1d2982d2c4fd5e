"""Stop line: where traffic must stop at a signal or STOP sign.

MUTCD 11th edition 3B.19. It lies behind the crosswalk, or behind the crossing curb line,
across all approach lanes and the bike lane beside them, but where cyclists have a box ahead of it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Literal

from layoutgen.config import choice, length
from layoutgen.markings.bike_ends import waiting_bikes
from layoutgen.markings.checks.waiting import STOP_CHECKS
from layoutgen.markings.marking import Bar, BarsShape, Frame, Marking, Rule, RuleParams
from layoutgen.street.design import Leg


class Params(RuleParams):
    width_ft: float = length(
        "24 in", low="12 in", high="24 in", source="STOP-01", text="width along travel"
    )
    crosswalk_gap_ft: float = length(
        "4 ft", low="4 ft", high="50 ft", source="STOP-02", text="from the crosswalk"
    )
    setback_ft: float = length(
        "4 ft",
        low="4 ft",
        high="30 ft",
        source="STOP-03",
        text="from the crossing curb line, where there is no crosswalk",
    )
    at: tuple[Literal["signal", "stop"], ...] = choice(
        ("signal", "stop"), source="STOP-06", text="controls that get a stop line; never YIELD"
    )


def needs(params: Params, leg: Mapping[str, Any]) -> dict[str, float]:
    if leg["control"] not in params.at or not leg["lanes_in"]:
        return {}
    return {
        "stop_line_ft": params.width_ft,
        "stop_gap_ft": params.crosswalk_gap_ft,
        "stop_setback_ft": params.setback_ft,
    }


def mark(leg: Leg, params: Params) -> Iterator[Marking]:
    if leg.control not in params.at:
        return
    near = leg.layout.stop
    far = near.moved(params.width_ft)
    waiting = (*leg.inbound, *waiting_bikes(leg))
    left = min(strip.left_ft for strip in waiting)
    right = max(strip.right_ft for strip in waiting)
    if far.farthest(*leg.edges_ft) > leg.room_ft:
        return
    middle = (left + right) / 2
    behind = (
        f"{params.crosswalk_gap_ft:g} ft behind the crosswalk"
        if leg.layout.crosswalk
        else f"{params.setback_ft:g} ft behind the crossing curb line"
    )
    yield Marking(
        kind="stop_line",
        frame=Frame.of_leg(leg),
        shape=BarsShape(leg.base_ft, (Bar(near, far, left, right),)),
        color="white",
        travel=-1,
        anchor=leg.leg_id,
        station_ft=near.at(middle),
        offset_ft=middle,
        width_ft=params.width_ft,
        style="solid",
        reason=f"{leg.control} controls this approach ({leg.control_source}); {behind}",
        sources=("STOP-01", "STOP-02" if leg.layout.crosswalk else "STOP-03"),
        intersection_id=leg.intersection_id,
        priority=90,
    )


RULE = Rule(on="approach", params=Params, mark=mark, needs=needs, checks=STOP_CHECKS)

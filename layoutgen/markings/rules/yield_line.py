"""Yield line: a row of triangles where traffic must yield, at roundabout entries and YIELD signs.

MUTCD 11th edition 3B.19. It waits behind the crosswalk, or behind the crossing curb line; at a
roundabout it stands at the edge of the ring, and the crosswalk behind it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any, Literal

from layoutgen.config import choice, length
from layoutgen.markings.checks.waiting import YIELD_CHECKS
from layoutgen.markings.marking import Frame, Marking, Rule, RuleParams, TeethShape
from layoutgen.street.design import Leg


class Params(RuleParams):
    base_ft: float = length(
        "24 in", low="12 in", high="24 in", source="YIELD-01", text="base of a triangle"
    )
    height_ft: float = length(
        "36 in", low="18 in", high="36 in", source="YIELD-02", text="1.5 times the base"
    )
    gap_ft: float = length(
        "12 in", low="3 in", high="12 in", source="YIELD-03", text="between triangles"
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
    ring_setback_ft: float = length(
        "1 ft",
        low="0 ft",
        high="10 ft",
        source="common practice",
        text="from the edge of a roundabout",
    )
    at: tuple[Literal["yield", "roundabout"], ...] = choice(
        ("yield", "roundabout"),
        source="YIELD-08",
        text="approaches that yield: at YIELD signs, where they enter a roundabout",
    )


def wanted(params: Params, leg: Mapping[str, Any]) -> bool:
    """Whether an approach gets a yield line; never without a YIELD sign or a roundabout."""
    if leg["control"] != "yield" or not leg["lanes_in"] or leg["roundabout"]:
        return False
    return ("roundabout" if leg["circular"] else "yield") in params.at


def needs(params: Params, leg: Mapping[str, Any]) -> dict[str, float]:
    if not wanted(params, leg):
        return {}
    return {
        "yield_line_ft": params.height_ft,
        "yield_gap_ft": params.crosswalk_gap_ft,
        "yield_setback_ft": params.ring_setback_ft if leg["circular"] else params.setback_ft,
    }


def mark(leg: Leg, params: Params) -> Iterator[Marking]:
    place = "roundabout" if leg.circular else "yield"
    if leg.control != "yield" or leg.segment.roundabout or place not in params.at:
        return
    left = min(strip.left_ft for strip in leg.inbound)
    right = max(strip.right_ft for strip in leg.inbound)
    near = leg.layout.stop
    count = math.floor((right - left + params.gap_ft) / (params.base_ft + params.gap_ft) + 1e-9)
    if count < 1 or near.moved(params.height_ft).farthest(*leg.edges_ft) > leg.room_ft:
        return
    middle = (left + right) / 2
    yield Marking(
        kind="yield_line",
        frame=Frame.of_leg(leg),
        shape=TeethShape(
            leg.base_ft, near, left, right, count, params.base_ft, params.height_ft, params.gap_ft
        ),
        color="white",
        travel=-1,
        anchor=leg.leg_id,
        station_ft=near.at(middle),
        offset_ft=middle,
        width_ft=params.height_ft,
        style="triangles",
        reason=_reason(leg, params),
        sources=("YIELD-01", "YIELD-02", "YIELD-03", "YIELD-07", "YIELD-08"),
        intersection_id=leg.intersection_id,
        priority=90,
    )


def _reason(leg: Leg, params: Params) -> str:
    if leg.circular:
        return (
            f"traffic that enters a roundabout yields ({leg.control_source}); "
            f"{params.ring_setback_ft:g} ft from its edge"
        )
    if leg.layout.crosswalk:
        where = f"{params.crosswalk_gap_ft:g} ft behind the crosswalk"
    else:
        where = f"{params.setback_ft:g} ft behind the crossing curb line"
    return f"YIELD controls this approach ({leg.control_source}); {where}"


RULE = Rule(on="approach", params=Params, mark=mark, needs=needs, checks=YIELD_CHECKS)

"""Entry line of a roundabout: a wide dotted white line along the ring, across the lanes that enter.

MUTCD 11th edition 3D.03 (ROUND-01). It continues the outer edge of the circulatory roadway, past
the yield line; nothing crosses the exits (ROUND-02).
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from layoutgen.config import length
from layoutgen.markings.checks.roundabout import CHECKS
from layoutgen.markings.marking import BarRow, BarsShape, Frame, Marking, Rule, RuleParams
from layoutgen.street.design import Leg


class Params(RuleParams):
    width_ft: float = length(
        "8 in",
        low="8 in",
        high="24 in",
        source="LINE-02",
        text="a wide line: at least twice a normal one",
    )
    setback_ft: float = length(
        "0 ft",
        low="0 ft",
        high="5 ft",
        source="common practice",
        text="from the edge of the roundabout",
    )
    painted_ft: float = length(
        "2 ft", low="1 ft", high="4 ft", source="LINE-08", text="piece of the dotted line"
    )
    gap_ft: float = length("2 ft", low="1 ft", high="6 ft", source="LINE-09", text="its gap")


def mark(leg: Leg, params: Params) -> Iterator[Marking]:
    if not leg.circular or leg.control not in ("yield", "none"):
        return
    near = leg.layout.curb.moved(params.setback_ft)
    far = near.moved(params.width_ft)
    sides = _pieces(leg, params)
    if not sides or far.farthest(*leg.edges_ft) > leg.room_ft:
        return
    middle = (sides[0][0] + sides[-1][1]) / 2
    yield Marking(
        kind="entry_line",
        frame=Frame.of_leg(leg),
        shape=BarsShape(leg.base_ft, (BarRow(near, far, sides[0][0], sides[-1][1], sides),)),
        color="white",
        travel=-1,
        anchor=leg.leg_id,
        station_ft=near.at(middle),
        offset_ft=middle,
        width_ft=params.width_ft,
        style="dotted",
        reason="traffic enters a roundabout here; along the edge of its ring",
        sources=("ROUND-01", "LINE-02", "LINE-08", "LINE-09"),
        intersection_id=leg.intersection_id,
        priority=85,
    )


def _pieces(leg: Leg, params: Params) -> tuple[tuple[float, float], ...]:
    """Offsets of the painted pieces, centered between the outer edges of the entering lanes."""
    left = min(strip.left_ft for strip in leg.inbound)
    right = max(strip.right_ft for strip in leg.inbound)
    # painted and gap are measured along the line, offsets at right angles to the leg
    shrink = 1.0 / math.hypot(1.0, leg.layout.curb.slope)
    painted, gap = params.painted_ft * shrink, params.gap_ft * shrink
    count = math.floor((right - left + gap) / (painted + gap) + 1e-9)
    first = (left + right - count * (painted + gap) + gap) / 2
    return tuple(
        (first + k * (painted + gap), first + k * (painted + gap) + painted) for k in range(count)
    )


RULE = Rule(on="approach", params=Params, mark=mark, checks=CHECKS)

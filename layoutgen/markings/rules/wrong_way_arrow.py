"""Wrong-way arrow: long arrows that show which way a ramp or a one-way street runs.

MUTCD 11th edition 3B.23: they stand near the end of an exit ramp, where a driver could enter it the
wrong way. Two in each lane (ARROW-04), the first some 20 ft before the line (ARROW-05), 100 to
300 ft apart (ARROW-07). On ramps by default; at ends of other one-way streets where a policy asks
for it.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from layoutgen.config import choice, length, number
from layoutgen.markings.checks.wrong_way_arrow import CHECKS
from layoutgen.markings.lanes import turns
from layoutgen.markings.marking import FigureShape, Frame, Marking, Rule, RuleParams
from layoutgen.markings.symbols import Figure, resized
from layoutgen.street.design import Leg, Strip

Place = Literal["exit_ramp", "entrance_ramp", "one_way"]
#: stretch before the line that the arrows of turn lanes may use (common practice)
_TURN_LANE_FT = 160.0


class Params(RuleParams):
    at: tuple[Place, ...] = choice(
        ("exit_ramp",),
        source="ARROW-04",
        text="where they stand: ends of ramps, beginnings of ramps, ends of other one-way streets",
    )
    length_ft: float = length(
        "23.5 ft", low="18 ft", high="30 ft", source="ARROW-27", text="length of the arrow"
    )
    first_gap_ft: float = length(
        "20 ft",
        low="10 ft",
        high="100 ft",
        source="ARROW-05",
        text="from the line to the tip of the nearest arrow",
    )
    spacing_ft: float = length(
        "100 ft",
        low="50 ft",
        high="300 ft",
        source="ARROW-07",
        text="from arrow to arrow",
    )
    count: int = number(2, low=1, high=6, source="ARROW-04", text="arrows in each lane")


def mark(leg: Leg, params: Params) -> Iterator[Marking]:
    segment = leg.segment
    if segment.oneway == "both" or segment.roundabout:
        return
    figure = resized(params.figure("arrow_wrong_way"), params.length_ft)
    is_ramp = segment.street_class == "ramp"
    if leg.inbound and ("exit_ramp" if is_ramp else "one_way") in params.at:
        yield from _exit(leg, figure, params)
    if leg.outbound and is_ramp and "entrance_ramp" in params.at:
        yield from _entrance(leg, figure, params)


def _exit(leg: Leg, figure: Figure, params: Params) -> Iterator[Marking]:
    told = len(leg.movements) == len(leg.inbound)
    arrows = told and any(turns(m) for m in leg.movements)
    gap = max(params.first_gap_ft, _TURN_LANE_FT) if arrows else params.first_gap_ft
    for number_, lane in enumerate(leg.inbound, start=1):
        first = leg.layout.inbound_end.at(lane.center_ft) + gap + figure.length_ft
        for k in range(params.count):
            at = first + k * (figure.length_ft + params.spacing_ft)
            if at <= leg.room_ft:
                why = "traffic leaves this one-way roadway here; nobody may enter it"
                yield _arrow(leg, (lane, number_, -1), at, figure, why)


def _entrance(leg: Leg, figure: Figure, params: Params) -> Iterator[Marking]:
    for number_, lane in enumerate(leg.outbound, start=1):
        first = leg.layout.outbound_end.at(lane.center_ft) + params.first_gap_ft
        for k in range(params.count):
            at = first + k * (figure.length_ft + params.spacing_ft)
            if at + figure.length_ft <= leg.room_ft:
                yield _arrow(leg, (lane, number_, 1), at, figure, "traffic enters the ramp here")


def _arrow(
    leg: Leg, where: tuple[Strip, int, int], at_ft: float, figure: Figure, why: str
) -> Marking:
    lane, number_, facing = where
    return Marking(
        kind="wrong_way_arrow",
        frame=Frame.of_leg(leg),
        shape=FigureShape(figure.name, at_ft, lane.center_ft, facing, drawing=figure),
        color="white",
        travel=facing,
        anchor=leg.leg_id,
        station_ft=at_ft,
        offset_ft=lane.center_ft,
        width_ft=figure.width_ft,
        style="exit" if facing == -1 else "entrance",
        reason=why,
        sources=("ARROW-04", "ARROW-05", "ARROW-07"),
        tag=f"lane{number_}",
        intersection_id=leg.intersection_id,
        priority=60,
    )


RULE = Rule(on="leg", params=Params, mark=mark, checks=CHECKS)

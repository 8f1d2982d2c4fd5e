"""Route number: the numbered route a street carries, as words before its intersections.

MUTCD 11th edition 3B.20: word and number markings may guide drivers. Off by default: which
approaches need it is engineering judgment. Painted from field `route` of the streets, such as
"US 30".
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from layoutgen.config import choice, length
from layoutgen.markings.lanes import turns
from layoutgen.markings.marking import Frame, Marking, Rule
from layoutgen.markings.messages import (
    Label,
    Message,
    MessageParams,
    letter_height,
    line_gap,
    message_length,
    message_markings,
)
from layoutgen.street.design import Leg


class Params(MessageParams):
    at: tuple[Literal["signal", "stop", "yield", "none"], ...] = choice(
        (),
        source="common practice",
        text="controls of the approaches that get one; none by default",
    )
    lanes: Literal["through", "all"] = choice(
        "through", source="common practice", text="lanes that go on, or all lanes"
    )
    stacked: bool = choice(
        True, source="WORD-06", text="each word on a line of its own, the first nearest the driver"
    )
    line_ft: float = length(
        "100 ft",
        low="10 ft",
        high="1000 ft",
        source="common practice",
        text="from the stop line to the route number",
    )


def mark(leg: Leg, params: Params) -> Iterator[Marking]:
    route = leg.segment.route.upper().split(";")[0].split()
    if not route or leg.control not in params.at:
        return
    lines = tuple(route[:3]) if params.stacked else (" ".join(route),)
    speed = leg.segment.speed_mph
    height = letter_height(params, speed)
    long = message_length(lines, height, line_gap(params, speed, height))
    lanes = leg.inbound
    told = len(leg.movements) == len(lanes)
    for number, lane in enumerate(lanes, start=1):
        must = told and turns(leg.movements[number - 1]) == "must"
        upstream = leg.layout.inbound_end.at(lane.center_ft) + params.line_ft + long
        if lane.kind != "travel_lane" or (must and params.lanes == "through"):
            continue
        if upstream > leg.room_ft:
            continue
        label = Label(
            anchor=leg.leg_id,
            tag=f"route.lane{number}",
            reason=f"the street carries route {' '.join(route)}",
            sources=("WORD-01", "WORD-06"),
            intersection_id=leg.intersection_id,
        )
        message = Message(Frame.of_leg(leg), lane, -1, upstream, lines)
        yield from message_markings(message, label, params)


RULE = Rule(on="approach", params=Params, mark=mark)

"""Bicycle detector symbol: where a cyclist waits to be seen by the detector of a signal.

MUTCD 11th edition Figure 9E-16: 24 by 42 in (BIKE-31), in the bike lane of a signal approach
upstream of the stop line. Off unless asked for: only the agency knows where its detectors are.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from layoutgen.config import choice, length
from layoutgen.markings.bike_ends import is_crossed
from layoutgen.markings.conformity import INCH, Check, LaidOut, Paint, color_check, within
from layoutgen.markings.marking import (
    FigureShape,
    Frame,
    LineShape,
    Marking,
    Rule,
    RuleParams,
    Stroke,
)
from layoutgen.street.design import Leg, Strip

_FIGURE = "bike_detector"
_LONG_FT, _WIDE_FT = 42.0 * INCH, 24.0 * INCH


class Params(RuleParams):
    at: Literal["nowhere", "bike_lane", "every_approach"] = choice(
        "nowhere",
        source="common practice",
        text="signal approaches that get the symbol: none, bike lanes, or also the outer lane of "
        "two-way streets without a bike lane; only where there are detectors",
    )
    setback_ft: float = length(
        "4 ft",
        low="0 ft",
        high="60 ft",
        source="common practice",
        text="from the upstream edge of the stop line to the symbol",
    )
    green: bool = choice(
        False, source="GREEN-01", text="a green ground in a bike lane behind the symbol"
    )
    margin_ft: float = length(
        "6 in",
        low="0 in",
        high="24 in",
        source="common practice",
        text="green beyond the symbol on all sides",
    )


def mark(leg: Leg, params: Params) -> Iterator[Marking]:
    if params.at == "nowhere" or leg.control != "signal":
        return
    lanes = [s for s in leg.strips if s.kind == "bike_lane" and s.direction == -1]
    lanes = [s for s in lanes if not is_crossed(leg, s.center_ft)]
    if not lanes and params.at == "every_approach" and leg.outbound:
        # cyclists keep to the side of their outermost lane that is away from oncoming traffic
        lanes = [max(leg.inbound, key=lambda s: abs(s.center_ft))]
    for number, lane in enumerate(lanes, 1):
        yield from _symbol(leg, lane, number, params)


def _symbol(leg: Leg, lane: Strip, number: int, params: Params) -> Iterator[Marking]:
    figure = params.figure(_FIGURE)
    half = figure.width_ft / 2
    # the traffic reads it inbound: its near edge lies farther out on the leg
    near = leg.layout.inbound_end.farthest(lane.center_ft - half, lane.center_ft + half)
    at = near + params.setback_ft + figure.length_ft
    if at > leg.room_ft or lane.width_ft < figure.width_ft:
        return
    place = FigureShape(_FIGURE, at, lane.center_ft, -1, drawing=figure)
    yield _marking(leg, place, at, (f"symbol{number}", figure.width_ft))
    if params.green and lane.kind == "bike_lane":
        wide = min(figure.width_ft + 2 * params.margin_ft, lane.width_ft - 0.5)
        stretch = at - figure.length_ft - params.margin_ft, at + params.margin_ft
        ground = LineShape(*stretch, (Stroke(lane.center_ft, wide),))
        yield _marking(leg, ground, at, (f"ground{number}", wide))


def _marking(
    leg: Leg, shape: FigureShape | LineShape, at_ft: float, part: tuple[str, float]
) -> Marking:
    symbol = isinstance(shape, FigureShape)
    return Marking(
        kind="bike_detector",
        frame=Frame.of_leg(leg),
        shape=shape,
        color="white" if symbol else "green",
        travel=-1,
        anchor=leg.leg_id,
        station_ft=at_ft,
        offset_ft=shape.offset_ft if isinstance(shape, FigureShape) else shape.strokes[0].offset_ft,
        width_ft=part[1],
        style="symbol" if symbol else "ground",
        reason="a detector of this signal sees cyclists who wait here",
        sources=("BIKE-31",) if symbol else ("GREEN-01",),
        tag=part[0],
        intersection_id=leg.intersection_id,
        priority=63 if symbol else 29,
        shift_ft=6.0 if symbol else 0.0,
    )


def _size(paint: Paint, _: LaidOut) -> str | None:
    along, across = paint.extent_ft
    if within(along, _LONG_FT, _LONG_FT) and within(across, _WIDE_FT, _WIDE_FT):
        return None
    return f"{across * 12:.0f} by {along * 12:.0f} in"


def _at_signal(paint: Paint, _: LaidOut) -> str | None:
    leg = paint.leg
    return None if leg is None or leg.control == "signal" else "no signal here"


_KINDS = ("bike_detector",)
CHECKS = (
    Check("BIKE-31", "24 by 42 in", _size, _KINDS, ("symbol",)),
    Check("GREEN-01", "a detector's ground at a signal only", _at_signal, _KINDS, ("ground",)),
    color_check("LINE-14", _KINDS, ["white", "green"]),
)
RULE = Rule(on="approach", params=Params, mark=mark, checks=CHECKS)

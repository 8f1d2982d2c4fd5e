"""Bike box: where cyclists wait at a signal, between the crosswalk and the stop line of the cars.

MUTCD 11th edition 9E.12: at least 10 ft deep (BIKEBOX-01), with a bicycle symbol (BIKEBOX-02), not
contiguous with the crosswalk (BIKEBOX-03: a line of its own downstream), green over all of it if at
all (BIKEBOX-04). The stop line of the approach moves upstream. Off unless asked for; no turn on red
may be allowed from a lane with a box (BIKEBOX-05).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any, Literal

from layoutgen.config import choice, length
from layoutgen.markings.bike_ends import is_crossed
from layoutgen.markings.conformity import Check, LaidOut, Paint
from layoutgen.markings.marking import (
    Bar,
    BarsShape,
    Color,
    FigureShape,
    Frame,
    Marking,
    Patch,
    PatchesShape,
    Rule,
    RuleParams,
)
from layoutgen.street.design import Cut, Leg, Strip

_SYMBOL = "bike_symbol"
#: lines farther from green are those of another box
_NEAR_FT = 6.0


class Params(RuleParams):
    at: Literal["nowhere", "bike_lane", "every_approach"] = choice(
        "nowhere",
        source="BIKEBOX-05",
        text="signal approaches that get a box: none, those with a bike lane, all; an engineer "
        "decides, and no turn on red is allowed there",
    )
    depth_ft: float = length(
        "12 ft",
        low="10 ft",
        high="16 ft",
        source="BIKEBOX-01",
        text="between the two lines, from the line of the cyclists to that of the cars",
    )
    line_width_ft: float = length(
        "12 in",
        low="12 in",
        high="24 in",
        source="STOP-01",
        text="line of the cyclists, toward the crosswalk",
    )
    green: bool = choice(True, source="BIKEBOX-04", text="green over the whole box")


def wanted(params: Params, leg: Mapping[str, Any]) -> bool:
    """Whether an approach gets a box."""
    if leg["control"] != "signal" or not leg["lanes_in"] or params.at == "nowhere":
        return False
    return params.at == "every_approach" or bool(leg["bike_lane_in"])


def needs(params: Params, leg: Mapping[str, Any]) -> dict[str, float]:
    if not wanted(params, leg):
        return {}
    return {"box_ft": params.depth_ft + params.line_width_ft}


def mark(leg: Leg, params: Params) -> Iterator[Marking]:
    if params.at == "nowhere" or leg.control != "signal":
        return
    bikes = [s for s in leg.strips if s.kind == "bike_lane" and s.direction == -1]
    if params.at == "bike_lane" and not bikes:
        return
    # its own line lies where the cars' line would be without a box
    near = leg.layout.stop.moved(-params.depth_ft - params.line_width_ft)
    line = near.moved(params.line_width_ft)
    far = leg.layout.stop
    sides = [*leg.inbound, *bikes]
    left, right = min(s.left_ft for s in sides), max(s.right_ft for s in sides)
    curb = leg.layout.crosswalk[1] if leg.layout.crosswalk else leg.layout.curb
    inside = any(near.at(o) < curb.at(o) - 1e-6 for o in (left, right))
    if inside or far.farthest(left, right) > leg.room_ft:
        return
    yield _area(leg, (near, line), (left, right), "line", "white")
    if params.green:
        box = _area(leg, (line, far), (left, right), "ground", "green")
        yield replace(box, shape=_ground(leg, (line, far), (left, right), bikes))
    yield from _symbols(leg, line, (left, right), params)


def _ground(
    leg: Leg, cuts: tuple[Cut, Cut], sides: tuple[float, float], bikes: Sequence[Strip]
) -> PatchesShape:
    """Green between two cuts; over bike lanes beside the stop line on to where they are marked.

    One outline: areas that only touch would lie a rounding apart.
    """
    left, right = sides
    corners = [(cuts[0].at(o), o) for o in sides]
    marked = leg.layout.inbound_end
    if marked.farthest(*leg.edges_ft) > leg.room_ft:
        marked = cuts[1]
    cars = min(s.left_ft for s in leg.inbound), max(s.right_ft for s in leg.inbound)
    beside = [s for s in bikes if not is_crossed(leg, s.center_ft)]
    beside = [s for s in beside if not cars[0] < s.center_ft < cars[1]]
    ends = sorted({left, right, *(o for s in beside for o in (s.left_ft, s.right_ft))})
    for a, b in reversed(list(pairwise(ends))):
        is_lane = any(s.left_ft < (a + b) / 2 < s.right_ft for s in beside)
        far = marked if is_lane else cuts[1]
        corners += [(far.at(b), b), (far.at(a), a)]
    return PatchesShape((Patch(leg.base_ft, tuple(corners)),))


def _area(
    leg: Leg, cuts: tuple[Cut, Cut], sides: tuple[float, float], style: str, color: Color
) -> Marking:
    middle = sum(sides) / 2
    depth = cuts[1].at(middle) - cuts[0].at(middle)
    return Marking(
        kind="bike_box",
        frame=Frame.of_leg(leg),
        shape=BarsShape(leg.base_ft, (Bar(*cuts, *sides),)),
        color=color,
        travel=-1,
        anchor=leg.leg_id,
        station_ft=cuts[0].at(middle),
        offset_ft=middle,
        width_ft=depth,
        style=style,
        reason="cyclists wait ahead of the cars at this signal",
        sources=("BIKEBOX-01", "BIKEBOX-03") if style == "line" else ("BIKEBOX-01", "BIKEBOX-04"),
        tag=style,
        intersection_id=leg.intersection_id,
        priority=88 if color == "white" else 31,
    )


def _symbols(leg: Leg, line: Cut, sides: tuple[float, float], params: Params) -> Iterator[Marking]:
    """A bicycle in the middle of every car lane that holds one, halfway between the lines."""
    figure = params.figure(_SYMBOL)
    depth = params.depth_ft
    if figure.length_ft > depth - 1.0:
        return
    for number, lane in enumerate(leg.inbound, 1):
        if lane.width_ft < figure.width_ft + 1.0 or not sides[0] <= lane.center_ft <= sides[1]:
            continue
        middle = line.at(lane.center_ft) + (depth + figure.length_ft) / 2
        yield Marking(
            kind="bike_box",
            frame=Frame.of_leg(leg),
            shape=FigureShape(_SYMBOL, middle, lane.center_ft, -1, drawing=figure),
            color="white",
            travel=-1,
            anchor=leg.leg_id,
            station_ft=middle,
            offset_ft=lane.center_ft,
            width_ft=figure.width_ft,
            style="symbol",
            reason="cyclists wait ahead of the cars at this signal",
            sources=("BIKEBOX-02", "BIKE-07"),
            tag=f"symbol{number}",
            intersection_id=leg.intersection_id,
            priority=62,
        )


def _depth(paint: Paint, laid: LaidOut) -> str | None:
    """Clear depth between the line of the cyclists and the stop line behind it."""
    if paint.leg is None:
        return None
    stops = laid.on_leg(paint.leg, "stop_line")
    if not stops:
        return "no stop line behind the box"
    gap = min(p.shape.distance(paint.shape) for p in stops)
    return None if gap >= 10.0 - 0.01 else f"{gap:.1f} ft between its line and the stop line"


def _with_symbol(paint: Paint, laid: LaidOut) -> str | None:
    box = paint.shape.convex_hull.buffer(20.0)
    found = [p for p in laid.near(box, 0.0, ("bike_box", "bike_lane")) if p.style == "symbol"]
    return None if found else "no bicycle symbol in the box"


def _same_way(a: Paint, b: Paint) -> bool:
    return abs((a.bearing_deg - b.bearing_deg + 180.0) % 360.0 - 180.0) < 30.0


def _full_green(paint: Paint, laid: LaidOut) -> str | None:
    """Green from the line of the cyclists to the stop line, if there is green."""
    near = paint.shape.buffer(_NEAR_FT)
    lines = [p for p in laid.near(near, 0.0, ("bike_box", "stop_line")) if p.style != "symbol"]
    own = [p for p in lines if p is not paint and p.color == "white" and _same_way(p, paint)]
    off = [p.shape.distance(paint.shape) for p in own]
    far = max(off, default=0.0)
    return f"green ends {far:.1f} ft before a line of the box" if far > 0.1 else None


def _contiguous(paint: Paint, laid: LaidOut) -> str | None:
    """Room between the box and the crosswalk before it."""
    if paint.leg is None:
        return None
    off = [p.shape.distance(paint.shape) for p in laid.on_leg(paint.leg, "crosswalk")]
    return "touches the crosswalk" if off and min(off) < 0.5 else None


def _own_line(paint: Paint, laid: LaidOut) -> str | None:
    """A white line along the downstream edge of the green of a box."""
    lines = [p for p in laid.near(paint.shape, 0.1, ("bike_box",)) if p.color == "white"]
    wide = [p for p in lines if p.extent_ft[1] > 0.9 * paint.extent_ft[1]]
    return None if wide else "no line of its own toward the crosswalk"


_KINDS = ("bike_box",)
CHECKS = (
    Check("BIKEBOX-01", "at least 10 ft deep", _depth, _KINDS, ("line",)),
    Check("BIKEBOX-02", "a bicycle symbol in the box", _with_symbol, _KINDS, ("line",)),
    Check("BIKEBOX-03", "apart from the crosswalk", _contiguous, _KINDS, ("line", "ground")),
    Check("BIKEBOX-03", "with a line of its own downstream", _own_line, _KINDS, ("ground",)),
    Check("BIKEBOX-04", "green over the whole box", _full_green, _KINDS, ("ground",)),
)
RULE = Rule(on="approach", params=Params, mark=mark, needs=needs, checks=CHECKS)

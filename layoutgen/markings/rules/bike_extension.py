"""Bike lane through an intersection: dotted lines at both its sides, green between if wanted.

MUTCD 11th edition 9E.03 (BIKE-21): dotted, a line on either side, in the color and at least the
width of the lines extended (LINE-10, LINE-11). Green lies between the dots only, in the same cycle
(GREEN-03). Off unless asked for.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from layoutgen.config import choice, length
from layoutgen.markings.bike_ends import is_crossed
from layoutgen.markings.checks.bike import EXTENSION_CHECKS
from layoutgen.markings.conformity import Check, LaidOut, Paint, color_check
from layoutgen.markings.marking import Frame, LinkShape, Marking, Rule, RuleParams, Stroke
from layoutgen.street.design import Intersection, Leg, Strip

#: legs that lie this near to straight on are one street (degrees)
_STRAIGHT_DEG = 35.0
Place = tuple[Leg, Strip]


class Params(RuleParams):
    at: tuple[Literal["signal", "stop", "yield", "none"], ...] = choice(
        (), source="BIKE-21", text="controls of the intersections that get them; none = no lines"
    )
    line_width_ft: float = length(
        "6 in", low="4 in", high="12 in", source="LINE-10", text="as wide as the lane's line"
    )
    dot_ft: float = length("2 ft", low="1 ft", high="4 ft", source="LINE-08", text="a dot")
    gap_ft: float = length("4 ft", low="2 ft", high="6 ft", source="LINE-09", text="its gap")
    green: bool = choice(
        False, source="GREEN-03", text="green between the two lines, in the cycle of the dots"
    )


def mark(crossing: Intersection, params: Params) -> Iterator[Marking]:
    own = {"all_way_stop": "stop", "two_way_stop": "stop"}.get(crossing.control, crossing.control)
    if own not in params.at or any(leg.circular for leg in crossing.legs):
        return
    for leg in crossing.legs:
        for strip in leg.strips:
            if strip.kind != "bike_lane" or strip.direction != -1:
                continue
            # where traffic must turn across the lane, it has ended before
            if not is_crossed(leg, strip.center_ft):
                far = _onward(crossing, leg, strip)
                if far is not None:
                    yield from _extension(crossing, (leg, strip), far, params)


def _onward(crossing: Intersection, leg: Leg, strip: Strip) -> Place | None:
    """The lane on the leg straight on, on the same side of the street."""
    ahead = (leg.bearing_deg + 180.0) % 360.0
    legs = [
        (abs((other.bearing_deg - ahead + 180.0) % 360.0 - 180.0), other)
        for other in crossing.legs
        if other is not leg
    ]
    turn, other = min(legs, key=lambda pair: (pair[0], pair[1].leg_id))
    if turn > _STRAIGHT_DEG:
        return None
    # seen from the far leg the same side has the other sign
    lanes = [
        s
        for s in other.strips
        if s.kind == "bike_lane" and s.direction == 1 and s.center_ft * strip.center_ft < 0
    ]
    lane = min(lanes, key=lambda s: abs(s.center_ft + strip.center_ft), default=None)
    return None if lane is None else (other, lane)


def _extension(
    crossing: Intersection, near: Place, far: Place, params: Params
) -> Iterator[Marking]:
    """Both dotted lines of one lane, and the green between them."""
    dotted = (params.line_width_ft, params.dot_ft, params.gap_ft)
    for side in ("left", "right"):
        at = _edges(near[1])[side], _edges(far[1])[side]
        shape = _link(near, far, at, Stroke(0.0, *dotted))
        yield _marking(crossing, near[0], shape, side)
    if params.green:
        width = min(near[1].width_ft, far[1].width_ft) - params.line_width_ft
        at = near[1].center_ft, far[1].center_ft
        shape = _link(near, far, at, Stroke(0.0, width, params.dot_ft, params.gap_ft))
        yield _marking(crossing, near[0], shape, "green")


def _edges(strip: Strip) -> dict[str, float]:
    """Offsets of a lane's sides, as its cyclists see left and right."""
    if strip.direction == 1:
        return {"left": strip.left_ft, "right": strip.right_ft}
    return {"left": strip.right_ft, "right": strip.left_ft}


def _link(near: Place, far: Place, offsets: tuple[float, float], stroke: Stroke) -> LinkShape:
    """From the curb line or crosswalk of one leg to that of the other, clear of both crosswalks."""
    stations = []
    for (leg, strip), offset in zip((near, far), offsets, strict=True):
        walk = leg.layout.crosswalk
        cut = walk[0].moved(-1.0) if walk else leg.layout.curb
        half = strip.width_ft / 2
        stations.append(min(cut.at(offset - half), cut.at(offset + half), cut.at(offset)))
    (leg, _), (other, _) = near, far
    return LinkShape(
        max(stations[0], 1.0), offsets[0], Frame.of_leg(other), max(stations[1], 1.0), offsets[1],
        (stroke,),
    )  # fmt: skip


def _marking(crossing: Intersection, leg: Leg, shape: LinkShape, part: str) -> Marking:
    green = part == "green"
    return Marking(
        kind="bike_extension",
        frame=Frame.of_leg(leg),
        shape=shape,
        color="green" if green else "white",
        travel=-1,
        anchor=leg.leg_id,
        station_ft=shape.start_ft,
        offset_ft=shape.start_offset_ft,
        width_ft=shape.strokes[0].width_ft,
        style="green" if green else "dotted",
        reason="the bike lane goes on beyond the intersection",
        sources=("GREEN-03",) if green else ("BIKE-21", "LINE-08", "LINE-09", "LINE-10", "LINE-11"),
        tag=part,
        intersection_id=crossing.intersection_id,
        priority=28 if green else 35,
    )


def _dots(paint: Paint, _: LaidOut) -> str | None:
    """Pieces of 2 ft; the first and last may be cut."""
    long = [p.long_ft for p in paint.parts]
    return f"a piece of {max(long):.1f} ft" if long and max(long) > 4.2 else None


def _two_lines(paint: Paint, laid: LaidOut) -> str | None:
    """Each dotted line has its fellow on the other side of the lane."""
    near = [p for p in laid.near(paint.shape, 9.0, ("bike_extension",)) if p.style == "dotted"]
    return None if len(near) >= 2 else "a line on one side only"


_KINDS = ("bike_extension",)
CHECKS = (
    *EXTENSION_CHECKS,
    Check("BIKE-21", "lines on both sides of the lane", _two_lines, _KINDS, ("dotted",)),
    Check("LINE-08", "dots of about 2 ft", _dots, _KINDS, ("dotted",)),
    color_check("LINE-11", _KINDS, ["white", "green"]),
)
RULE = Rule(on="intersection", params=Params, mark=mark, checks=CHECKS, inside=True)

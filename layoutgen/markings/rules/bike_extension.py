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
from layoutgen.markings.conformity import Check, LaidOut, Paint, color_check
from layoutgen.markings.marking import Frame, LinkShape, Marking, Rule, RuleParams, Stroke
from layoutgen.markings.pavement import pavement_of
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
    wide = min(near[1].width_ft, far[1].width_ft)
    # all on one path, so that lines and green keep one cycle (GREEN-03)
    for side, offset in (("left", -wide / 2), ("right", wide / 2)):
        yield _marking(crossing, near, _link(near, far, Stroke(offset, *dotted)), side)
    if params.green:
        stroke = Stroke(0.0, wide - params.line_width_ft, params.dot_ft, params.gap_ft)
        yield _marking(crossing, near, _link(near, far, stroke), "green")


def _link(near: Place, far: Place, stroke: Stroke) -> LinkShape:
    """From the curb line or crosswalk of one leg to that of the other, clear of both crosswalks."""
    stations = []
    for leg, strip in (near, far):
        walk = leg.layout.crosswalk
        cut = walk[0].moved(-1.0) if walk else leg.layout.curb
        stations.append(min(cut.at(strip.left_ft), cut.at(strip.right_ft)))
    (leg, strip), (other, beyond) = near, far
    return LinkShape(
        max(stations[0], 1.0), strip.center_ft, Frame.of_leg(other),
        max(stations[1], 1.0), beyond.center_ft, (stroke,),
    )  # fmt: skip


def _marking(crossing: Intersection, near: Place, shape: LinkShape, part: str) -> Marking:
    leg, strip = near
    green = part == "green"
    return Marking(
        kind="bike_extension",
        frame=Frame.of_leg(leg),
        shape=shape,
        color="green" if green else "white",
        travel=-1,
        anchor=leg.leg_id,
        station_ft=shape.start_ft,
        # a stroke to the right of the inbound run lies at a smaller offset of the leg
        offset_ft=strip.center_ft - shape.strokes[0].offset_ft,
        width_ft=shape.strokes[0].width_ft,
        style="green" if green else "dotted",
        reason="the bike lane goes on beyond the intersection",
        sources=("GREEN-03",) if green else ("BIKE-21", "LINE-08", "LINE-09", "LINE-10", "LINE-11"),
        tag=part,
        intersection_id=crossing.intersection_id,
        priority=28 if green else 35,
        # one line alone would mean nothing
        group=f"{strip.center_ft:.1f}",
        within=pavement_of(crossing),
    )


def _dots(paint: Paint, _: LaidOut) -> str | None:
    """Pieces of 2 ft; the first and last may be cut."""
    long = [p.long_ft for p in paint.parts]
    return f"a piece of {max(long):.1f} ft" if long and max(long) > 4.2 else None


def _two_lines(paint: Paint, laid: LaidOut) -> str | None:
    """Each dotted line has its fellow on the other side of the lane."""
    near = [p for p in laid.near(paint.shape, 9.0, ("bike_extension",)) if p.style == "dotted"]
    fellows = [
        p
        for p in near
        if p is not paint
        and p.shape.distance(paint.shape) > 2.0
        and min(p.shape.area, paint.shape.area) > 0.5 * max(p.shape.area, paint.shape.area)
    ]
    return None if fellows else "a line on one side only"  # fmt: skip


def _paired(paint: Paint, laid: LaidOut) -> str | None:
    """Every piece of green lies between two dots, one on either side."""
    near = [p for p in laid.near(paint.shape, 1.5, ("bike_extension",)) if p.color != "green"]
    dots = [part.shape for p in near for part in p.parts]
    for part in paint.parts:
        beside = part.shape.buffer(0.6)
        if sum(dot.intersection(beside).area > 0.5 * dot.area for dot in dots) < 2:
            return "a piece of green that is not between two dots"
    return None


_KINDS = ("bike_extension",)
CHECKS = (
    Check("BIKE-21", "lines on both sides of the lane", _two_lines, _KINDS, ("dotted",)),
    Check("BIKE-22", "lines of its own, also beside a crosswalk", _two_lines, _KINDS, ("dotted",)),
    Check("GREEN-03", "green between the dots only", _paired, _KINDS, ("green",)),
    Check("LINE-08", "dots of about 2 ft", _dots, _KINDS, ("dotted",)),
    color_check("LINE-11", _KINDS, ["white", "green"]),
)
RULE = Rule(on="intersection", params=Params, mark=mark, checks=CHECKS, inside=True)

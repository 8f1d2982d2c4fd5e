"""Two-stage turn box: where cyclists wait to go on in the cross street's direction.

MUTCD 11th edition 9E.11: solid white on all sides (BIKEBOX-10), a bicycle symbol and then a turn
arrow (BIKEBOX-09), green by choice; no size is given (BIKEBOX-11). It lies inside the intersection
in the shadow of the parking lane of the street the cyclists come on, ahead of the traffic of the
cross street, out of the way of through lanes and of the crosswalk. Off unless asked for.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Literal

from layoutgen.config import choice, length
from layoutgen.markings.conformity import Check, LaidOut, Paint
from layoutgen.markings.marking import (
    Color,
    FigureShape,
    Frame,
    Marking,
    Patch,
    PatchesShape,
    Rule,
    RuleParams,
)
from layoutgen.markings.symbols.catalog import resized
from layoutgen.street.design import Intersection, Leg, Strip

#: cross streets at another angle leave no room for a box square to the street (degrees)
_ANGLE_DEG = (65.0, 115.0)
#: a wider strip is for angle parking, whose cars stand in the way
_WIDEST_FT = 12.0
Span = tuple[float, float]


class Params(RuleParams):
    at: tuple[Literal["signal"], ...] = choice(
        (),
        source="BIKEBOX-11",
        text="controls of the intersections that get boxes; an engineer decides, no turn on red "
        "is allowed across a box",
    )
    length_ft: float = length(
        "10 ft",
        low="6.5 ft",
        high="16 ft",
        source="common practice",
        text="along the street the cyclists come on; as much as the lane behind it allows",
    )
    line_width_ft: float = length(
        "4 in", low="4 in", high="8 in", source="BIKEBOX-10", text="lines around it"
    )
    inset_ft: float = length(
        "6 in",
        low="0 in",
        high="24 in",
        source="common practice",
        text="from the edge of the parking lane to the box",
    )
    green: bool = choice(True, source="GREEN-01", text="green inside")


def mark(crossing: Intersection, params: Params) -> Iterator[Marking]:
    if crossing.control not in params.at or any(leg.circular for leg in crossing.legs):
        return
    for leg in crossing.legs:
        strip = _shadow(leg)
        cross = _cross_leg(crossing, leg, strip) if strip else None
        if strip is None or cross is None:
            continue
        span = _span(leg, cross, params)
        sides = strip.left_ft + params.inset_ft, strip.right_ft - params.inset_ft
        if span[1] - span[0] >= 6.5 and sides[1] - sides[0] >= 5.5:
            yield from _box(leg, span, sides, params)


def _shadow(leg: Leg) -> Strip | None:
    """The parking strip at the curb beside the traffic that leaves the intersection on a leg with
    cyclists."""
    bikes = [s for s in leg.strips if s.kind == "bike_lane"]
    if not leg.outbound or not bikes:
        return None
    # on a one-way street the side is told by the bike lane alone
    led = [s for s in bikes if s.direction == 1] or ([*leg.outbound] if leg.inbound else [])
    middle = sum(s.center_ft for s in led)
    outer = leg.strips[-1] if middle > 0 else leg.strips[0]
    good = outer.kind == "parking" and outer.width_ft < _WIDEST_FT
    return outer if led and abs(middle) > 1e-6 and good else None


def _cross_leg(crossing: Intersection, leg: Leg, strip: Strip) -> Leg | None:
    """The leg on the side of the strip, nearly square to the street, with traffic that arrives."""
    legs = crossing.legs
    step = 1 if strip.center_ft > 0 else -1
    other = legs[(legs.index(leg) + step) % len(legs)]
    turn = (other.bearing_deg - leg.bearing_deg) * step % 360.0
    square = _ANGLE_DEG[0] <= turn <= _ANGLE_DEG[1]
    return other if square and other.inbound and other is not leg else None


def _span(leg: Leg, cross: Leg, params: Params) -> Span:
    """Stations on the leg that lie ahead of the nearest arriving lane of the cross street."""
    # seen along the cross leg outward, the leg lies on the side its arriving traffic keeps to
    lane = max(cross.inbound, key=lambda s: abs(s.center_ft))
    low, high = sorted((abs(lane.left_ft), abs(lane.right_ft)))
    middle, half = (low + high) / 2, min(params.length_ft, high - low - 0.5) / 2
    inside = leg.layout.curb.station_ft - 1.0
    return max(1.0, middle - half), min(middle + half, inside)


def _box(leg: Leg, span: Span, sides: Span, params: Params) -> Iterator[Marking]:
    width, base = params.line_width_ft, sum(span) / 2
    (s, t), (a, b) = span, sides
    outline = (
        Patch(base, ((s, a), (t, a), (t, a + width), (s, a + width))),
        Patch(base, ((s, b - width), (t, b - width), (t, b), (s, b))),
        Patch(base, ((s, a), (s + width, a), (s + width, b), (s, b))),
        Patch(base, ((t - width, a), (t, a), (t, b), (t - width, b))),
    )
    middle = (base, (a + b) / 2)
    if params.green:
        ground = PatchesShape((Patch(base, ((s, a), (t, a), (t, b), (s, b))),))
        yield _marking(leg, ground, middle, ("ground", "green"))
    yield _marking(leg, PatchesShape(outline), middle, ("outline", "white"))
    room = t - s - 2 * width - 1.5
    turn = "arrow_left" if sides[0] > 0 else "arrow_right"
    at = s + width + 0.5
    for name, style, share in (("bike_symbol", "symbol", 0.56), (turn, turn, 0.44)):
        drawing = resized(params.figure(name), room * share)
        shape = FigureShape(name, at, middle[1], 1, drawing=drawing)
        if drawing.width_ft < b - a - 2 * width - 0.5:
            yield _marking(leg, shape, (at, middle[1]), (style, "white"))
        at += room * share + 0.5


def _marking(
    leg: Leg, shape: FigureShape | PatchesShape, place: Span, what: tuple[str, Color]
) -> Marking:
    style, color = what
    drawing = shape.drawing if isinstance(shape, FigureShape) else None
    return Marking(
        kind="turn_box",
        frame=Frame.of_leg(leg),
        shape=shape,
        color=color,
        travel=1,
        anchor=leg.leg_id,
        station_ft=place[0],
        offset_ft=place[1],
        width_ft=drawing.width_ft if drawing else 1.0 / 3.0,
        style=style,
        reason="cyclists who turn across the street in two steps wait here",
        sources=("BIKEBOX-09", "BIKEBOX-10") if color == "white" else ("BIKEBOX-10", "GREEN-01"),
        tag=style.removesuffix("_left").removesuffix("_right"),
        intersection_id=leg.intersection_id,
        priority=32 if color == "green" else 44,
    )


def _contents(paint: Paint, laid: LaidOut) -> str | None:
    """A bicycle symbol and a turn arrow inside the outline, the symbol first."""
    inside = paint.shape.convex_hull
    own = [p for p in laid.near(inside, 0.0, ("turn_box",)) if inside.contains(p.shape.centroid)]
    figures = [p for p in own if p.color == "white" and p is not paint]
    symbols = [p for p in figures if _holes(p)]
    arrows = [p for p in figures if not _holes(p)]
    missing = [n for n, found in (("symbol", symbols), ("arrow", arrows)) if not found]
    if missing:
        return f"no {' and no '.join(missing)} in the box"
    first, last = (_along(p) for p in (symbols[0], arrows[0]))
    return None if first < last else "the arrow comes before the symbol"


def _holes(paint: Paint) -> bool:
    """Whether paint encloses areas without paint, as wheels do and arrows do not."""
    return any(len(part.interiors) for part in getattr(paint.shape, "geoms", [paint.shape]))


def _along(paint: Paint) -> float:
    """Place of its middle along the travel that reads it."""
    t, middle = math.radians(paint.bearing_deg), paint.shape.centroid
    return float(middle.x * math.sin(t) + middle.y * math.cos(t))


def _closed(paint: Paint, _: LaidOut) -> str | None:
    """White lines on all four sides enclose an area."""
    merged = paint.shape.buffer(0.01)
    holes = [ring for part in getattr(merged, "geoms", [merged]) for ring in part.interiors]
    return None if holes else "the outline is open"


CHECKS = (
    Check("BIKEBOX-09", "a bicycle symbol and an arrow", _contents, ("turn_box",), ("outline",)),
    Check("BIKEBOX-10", "solid white on all sides", _closed, ("turn_box",), ("outline",)),
)
RULE = Rule(on="intersection", params=Params, mark=mark, checks=CHECKS, inside=True)

"""What stands in one lane, in the order its drivers meet it: for checks of words and arrows."""

from __future__ import annotations

import math
from collections.abc import Iterator

from layoutgen.markings.conformity import LaidOut, Paint
from layoutgen.street.design import Leg, Segment, Strip

#: paint this far beside the middle of other paint is in another lane
_SAME_LANE_FT = 4.0
_LANES = ("travel_lane", "turn_lane", "center_turn_lane", "bike_lane")


def way_of(paint: Paint, laid: LaidOut) -> int:
    """+1 where the traffic that reads a marking travels along its segment, -1 against it."""
    if paint.segment is None:
        return 1
    ahead = laid.design.axes.directions([paint.segment.index], [paint.station_ft])[0]
    turn = math.radians(paint.bearing_deg)
    return 1 if ahead[0] * math.sin(turn) + ahead[1] * math.cos(turn) > 0 else -1


def reach(paint: Paint, laid: LaidOut) -> tuple[float, float]:
    """Near and far edge along the travel that reads it; grows downstream on its segment."""
    middle, half = paint.station_ft * way_of(paint, laid), paint.extent_ft[0] / 2
    return middle - half, middle + half


def in_lane(paint: Paint, laid: LaidOut, *kinds: str) -> list[Paint]:
    """Other markings of its lane and direction, in the order drivers meet them."""
    if paint.segment is None:
        return []
    way = way_of(paint, laid)
    own = [
        p
        for p in laid.on_segment(paint.segment, *kinds)
        if p is not paint
        and abs(p.offset_ft - paint.offset_ft) < _SAME_LANE_FT
        and way_of(p, laid) == way
    ]
    return sorted(own, key=lambda p: reach(p, laid)[0])


def strip_of(paint: Paint) -> Strip | None:
    """The lane that holds the middle of a marking."""
    if paint.segment is None:
        return None
    at = paint.offset_ft
    lanes = (s for s in paint.segment.strips if s.kind in _LANES)
    return next((s for s in lanes if s.left_ft - 1e-6 <= at <= s.right_ft + 1e-6), None)


def leg_place(paint: Paint, leg: Leg) -> tuple[float, float]:
    """Station and offset of a marking's middle in the coordinates of a leg of its segment."""
    if leg.at_end:
        return leg.segment.length_ft - paint.station_ft, -paint.offset_ft
    return paint.station_ft, paint.offset_ft


def legs_toward(paint: Paint, laid: LaidOut) -> Iterator[Leg]:
    """The leg that the traffic which reads a marking comes to on its segment, if there is one."""
    if paint.segment is None:
        return
    block = laid.design.blocks[paint.segment.index]
    leg = block.end_leg if way_of(paint, laid) == 1 else block.start_leg
    if leg is not None:
        yield leg


def on_approach(leg: Leg, laid: LaidOut, *kinds: str) -> list[tuple[Paint, float, float]]:
    """(marking, leg station, leg offset) of what the inbound traffic of a leg reads."""
    inbound = -1 if not leg.at_end else 1
    own = [p for p in laid.on_segment(leg.segment, *kinds) if way_of(p, laid) == inbound]
    return [(p, *leg_place(p, leg)) for p in own]


def in_strip(offset_ft: float, strip: Strip) -> bool:
    """Whether an offset lies in a strip of the same coordinates."""
    return strip.left_ft <= offset_ft <= strip.right_ft


def near_rail(paint: Paint, segment: Segment, laid: LaidOut) -> Iterator[tuple[float, float]]:
    """(distance upstream of the nearest rail, beyond the farthest) for each rail crossing.

    Measured from the edge of the marking that is nearer to the tracks; one of the two is negative.
    """
    near, far = reach(paint, laid)
    way = way_of(paint, laid)
    for rail in segment.rail_crossings:
        half = 2.5 + ((rail.tracks or 1) - 1) * 7.5
        at = rail.station_ft * way
        yield at - half - far, near - (at + half)

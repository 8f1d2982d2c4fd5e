"""Checks of lane-use arrows: MUTCD 11th edition 3B.23, 3D.06 and 8C.04."""

from __future__ import annotations

from layoutgen.markings.checks.in_lane import (
    in_strip,
    leg_place,
    legs_toward,
    near_rail,
    on_approach,
)
from layoutgen.markings.checks.words import room_of
from layoutgen.markings.conformity import TOLERANCE_FT, Check, LaidOut, Paint
from layoutgen.markings.lanes import turns
from layoutgen.street.design import Leg

_ARROW = ("turn_arrow",)
#: a turn lane shorter than this may go without the second arrow (ARROW-02), without any below that
_SHORT_FT, _NO_ROOM_FT = 110.0, 40.0
#: from the nearest rail to the stop line before the tracks (common practice)
_RAIL_STOP_FT = 15.0


def _lacking(leg: Leg, laid: LaidOut, least: int, *, drops_only: bool) -> str | None:
    """The first lane that must turn and has fewer arrows than it should."""
    told = len(leg.movements) == len(leg.inbound)
    if not told or leg.circular or leg.segment.rail_crossings:
        return None
    goes_on = any(turns(m) != "must" for m in leg.movements)
    arrows = [offset for _, _, offset in on_approach(leg, laid, *_ARROW)]
    for k, (strip, movements) in enumerate(zip(leg.inbound, leg.movements, strict=True), start=1):
        asked = turns(movements) == "must" and "none" not in movements
        if drops_only and not (goes_on and strip.kind == "travel_lane"):
            continue
        count = sum(in_strip(offset, strip) for offset in arrows)
        if asked and count < least:
            return f"{count} arrows in lane {k}"
    return None


def _two_arrows(leg: Leg, laid: LaidOut) -> str | None:
    return None if room_of(leg) < _SHORT_FT else _lacking(leg, laid, 2, drops_only=False)


def _arrow_in_drop(leg: Leg, laid: LaidOut) -> str | None:
    return None if room_of(leg) < _NO_ROOM_FT else _lacking(leg, laid, 1, drops_only=True)


def _behind_crosswalk(paint: Paint, laid: LaidOut) -> str | None:
    for leg in legs_toward(paint, laid):
        station, _ = leg_place(paint, leg)
        walks = [leg_place(p, leg)[0] for p in laid.on_leg(leg, "crosswalk")]
        if leg.circular and walks and station < min(walks):
            return "stands between the crosswalk and the entry"
    return None


def _not_on_single_lane(paint: Paint, laid: LaidOut) -> str | None:
    for leg in legs_toward(paint, laid):
        if leg.circular and len(leg.inbound) == 1:
            return "stands on a single-lane approach"
    return None


def _upstream_of_rails(paint: Paint, laid: LaidOut) -> str | None:
    least = 100.0 + _RAIL_STOP_FT
    for before, beyond in near_rail(paint, paint.segment, laid) if paint.segment else ():
        if beyond < 0 and before < least - TOLERANCE_FT:
            return f"{max(0.0, before):.0f} ft before the nearest rail"
    return None


def _beyond_rails(paint: Paint, laid: LaidOut) -> str | None:
    for before, beyond in near_rail(paint, paint.segment, laid) if paint.segment else ():
        if before < 0 <= beyond < 20.0 - TOLERANCE_FT:
            return f"{beyond:.0f} ft beyond the farthest rail"
    return None


def _long_enough(paint: Paint, _: LaidOut) -> str | None:
    long = paint.extent_ft[0]
    return None if long >= 8.0 - TOLERANCE_FT else f"{long:.2f} ft long"


CHECKS = (
    Check("ARROW-01", "two arrows in a turn lane that has room", _two_arrows, on="approach"),
    Check("ARROW-03", "arrows where a through lane must turn", _arrow_in_drop, on="approach"),
    Check("ARROW-09", "at least 8 ft long", _long_enough, _ARROW),
    Check("ARROW-11", "none between crosswalk and roundabout", _behind_crosswalk, _ARROW),
    Check("ARROW-12", "none on single-lane roundabout approaches", _not_on_single_lane, _ARROW),
    Check("ARROW-13", "100 ft before the rails' stop line", _upstream_of_rails, _ARROW),
    Check("ARROW-14", "20 ft beyond the farthest rail", _beyond_rails, _ARROW),
)

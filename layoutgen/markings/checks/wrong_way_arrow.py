"""Checks of arrows on ramps: California paragraphs of 3B.23."""

from __future__ import annotations

from layoutgen.markings.checks.in_lane import in_lane, in_strip, legs_toward, on_approach, reach
from layoutgen.markings.checks.words import room_of
from layoutgen.markings.conformity import Check, LaidOut, Paint, within
from layoutgen.street.design import Leg

_KINDS = ("wrong_way_arrow",)
_ARROWS = ("wrong_way_arrow", "turn_arrow")
#: two arrows with their distances need this much ramp
_ROOM_FT = 180.0
#: "approximate" in ARROW-05 (our reading)
_ABOUT_FT = 5.0


def _is_exit(leg: Leg) -> bool:
    return leg.segment.street_class == "ramp" and bool(leg.inbound) and not leg.outbound


def _two_in_each_lane(leg: Leg, laid: LaidOut) -> str | None:
    if not _is_exit(leg) or room_of(leg) < _ROOM_FT:
        return None
    arrows = [offset for _, _, offset in on_approach(leg, laid, *_ARROWS)]
    for k, strip in enumerate(leg.inbound, start=1):
        count = sum(in_strip(offset, strip) for offset in arrows)
        if count < 2:
            return f"{count} arrows in lane {k}"
    return None


def _tip_near_line(leg: Leg, laid: LaidOut) -> str | None:
    if not _is_exit(leg):
        return None
    for strip in leg.inbound:
        own = [
            station - paint.extent_ft[0] / 2
            for paint, station, offset in on_approach(leg, laid, *_ARROWS)
            if in_strip(offset, strip)
        ]
        gap = min(own) - leg.layout.inbound_end.at(strip.center_ft) if own else 20.0
        if not within(gap, 20.0 - _ABOUT_FT, 20.0 + _ABOUT_FT):
            return f"the nearest tip is {gap:.1f} ft before the line"
    return None


def _on_exit(paint: Paint, laid: LaidOut) -> bool:
    return any(_is_exit(leg) for leg in legs_toward(paint, laid))


def _exit_length(paint: Paint, laid: LaidOut) -> str | None:
    long = paint.extent_ft[0]
    short = _on_exit(paint, laid) and not within(long, 24.0, 1e9)
    return f"{long:.2f} ft long" if short else None


def _entrance_length(paint: Paint, laid: LaidOut) -> str | None:
    long = paint.extent_ft[0]
    ramp = paint.segment is not None and paint.segment.street_class == "ramp"
    short = ramp and not _on_exit(paint, laid) and not within(long, 18.0, 1e9)
    return f"{long:.2f} ft long" if short else None


def _apart(paint: Paint, laid: LaidOut) -> str | None:
    far = reach(paint, laid)[1]
    if paint.segment is None or paint.segment.street_class != "ramp":
        return None
    after = [reach(p, laid)[0] - far for p in in_lane(paint, laid, *_KINDS)]
    gaps = [gap for gap in after if gap > -1.0]
    if not gaps or within(min(gaps), 100.0, 300.0):
        return None
    return f"{min(gaps):.0f} ft to the next"


CHECKS = (
    Check("ARROW-04", "two arrows in each lane of an exit ramp", _two_in_each_lane, on="leg"),
    Check("ARROW-05", "the nearest tip about 20 ft before the line", _tip_near_line, on="leg"),
    Check("ARROW-06", "exit ramps: at least 24 ft long", _exit_length, _KINDS),
    Check("ARROW-07", "100 to 300 ft apart", _apart, _KINDS),
    Check("ARROW-08", "entrance ramps: at least 18 ft long", _entrance_length, _KINDS),
)

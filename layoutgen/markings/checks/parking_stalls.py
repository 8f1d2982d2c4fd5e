"""What the standard asks of parking stalls, measured on the paint."""

from __future__ import annotations

from collections.abc import Iterator

import shapely

from layoutgen.markings.conformity import Check, LaidOut, Paint, color_check, within
from layoutgen.street.design import Block, Leg

#: what measuring from the nearest corner of a mark may lose on a skewed crosswalk (ft)
_SLACK_FT = 0.5
_KINDS = ("parking_stall",)


def _thin(paint: Paint, _: LaidOut) -> str | None:
    """Both strokes of a mark: a T's area over its length is its line width."""
    for part in paint.parts:
        # a lone line shows its width; a T or L does in how little it fills of its box
        around = part.long_ft + part.short_ft
        width = part.short_ft if part.short_ft < 0.7 else part.shape.area / around
        if not within(width, 0.25, 0.55):
            return f"a mark of {width * 12:.1f} in"
    return None


def _legs(paint: Paint, laid: LaidOut) -> Iterator[tuple[Leg, float, bool]]:
    """(leg, leg station of the mark nearest to the intersection, is it on the approach side?)"""
    segment = paint.segment
    if segment is None or segment.index >= len(laid.design.blocks):
        return
    block: Block = laid.design.blocks[segment.index]
    lanes = [s for s in segment.strips if s.kind == "travel_lane"]
    lane = min(lanes, key=lambda s: abs(s.center_ft - paint.offset_ft), default=None)
    if lane is None:
        return
    axis = laid.design.axes.lines()[segment.index]
    along = shapely.line_locate_point(axis, shapely.points(shapely.get_coordinates(paint.shape)))
    for leg, sign in ((block.start_leg, 1), (block.end_leg, -1)):
        if leg is not None:
            near = float((along if sign == 1 else segment.length_ft - along).min())
            yield leg, near, lane.direction * sign == -1


def _from_crosswalk(paint: Paint, laid: LaidOut, *, approach: bool, controls: str) -> str | None:
    """Nearer than 20 ft to a crosswalk, before it or after it."""
    for leg, station, inbound in _legs(paint, laid):
        if leg.layout.crosswalk is None or inbound != approach:
            continue
        if controls == "no signal" and leg.control == "signal":
            continue
        sign = -1 if leg.at_end else 1
        gap = station - leg.layout.crosswalk[1].at(paint.offset_ft * sign)
        if gap < 20.0 - _SLACK_FT:
            return f"{gap:.1f} ft"
    return None


def _before_signal(paint: Paint, laid: LaidOut) -> str | None:
    for leg, station, inbound in _legs(paint, laid):
        if inbound and leg.control == "signal":
            gap = station - leg.layout.curb.at(paint.offset_ft * (-1 if leg.at_end else 1))
            if gap < 30.0 - _SLACK_FT:
                return f"{gap:.1f} ft"
    return None


def _before(paint: Paint, laid: LaidOut) -> str | None:
    return _from_crosswalk(paint, laid, approach=True, controls="all")


def _before_unsignalled(paint: Paint, laid: LaidOut) -> str | None:
    return _from_crosswalk(paint, laid, approach=True, controls="no signal")


def _after(paint: Paint, laid: LaidOut) -> str | None:
    return _from_crosswalk(paint, laid, approach=False, controls="all")


CHECKS = (
    color_check("PARK-01", _KINDS, ["white"]),
    Check("PARK-02", "marks 4 to 6 in wide", _thin, _KINDS),
    Check("PARK-04", "at least 30 ft before a signal", _before_signal, _KINDS),
    Check(
        "PARK-05", "at least 20 ft before a crosswalk without signal", _before_unsignalled, _KINDS
    ),
    Check("PARK-06", "at least 20 ft after a crosswalk", _after, _KINDS),
    Check("PARK-11", "at least 20 ft before a crosswalk", _before, _KINDS),
)

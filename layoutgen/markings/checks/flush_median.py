"""What is asked of flush medians (MUTCD 11th edition 3B.25, 3J.03)."""

from __future__ import annotations

import numpy as np
import shapely

from layoutgen.markings.checks.lane_line import side_by_side
from layoutgen.markings.conformity import INCH, Check, LaidOut, Paint, color_check, tolerance_ft
from layoutgen.markings.measuring import Part

MEDIAN = ("flush_median",)
_LINES = ("double_solid",)
_DIAGONALS = ("diagonals",)


def _double(paint: Paint, laid: LaidOut) -> str | None:
    """A double solid line, with another one on the other side of the island."""
    if any(p.long_ft < 10.0 for p in paint.parts):
        return "is not solid"
    if side_by_side(paint) <= 0.0:
        return "is no double line"
    return None if _others(paint, laid) else "has no second double line across the island"


def _others(paint: Paint, laid: LaidOut) -> list[Paint]:
    """Double lines on the other side of the island."""
    near = laid.near(paint.shape, 20.0, MEDIAN)
    own = [p for p in near if p is not paint and p.style in _LINES]
    return [p for p in own if p.from_ft < paint.to_ft - 1.0 and p.to_ft > paint.from_ft + 1.0]


def _room(paint: Paint, laid: LaidOut) -> str | None:
    """Width between the two double lines."""
    gaps = [
        max(p.left_ft - paint.right_ft, paint.left_ft - p.right_ft) for p in _others(paint, laid)
    ]
    return f"{min(gaps):.1f} ft between the lines" if gaps and min(gaps) < 2.0 - 0.01 else None


def _long(paint: Paint, _: LaidOut) -> str | None:
    length = max(p.long_ft for p in paint.parts)
    return f"{length:.0f} ft long" if length < 50.0 - 0.1 else None


def _away(paint: Paint, laid: LaidOut) -> str | None:
    """Ahead of a driver diagonals lead away from the lane: to the left where traffic keeps right.

    They do so for both directions alike, as a line has the same lean seen from either end.
    """
    sign = -1.0 if laid.design.driving_side == "right" else 1.0
    own = [turn for _, turn in _leans(paint)]
    wrong = [turn for turn in own if turn * sign <= 0.0]
    return f"{len(wrong)} of {len(own)} lean toward the traffic" if wrong else None


def _angle(paint: Paint, _: LaidOut) -> str | None:
    # the long side of the smallest rectangle leans a little more than a slanted end's sides
    wrong = [abs(turn) for _, turn in _leans(paint) if not 28.0 <= abs(turn) <= 50.0]
    return f"at {wrong[0]:.0f} deg to the travel" if wrong else None


def _leans(paint: Paint) -> list[tuple[Part, float]]:
    """Diagonals with their angles to the street where each of them lies, so that it may bend.

    Slivers that other paint left of one say nothing.
    """
    whole = max(p.shape.area for p in paint.parts)
    own = [p for p in paint.parts if p.shape.area > 0.5 * whole]
    if paint.segment is None or paint.segment.axis is None:
        return [(p, p.turn_deg) for p in own]
    axis = paint.segment.axis
    at = shapely.line_locate_point(axis, shapely.centroid([p.shape for p in own]))
    near = shapely.get_coordinates(shapely.line_interpolate_point(axis, np.maximum(at - 5.0, 0.0)))
    far = shapely.get_coordinates(shapely.line_interpolate_point(axis, at + 5.0))
    heading = np.degrees(np.arctan2(*(far - near).T))
    turns = [p.turn_deg + paint.bearing_deg - float(t) for p, t in zip(own, heading, strict=True)]
    return [(p, (t + 90.0) % 180.0 - 90.0) for p, t in zip(own, turns, strict=True)]


def _wide(row: str, least_ft: float, *, fast: bool) -> Check:
    def test(paint: Paint, _: LaidOut) -> str | None:
        if paint.segment is None or (paint.segment.speed_mph >= 45.0) != fast:
            return None
        width = min(2 * p.shape.area / _slanted_sides(p.shape) for p, _ in _leans(paint))
        return f"{width * 12:.1f} in wide" if width < least_ft - tolerance_ft() else None

    where = "from 45 mph on" if fast else "below 45 mph"
    return Check(
        row, f"diagonals of {least_ft * 12:g} in or more {where}", test, MEDIAN, _DIAGONALS
    )


def _slanted_sides(shape: object) -> float:
    """Length of the two long sides of a parallelogram."""
    ring = shapely.get_coordinates(shape)
    lengths = np.sort(np.hypot(*np.diff(ring, axis=0).T))
    return float(lengths[-2:].sum())


CHECKS = (
    Check("CHAN-02", "two sets of double solid lines", _double, MEDIAN, _LINES),
    color_check("CHAN-02", MEDIAN, ("yellow",)),
    Check("CHAN-03", "2 ft or more between the double lines", _room, MEDIAN, _LINES),
    Check("CHAN-04", "50 ft or more", _long, MEDIAN, _LINES),
    Check("CHEV-08", "yellow, leaning away from the traffic", _away, MEDIAN, _DIAGONALS),
    Check("CHEV-03", "at 30 to 45 deg", _angle, MEDIAN, _DIAGONALS),
    _wide("CHEV-01", 1.0, fast=True),
    _wide("CHEV-02", 8 * INCH, fast=False),
)

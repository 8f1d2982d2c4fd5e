"""What is asked of channelizing lines and chevrons (MUTCD 11th edition 3B.08, 3B.25)."""

from __future__ import annotations

import math

import numpy as np
import shapely

from layoutgen.markings.checks.lane_line import side_by_side
from layoutgen.markings.conformity import INCH, Check, LaidOut, Paint, color_check, tolerance_ft

LINE = ("channelizing_line",)
CHEVRONS = ("chevrons",)
_FAST_MPH = 45.0


def _wide_or_double(paint: Paint, _: LaidOut) -> str | None:
    """Wide solid, or two solid lines side by side."""
    if any(p.long_ft < 8.0 for p in paint.parts):
        return "is not solid"
    width = min(p.short_ft for p in paint.parts)
    if width >= 8 * INCH - tolerance_ft() or side_by_side(paint) > 0:
        return None
    return f"a single line of {width * 12:.1f} in"


def arms(piece: shapely.Polygon) -> tuple[float, float] | None:
    """(width of an arm, angle between the arms) of a chevron; None where it is none.

    The sides of a chevron are four long ones, two along each arm, and two short ends.
    """
    ring = shapely.get_coordinates(shapely.remove_repeated_points(piece.exterior, 0.05))[:-1]
    edges = np.roll(ring, -1, axis=0) - ring
    lengths = np.hypot(*edges.T)
    longest = np.argsort(-lengths)[:4]
    if len(ring) < 6 or lengths[longest].min() < 0.6:
        return None
    ways = np.degrees(np.arctan2(edges[longest, 0], edges[longest, 1])) % 180.0
    first = [i for i in range(4) if abs((ways[i] - ways[0] + 90.0) % 180.0 - 90.0) < 5.0]
    other = [i for i in range(4) if i not in first]
    if len(first) != 2 or len(other) != 2:
        return None
    a, b = longest[first[0]], longest[first[1]]
    normal = np.array([edges[a][1], -edges[a][0]]) / lengths[a]
    width = abs(float((ring[b] - ring[a]) @ normal))
    between = abs((ways[other[0]] - ways[first[0]] + 90.0) % 180.0 - 90.0)
    return width, float(between)


def _wide(row: str, least_ft: float, *, fast: bool) -> Check:
    def test(paint: Paint, _: LaidOut) -> str | None:
        if paint.segment is None or (paint.segment.speed_mph >= _FAST_MPH) != fast:
            return None
        found = [a for p in paint.parts if (a := arms(p.shape)) is not None]
        width = min((a[0] for a in found), default=least_ft)
        return f"arms of {width * 12:.1f} in" if width < least_ft - tolerance_ft() else None

    where = "from 45 mph on" if fast else "below 45 mph"
    return Check(row, f"arms of {least_ft * 12:g} in or more {where}", test, CHEVRONS)


def _angle(row: str, low: float, high: float) -> Check:
    """Half the angle between the arms, which lie even to both sides of the travel."""

    def test(paint: Paint, _: LaidOut) -> str | None:
        for p in paint.parts:
            found = arms(p.shape)
            # arms at 45 deg each stand at 90 deg to one another; beyond, the angle folds back
            own = None if found is None else found[1] / 2
            if own is not None and not low - 1.0 <= own <= high + 1.0:
                return f"arms at {own:.0f} deg"
        return None

    text = f"arms at {low:g} deg" if low == high else f"arms at {low:g} to {high:g} deg"
    return Check(row, text, test, CHEVRONS)


def _points(paint: Paint, _: LaidOut) -> str | None:
    """The point of a chevron lies nearer to the traffic that comes than its arms' ends.

    The hollow of a chevron lies behind its point: its hull's middle lies behind its own middle.
    """
    t = math.radians(paint.bearing_deg)
    way = np.array([math.sin(t), math.cos(t)])
    wrong = 0
    for p in paint.parts:
        hull = shapely.get_coordinates(shapely.centroid(shapely.convex_hull(p.shape)))[0]
        own = shapely.get_coordinates(shapely.centroid(p.shape))[0]
        wrong += float((hull - own) @ way) < 0.0
    return (
        f"{wrong} of {len(paint.parts)} point away from the traffic that comes" if wrong else None
    )


def _spacing(paint: Paint, _: LaidOut) -> str | None:
    middles = shapely.get_coordinates(shapely.centroid([p.shape for p in paint.parts]))
    steps = np.hypot(*np.diff(middles, axis=0).T) if len(middles) > 1 else np.empty(0)
    return f"{steps.max():.0f} ft between chevrons" if len(steps) and steps.max() > 200.0 else None


CHECKS = (
    Check("CHAN-01", "a wide or double solid line", _wide_or_double, LINE),
    color_check("CHAN-01", LINE, ("white",)),
    color_check("LINE-16", CHEVRONS, ("white",)),
    _wide("CHEV-01", 1.0, fast=True),
    _wide("CHEV-02", 8 * INCH, fast=False),
    _angle("CHEV-03", 30.0, 45.0),
    _angle("CHEV-04", 45.0, 45.0),
    Check("CHEV-05", "chevrons no farther apart than 200 ft", _spacing, CHEVRONS),
    Check("CHEV-07", "the point toward approaching traffic", _points, CHEVRONS),
)

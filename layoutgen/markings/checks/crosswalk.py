"""What the standard asks of crosswalks, at intersections and inside blocks."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import shapely

from layoutgen.markings.checks.places import by_side, from_area, gaps, sides_of, waits_at
from layoutgen.markings.conformity import INCH, Check, LaidOut, Paint, Part, within

WALK = ("crosswalk",)
BARS = ("longitudinal_bars",)
PAIRS = ("bar_pairs",)
#: a bar farther out of the travel's line than this is not parallel to it (the wheel's eye)
_PARALLEL_DEG = 5.0
_PER_BAR = 2.5
#: doubt of the modeled edge of a ring
_MODEL_FT = 0.5


def _bars(paint: Paint) -> list[Any]:
    """Separate pieces whose long side runs along the travel, from left to right."""
    found = [p.shape for p in _upright(paint)]
    return paint.once("bars", lambda: by_side(found, paint.bearing_deg))  # type: ignore[no-any-return]


def _upright(paint: Paint) -> list[Part]:
    return [p for p in paint.parts if abs(p.turn_deg) < 45.0 and p.long_ft > p.short_ft + 0.1]


def _bar_sides(paint: Paint) -> list[float]:
    """Width of every bar: the side across the travel is the shorter one."""
    return [p.short_ft for p in _upright(paint)]


def _across(paint: Paint) -> list[Part]:
    """Pieces whose long side runs across the travel: transverse lines, ladders."""
    return [p for p in paint.parts if abs(p.turn_deg) >= 45.0]


def _holes(paint: Paint) -> list[Any]:
    """Bays between the bars of a ladder, from left to right."""
    rings = [shapely.Polygon(ring) for p in paint.parts for ring in p.shape.interiors]
    return paint.once("holes", lambda: by_side(rings, paint.bearing_deg))  # type: ignore[no-any-return]


def _parted(paint: Paint, laid: LaidOut) -> bool:
    """Whether a median or an island may lie between two bars."""
    leg = paint.leg
    if leg is not None and (leg.twin is not None or leg.segment.has("median")):
        return True
    if paint.segment is not None and paint.segment.has("median"):
        return True
    hull = paint.shape.convex_hull
    return any(area.shape.intersects(hull) for area in laid.design.islands)


def _size(paint: Paint) -> float:
    """Width of the whole crosswalk, at right angles to its edges."""
    return sides_of(shapely.convex_hull(paint.shape), paint.bearing_deg)[0]


def _white(paint: Paint, _: LaidOut) -> str | None:
    at_school = paint.leg is not None and paint.leg.school
    allowed = ("white", "yellow") if at_school else ("white",)
    return None if paint.color in allowed else f"is {paint.color}"


def _line_widths(low_in: float) -> Any:
    def test(paint: Paint, _: LaidOut) -> str | None:
        lines = [p for p in _across(paint) if not len(p.shape.interiors)]
        if paint.style in ("ladder", "diagonal"):
            return None
        wrong = [p.short_ft for p in lines if not within(p.short_ft, low_in * INCH, 24 * INCH)]
        return f"line {wrong[0] / INCH:.1f} in wide" if wrong else None

    return test


def _width(least_ft: float, *, fast: bool = False) -> Any:
    def test(paint: Paint, _: LaidOut) -> str | None:
        if fast and (waits_at(paint) is not None or _speed(paint) < 40.0):
            return None
        wide = _size(paint)
        return None if wide >= least_ft - 0.01 else f"{wide:.2f} ft wide"

    return test


def _speed(paint: Paint) -> float:
    return paint.segment.speed_mph if paint.segment is not None else 0.0


def _only_lines(paint: Paint) -> bool:
    """Whether it shows nothing but transverse lines."""
    return all(abs(p.turn_deg) >= 45.0 and not len(p.shape.interiors) for p in paint.parts)


def _lines_where(paint: Paint, laid: LaidOut) -> str | None:
    """XWALK-05; inside a block what controls is read from the crossing points."""
    if not _only_lines(paint):
        return None
    leg = waits_at(paint)
    if leg is not None:
        control = leg.control if leg.inbound else leg.intersection_control
        return None if control != "none" else f"nothing controls {leg.leg_id}"
    block = laid.design.blocks[paint.segment.index] if paint.segment is not None else None
    points = (
        [p for p in block.crossings if abs(p.station_ft - paint.station_ft) < 30.0] if block else []
    )
    controlled = any(p.control in ("signal", "stop", "yield") for p in points)
    return None if controlled else "nothing controls this crossing"


def _visible(paint: Paint, _: LaidOut) -> str | None:
    if waits_at(paint) is not None or not _only_lines(paint):
        return None
    return "transverse lines only, inside a block"


def _elements(paint: Paint) -> int:
    """Longitudinal elements: a bar pair counts as one, a ladder has its bays and one more."""
    row = _bars(paint)
    if paint.style == "bar_pairs":
        return sum(1 for _ in _pairs(row))
    holes = _holes(paint)
    return max(len(row), len(holes) + 1 if holes else 0)


def _count(paint: Paint, _: LaidOut) -> str | None:
    if _only_lines(paint) or paint.style == "diagonal":
        return None
    found = _elements(paint)
    return None if found >= 3 else f"{found} longitudinal elements"


def _parallel(paint: Paint, _: LaidOut) -> str | None:
    turns = [
        p.turn_deg for p in paint.parts if abs(p.turn_deg) < 45.0 and p.long_ft > 1.5 * p.short_ft
    ]
    worst = max(turns, key=abs, default=0.0)
    return None if abs(worst) <= _PARALLEL_DEG else f"bar {abs(worst):.0f} degrees off the travel"


def _uniform(paint: Paint, _: LaidOut) -> str | None:
    widths = _bar_sides(paint)
    if not widths or max(widths) - min(widths) <= 1.0 * INCH:
        return None
    return f"bars {min(widths) / INCH:.0f} to {max(widths) / INCH:.0f} in wide"


def _bar_widths(low_in: float, high_in: float) -> Any:
    def test(paint: Paint, _: LaidOut) -> str | None:
        widths = _bar_sides(paint)
        wrong = [w for w in widths if not within(w, low_in * INCH, high_in * INCH)]
        return f"bar {wrong[0] / INCH:.1f} in wide" if wrong else None

    return test


def _bar_gaps(cap: float | None = None) -> Any:
    """Clear gaps of 12 to 60 in, or up to so many bar widths."""

    def test(paint: Paint, laid: LaidOut) -> str | None:
        row = _bars(paint)
        width = min(_bar_sides(paint), default=0.0)
        low, high = (12 * INCH, 60 * INCH) if cap is None else (0.0, cap * width)
        return _wrong_gap(gaps(row), (low, high), _parted(paint, laid))

    return test


def _wrong_gap(found: Sequence[float], limits: tuple[float, float], parted: bool) -> str | None:
    low, high = limits
    wrong = [g for g in found if g < low - 0.01 or (g > high + 0.01 and not parted)]
    return f"gap of {wrong[0] / INCH:.1f} in" if wrong else None


def _ladder_lines(paint: Paint, _: LaidOut) -> str | None:
    for part in paint.parts:
        rings = [shapely.Polygon(ring) for ring in part.shape.interiors]
        if not rings:
            continue
        outer = shapely.LinearRing(part.shape.exterior)
        wide = min(float(shapely.distance(ring, outer)) for ring in rings)
        if not within(wide, 6 * INCH, 24 * INCH):
            return f"line {wide / INCH:.1f} in wide"
    return None


def _ladder_bars(paint: Paint, laid: LaidOut) -> str | None:
    found = gaps(_holes(paint))
    wrong = [
        w
        for w in found
        if w < 12 * INCH - 0.01 or (w > 24 * INCH + 0.01 and not _parted(paint, laid))
    ]
    return f"bar {wrong[0] / INCH:.1f} in wide" if wrong else None


def _ladder_gaps(paint: Paint, _: LaidOut) -> str | None:
    holes = _holes(paint)
    bar = min(gaps(holes), default=2.0)
    found = [sides_of(hole, paint.bearing_deg)[1] for hole in holes]
    return _wrong_gap(found, (12 * INCH, min(60 * INCH, _PER_BAR * bar)), parted=False)


def _pairs(row: Sequence[Any]) -> list[tuple[Any, Any]]:
    """Neighbors of a row two by two."""
    return list(zip(row[::2], row[1::2], strict=False))


def _pair_inside(paint: Paint, _: LaidOut) -> str | None:
    for a, b in _pairs(_bars(paint)):
        bar = sides_of(a, paint.bearing_deg)[1]
        inner = float(shapely.distance(a, b))
        if abs(inner - bar) > 0.5 * INCH:
            return f"inner gap of {inner / INCH:.1f} in for bars of {bar / INCH:.1f} in"
    return None


def _pair_gaps(paint: Paint, laid: LaidOut) -> str | None:
    pairs = _pairs(_bars(paint))
    found = [float(shapely.distance(a[1], b[0])) for a, b in pairwise(pairs)]
    total = 3 * min((sides_of(a, paint.bearing_deg)[1] for a, _ in pairs), default=0.0)
    return _wrong_gap(found, (24 * INCH, min(60 * INCH, _PER_BAR * total)), _parted(paint, laid))


def _pair_lines(paint: Paint, _: LaidOut) -> str | None:
    return "bar pairs with transverse lines" if _across(paint) else None


def _ramps(paint: Paint, laid: LaidOut) -> str | None:
    """Both ends of the line from ramp to ramp lie in the crosswalk, drawn out over the curb."""
    leg = paint.leg
    if leg is None or leg.crossing is None or leg.existing:
        return None
    ends = np.array([[leg.crossing.at(o), o] for o in leg.edges_ft])
    axes, own = laid.design.axes, np.array([leg.segment.index] * 2)
    along = leg.segment.length_ft - ends[:, 0] if leg.at_end else ends[:, 0]
    at = axes.locate(own, along, -ends[:, 1] if leg.at_end else ends[:, 1])
    far = shapely.distance(shapely.points(at), shapely.convex_hull(paint.shape)).max()
    return None if far <= 5.0 else f"a curb ramp lies {far:.0f} ft outside of it"


def _from_ring(paint: Paint, laid: LaidOut) -> str | None:
    leg = waits_at(paint)
    away = from_area(paint, leg, laid) if leg is not None and leg.circular else None
    if away is None or away >= 20.0 - _MODEL_FT:
        return None
    return f"{away:.1f} ft from the circulatory roadway"


def _to_island(paint: Paint, _: LaidOut) -> str | None:
    inside = paint.segment is not None and paint.segment.roundabout
    return "crosses the circulatory roadway" if inside else None


def _diagonal_angle(paint: Paint, _: LaidOut) -> str | None:
    """Bays between diagonal bars have two sides at 45 degrees to the crosswalk's lines."""
    bays = [ring for ring in _holes(paint) if len(ring.exterior.coords) == 5]
    for bay in bays[1:-1]:
        steps = np.diff(np.asarray(bay.exterior.coords), axis=0)
        turn = np.degrees(np.arctan2(steps[:, 0], steps[:, 1])) % 180.0
        between = abs((turn[0] - turn[1] + 90.0) % 180.0 - 90.0)
        if abs(between - 45.0) > 2.0:
            return f"bars at {between:.0f} degrees"
    return None


def _school_yellow(paint: Paint, _: LaidOut) -> str | None:
    at_school = paint.leg is not None and paint.leg.school
    return f"is {paint.color} in a school zone" if at_school and paint.color != "yellow" else None


def _at_school(test: Any) -> Any:
    def only(paint: Paint, laid: LaidOut) -> str | None:
        return test(paint, laid) if paint.leg is not None and paint.leg.school else None

    return only


CHECKS = (
    Check("XWALK-01", "white paint (California: yellow at schools)", _white, WALK),
    Check("XWALK-02", "transverse lines of 6 to 24 in", _line_widths(6), WALK),
    Check("XWALK-03", "at least 6 ft wide", _width(6.0), WALK),
    Check("XWALK-05", "lines only where traffic is controlled", _lines_where, WALK),
    Check("XWALK-07", "at least 3 longitudinal elements", _count, WALK),
    Check("XWALK-08", "bars parallel to the travel", _parallel, WALK, (*BARS, *PAIRS)),
    Check("XWALK-10", "bars of one width in a crosswalk", _uniform, WALK, (*BARS, *PAIRS)),
    Check("XWALK-11", "bars of 12 to 24 in", _bar_widths(12, 24), WALK, BARS),
    Check("XWALK-12", "gaps of 12 to 60 in", _bar_gaps(), WALK, BARS),
    Check("XWALK-13", "gaps of at most 2.5 bars", _bar_gaps(_PER_BAR), WALK, BARS),
    Check("XWALK-14", "ladder lines of 6 to 24 in", _ladder_lines, WALK, ("ladder",)),
    Check("XWALK-15", "ladder bars of 12 to 24 in", _ladder_bars, WALK, ("ladder",)),
    Check("XWALK-16", "ladder gaps of 12 to 60 in, 2.5 bars", _ladder_gaps, WALK, ("ladder",)),
    Check("XWALK-18", "bars of a pair of 8 to 12 in", _bar_widths(8, 12), WALK, PAIRS),
    Check("XWALK-19", "inner gap of one bar", _pair_inside, WALK, PAIRS),
    Check("XWALK-20", "24 to 60 in between pairs, 2.5 pairs", _pair_gaps, WALK, PAIRS),
    Check("XWALK-21", "no transverse lines with bar pairs", _pair_lines, WALK, PAIRS),
    Check("XWALK-22", "curb ramps open into it", _ramps, WALK),
    Check("XWALK-23", "20 ft from a circulatory roadway", _from_ring, WALK),
    Check("XWALK-24", "none to a central island", _to_island, WALK),
    Check("XWALK-26", "diagonals at 45 degrees", _diagonal_angle, WALK, ("diagonal",)),
    Check("SCHOOL-03", "California: lines of 12 to 24 in", _at_school(_line_widths(12)), WALK),
    Check("SCHOOL-04", "California: bars of 12 to 24 in", _at_school(_bar_widths(12, 24)), WALK,
          BARS),
    Check("SCHOOL-05", "California: yellow beside school grounds", _school_yellow, WALK),
)  # fmt: skip
MIDBLOCK_CHECKS = (
    Check("XWALK-04", "8 ft wide in blocks of 40 mph and more", _width(8.0, fast=True), WALK),
    Check("XWALK-06", "high-visibility pattern in blocks", _visible, WALK),
)

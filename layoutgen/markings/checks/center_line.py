"""What is asked of center lines (MUTCD 11th edition 3B.01 to 3B.03, 3B.05)."""

from __future__ import annotations

import numpy as np
import shapely

from layoutgen.markings.checks.lane_line import side_by_side
from layoutgen.markings.checks.patterns import gaps_ft, line_width_check
from layoutgen.markings.conformity import INCH, Check, LaidOut, Paint, tolerance_ft
from layoutgen.markings.edges import moving_lanes, traveled_ft
from layoutgen.markings.sight import JOIN_FT
from layoutgen.street.design import Block, Segment

CENTER = ("center_line",)
_BROKEN_FT = (5.0, 20.0)


def _two_way(segment: Segment) -> bool:
    both = segment.oneway == "both" and not segment.roundabout
    return both and bool(segment.lanes(1)) and bool(segment.lanes(-1))


def _pieces(paint: Paint) -> tuple[int, int]:
    """(long solid lines, pieces of a broken line)."""
    low, high = _BROKEN_FT
    solid = sum(p.long_ft > high for p in paint.parts)
    return solid, sum(low <= p.long_ft <= high for p in paint.parts)


def _not_single(paint: Paint, laid: LaidOut) -> str | None:
    """One solid line alone, with nothing beside it."""
    if paint.segment is None or not _two_way(paint.segment):
        return None
    solid, broken = _pieces(paint)
    if solid == 0 or broken > 1 or side_by_side(paint) > 0:
        return None
    others = [p for p in laid.near(paint.shape, 2.0, CENTER) if p is not paint]
    beside = [p for p in others if p.from_ft < paint.to_ft - 5.0 and p.to_ft > paint.from_ft + 5.0]
    if beside or paint.segment.has("median"):
        return None
    return "a single solid line"


def _double(block: Block, laid: LaidOut) -> str | None:
    """Four lanes and more, undivided: a double solid line."""
    segment = block.segment
    lanes = len(segment.lanes(1)) + len(segment.lanes(-1))
    if not _two_way(segment) or block.inside or lanes < 4:
        return None
    if segment.has("median") or segment.has("center_turn_lane"):
        return None
    lines = laid.on_segment(segment, *CENTER)
    bad = [p for p in lines if _pieces(p)[1] > 2]
    if bad:
        return f"{bad[0].marking_id} has broken lines"
    return "no center line" if not lines and segment.length_ft > 100.0 else None


def _by_volume(row: str, text: str, where: tuple[str, float, int], main: bool) -> Check:
    setting, width, adt = where

    def test(block: Block, laid: LaidOut) -> str | None:
        segment = block.segment
        if not _two_way(segment) or block.inside or segment.length_ft < 100.0:
            return None
        if segment.setting != setting or (segment.adt or 0) < adt or segment.has("median"):
            return None
        if main and segment.street_class not in ("arterial", "collector"):
            return None
        if traveled_ft(segment) < width - 1e-6:
            return None
        lines = laid.on_segment(segment, *CENTER)
        return None if lines else f"{segment.adt} vehicles per day and no center line"

    return Check(row, text, test, on="block")


def _narrow(paint: Paint, _: LaidOut) -> str | None:
    if paint.segment is None or not _two_way(paint.segment):
        return None
    width, lanes = traveled_ft(paint.segment), moving_lanes(paint.segment)
    return f"on {width:.1f} ft of lanes" if width < 16.0 - 1e-6 and lanes < 3 else None


def _zones(paint: Paint) -> list[tuple[float, float]]:
    """Long solid stretches of a line, as distances along its street."""
    assert paint.segment is not None
    axis = paint.segment.axis
    out = []
    for part in paint.parts:
        if part.long_ft > _BROKEN_FT[1]:
            xy = shapely.points(shapely.get_coordinates(part.shape))
            at = shapely.line_locate_point(axis, xy)
            out.append((float(at.min()), float(at.max())))
    return sorted(out)


def _joined_zones(block: Block, laid: LaidOut) -> str | None:
    """Two no-passing zones of one direction with less than 400 ft between them."""
    segment = block.segment
    if not _two_way(segment) or segment.axis is None or segment.has("center_turn_lane"):
        return None
    lines = laid.on_segment(segment, *CENTER)
    if len(lines) < 2:
        return None
    by_side: dict[int, list[tuple[float, float]]] = {1: [], -1: []}
    for p in lines:
        for side in _solid_sides(p):
            by_side[side] += _zones(p)
    for side, own in by_side.items():
        zones = sorted(own)
        last = zones[0][1] if zones else 0.0
        for start, stop in zones[1:]:
            if 30.0 < start - last < JOIN_FT - 1.0:
                return f"{start - last:.0f} ft between two zones on side {side:+d}"
            last = max(last, stop)
    return None


def _solid_sides(paint: Paint) -> list[int]:
    """Sides of the middle of a line where it is solid."""
    assert paint.segment is not None
    axis = paint.segment.axis
    middle = (paint.left_ft + paint.right_ft) / 2
    sides = set()
    for part in paint.parts:
        if part.long_ft > _BROKEN_FT[1]:
            spot = shapely.point_on_surface(part.shape)
            at = float(shapely.line_locate_point(axis, spot))
            ends = shapely.line_interpolate_point(axis, [max(0.0, at - 1.0), at + 1.0])
            a, b = shapely.get_coordinates(ends)
            own = shapely.get_coordinates(spot)[0]
            way = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
            offset = float((own - a)[0] * way[1] - (own - a)[1] * way[0])
            sides.add(1 if offset > middle else -1)
    return sorted(sides)


def _gap(paint: Paint, _: LaidOut) -> str | None:
    gap = side_by_side(paint)
    width = min(p.short_ft for p in paint.parts)
    return f"gap of {gap * 12:.1f} in" if gap > 2 * width + tolerance_ft() + 0.01 else None


def _pattern(row: str, wanted_ft: float, *, gap: bool) -> Check:
    """Pieces, or gaps, of the broken lines among center lines, wherever they are broken."""

    def test(paint: Paint, _: LaidOut) -> str | None:
        pieces = [p.long_ft for p in paint.parts if p.long_ft <= 2 * _BROKEN_FT[1]]
        if len(pieces) < 4 or len(pieces) < len(paint.parts):
            return None
        usual = float(np.median(gaps_ft(paint) if gap else pieces))
        slack = tolerance_ft() + 0.05
        name = "gaps" if gap else "pieces"
        return f"{name} of {usual:.1f} ft" if abs(usual - wanted_ft) > slack else None

    text = f"{'gaps' if gap else 'pieces'} of {wanted_ft:g} ft"
    return Check(row, text, test, CENTER)


def _edges_of_turn_lane(block: Block, laid: LaidOut) -> str | None:
    """Solid outside and broken inside on both edges of a two-way left-turn lane."""
    center = next((s for s in block.segment.strips if s.kind == "center_turn_lane"), None)
    if center is None or block.inside or block.segment.axis is None:
        return None
    for edge, outward in ((center.left_ft, -1), (center.right_ft, 1)):
        lines = laid.on_segment(block.segment, *CENTER)
        own = [p for p in lines if abs((p.left_ft + p.right_ft) / 2 - edge) < 1.0]
        for p in own:
            solid, broken = _pieces(p)
            if broken > 2 and (solid == 0 or _solid_sides(p) != [outward]):
                return f"{p.marking_id} is not solid outside and broken inside"
    return None


def _to_intersection(paint: Paint, _: LaidOut) -> str | None:
    """Lines of a two-way left-turn lane within its pocket or past the stop."""
    if paint.segment is None or not paint.segment.has("center_turn_lane") or paint.leg is None:
        return None
    leg = paint.leg
    far = leg.segment.length_ft - paint.to_ft if leg.at_end else paint.from_ft
    middle = (paint.left_ft + paint.right_ft) / 2
    curb = leg.layout.curb.at(-middle if leg.at_end else middle)
    if _pieces(paint)[1] > 2 and far < curb - 1.0:
        return "reaches into the intersection"
    return None


CHECKS = (
    line_width_check("LINE-01", CENTER, 4 * INCH, 6 * INCH),
    Check("LINE-03", "a double line shows a gap of at most two line widths", _gap, CENTER),
    _pattern("LINE-04", 10.0, gap=False),
    _pattern("LINE-05", 30.0, gap=True),
    line_width_check("LINE-18", CENTER, 4 * INCH, 12 * INCH),
    Check("CENTER-01", "no single solid yellow line", _not_single, CENTER),
    Check("CENTER-02", "double solid on four and more lanes", _double, on="block"),
    _by_volume(
        "CENTER-03",
        "center line on urban arterials and collectors of 6000 vehicles per day",
        ("urban", 20.0, 6000),
        True,
    ),
    _by_volume("CENTER-04", "center line on urban streets of 4000", ("urban", 20.0, 4000), False),
    _by_volume("CENTER-05", "center line on rural streets of 3000", ("rural", 18.0, 3000), False),
    Check("CENTER-06", "an engineer decides below 16 ft", _narrow, CENTER),
    Check("CENTER-08", "no-passing zones nearer than 400 ft are one", _joined_zones, on="block"),
    Check("TWLTL-01", "edges of a two-way left-turn lane", _edges_of_turn_lane, on="block"),
    Check("TWLTL-04", "they end before the intersection", _to_intersection, CENTER),
)

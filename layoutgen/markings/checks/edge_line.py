"""What is asked of edge lines (MUTCD 11th edition 3B.09 to 3B.11)."""

from __future__ import annotations

import math

import shapely

from layoutgen.markings.checks.patterns import line_width_check
from layoutgen.markings.conformity import (
    INCH,
    Check,
    LaidOut,
    Paint,
    color_check,
    tolerance_ft,
)
from layoutgen.markings.edges import EdgePlace, edges_of, wants_edges
from layoutgen.street.design import Block, Intersection

EDGE = ("edge_line",)
#: paint at the mouth of an intersection that is no more than a touch (sq ft)
_TOUCH_SQFT = 0.5
#: a stretch between intersections so short may go without lines
_SHORT_FT = 60.0
#: strips whose own lines mark the edge (EDGE-06)
_MARKED = ("bike_lane", "buffer", "parking")


def _missing(place: EdgePlace, row: str, text: str) -> Check:
    def test(block: Block, laid: LaidOut) -> str | None:
        segment = block.segment
        if segment.roundabout or block.inside or not wants_edges(segment, (place,)):
            return None
        if segment.length_ft < _SHORT_FT or segment.street_class == "ramp":
            return None
        edges = list(edges_of(segment.strips, segment.driving_side))
        open_ = [e for e in edges if e.beside not in _MARKED]
        lines = laid.on_segment(segment, *EDGE)
        reach = [(p.left_ft - 2.0, p.right_ft + 2.0) for p in lines]
        bare = [e for e in open_ if not any(a <= e.offset_ft <= b for a, b in reach)]
        return f"{len(bare)} of {len(open_)} edges have no line" if bare else None

    return Check(row, text, test, on="block")


def _through(crossing: Intersection, laid: LaidOut) -> str | None:
    """Solid paint through an intersection; along the far side of a T it may stay."""
    if shapely.is_empty(crossing.area) or any(leg.circular for leg in crossing.legs):
        return None
    for paint in laid.near(crossing.area, 0.0, EDGE):
        inside = shapely.intersection(paint.shape, crossing.area)
        if inside.area > _TOUCH_SQFT and not _open_side(crossing, inside):
            length = max(p.long_ft for p in paint.parts)
            if length > 4.0:
                return f"{paint.marking_id} runs {inside.area:.1f} sq ft into the intersection"
    return None


def _open_side(crossing: Intersection, inside: object) -> bool:
    """Whether no leg lies on the side of a T where the paint is."""
    if len(crossing.legs) != 3:
        return False
    middle, own = shapely.centroid(crossing.area), shapely.centroid(inside)
    t = math.degrees(math.atan2(own.x - middle.x, own.y - middle.y))
    gaps = [abs((leg.bearing_deg - t + 180.0) % 360.0 - 180.0) for leg in crossing.legs]
    return min(gaps) > 45.0


def _inset(paint: Paint, _: LaidOut) -> str | None:
    """Distance of the line to the edge of the traveled way it marks."""
    if paint.segment is None:
        return None
    edges = edges_of(paint.segment.strips, paint.segment.driving_side)
    middle = (paint.left_ft + paint.right_ft) / 2
    near = min(edges, key=lambda e: abs(e.offset_ft - middle), default=None)
    if near is None:
        return None
    gap = paint.left_ft - near.offset_ft if near.inward > 0 else near.offset_ft - paint.right_ft
    wrong = abs(gap - 2 * INCH) > max(tolerance_ft(), INCH / 2)
    return f"{gap * 12:.1f} in inside the edge" if wrong else None


def _broken(paint: Paint, _: LaidOut) -> str | None:
    short = [p for p in paint.parts if p.long_ft < 10.0]
    return f"{len(short)} pieces: the line is no solid one" if len(short) > 2 else None


CHECKS = (
    _missing("required", "EDGE-01", "edge lines on freeways and busy rural arterials"),
    _missing("recommended", "EDGE-02", "edge lines on rural arterials and collectors"),
    Check("EDGE-03", "no solid edge line through an intersection", _through, on="intersection"),
    Check("EDGE-05", "2 in inside the edge of the traveled way", _inset, EDGE),
    Check("EDGE-04", "solid, also past driveways", _broken, EDGE),
    color_check("LINE-16", EDGE, ("white", "yellow")),
    line_width_check("LINE-01", EDGE, 4 * INCH, 12 * INCH),
)

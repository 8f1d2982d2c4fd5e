"""What is asked of edge lines (MUTCD 11th edition 3B.09 to 3B.11)."""

from __future__ import annotations

import math
from itertools import combinations
from typing import Any

import numpy as np
import shapely

from layoutgen.geometry.polyline import offset_lines
from layoutgen.markings.checks.patterns import line_width_check, short_share
from layoutgen.markings.conformity import (
    INCH,
    Check,
    LaidOut,
    Paint,
    color_check,
    tolerance_ft,
)
from layoutgen.markings.edges import EdgePlace, edges_of, wants_edges
from layoutgen.street.design import Block, Intersection, Leg

EDGE = ("edge_line",)
#: where a lane ends, the line along the taper is the edge line
_TAPER = ("lane_reduction",)
#: paint at the mouth of an intersection that is no more than a touch (sq ft)
_TOUCH_SQFT = 0.5
#: a stretch between intersections so short may go without lines
_SHORT_FT = 60.0
#: cuts by other paint leave so little of a solid line in short pieces
_CUTS = 0.2
#: a stretch so long along an intersection is more than a line that ends too late
_LONG_FT = 20.0
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
        lines = laid.on_segment(segment, *EDGE, *_TAPER)
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


def _open_side(crossing: Intersection, inside: Any) -> bool:
    """Whether the paint lies on the side of a T that no leg lies on.

    Either far from all legs by its direction, or, where they meet at sharp angles, a long line
    that no way from leg to leg crosses.
    """
    if len(crossing.legs) != 3:
        return False
    # an outline is twice as long as its line
    if inside.length / 2 > _LONG_FT and not _crossed(crossing, inside):
        return True
    middle, own = shapely.centroid(crossing.area), shapely.centroid(inside)
    t = math.degrees(math.atan2(own.x - middle.x, own.y - middle.y))
    gaps = [abs((leg.bearing_deg - t + 180.0) % 360.0 - 180.0) for leg in crossing.legs]
    return min(gaps) > 45.0


def _crossed(crossing: Intersection, inside: Any) -> bool:
    """Whether a straight way from the mouth of a leg to that of another crosses the paint."""
    mouths = [_mouth(leg) for leg in crossing.legs]
    ways = [shapely.LineString([a, b]) for a, b in combinations(mouths, 2)]
    return bool(shapely.intersects(shapely.MultiLineString(ways), inside))


def _mouth(leg: Leg) -> Any:
    """Middle of the lanes of a leg, on its curb line."""
    lanes = [s for s in leg.strips if s.direction]
    middle = (min(s.left_ft for s in lanes) + max(s.right_ft for s in lanes)) / 2 if lanes else 0.0
    (line,) = offset_lines(
        np.array([leg.segment.axis], dtype=object), -middle if leg.at_end else middle
    )
    station = leg.layout.curb.at(middle)
    return shapely.line_interpolate_point(line, -station if leg.at_end else station)


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
    few = len(paint.parts) < 3 or short_share(paint, 10.0) < _CUTS
    return None if few else f"{len(paint.parts)} pieces: the line is no solid one"


CHECKS = (
    _missing("required", "EDGE-01", "edge lines on freeways and busy rural arterials"),
    _missing("recommended", "EDGE-02", "edge lines on rural arterials and collectors"),
    Check("EDGE-03", "no solid edge line through an intersection", _through, on="intersection"),
    Check("EDGE-05", "2 in inside the edge of the traveled way", _inset, EDGE),
    Check("EDGE-04", "solid, also past driveways", _broken, EDGE),
    color_check("LINE-16", EDGE, ("white", "yellow")),
    line_width_check("LINE-01", EDGE, 4 * INCH, 12 * INCH),
)

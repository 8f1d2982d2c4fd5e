"""What is asked of lane lines (MUTCD 11th edition 3A.04, 3B.06, 3B.07)."""

from __future__ import annotations

import itertools

import numpy as np
import shapely

from layoutgen.markings.checks.patterns import (
    gap_check,
    is_solid,
    line_width_check,
    piece_check,
    short_share,
)
from layoutgen.markings.conformity import INCH, Check, LaidOut, Paint, tolerance_ft
from layoutgen.markings.lanes import turns
from layoutgen.markings.reductions import Reduction, reductions
from layoutgen.street.design import Block, Leg

LANE = ("lane_line",)
_NORMAL_FT = 6 * INCH
_WIDE_FT = 8 * INCH
#: a line this near to the middle between two lanes parts them
_NEAR_FT = 1.5
#: pieces shorter than so many widths are what other paint left of a line
_SLIVERS = 24.0
#: a line of shorter pieces has gaps; cuts by other paint leave so little in such pieces
_PIECE_FT, _CUTS = 15.0, 0.2
_CLASSES = ("freeway", "arterial", "collector", "ramp")


def side_by_side(paint: Paint) -> float:
    """Gap between two solid lines that lie side by side; 0 where there are none."""
    shapes = np.array([p.shape for p in paint.parts], dtype=object)
    width = min(p.short_ft for p in paint.parts)
    best = 0.0
    for i, j in zip(*shapely.STRtree(shapes).query(shapes, "dwithin", 12 * width), strict=True):
        if i < j:
            along = min(paint.parts[i].long_ft, paint.parts[j].long_ft)
            if along < _SLIVERS * width:
                continue
            # side by side they are near along most of their length
            reach = shapely.intersection(shapely.buffer(shapes[i], 12 * width), shapes[j])
            if reach.area > 0.5 * along * width:
                best = max(best, float(shapely.distance(shapes[i], shapes[j])))
    return best


def _pocket_line(leg: Leg, laid: LaidOut) -> str | None:
    """A lane that must turn beside one that need not, without a solid line at the stop."""
    if len(leg.movements) != len(leg.inbound) or leg.segment.roundabout:
        return None
    must = [turns(m) == "must" for m in leg.movements]
    for a, b, x, y in zip(leg.inbound, leg.inbound[1:], must, must[1:], strict=False):
        if x != y and leg.room_ft > 80.0:
            edge = -a.left_ft if leg.at_end else a.left_ft
            lines = [
                p
                for p in laid.on_segment(leg.segment, *LANE)
                if p.left_ft - _NEAR_FT <= edge <= p.right_ft + _NEAR_FT
            ]
            if lines and not any(is_solid(p) for p in lines):
                del b
                return "the line beside a lane that must turn is nowhere solid"
    return None


def _crossing_lines(paint: Paint, _: LaidOut) -> str | None:
    gap = side_by_side(paint)
    slack = tolerance_ft()
    if gap and short_share(paint, _PIECE_FT) > _CUTS:
        return "a double line that is not solid"
    return f"gap of {gap * 12:.1f} in" if gap > 2 * _NORMAL_FT + slack else None


def _dotted_is_wide(paint: Paint, _: LaidOut) -> str | None:
    """A dotted lane line (pieces of about 3 ft) is a wide line."""
    if len(paint.parts) < 3 or short_share(paint, 5.0) < 0.5:
        return None
    width = max(p.short_ft for p in paint.parts)
    return f"dotted, {width * 12:.1f} in wide" if width < _WIDE_FT - tolerance_ft() else None


def _drop(leg: Leg, laid: LaidOut) -> str | None:
    """A broken lane line all the way to the solid one beside a lane that must turn."""
    if len(leg.movements) != len(leg.inbound) or leg.segment.roundabout:
        return None
    lanes = [(s, turns(m) == "must") for s, m in zip(leg.inbound, leg.movements, strict=True)]
    for (a, x), (b, y) in itertools.pairwise(lanes):
        if x == y or "turn_lane" in (a.kind, b.kind):
            continue
        edge = -a.left_ft if leg.at_end else a.left_ft
        for p in laid.on_segment(leg.segment, *LANE):
            broken = len(p.parts) > 2 and float(np.median([q.long_ft for q in p.parts])) > 5.0
            far = leg.segment.length_ft - p.to_ft if leg.at_end else p.from_ft
            if broken and p.left_ft - _NEAR_FT <= edge <= p.right_ft + _NEAR_FT and far < 250.0:
                return f"{p.marking_id} is broken up to the lane that must turn"
    return None


def _ends_early(block: Block, laid: LaidOut) -> str | None:
    """A broken lane line along the taper of the lane that ends."""
    for way in (1, -1):
        for found in reductions(block, way, _CLASSES):
            if block.segment.length_ft >= found.length_ft + 100.0:
                said = _along_taper(found, laid.on_segment(block.segment, *LANE))
                if said:
                    return said
    return None


def _along_taper(found: Reduction, lines: list[Paint]) -> str | None:
    """A lane line at the inner edge of a lane that ends which goes on along the taper."""
    edges = [s.left_ft if found.to_right == 1 else s.right_ft for s in found.lanes]
    for p in lines:
        near = any(p.left_ft - _NEAR_FT <= e <= p.right_ft + _NEAR_FT for e in edges)
        left = found.end_ft - p.to_ft if found.way == 1 else p.from_ft
        if near and left < found.length_ft - 1.0:
            return f"{p.marking_id} ends {left:.0f} ft before the lane has ended"
    return None


CHECKS = (
    line_width_check(
        "LINE-01", LANE, 4 * INCH, _NORMAL_FT, ("broken", "double_solid", "solid_normal")
    ),
    piece_check("LINE-04", LANE, 10.0, 10.0, ("broken",)),
    gap_check("LINE-05", LANE, 30.0, 30.0, ("broken",)),
    piece_check("LINE-06", LANE, 3.0, 3.0, ("dotted",)),
    gap_check("LINE-07", LANE, 9.0, 9.0, ("dotted",)),
    Check("LINE-02", "a dotted lane line is a wide line", _dotted_is_wide, LANE),
    Check("LINE-03", "a double line shows a gap of at most two line widths", _crossing_lines, LANE),
    Check("LANE-01", "solid line beside a lane that must turn", _pocket_line, on="approach"),
    Check("LANE-02", "a double white line is solid", _crossing_lines, LANE),
    Check("LANE-03", "wide dotted line before a lane that must turn", _drop, on="approach"),
    line_width_check("LANE-05", LANE, 8 * INCH, 8 * INCH, ("solid",)),
    Check("LANE-06", "the lane line ends before the taper", _ends_early, on="block"),
    line_width_check("LINE-18", LANE, 4 * INCH, 12 * INCH),
)

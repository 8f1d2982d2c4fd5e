"""Faults of paint that no row of the standard names: off the roadway, or over other paint."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.errors import Finding
from layoutgen.markings.conformity import Paint
from layoutgen.markings.paints import ROLE
from layoutgen.street.design import Design
from layoutgen.street.forks import neutral_areas

#: paint may stand this far outside: straight bars on curved streets do by inches (common practice)
EDGE_FT = 0.5
#: markings that share less only touch (sq ft)
TOUCH_SQFT = 0.02
#: colors that are laid under others: pavement colors, and black for contrast
GROUNDS = ("green", "red", "blue", "purple", "black")


def off_roadway(paints: Sequence[Paint], design: Design) -> list[Finding]:
    """Markings that leave roadways and intersections."""
    shapes = np.array([p.shape for p in paints], dtype=object)
    if not len(shapes):
        return []
    ground = shapely.buffer(_grounds(design), EDGE_FT)
    tree = shapely.STRtree(ground)
    inside = np.zeros(len(shapes), dtype=bool)
    inside[tree.query(shapes, predicate="covered_by")[0]] = True
    rest = np.flatnonzero(~inside)
    row, under = tree.query(shapes[rest], predicate="intersects")
    out = []
    for k, i in enumerate(rest.tolist()):
        left = shapely.difference(shapes[i], shapely.union_all(ground[under[row == k]]))
        if left.area > TOUCH_SQFT:
            out.append(_outside(paints[i], left))
    return out


def _grounds(design: Design) -> NDArray[np.object_]:
    """Roadways, the areas of intersections, and neutral areas at forks."""
    areas = np.array([c.area for c in design.intersections], dtype=object)
    both = np.concatenate([design.roadways(), areas, neutral_areas(design)])
    return np.asarray(both[~(shapely.is_missing(both) | shapely.is_empty(both))], dtype=object)


def overlaps(paints: Sequence[Paint]) -> list[Finding]:
    """Pairs of markings painted over one another; a color laid as a ground may carry others."""
    shapes = np.array([p.shape for p in paints], dtype=object)
    if not len(shapes):
        return []
    a, b = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    once = a < b
    a, b = a[once], b[once]
    level = np.array([_level(p) for p in paints])
    color = np.array([p.color for p in paints], dtype=object)
    ground = np.isin(color, GROUNDS)
    apart = (level[a] != level[b]) | ((color[a] != color[b]) & (ground[a] | ground[b]))
    a, b = a[~apart], b[~apart]
    shared = shapely.intersection(shapes[a], shapes[b])
    over = shapely.area(shared) > TOUCH_SQFT
    return [
        _overlap(paints[i], paints[j], place)
        for i, j, place in zip(a[over].tolist(), b[over].tolist(), shared[over], strict=True)
    ]


def _level(paint: Paint) -> int:
    return max(paint.segment.levels, key=abs) if paint.segment else 0


def _outside(paint: Paint, left: Any) -> Finding:
    text = f"{left.area:.1f} of {paint.shape.area:.1f} sq ft lie off the roadway"
    fix = "move it, or check the width of the street in the model"
    return Finding("paint_off_roadway", "warning", ROLE, paint.marking_id, text, fix, left)


def _overlap(one: Paint, other: Paint, place: Any) -> Finding:
    text = f"shares {place.area:.1f} sq ft with {other.marking_id} ({other.color} {other.kind})"
    fix = "move or remove one of them"
    return Finding("paint_overlap", "warning", ROLE, one.marking_id, text, fix, place)

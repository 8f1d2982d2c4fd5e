"""What is asked of edge lines round a roundabout (MUTCD 11th edition 3D.03), and its outline."""

from __future__ import annotations

from typing import Any

import shapely

from layoutgen.markings.conformity import Check, LaidOut, Paint, Test
from layoutgen.street.design import Intersection

RING = ("ring_edge",)
#: what is left of a mouth after cutting less is no way in or out (sq ft)
_MOUTH_SQFT = 4.0
#: paint that only touches a mouth (sq ft)
_TOUCH_SQFT = 0.3


def outer_circle(crossing: Intersection) -> tuple[Any, Any] | None:
    """(central island, outline of the ring with the island) on the plane; None where unknown."""
    parts = [p for p in shapely.get_parts(crossing.area) if len(p.interiors)]
    if not parts:
        return None
    part = max(parts, key=lambda p: p.area)
    island = max((shapely.Polygon(r) for r in part.interiors), key=lambda p: p.area)
    width = float(shapely.distance(part.exterior, island))
    return (island, island.buffer(width, quad_segs=32)) if width > 1.0 else None


def mouths(crossing: Intersection, outside: Any, reach_ft: float) -> list[Any]:
    """Where legs open into the ring, as far in as `reach_ft`: both ways in and out of each."""
    beyond = shapely.difference(crossing.area, outside.buffer(0.3))
    opened = [p for p in shapely.get_parts(beyond) if p.area > _MOUTH_SQFT]
    return [p.buffer(reach_ft + 1.0, join_style="mitre") for p in opened]


def _across(crossing: Intersection, laid: LaidOut) -> str | None:
    """Ring edges or edge lines in the mouths of the legs."""
    found = outer_circle(crossing) if any(leg.circular for leg in crossing.legs) else None
    if found is None:
        return None
    for mouth in mouths(crossing, found[1], 0.0):
        for p in laid.near(mouth, 0.0, (*RING, "edge_line")):
            inside = shapely.intersection(p.shape, mouth)
            if inside.area > _TOUCH_SQFT:
                return f"{p.marking_id} runs across the mouth of a leg"
    return None


def _color(*, inner: bool) -> Test:
    """Color by the side of the ring the paint lies on."""

    def test(paint: Paint, laid: LaidOut) -> str | None:
        near = (c for c in laid.design.intersections if any(leg.circular for leg in c.legs))
        own = next((c for c in near if shapely.intersects(c.area, paint.shape)), None)
        found = outer_circle(own) if own is not None else None
        if found is None:
            return None
        at_island = paint.shape.distance(found[0]) < paint.shape.distance(found[1].exterior)
        wanted = "yellow" if at_island else "white"
        return f"is {paint.color}" if at_island == inner and paint.color != wanted else None

    return test


CHECKS = (
    Check("ROUND-02", "no edge line across exits", _across, on="intersection"),
    Check("LINE-15", "yellow round the island", _color(inner=True), RING),
    Check("LINE-16", "white along the outside", _color(inner=False), RING),
)

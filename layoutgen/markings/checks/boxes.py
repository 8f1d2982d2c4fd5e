"""What the standard asks of boxes that are to be kept clear."""

from __future__ import annotations

import shapely

from layoutgen.markings.conformity import INCH, Check, LaidOut, Paint, color_check

BOX = ("keep_clear",)
#: twice the narrowest normal line (LINE-01, LINE-02)
_WIDE_FT = 8.0 * INCH


def _outline(paint: Paint, _: LaidOut) -> str | None:
    """A ring of solid wide line; crosshatching has no such rule."""
    rings = [p.shape for p in paint.parts if len(p.shape.interiors) == 1]
    if paint.style == "outline" and not rings:
        return "the outline is not closed"
    for ring in rings:
        hole = shapely.Polygon(ring.interiors[0])
        wide = float(shapely.distance(hole, shapely.LinearRing(ring.exterior)))
        if wide < _WIDE_FT - 0.01 and hole.area > 50.0:
            return f"outline {wide / INCH:.1f} in wide"
    return None


CHECKS = (
    color_check("DNB-01", BOX, ("white",)),
    Check("DNB-01", "closed outline of wide solid line", _outline, BOX, ("outline",)),
)

"""Shape `bars`: straight transverse areas such as stop lines and crosswalk bars."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.geometry.polyline import Polylines
from layoutgen.markings.marking import Bar, BarsShape, Frame
from layoutgen.markings.placing import placed

SHAPE = BarsShape


def draw(
    frames: Sequence[Frame], shapes: Sequence[BarsShape], axes: Polylines
) -> NDArray[np.object_]:
    """One multipolygon per shape; bars that touch or cross are merged."""
    if not len(shapes):
        return np.empty(0, dtype=object)
    owner = np.repeat(np.arange(len(shapes)), [len(s.bars) for s in shapes])
    quads = np.array([_corners(bar) for shape in shapes for bar in shape.bars])
    xy = placed(quads, owner, frames, [s.base_ft for s in shapes], axes)
    polygons = shapely.polygons(xy)
    out: NDArray[Any] = np.full(len(shapes), None, dtype=object)
    shapely.multipolygons(polygons, indices=owner, out=out)
    crossing = ~shapely.is_valid(out)
    out[crossing] = [_merged(geometry) for geometry in out[crossing]]
    return out


def _corners(bar: Bar) -> list[tuple[float, float]]:
    """(station, offset) of the four corners, clockwise on the plane."""
    left, right = bar.left_ft, bar.right_ft
    return [
        (bar.near.at(left), left),
        (bar.far.at(left), left),
        (bar.far.at(right), right),
        (bar.near.at(right), right),
    ]


def _merged(geometry: Any) -> Any:
    union = shapely.unary_union(list(geometry.geoms))
    return union if union.geom_type == "MultiPolygon" else shapely.MultiPolygon([union])

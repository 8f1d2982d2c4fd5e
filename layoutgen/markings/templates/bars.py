"""Shape `bars`: straight transverse areas such as stop lines and crosswalk bars."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.geometry.polyline import Floats, Ints, Polylines
from layoutgen.markings.marking import Bar, BarRow, BarsShape, Frame
from layoutgen.markings.placing import placed

SHAPE = BarsShape


def draw(
    frames: Sequence[Frame], shapes: Sequence[BarsShape], axes: Polylines
) -> NDArray[np.object_]:
    """One multipolygon per shape; bars that touch or cross are merged."""
    if not len(shapes):
        return np.empty(0, dtype=object)
    quads, owner = _corners(shapes)
    xy = placed(quads, owner, frames, [s.base_ft for s in shapes], axes)
    polygons = shapely.polygons(xy)
    out: NDArray[Any] = np.full(len(shapes), None, dtype=object)
    shapely.multipolygons(polygons, indices=owner, out=out)
    crossing = ~shapely.is_valid(out)
    out[crossing] = [_merged(geometry) for geometry in out[crossing]]
    return out


def _corners(shapes: Sequence[BarsShape]) -> tuple[Floats, Ints]:
    """(n, 4, 2) station and offset of the corners of every bar, clockwise, and its shape."""
    rows = [bar for shape in shapes for bar in shape.bars]
    sides = [_sides(bar) for bar in rows]
    counts = np.array([len(own) for own in sides], dtype=np.int64)
    edges = np.array([pair for own in sides for pair in own])
    cuts = np.array(
        [(b.near.station_ft, b.near.slope, b.far.station_ft, b.far.slope) for b in rows]
    )
    near, near_slope, far, far_slope = np.repeat(cuts, counts, axis=0).T
    left, right = edges.T
    station = np.column_stack(
        [
            near + near_slope * left,
            far + far_slope * left,
            far + far_slope * right,
            near + near_slope * right,
        ]
    )
    offset = np.column_stack([left, left, right, right])
    shape_of = np.repeat(np.arange(len(shapes)), [len(shape.bars) for shape in shapes])
    return np.stack([station, offset], axis=2), np.repeat(shape_of, counts)


def _sides(bar: Bar) -> tuple[tuple[float, float], ...]:
    return bar.sides if isinstance(bar, BarRow) else ((bar.left_ft, bar.right_ft),)


def _merged(geometry: Any) -> Any:
    union = shapely.unary_union(list(geometry.geoms))
    return union if union.geom_type == "MultiPolygon" else shapely.MultiPolygon([union])

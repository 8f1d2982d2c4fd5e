"""Shape `bars`: straight transverse areas such as stop lines and crosswalk bars."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.geometry.polyline import Polylines
from layoutgen.markings.marking import Bar, BarsShape, Frame

SHAPE = BarsShape


def draw(
    frames: Sequence[Frame], shapes: Sequence[BarsShape], axes: Polylines
) -> NDArray[np.object_]:
    """One multipolygon per shape; bars that touch or cross are merged."""
    if not len(shapes):
        return np.empty(0, dtype=object)
    owner = np.repeat(np.arange(len(shapes)), [len(s.bars) for s in shapes])
    quads = np.array([_corners(bar) for shape in shapes for bar in shape.bars])
    xy = _placed(quads, owner, frames, shapes, axes)
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


def _placed(
    quads: Any, owner: Any, frames: Sequence[Frame], shapes: Sequence[BarsShape], axes: Polylines
) -> Any:
    """Plane coordinates in the straight frame at each shape's base station."""
    segment = np.array([f.segment.index for f in frames])
    sign = np.array([f.sign() for f in frames], dtype=float)
    base = np.array([s.base_ft for s in shapes])
    along = np.array([f.station(s.base_ft) for f, s in zip(frames, shapes, strict=True)])
    origin = axes.locate(segment, along)
    direction = axes.directions(segment, along) * sign[:, None]
    right = np.column_stack([direction[:, 1], -direction[:, 0]])
    station = quads[:, :, 0] - base[owner][:, None]
    offset = quads[:, :, 1]
    return (
        origin[owner][:, None, :]
        + station[:, :, None] * direction[owner][:, None, :]
        + offset[:, :, None] * right[owner][:, None, :]
    )


def _merged(geometry: Any) -> Any:
    union = shapely.unary_union(list(geometry.geoms))
    return union if union.geom_type == "MultiPolygon" else shapely.MultiPolygon([union])

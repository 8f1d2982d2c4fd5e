"""Shape `bars`: straight transverse areas such as stop lines and crosswalk bars."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.geometry.polyline import Floats, Ints, Polylines
from layoutgen.markings.marking import Bar, BarRow, BarsShape, Frame
from layoutgen.markings.placing import placed

SHAPE = BarsShape
#: bars less far apart are looked at as drawn
_CLEAR_FT = 1e-3
#: shapes drawn in one go
_AT_ONCE = 4096


def draw(
    frames: Sequence[Frame], shapes: Sequence[BarsShape], axes: Polylines
) -> NDArray[np.object_]:
    """One multipolygon per shape; bars that touch or cross are merged."""
    parts = [
        _drawn(frames[begin : begin + _AT_ONCE], shapes[begin : begin + _AT_ONCE], axes)
        for begin in range(0, len(shapes), _AT_ONCE)
    ]
    return np.concatenate(parts) if parts else np.empty(0, dtype=object)


def _drawn(
    frames: Sequence[Frame], shapes: Sequence[BarsShape], axes: Polylines
) -> NDArray[np.object_]:
    """The same for a few thousand shapes, to spare memory."""
    quads, owner = _corners(shapes)
    xy = placed(quads, owner, frames, [s.base_ft for s in shapes], axes)
    polygons = shapely.polygons(xy)
    out: NDArray[Any] = np.full(len(shapes), None, dtype=object)
    shapely.multipolygons(polygons, indices=owner, out=out)
    doubt = np.array([not _is_apart(shape) for shape in shapes])
    doubt[doubt] = ~shapely.is_valid(out[doubt])
    out[doubt] = [_merged(geometry) for geometry in out[doubt]]
    return out


def _is_apart(shape: BarsShape) -> bool:
    """Whether the bars cannot touch or cross, seen without drawing them: a single row."""
    if len(shape.bars) > 1:
        return False
    bar = shape.bars[0]
    deep = min(bar.far.at(o) - bar.near.at(o) for o in (bar.left_ft, bar.right_ft))
    return deep > _CLEAR_FT and _are_apart(_sides(bar))


@lru_cache(maxsize=4096)
def _are_apart(sides: tuple[tuple[float, float], ...]) -> bool:
    """Whether every bar has a width, and lies clear to the right of the bar before it."""
    edges = [edge for pair in sides for edge in pair]
    return all(b - a > _CLEAR_FT for a, b in pairwise(edges))


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

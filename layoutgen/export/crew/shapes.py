"""Shape arithmetic that survives pieces which touch within rounding: all on a fine grid."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely

#: side of the grid, ft or pt: far below what a tape reads or a printer shows
_GRID = 1e-3

Box = tuple[float, float, float, float]


def bounds_of(shapes: Sequence[Any]) -> Box:
    """West, south, east, north of all shapes."""
    west, south, east, north = (float(v) for v in shapely.total_bounds(list(shapes)))
    return west, south, east, north


def joined(shapes: Sequence[Any]) -> Any:
    """The union."""
    return shapely.union_all(_sound(shapes), grid_size=_GRID)


def without(shape: Any, cut: Any) -> Any:
    """What is left of a shape."""
    return shapely.difference(*_sound([shape, cut]), grid_size=_GRID)


def middle_of(shapes: Sequence[Any]) -> tuple[float, float]:
    """Center of mass; of the bounds where nothing has an area."""
    found = np.array(list(shapes), dtype=object)
    areas = shapely.area(found)
    if areas.sum() <= 0.0:
        west, south, east, north = bounds_of(shapes)
        return (west + east) / 2.0, (south + north) / 2.0
    centers = shapely.get_coordinates(shapely.centroid(found))
    x, y = (centers * areas[:, None]).sum(axis=0) / areas.sum()
    return float(x), float(y)


def sound(shape: Any) -> Any:
    """The shape, mended where its edges cross."""
    return shape if shapely.is_valid(shape) else shapely.make_valid(shape)


def _sound(shapes: Sequence[Any]) -> Any:
    found = np.array(list(shapes), dtype=object)
    return np.where(shapely.is_valid(found), found, shapely.make_valid(found))

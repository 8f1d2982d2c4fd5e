"""Fewest windows over a shape that is too wide and too long for one: an integer program.

Windows stand where an edge of the paint, or a whole number of windows from one, would place their
sides. Between those places the paint is parted into cells; every cell needs a window over it. For
outlines on a grid that the reach is a multiple of this is the true minimum: a window moved to the
next grid line sees the same points of all cells.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from layoutgen.work.reach import TINY_FT

Floats = NDArray[np.float64]
#: more places along one axis than this take too long
_MOST_PLACES = 24
_SAME_FT = 1e-4
_SLIVER_SQFT = 1e-7
_SECONDS = 5.0


def fewer_windows(shape: Any, size: tuple[float, float], known: int) -> list[Any] | None:
    """Boxes of one size, fewer than known, that together cover a shape; None if none are found.

    Args:
        shape: polygon or multipolygon, feet.
        size: across and along.
        known: number of pieces that is to be beaten.
    """
    places = [_places(shape, axis, size[axis]) for axis in (0, 1)]
    if any(len(one) > _MOST_PLACES for one in places):
        return None
    cells = _cells(shape, places, size)
    windows = np.array([(x, y) for x in places[0] for y in places[1]])
    low = cells[:, None, :2] >= windows[None] - _SAME_FT
    high = cells[:, None, 2:] <= windows[None] + np.asarray(size) + _SAME_FT
    covers = _no_twins(np.logical_and(low, high).all(axis=2))
    if covers.shape[0] == 0 or not covers.any(axis=1).all():
        return None
    chosen = _least_cover(covers)
    if chosen is None or len(chosen) >= known:
        return None
    order = sorted(chosen, key=lambda k: (windows[k][1], windows[k][0]))
    return [shapely.box(*windows[k], *(windows[k] + np.asarray(size))) for k in order]


def _places(shape: Any, axis: int, size: float) -> Floats:
    """Low sides of windows worth trying."""
    low, high = shape.bounds[axis], shape.bounds[axis + 2]
    ends = np.unique(np.round(shapely.get_coordinates(shape)[:, axis], 6))
    counts = np.arange(-int((high - low) / size) - 1, int((high - low) / size) + 2)
    at = (ends[:, None] + counts[None, :] * size).ravel()
    at = at[(at >= low - TINY_FT) & (at <= max(high - size, low) + TINY_FT)]
    at = np.sort(np.round(at, 6))
    return np.asarray(at[np.concatenate([[True], np.diff(at) > _SAME_FT])])


def _cells(shape: Any, places: list[Floats], size: tuple[float, float]) -> Floats:
    """(n, 4) boxes of the paint in each cell between sides of windows."""
    cuts = [
        np.unique(np.round(np.concatenate([p, p + s]), 6))
        for p, s in zip(places, size, strict=True)
    ]
    x, y = np.meshgrid(cuts[0], cuts[1], indexing="ij")
    boxes = shapely.box(x[:-1, :-1], y[:-1, :-1], x[1:, 1:], y[1:, 1:]).ravel()
    paint = shapely.intersection(boxes, shape)
    return np.asarray(shapely.bounds(paint[shapely.area(paint) > _SLIVER_SQFT]))


def _no_twins(covers: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Cells that the same windows see count once."""
    return np.asarray(np.unique(covers, axis=0))


def _least_cover(covers: NDArray[np.bool_]) -> list[int] | None:
    """Columns of a least set that covers every row."""
    count = covers.shape[1]
    answer = milp(
        np.ones(count),
        constraints=LinearConstraint(csr_array(covers.astype(float)), lb=1.0),
        integrality=np.ones(count, dtype=np.int64),
        bounds=Bounds(0.0, 1.0),
        options={"time_limit": _SECONDS},
    )
    return None if answer.x is None else np.flatnonzero(answer.x > 0.5).tolist()

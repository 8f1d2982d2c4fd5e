"""Sizes of pieces of paint, measured for a whole layout at once."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

#: a bent piece so many times longer than wide is measured along its bend
_SLENDER = 15.0
#: a piece that fills less of its rectangle is bent
_BENT = 0.9
#: numbers held at a time while rectangles are tried
_AT_ONCE = 4_000_000

#: a piece so many times as long as wide is a line along the street
_LINE = 40.0
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Part:
    """One piece of paint of a marking, measured.

    Attributes:
        shape: its polygon.
        along_ft, across_ft: extent along and across the travel that reads the marking.
        long_ft, short_ft: sides of the smallest rectangle around it; of a long piece that follows
            a curve, its length along the curve and its width across.
        turn_deg: angle of its long side to the travel, -90 to 90, positive to the right.
    """

    shape: Any
    along_ft: float
    across_ft: float
    long_ft: float
    short_ft: float
    turn_deg: float


def parts_of(shapes: Any, bearing_deg: Any) -> list[tuple[Part, ...]]:
    """Measured pieces of every shape.

    Args:
        shapes: (n,) polygons or multi-polygons.
        bearing_deg: (n,) compass direction of the travel that reads each.
    """
    pieces, owner = shapely.get_parts(np.asarray(shapes, dtype=object), return_index=True)
    bearing = np.asarray(bearing_deg, dtype=float)[owner]
    along, across = extents(pieces, bearing)
    long, short, axis = _rectangles(pieces)
    turn = (axis - bearing + 90.0) % 180.0 - 90.0
    sizes = zip(*(a.tolist() for a in (along, across, long, short, turn)), strict=True)
    parts = [Part(piece, *size) for piece, size in zip(pieces, sizes, strict=True)]
    first = np.searchsorted(owner, np.arange(len(shapes) + 1)).tolist()
    return [tuple(parts[a:b]) for a, b in pairwise(first)]


def extents(shapes: Any, bearing_deg: Floats) -> tuple[Floats, Floats]:
    """Extent of every shape along and across a compass direction of its own; 0 where empty."""
    xy, owner = shapely.get_coordinates(shapes, return_index=True)
    t = np.radians(bearing_deg)[owner]
    along = xy[:, 0] * np.sin(t) + xy[:, 1] * np.cos(t)
    across = xy[:, 0] * np.cos(t) - xy[:, 1] * np.sin(t)
    return spans(along, owner, len(shapes)), spans(across, owner, len(shapes))


def spans(values: Floats, owner: Any, count: int) -> Floats:
    """Difference of the largest and the smallest value of every owner."""
    low, high = limits(values, owner, count)
    return np.where(high >= low, high - low, 0.0)


def limits(values: Floats, owner: Any, count: int) -> tuple[Floats, Floats]:
    """Smallest and largest value of every owner; inf and -inf where it has none."""
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(low, owner, values)
    np.maximum.at(high, owner, values)
    return low, high


def _rectangles(pieces: Any) -> tuple[Floats, Floats, Floats]:
    """(longer side, shorter side, compass direction of the longer) of the smallest rectangles."""
    long, short, axis = (np.zeros(len(pieces)) for _ in range(3))
    hulls = shapely.convex_hull(pieces)
    solid = np.flatnonzero(shapely.get_type_id(hulls) == 3)
    counts = shapely.get_num_coordinates(hulls)
    for count in np.unique(counts[solid]).tolist():
        rows = solid[counts[solid] == count]
        step = max(1, _AT_ONCE // (count * count))
        for k in range(0, len(rows), step):
            own = rows[k : k + step]
            rings = shapely.get_coordinates(hulls[own]).reshape(len(own), count, 2)
            long[own], short[own], axis[own] = _smallest(rings)
    bent = _bent(pieces, long * short, counts)
    long[bent], short[bent] = _along_bend(pieces[bent])
    return long, short, axis


def _smallest(rings: Floats) -> tuple[Floats, Floats, Floats]:
    """As `_rectangles`, for convex rings of one number of corners: one side lies on an edge."""
    edge = np.diff(rings, axis=1)
    edge = edge / np.maximum(np.hypot(edge[..., 0], edge[..., 1]), 1e-12)[..., None]
    right = np.stack([edge[..., 1], -edge[..., 0]], axis=-1)
    a = np.ptp(np.einsum("mkx,mjx->mkj", rings, edge), axis=1)
    b = np.ptp(np.einsum("mkx,mjx->mkj", rings, right), axis=1)
    best = np.argmin(a * b, axis=1)
    row = np.arange(len(rings))
    a, b, edge, right = a[row, best], b[row, best], edge[row, best], right[row, best]
    way = np.where((a >= b)[:, None], edge, right)
    return np.maximum(a, b), np.minimum(a, b), np.degrees(np.arctan2(way[:, 0], way[:, 1]))


def _bent(pieces: Any, rectangle_sqft: Floats, counts: Any) -> Any:
    """Long narrow pieces without holes that follow a curve."""
    length, width = _along_bend(pieces)
    whole = (shapely.get_type_id(pieces) == 3) & (shapely.get_num_interior_rings(pieces) == 0)
    # a slight bend widens the rectangle around a very long line by inches
    loose = (shapely.area(pieces) < _BENT * rectangle_sqft) | (length > _LINE * width)
    return whole & loose & (counts > 5) & (length > _SLENDER * width)


def _along_bend(pieces: Any) -> tuple[Floats, Floats]:
    """(length, width) of the strip that has the area and the outline of a piece."""
    area, outline = shapely.area(pieces), shapely.length(pieces)
    width = (outline - np.sqrt(np.maximum(outline * outline - 16.0 * area, 0.0))) / 4.0
    return outline / 2.0 - width, width

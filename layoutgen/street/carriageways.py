"""Carriageways of divided roads that are drawn as two lines: they must not overlap."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from layoutgen.geometry.polyline import Floats, Ints, Polylines
from layoutgen.street.design import Side, Strip
from layoutgen.street.street_row import StreetRow

#: how far the opposite carriageway is looked for, and how exactly it must run the other way
_LOOK_FT = 80.0
_OPPOSITE = -0.9
#: transects per segment, and the share of them that must meet the opposite carriageway
_TRANSECTS = 5
_SHARE = 0.6
#: least median left between two carriageways
_MEDIAN_FT = 2.0


def inner_limits(rows: Sequence[StreetRow], axes: Polylines, side: Side) -> Floats:
    """Distance from the axis of every segment to the middle of the median beside it; inf = none.

    The opposite carriageway lies on the inner side: left of traffic that keeps right.

    Args:
        rows: attributes per segment.
        axes: street axes.
        side: driving side.
    """
    out = np.full(len(rows), np.inf)
    way = np.array([{"forward": 1.0, "backward": -1.0}.get(row.oneway, 0.0) for row in rows])
    one = np.flatnonzero((way != 0) & ~np.array([row.roundabout for row in rows], dtype=bool))
    if len(one) < 2:
        return out
    inner = way[one] * (-1.0 if side == "right" else 1.0)
    owner, far = _opposite(one, way, inner, axes)
    order = np.lexsort([far, owner])
    owner, far = owner[order], far[order]
    seg, first, count = np.unique(owner, return_index=True, return_counts=True)
    often = count >= _SHARE * _TRANSECTS
    # the least of several distances: lines that converge must not overlap anywhere
    out[one[seg[often]]] = (far[first[often]] - _MEDIAN_FT) / 2
    return out


def _opposite(one: Ints, way: Floats, inner: Floats, axes: Polylines) -> tuple[Ints, Floats]:
    """(number within `one`, distance) per transect that meets a carriageway of the other way."""
    owner = np.repeat(np.arange(len(one)), _TRANSECTS)
    share = np.tile((np.arange(_TRANSECTS) + 0.5) / _TRANSECTS, len(one))
    index, station = one[owner], axes.lengths[one[owner]] * share
    start = axes.locate(index, station)
    end = axes.locate(index, station, inner[owner] * _LOOK_FT)
    lines = axes.lines()[one]
    rays = shapely.linestrings(np.stack([start, end], 1))
    ray, other = shapely.STRtree(lines).query(rays, predicate="intersects")
    meet = shapely.intersection(rays[ray], lines[other])
    far = shapely.distance(shapely.points(start[ray]), meet)
    own_way = axes.directions(index[ray], station[ray]) * way[index[ray]][:, None]
    at = shapely.line_locate_point(lines[other], shapely.centroid(meet))
    other_way = axes.directions(one[other], at) * way[one[other]][:, None]
    opposite = (np.einsum("ij,ij->i", own_way, other_way) < _OPPOSITE) & (far > 1.0)
    ray, far = ray[opposite], far[opposite]
    nearest = np.full(len(rays), np.inf)
    np.minimum.at(nearest, ray, far)
    seen = np.flatnonzero(np.isfinite(nearest))
    return owner[seen], nearest[seen]


def moved_aside(
    strips: tuple[Strip, ...], oneway: str, limit_ft: float, side: Side
) -> tuple[Strip, ...]:
    """Strips moved outward until half the median is left to the other carriageway."""
    left_inside = (oneway == "forward") == (side == "right")
    edge = -strips[0].left_ft if left_inside else strips[-1].right_ft
    over = edge - limit_ft
    if over <= 0.0 or oneway == "both":
        return strips
    shift = over if left_inside else -over
    return tuple(Strip(s.kind, s.direction, s.left_ft + shift, s.right_ft + shift) for s in strips)

"""Carriageways of divided roads that are drawn as two lines: they must not overlap."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import shapely

from layoutgen.geometry.polyline import Floats, Ints, Polylines
from layoutgen.street.design import Segment, Side
from layoutgen.street.street_row import StreetRow

#: how far the opposite carriageway is looked for, and how exactly it must run the other way
_LOOK_FT = 80.0
_OPPOSITE = -0.98
#: transects per segment, and the share of them that must meet the opposite carriageway
_TRANSECTS = 5
_SHARE = 0.6
#: least median left between two carriageways
_MEDIAN_FT = 2.0


def beside(rows: Sequence[StreetRow], axes: Polylines, side: Side) -> dict[int, tuple[int, float]]:
    """Segment -> (the opposite carriageway beside it, distance of the axes).

    The opposite carriageway lies on the inner side: left of traffic that keeps right. The distance
    is the median over transects, most of which must meet it.

    Args:
        rows: attributes per segment.
        axes: street axes.
        side: driving side.
    """
    way = np.array([{"forward": 1.0, "backward": -1.0}.get(row.oneway, 0.0) for row in rows])
    one = np.flatnonzero((way != 0) & ~np.array([row.roundabout for row in rows], dtype=bool))
    if len(one) < 2:
        return {}
    inner = way[one] * (-1.0 if side == "right" else 1.0)
    owner, other, far = _opposite(one, way, inner, axes)
    out: dict[int, tuple[int, float]] = {}
    for k in np.unique(owner).tolist():
        own = owner == k
        if own.sum() >= _SHARE * _TRANSECTS:
            values, count = np.unique(other[own], return_counts=True)
            out[int(one[k])] = int(values[count.argmax()]), float(np.median(far[own]))
    return out


def _opposite(one: Ints, way: Floats, inner: Floats, axes: Polylines) -> tuple[Ints, Ints, Floats]:
    """(number within `one`, segment, distance) per transect that meets one of the other way."""
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
    ray, other, far = ray[opposite], one[other[opposite]], far[opposite]
    order = np.lexsort([other, far, ray])
    ray, other, far = ray[order], other[order], far[order]
    first = np.flatnonzero(np.diff(ray, prepend=-1) != 0)
    return owner[ray[first]], other[first], far[first]


def moved_aside(
    segments: Sequence[Segment], neighbors: Mapping[int, tuple[int, float]], side: Side
) -> list[Segment]:
    """Segments whose roadways would overlap, moved outward by half of what is missing."""
    out = list(segments)
    for i, (j, far) in neighbors.items():
        own = segments[i]
        left_inside = (own.oneway == "forward") == (side == "right")
        missing = _inner(own, side) + _inner(segments[j], side) - (far - _MEDIAN_FT)
        if own.width_source != "curbs" and missing > 0.0:
            shift = (missing if left_inside else -missing) / 2
            out[i] = replace(own, strips=tuple(s.moved(shift) for s in own.strips))
    return out


def _inner(segment: Segment, side: Side) -> float:
    """Distance from the axis to the edge toward the opposite carriageway."""
    left, right = segment.edges_ft
    return -left if (segment.oneway == "forward") == (side == "right") else right

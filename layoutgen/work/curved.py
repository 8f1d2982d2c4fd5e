"""Markings that follow a curve, parted across the axis by the reach of the applicator."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.geometry.polyline import Polylines
from layoutgen.work.cutting import Paint, Reach, part_line, polygons
from layoutgen.work.reach import TINY_FT

#: longest edge of an outline that is laid straight (ft)
_STEP_FT = 3.0
_TRIES = 8


def unrolled_pieces(shape: Any, axes: Polylines, axis: tuple[int, Any], reach: Reach) -> list[Any]:
    """Strips of a shape between lines across the axis; each fits the reach along its own middle.

    The shape is laid straight along the axis to find the fewest strips. On the outside of a curve
    paint is longer than the axis, so the strips are made shorter until all of them fit.

    Args:
        shape: on the working plane.
        axes: axes of all segments.
        axis: index of the segment, and its line.
        reach: size of a piece.
    """
    segment, line = axis
    straight = _laid_straight(shape, line)
    size = reach.along_ft
    for _ in range(_TRIES):
        cuts = part_line(Paint(straight, 1), size, min(reach.overlap_ft, size / 2), ())
        pieces = _between_stations(shape, axes, segment, (cuts, straight))
        longest = max(_extent_along(p, axes, segment, line) for p in pieces)
        if longest <= reach.along_ft + TINY_FT:
            break
        size = max(size * min(0.995, reach.along_ft / longest), reach.along_ft / 2.0)
    return pieces


def _laid_straight(shape: Any, line: Any) -> Any:
    """The shape with x = offset from the axis and y = station."""
    fine = shapely.segmentize(shape, _STEP_FT)
    xy = shapely.get_coordinates(fine)
    points = shapely.points(xy)
    station = shapely.line_locate_point(line, points)
    offset = _offsets(xy, line, station)
    out = shapely.set_coordinates(fine, np.column_stack([offset, station]))
    return polygons(shapely.make_valid(out))


def _offsets(xy: NDArray[np.float64], line: Any, station: NDArray[np.float64]) -> Any:
    """Signed distance from the axis, positive to the right."""
    foot = shapely.get_coordinates(shapely.line_interpolate_point(line, station))
    a = shapely.get_coordinates(shapely.line_interpolate_point(line, np.maximum(station - 0.05, 0)))
    top = np.minimum(station + 0.05, line.length)
    b = shapely.get_coordinates(shapely.line_interpolate_point(line, top))
    d, along = xy - foot, b - a
    side = np.sign(d[:, 0] * along[:, 1] - d[:, 1] * along[:, 0])
    return side * np.hypot(d[:, 0], d[:, 1])


def _between_stations(
    shape: Any, axes: Polylines, segment: int, where: tuple[Sequence[float], Any]
) -> list[Any]:
    """Paint between neighboring cut lines; the outer ones lie beyond the shape."""
    cuts, straight = where
    west, south, east, north = straight.bounds
    stations = np.array([south - 30.0, *cuts, north + 30.0])
    west, east = west - 5.0, east + 5.0
    which = np.full(len(stations), segment)
    left = axes.locate(which, stations, np.full(len(stations), west))
    right = axes.locate(which, stations, np.full(len(stations), east))
    rings = [
        shapely.make_valid(shapely.Polygon([left[i], right[i], right[i + 1], left[i + 1]]))
        for i, _ in enumerate(pairwise(stations))
    ]
    rest, out = shape, []
    for ring in rings[:-1]:
        piece = polygons(shapely.intersection(rest, ring))
        if not piece.is_empty:
            out.append(piece)
            rest = polygons(shapely.difference(rest, ring))
    return out if rest.is_empty else [*out, rest]


def _extent_along(piece: Any, axes: Polylines, segment: int, line: Any) -> float:
    """Length of a piece along the travel at its middle."""
    middle = shapely.line_locate_point(line, piece.centroid)
    ahead: Any = axes.directions([segment], [middle])[0]
    along = shapely.get_coordinates(piece) @ ahead
    return float(along.max() - along.min())

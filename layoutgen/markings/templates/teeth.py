"""Shape `teeth`: rows of triangles, as a yield line is made of."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.geometry.polyline import Polylines
from layoutgen.markings.marking import Frame, TeethShape
from layoutgen.markings.placing import placed

SHAPE = TeethShape


def draw(
    frames: Sequence[Frame], shapes: Sequence[TeethShape], axes: Polylines
) -> NDArray[np.object_]:
    """One multipolygon of triangles per shape."""
    if not len(shapes):
        return np.empty(0, dtype=object)
    owner = np.repeat(np.arange(len(shapes)), [s.count for s in shapes])
    corners = np.concatenate([_corners(shape) for shape in shapes])
    xy = placed(corners, owner, frames, [s.base_ft for s in shapes], axes)
    out: NDArray[Any] = np.full(len(shapes), None, dtype=object)
    shapely.multipolygons(shapely.polygons(xy), indices=owner, out=out)
    return out


def _corners(shape: TeethShape) -> NDArray[np.float64]:
    """(count, 3, 2) station and offset: both ends of the base, and the tip, clockwise."""
    pitch = shape.width_ft + shape.gap_ft
    row = shape.count * pitch - shape.gap_ft
    first = (shape.left_ft + shape.right_ft - row) / 2
    left = first + pitch * np.arange(shape.count)
    middle = left + shape.width_ft / 2
    right = left + shape.width_ft
    cut = shape.cut
    base = cut.station_ft + cut.slope * np.array([left, right])
    tip = cut.station_ft + cut.slope * middle + shape.height_ft
    station = np.stack([base[0], tip, base[1]], axis=1)
    return np.stack([station, np.stack([left, middle, right], axis=1)], axis=2)

"""Shape `ground`: areas that are given on the plane."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.geometry.polyline import Polylines
from layoutgen.markings.marking import Frame, GroundShape

SHAPE = GroundShape


def draw(
    frames: Sequence[Frame], shapes: Sequence[GroundShape], axes: Polylines
) -> NDArray[np.object_]:
    """One multipolygon per area."""
    del frames, axes
    out: NDArray[Any] = np.full(len(shapes), None, dtype=object)
    for k, shape in enumerate(shapes):
        out[k] = shapely.MultiPolygon(list(shapely.get_parts(shape.area)))
    return out

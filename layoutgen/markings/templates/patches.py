"""Shape `patches`: straight-sided areas of any outline, each rigid in a frame of its own."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.geometry.polyline import Polylines
from layoutgen.markings.marking import Frame, PatchesShape
from layoutgen.markings.placing import placed

SHAPE = PatchesShape


def draw(
    frames: Sequence[Frame], shapes: Sequence[PatchesShape], axes: Polylines
) -> NDArray[np.object_]:
    """One multipolygon per shape; patches that touch or cross are merged."""
    if not len(shapes):
        return np.empty(0, dtype=object)
    flat = [(f, patch) for f, shape in zip(frames, shapes, strict=True) for patch in shape.patches]
    counts = [len(patch.corners) for _, patch in flat]
    owner = np.repeat(np.arange(len(flat)), counts)
    corners = np.array([corner for _, patch in flat for corner in patch.corners], dtype=float)
    bases = [patch.base_ft for _, patch in flat]
    xy = placed(corners[:, None, :], owner, [f for f, _ in flat], bases, axes)[:, 0, :]
    rings = shapely.linearrings(xy, indices=owner)
    pieces = shapely.orient_polygons(shapely.polygons(rings), exterior_cw=True)
    out: NDArray[Any] = np.full(len(shapes), None, dtype=object)
    shape_of = np.repeat(np.arange(len(shapes)), [len(shape.patches) for shape in shapes])
    shapely.multipolygons(pieces, indices=shape_of, out=out)
    doubt = ~shapely.is_valid(out)
    out[doubt] = [_merged(geometry) for geometry in out[doubt]]
    return out


def _merged(geometry: Any) -> Any:
    union = shapely.union_all(shapely.make_valid(shapely.get_parts(geometry)))
    return union if union.geom_type == "MultiPolygon" else shapely.MultiPolygon([union])

"""From frame coordinates to the plane, for shapes that stand in a straight frame."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from layoutgen.geometry.polyline import Polylines
from layoutgen.markings.marking import Frame


def placed(
    corners: Any, owner: Any, frames: Sequence[Frame], base_ft: Sequence[float], axes: Polylines
) -> Any:
    """Plane coordinates in the straight frame at each shape's base station.

    Args:
        corners: (n, k, 2) station and offset of the corners of n parts.
        owner: (n,) shape each part belongs to.
        frames: station system per shape.
        base_ft: station of the straight frame per shape.
        axes: street axes.
    """
    segment = np.array([f.segment.index for f in frames])
    sign = np.array([f.sign() for f in frames], dtype=float)
    base = np.array(base_ft, dtype=float)
    along = np.array([f.station(s) for f, s in zip(frames, base_ft, strict=True)])
    origin = axes.locate(segment, along)
    direction = axes.directions(segment, along) * sign[:, None]
    right = np.column_stack([direction[:, 1], -direction[:, 0]])
    station = corners[:, :, 0] - base[owner][:, None]
    offset = corners[:, :, 1]
    return (
        origin[owner][:, None, :]
        + station[:, :, None] * direction[owner][:, None, :]
        + offset[:, :, None] * right[owner][:, None, :]
    )

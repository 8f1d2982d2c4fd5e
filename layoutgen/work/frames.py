"""Straight frames along the travel of markings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Frames:
    """Straight frame of every marking: origin on the axis, unit vector along its reading travel.

    `way` is +1 where that runs along growing station, and `middle_ft` the station of the origin.
    """

    origin: Floats
    ahead: Floats
    way: NDArray[np.int64]
    middle_ft: Floats

    def added(self, more: Sequence[Frames]) -> Frames:
        """These frames and more of them behind."""
        every = [self, *more]
        return Frames(
            np.concatenate([f.origin for f in every]),
            np.concatenate([f.ahead for f in every]),
            np.concatenate([f.way for f in every]),
            np.concatenate([f.middle_ft for f in every]),
        )

    def inward(self, shapes: NDArray[np.object_], which: NDArray[np.int64]) -> NDArray[np.object_]:
        """Shapes in local coordinates: x right of travel from the axis, y along travel."""
        xy, owner = shapely.get_coordinates(shapes, return_index=True)
        own = which[owner]
        d = xy - self.origin[own]
        a = self.ahead[own]
        local = np.column_stack([d[:, 0] * a[:, 1] - d[:, 1] * a[:, 0], (d * a).sum(axis=1)])
        return np.asarray(shapely.set_coordinates(shapes.copy(), local), dtype=object)

    def outward(self, shapes: NDArray[np.object_], which: NDArray[np.int64]) -> NDArray[np.object_]:
        """Shapes back on the working plane."""
        xy, owner = shapely.get_coordinates(shapes, return_index=True)
        own = which[owner]
        a = self.ahead[own]
        right = np.column_stack([a[:, 1], -a[:, 0]])
        plane = self.origin[own] + xy[:, :1] * right + xy[:, 1:] * a
        return np.asarray(shapely.set_coordinates(shapes.copy(), plane), dtype=object)

"""Shape `figure`: rigid symbols and words, every copy identical."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.geometry.polyline import Floats, Polylines
from layoutgen.markings.marking import FigureShape, Frame
from layoutgen.markings.symbols import Figure, figure, word

SHAPE = FigureShape


def figure_of(shape: FigureShape) -> Figure:
    """Outline of a placed figure.

    Raises:
        ValueError: unknown figure or letter, or a width that the letters cannot be squeezed into.
    """
    if shape.drawing is not None:
        return shape.drawing
    return _outline(shape.name, shape.text, shape.height_ft, shape.width_ft)


def draw(
    frames: Sequence[Frame], shapes: Sequence[FigureShape], axes: Polylines
) -> NDArray[np.object_]:
    """One multipolygon per figure, heading along the travel of the driver who reads it.

    The heading is that of the axis at the middle of the figure, so that it sits well in a curve.
    """
    if not len(shapes):
        return np.empty(0, dtype=object)
    outlines = [figure_of(shape) for shape in shapes]
    origin, heading = _placements(frames, shapes, outlines, axes)
    copies = np.array([o.polygon for o in outlines], dtype=object)
    xy, owner = shapely.get_coordinates(copies, return_index=True)
    right = np.column_stack([heading[:, 1], -heading[:, 0]])
    moved = origin[owner] + xy[:, :1] * right[owner] + xy[:, 1:] * heading[owner]
    return np.asarray(shapely.set_coordinates(copies, moved), dtype=object)


@cache
def _outline(name: str, text: str, height_ft: float, width_ft: float) -> Figure:
    if text:
        return word(text, height_ft=height_ft, width_ft=width_ft or None)
    return figure(name)


def _placements(
    frames: Sequence[Frame],
    shapes: Sequence[FigureShape],
    outlines: Sequence[Figure],
    axes: Polylines,
) -> tuple[Floats, Floats]:
    """Plane point of each figure's upstream edge, and its unit heading."""
    segment = np.array([f.segment.index for f in frames])
    facing = np.array(
        [s.facing * f.sign() for f, s in zip(frames, shapes, strict=True)], dtype=float
    )
    half = np.array([o.length_ft / 2 for o in outlines])
    middle = np.array(
        [
            f.station(s.upstream_ft + s.facing * h)
            for f, s, h in zip(frames, shapes, half, strict=True)
        ]
    )
    offset = np.array([s.offset_ft * f.sign() for f, s in zip(frames, shapes, strict=True)])
    heading: Any = axes.directions(segment, middle) * facing[:, None]
    center = axes.locate(segment, middle, offset)
    return center - heading * half[:, None], heading

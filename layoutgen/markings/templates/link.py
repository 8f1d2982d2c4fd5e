"""Shape `link`: stripes that lead from one leg of an intersection to another."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.geometry.polyline import Floats, Polylines, offset_lines
from layoutgen.markings.marking import Frame, LinkShape
from layoutgen.markings.ribbons import collected, cut_pattern, ribbons

SHAPE = LinkShape
#: points along a path that bends
_POINTS = 33
#: a path that turns less than this and ends on its own line is straight
_STRAIGHT_RAD = 1e-4


def draw(
    frames: Sequence[Frame], shapes: Sequence[LinkShape], axes: Polylines
) -> NDArray[np.object_]:
    """One multipolygon per link; None where nothing is left of it."""
    if not len(shapes):
        return np.empty(0, dtype=object)
    paths = [_path(f, s, axes) for f, s in zip(frames, shapes, strict=True)]
    rows = [
        (k, stroke.offset_ft, stroke.width_ft, stroke.painted_ft, stroke.gap_ft)
        for k, shape in enumerate(shapes)
        for stroke in shape.strokes
    ]
    table = np.array(rows, dtype=float)
    shape_of = table[:, 0].astype(np.int64)
    lines = np.array(paths, dtype=object)[shape_of]
    # cut before they are moved aside: strokes beside one another keep one cycle in a bend
    row, pieces, width = cut_pattern(
        np.arange(len(table)), lines, table[:, 2], table[:, 3], table[:, 4]
    )
    tracks = offset_lines(pieces, table[row, 1])
    kept = ~shapely.is_missing(tracks)
    owner = shape_of[row[kept]]
    return collected(ribbons(tracks[kept], width[kept]), owner, len(shapes))


def path(start: tuple[Floats, Floats], stop: tuple[Floats, Floats]) -> Any:
    """Line from a point with a unit heading to another, bending as evenly as a cubic can.

    For two tangents of one circle it is that circle to about 0.03 percent of its radius.
    """
    (p, u), (q, v) = start, stop
    chord = float(np.hypot(*(q - p)))
    turn = math.acos(float(np.clip(u @ v, -1.0, 1.0)))
    if turn < _STRAIGHT_RAD and abs(u[0] * (q - p)[1] - u[1] * (q - p)[0]) < 1e-3:
        return shapely.LineString([p, q])
    turn = min(turn, math.radians(170.0))
    reach = chord / 3 if turn < 1e-3 else chord * math.tan(turn / 4) / (1.5 * math.sin(turn / 2))
    t = np.linspace(0.0, 1.0, _POINTS)[:, None]
    a, b = p + reach * u, q - reach * v
    curve = (1 - t) ** 3 * p + 3 * (1 - t) ** 2 * t * a + 3 * (1 - t) * t**2 * b + t**3 * q
    return shapely.LineString(curve)


def _path(frame: Frame, shape: LinkShape, axes: Polylines) -> Any:
    p, u = _point(frame, shape.start_ft, shape.start_offset_ft, axes)
    q, v = _point(shape.to, shape.stop_ft, shape.stop_offset_ft, axes)
    return path((p, -u), (q, v))


def _point(
    frame: Frame, station_ft: float, offset_ft: float, axes: Polylines
) -> tuple[Floats, Floats]:
    """Plane point of a frame position, and the unit direction of growing station there."""
    index = np.array([frame.segment.index])
    along = np.array([frame.station(station_ft)])
    point = axes.locate(index, along, np.array([offset_ft * frame.sign()]))[0]
    return point, axes.directions(index, along)[0] * frame.sign()

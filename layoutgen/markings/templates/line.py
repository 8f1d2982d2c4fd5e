"""Shape `line`: stripes along the axis, solid or in pieces."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.geometry.polyline import Floats, Ints, Polylines, offset_lines
from layoutgen.markings.marking import Frame, LineShape, Stroke
from layoutgen.markings.ribbons import collected, cut_pattern, ribbons

SHAPE = LineShape
#: points along a stripe that slants lie this far apart
_STEP_FT = 10.0


def draw(
    frames: Sequence[Frame], shapes: Sequence[LineShape], axes: Polylines
) -> NDArray[np.object_]:
    """One polygon or multipolygon per line; None where nothing is left of it.

    Pieces are set so that the gaps at both ends are equal: the pattern does not depend on the
    digitised direction. A line shorter than one piece is painted whole.
    """
    if not len(shapes):
        return np.empty(0, dtype=object)
    owner, tracks, width, painted, gap = _tracks(frames, shapes, axes)
    owner, tracks, width = cut_pattern(owner, tracks, width, painted, gap)
    return collected(ribbons(tracks, width), owner, len(shapes))


def _tracks(
    frames: Sequence[Frame], shapes: Sequence[LineShape], axes: Polylines
) -> tuple[Ints, NDArray[np.object_], Floats, Floats, Floats]:
    """Middle line of every stroke, with the number of its shape and its pattern."""
    rows: list[tuple[float, ...]] = []
    for k, (frame, shape) in enumerate(zip(frames, shapes, strict=True)):
        ends = sorted((frame.station(shape.start_ft), frame.station(shape.stop_ft)))
        where = (k, frame.segment.index, *ends)
        turned = frame.reverse != (shape.start_ft > shape.stop_ft)
        rows += [
            (*where, *_sides(s, frame.sign(), turned), s.width_ft, s.painted_ft, s.gap_ft)
            for s in shape.strokes
        ]
    table = np.array(rows, dtype=float)
    table = table[table[:, 3] - table[:, 2] > 0.01]
    pieces = axes.pieces(table[:, 1].astype(np.int64), table[:, 2], table[:, 3])
    tracks = offset_lines(pieces, table[:, 4])
    for i in np.flatnonzero(table[:, 4] != table[:, 5]).tolist():
        tracks[i] = _slanted(int(table[i, 1]), table[i, 2:6], axes)
    kept = ~shapely.is_missing(tracks)
    table = table[kept]
    return table[:, 0].astype(np.int64), tracks[kept], table[:, 6], table[:, 7], table[:, 8]


def _sides(stroke: Stroke, sign: int, turned: bool) -> tuple[float, float]:
    """Segment offsets of a stroke where its line begins and ends along the segment."""
    stop = stroke.offset_ft if stroke.stop_offset_ft is None else stroke.stop_offset_ft
    sides = (stroke.offset_ft * sign, stop * sign)
    return sides[::-1] if turned else sides


def _slanted(segment: int, run: Floats, axes: Polylines) -> Any:
    """Middle line of a stripe whose offset changes evenly; `run` is its stations and offsets."""
    count = max(2, math.ceil((run[1] - run[0]) / _STEP_FT) + 1)
    station, offset = np.linspace(run[0], run[1], count), np.linspace(run[2], run[3], count)
    return shapely.LineString(axes.locate(np.full(count, segment), station, offset))

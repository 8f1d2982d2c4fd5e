"""Shape `line`: stripes along the axis, solid or in pieces."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.geometry.polyline import Floats, Ints, Polylines, offset_lines
from layoutgen.markings.marking import Frame, LineShape
from layoutgen.markings.ribbons import collected, cut_pattern, ribbons

SHAPE = LineShape


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
        rows += [
            (*where, s.offset_ft * frame.sign(), s.width_ft, s.painted_ft, s.gap_ft)
            for s in shape.strokes
        ]
    table = np.array(rows, dtype=float)
    table = table[table[:, 3] - table[:, 2] > 0.01]
    pieces = axes.pieces(table[:, 1].astype(np.int64), table[:, 2], table[:, 3])
    tracks = offset_lines(pieces, table[:, 4])
    kept = ~shapely.is_missing(tracks)
    table = table[kept]
    return table[:, 0].astype(np.int64), tracks[kept], table[:, 5], table[:, 6], table[:, 7]

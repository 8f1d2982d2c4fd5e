"""Stripes along their middle lines: patterns of pieces and gaps, and the polygons of both."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.geometry.polyline import Floats, Ints, Polylines


def ribbons(tracks: NDArray[np.object_], width: Floats) -> NDArray[np.object_]:
    """Stripes of a width along their middle lines, square at the ends."""
    straight = shapely.get_num_coordinates(tracks) == 2
    out: NDArray[Any] = np.full(len(tracks), None, dtype=object)
    out[straight] = _rectangles(tracks[straight], width[straight] / 2)
    out[~straight] = shapely.buffer(
        tracks[~straight],
        width[~straight] / 2,
        cap_style="flat",
        join_style="mitre",
        mitre_limit=2.0,
    )
    return out


def _rectangles(tracks: NDArray[np.object_], half_ft: Floats) -> NDArray[np.object_]:
    """What a buffer of lines of one edge would give, vertex by vertex, in a third of the time."""
    start, stop = shapely.get_coordinates(tracks).reshape(-1, 2, 2).transpose(1, 0, 2)
    edge = stop - start
    ahead = edge / np.hypot(edge[:, 0], edge[:, 1])[:, None]
    right = np.column_stack([ahead[:, 1], -ahead[:, 0]]) * half_ft[:, None]
    corners = [stop - right, stop + right, start + right, start - right, stop - right]
    return np.asarray(shapely.polygons(np.stack(corners, axis=1)), dtype=object)


def cut_pattern(
    owner: Ints, tracks: NDArray[np.object_], width: Floats, painted: Floats, gap: Floats
) -> tuple[Ints, NDArray[np.object_], Floats]:
    """Solid tracks as they are, the others as their painted pieces."""
    total = shapely.length(tracks)
    broken = (painted > 0) & (total > painted)
    if not broken.any():
        return owner, tracks, width
    cycle = painted[broken] + gap[broken]
    count = np.floor((total[broken] + gap[broken]) / cycle + 1e-9).astype(np.int64)
    which = np.repeat(np.flatnonzero(broken), count)
    k = np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)
    margin = (total[broken] - count * cycle + gap[broken]) / 2
    start = np.repeat(margin, count) + k * np.repeat(cycle, count)
    position = np.cumsum(broken) - 1
    pieces = Polylines.from_lines(tracks[broken]).pieces(
        position[which], start, start + painted[which]
    )
    return (
        np.concatenate([owner[~broken], owner[which]]),
        np.concatenate([tracks[~broken], pieces]),
        np.concatenate([width[~broken], width[which]]),
    )


def collected(parts: NDArray[np.object_], owner: Ints, count: int) -> NDArray[np.object_]:
    """Parts of one marking as one multipolygon."""
    order = np.argsort(owner, kind="stable")
    out: NDArray[Any] = np.full(count, None, dtype=object)
    flat, index = shapely.get_parts(parts[order], return_index=True)
    shapely.multipolygons(flat, indices=owner[order][index], out=out)
    return out

"""Where lines meet: shared vertices, ends that touch another line, ends that nearly meet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from layoutgen.geometry.polyline import Floats, Ints, Polylines, ranges

#: vertices closer than this are one vertex (0.01 ft = 3 mm)
_GRID_FT = 0.01


@dataclass(frozen=True)
class Levels:
    """Grade levels of n lines.

    Attributes:
        ends: (2n,) level of the first and last point of each line, interleaved.
        inside: (n,) level of the inside of each line.
        tied: (2n,) ends of lines that have a level as a whole: they meet whatever they share a
            point with (the deck of a bridge and the street it lands on).
    """

    ends: NDArray[np.int64]
    inside: NDArray[np.int64]
    tied: NDArray[np.bool_]

    @staticmethod
    def ground(n: int) -> Levels:
        """All on one level."""
        return Levels(
            np.zeros(2 * n, dtype=np.int64),
            np.zeros(n, dtype=np.int64),
            np.zeros(2 * n, dtype=bool),
        )


def shared_vertices(
    lines: Polylines, levels: Levels | None = None
) -> tuple[Ints, Floats, NDArray[np.bool_]]:
    """(line, station, does it meet?) of interior vertices that another line, or the same, passes.

    It meets what is there on its own level, and ends that are tied.
    """
    levels = levels or Levels.ground(len(lines))
    owner = np.repeat(np.arange(len(lines)), np.diff(lines.first))
    ends = np.column_stack([lines.first[:-1], lines.first[1:] - 1]).ravel()
    is_end = np.zeros(len(owner), dtype=bool)
    is_end[ends] = True
    level = levels.inside[owner]
    level[ends] = levels.ends
    _, key, count = np.unique(_cells(lines.xy), return_inverse=True, return_counts=True)
    spread = int(np.ptp(level)) + 1 if len(level) else 1
    pair = key * spread + level
    _, own, alike = np.unique(pair, return_inverse=True, return_counts=True)
    is_tied = np.zeros(len(count), dtype=bool)
    is_tied[key[ends][levels.tied]] = True
    hit = (count[key] > 1) & ~is_end
    meets = (alike[own] > 1) | is_tied[key]
    return owner[hit].astype(np.int64), lines.run[hit], meets[hit]


def touched(lines: Polylines, levels: Levels, tolerance: float) -> tuple[Ints, Floats]:
    """(line, station) where an end of some other line lies on the inside of a line.

    Args:
        lines: the lines.
        levels: their grade levels.
        tolerance: how far an end may miss the line.
    """
    tolerance = max(tolerance, _GRID_FT)
    shapes = lines.lines()
    ends = end_points(lines)
    at_end, line = _near(shapes, ends, tolerance)
    landed = landing(ends, levels.ends, levels.tied, tolerance)
    meets = (levels.ends[at_end] == levels.inside[line]) | (landed[at_end] == levels.inside[line])
    other = (at_end // 2 != line) & meets
    at_end, line = at_end[other], line[other]
    station = shapely.line_locate_point(shapes[line], shapely.points(ends[at_end]))
    inside = (station > tolerance) & (station < lines.lengths[line] - tolerance)
    return line[inside].astype(np.int64), station[inside]


def _near(shapes: NDArray[np.object_], points: Floats, distance: float) -> tuple[Ints, Ints]:
    """(point, line) pairs within a distance, by point; equal points are looked up once."""
    if not len(points):
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    order = np.lexsort([points[:, 1], points[:, 0]])
    fresh = np.append(True, np.any(np.diff(points[order], axis=0) != 0, axis=1))
    place = np.empty(len(points), dtype=np.int64)
    place[order] = np.cumsum(fresh) - 1
    spots = shapely.points(points[order][fresh])
    spot, line = shapely.STRtree(shapes).query(spots, predicate="dwithin", distance=distance)
    counts = np.bincount(spot, minlength=len(spots))
    begin = np.cumsum(counts) - counts
    hit = ranges(begin[place], counts[place])
    return np.repeat(np.arange(len(points)), counts[place]), line[hit]


def split(lines: Polylines, line: Ints, station: Floats) -> tuple[NDArray[np.object_], Ints]:
    """Pieces of all lines cut at stations, in order along each line, and the line of each piece."""
    if not len(lines):
        return np.empty(0, dtype=object), np.empty(0, dtype=np.int64)
    cut_line = np.concatenate([np.arange(len(lines)), line])
    cut_at = np.concatenate([np.zeros(len(lines)), station])
    order = np.lexsort([cut_at, cut_line])
    cut_line, cut_at = cut_line[order], cut_at[order]
    fresh = np.ones(len(cut_at), dtype=bool)
    fresh[1:] = (np.diff(cut_line) != 0) | (np.diff(cut_at) > 2 * _GRID_FT)
    # a cut at the last point would leave a piece without length
    fresh &= (cut_at == 0.0) | (cut_at < lines.lengths[cut_line] - 2 * _GRID_FT)
    cut_line, cut_at = cut_line[fresh], cut_at[fresh]
    last = np.append(np.diff(cut_line) != 0, True)
    stop = np.append(cut_at[1:], 0.0)
    stop[last] = lines.lengths[cut_line[last]]
    return lines.pieces(cut_line, cut_at, stop), cut_line.astype(np.int64)


def landing(
    points: Floats, levels: NDArray[np.int64], tied: NDArray[np.bool_], tolerance: float
) -> NDArray[np.int64]:
    """Level on which every end may meet others nearby: the ground, where a tied one stops.

    A deck of two lines has its joint in the air; only the ends of the whole deck are on the ground.
    """
    pairs = cKDTree(points).query_pairs(max(tolerance, _GRID_FT), output_type="ndarray")
    pairs = pairs[levels[pairs[:, 0]] == levels[pairs[:, 1]]]
    goes_on = np.zeros(len(points), dtype=bool)
    goes_on[pairs.ravel()] = True
    return np.where(tied & ~goes_on, 0, levels)


def cluster(
    points: Floats,
    levels: NDArray[np.int64],
    tolerance: float,
    tied: NDArray[np.bool_] | None = None,
) -> tuple[Ints, Floats]:
    """Node of every end point, and the place of every node (mean of its distinct points).

    Ends of different grade levels never share a node, unless one of them is tied and they are the
    same point. Nodes are numbered by place, not by the order of the input.
    """
    grid, key = np.unique(_cells(points), return_inverse=True)
    own = _means(points, key, len(grid))
    # cut ends of one vertex differ by rounding, so they must meet at tolerance 0 too
    tolerance = max(tolerance, _GRID_FT)
    pairs = cKDTree(points).query_pairs(tolerance, output_type="ndarray")
    a, b = pairs[:, 0], pairs[:, 1]
    n = len(points)
    tied = np.zeros(n, dtype=bool) if tied is None else tied
    level = landing(points, levels, tied, tolerance)
    same_place = key.ravel()[a] == key.ravel()[b]
    pairs = pairs[(level[a] == level[b]) | (same_place & (tied[a] | tied[b]))]
    same = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(n, n))
    _, label = connected_components(same, directed=False)
    distinct = np.unique(label.astype(np.int64) * len(grid) + key)
    node = distinct // max(1, len(grid))
    place = _means(own[distinct % max(1, len(grid))], node, int(label.max(initial=-1)) + 1)
    rank = np.empty(len(place), dtype=np.int64)
    order = np.lexsort([place[:, 1], place[:, 0]])
    rank[order] = np.arange(len(place))
    return rank[label], place[order]


def _cells(points: Floats) -> Ints:
    """One number per point that equal cells of the grid share, rising with x, then y."""
    grid = np.round(points / _GRID_FT).astype(np.int64)
    if not len(grid):
        return np.empty(0, dtype=np.int64)
    # columns by rank: the product of two numbers of cells would not fit on a plane of any size
    column = np.unique(grid[:, 0], return_inverse=True)[1]
    row = grid[:, 1] - grid[:, 1].min()
    return np.asarray(column * (int(row.max()) + 1) + row, dtype=np.int64)


def _means(points: Floats, group: Ints, count: int) -> Floats:
    """Mean point of every group."""
    size = np.bincount(group, minlength=count)
    sums = [np.bincount(group, points[:, k], minlength=count) / size for k in (0, 1)]
    return np.column_stack(sums)


def end_points(lines: Polylines) -> Floats:
    """(2n, 2) first and last point of every line, interleaved."""
    out = np.empty((2 * len(lines), 2))
    out[0::2] = lines.xy[lines.first[:-1]]
    out[1::2] = lines.xy[lines.first[1:] - 1]
    return out


def move_ends(shapes: NDArray[np.object_], ends: Floats) -> NDArray[np.object_]:
    """The lines with their first and last points moved to (2n, 2) places, interleaved."""
    xy, owner = shapely.get_coordinates(shapes, return_index=True)
    first: Any = np.searchsorted(owner, np.arange(len(shapes)))
    last = np.append(first[1:], len(owner)) - 1
    xy[first], xy[last] = ends[0::2], ends[1::2]
    return np.asarray(shapely.linestrings(xy, indices=owner), dtype=object)

"""Many polylines at once: stations, headings, pieces and offsets without a Python loop.

A `Polylines` keeps the vertices of all lines in one array. All lengths are in the unit of the
coordinates (feet on the working plane). Stations outside a line are continued straight along its
first or last edge.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

#: smaller offsets are none
_NO_OFFSET_FT = 1e-6
#: an end of a parallel line this far from its place is lost
_SAME_END_FT = 0.05

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Polylines:
    """Ragged array of polylines.

    Attributes:
        xy: (n, 2) vertices of all lines, one line after the other; no repeated neighbours.
        first: (m + 1,) index of each line's first vertex, closed by n.
        run: (n,) length from the start of its own line to each vertex.
    """

    xy: Floats
    first: Ints
    run: Floats

    @classmethod
    def from_lines(cls, lines: Sequence[Any] | NDArray[np.object_]) -> Polylines:
        """From shapely LineStrings of positive length.

        Raises:
            ValueError: a line has no length.
        """
        geoms = np.asarray(lines, dtype=object)
        xy, owner = shapely.get_coordinates(geoms, return_index=True)
        keep = np.ones(len(xy), dtype=bool)
        keep[1:] = (owner[1:] != owner[:-1]) | np.any(xy[1:] != xy[:-1], axis=1)
        xy, owner = xy[keep], owner[keep]
        first = np.searchsorted(owner, np.arange(len(geoms) + 1)).astype(np.int64)
        if len(geoms) and np.diff(first).min() < 2:
            raise ValueError("a polyline needs two distinct points")
        return cls(xy, first, _run_lengths(xy, owner))

    def __len__(self) -> int:
        return len(self.first) - 1

    @cached_property
    def lengths(self) -> Floats:
        """Length of every line."""
        return self.run[self.first[1:] - 1]

    def lines(self) -> NDArray[np.object_]:
        """All lines as shapely LineStrings."""
        owner = np.repeat(np.arange(len(self)), np.diff(self.first))
        return np.asarray(shapely.linestrings(self.xy, indices=owner), dtype=object)

    def locate(self, line: ArrayLike, station: ArrayLike, offset: ArrayLike = 0.0) -> Floats:
        """(k, 2) points at stations along lines, moved right by an offset at right angles."""
        a, b, t = self._edges(line, station)
        direction = _unit(self.xy[b] - self.xy[a])
        point = self.xy[a] + direction * t[:, None]
        right = np.column_stack([direction[:, 1], -direction[:, 0]])
        return np.asarray(point + right * np.broadcast_to(offset, t.shape)[:, None])

    def directions(self, line: ArrayLike, station: ArrayLike) -> Floats:
        """(k, 2) unit vectors along growing station."""
        a, b, _ = self._edges(line, station)
        return _unit(self.xy[b] - self.xy[a])

    def pieces(self, line: ArrayLike, start: ArrayLike, stop: ArrayLike) -> NDArray[np.object_]:
        """LineStrings of lines between two stations, start < stop, within the line.

        Raises:
            ValueError: a piece has no length.
        """
        which = np.atleast_1d(np.asarray(line, dtype=np.int64))
        s0 = np.broadcast_to(np.asarray(start, dtype=float), which.shape)
        s1 = np.broadcast_to(np.asarray(stop, dtype=float), which.shape)
        if len(which) == 0:
            return np.empty(0, dtype=object)
        if np.any(s1 <= s0):
            raise ValueError("a piece needs start < stop")
        lo, hi = self._inner(which, s0, s1)
        counts = np.maximum(hi - lo, 0)
        owner = np.repeat(np.arange(len(which)), counts + 2)
        out = np.empty((len(owner), 2))
        begin = np.concatenate([[0], np.cumsum(counts + 2)])
        out[begin[:-1]] = self.locate(which, s0)
        out[begin[1:] - 1] = self.locate(which, s1)
        inner = np.ones(len(owner), dtype=bool)
        inner[begin[:-1]] = inner[begin[1:] - 1] = False
        out[inner] = self.xy[ranges(lo, counts)]
        return np.asarray(shapely.linestrings(out, indices=owner), dtype=object)

    def _inner(self, which: Ints, s0: Floats, s1: Floats) -> tuple[Ints, Ints]:
        """Index range of the vertices strictly between two stations of their line."""
        key, scale = self._sorted_key
        tiny = 1e-6
        lo = np.searchsorted(key, which * scale + np.maximum(s0, 0) + tiny, side="right")
        hi = np.searchsorted(key, which * scale + np.maximum(s1, 0) - tiny, side="left")
        lo = np.clip(lo, self.first[which], self.first[which + 1])
        hi = np.clip(hi, self.first[which], self.first[which + 1])
        return lo, hi

    @cached_property
    def _sorted_key(self) -> tuple[Floats, float]:
        """One rising number per vertex over all lines, so that one search serves all."""
        scale = float(self.run.max(initial=0.0)) * 2 + 1.0
        owner = np.repeat(np.arange(len(self)), np.diff(self.first))
        return owner * scale + self.run, scale

    def _edges(self, line: ArrayLike, station: ArrayLike) -> tuple[Ints, Ints, Floats]:
        """Vertices before and after each station, and the distance past the first of them."""
        which = np.atleast_1d(np.asarray(line, dtype=np.int64))
        s = np.broadcast_to(np.asarray(station, dtype=float), which.shape)
        key, scale = self._sorted_key
        inside = np.clip(s, 0.0, self.lengths[which])
        a = np.searchsorted(key, which * scale + inside, side="right") - 1
        a = np.clip(a, self.first[which], self.first[which + 1] - 2)
        return a, a + 1, s - self.run[a]


def offset_lines(lines: NDArray[np.object_], offset_ft: ArrayLike) -> NDArray[np.object_]:
    """Parallel lines, offset to the right (positive) of each line, mitred at corners.

    A line that offsets to nothing or to pieces (an inside bend tighter than the offset) gives its
    longest piece, or None.
    """
    shift = -np.broadcast_to(np.asarray(offset_ft, dtype=float), lines.shape)
    # offsets far below any paint make the engine fail, and mean nothing
    aside = np.abs(shift) > _NO_OFFSET_FT
    out = lines.copy()
    out[aside] = shapely.offset_curve(
        lines[aside], shift[aside], join_style="mitre", mitre_limit=2.0
    )
    for i in np.flatnonzero(shapely.get_type_id(out) != 1):
        out[i] = _longest(out[i])
    out[shapely.is_empty(out)] = None
    for i in np.flatnonzero(aside & _lost_end(lines, shift, out)):
        out[i] = _vertex_by_vertex(lines[i], float(shift[i]), out[i])
    return np.asarray(out, dtype=object)


def ranges(start: Ints, counts: Ints) -> Ints:
    """start[0], start[0]+1, ... counts[0] numbers, then the same for the next."""
    total = int(counts.sum())
    jump = np.repeat(start - np.concatenate([[0], np.cumsum(counts)[:-1]]), counts)
    return np.asarray(np.arange(total) + jump, dtype=np.int64)


def _lost_end(
    lines: NDArray[np.object_], shift: Floats, drawn: NDArray[np.object_]
) -> NDArray[np.bool_]:
    """Where a parallel line does not begin and end beside its line.

    The engine loses the piece behind a nearly straight vertex now and then.
    """
    lost = np.zeros(len(lines), dtype=bool)
    for end, inner in ((0, 1), (-1, -2)):
        a, b = (shapely.get_point(lines, k) for k in (end, inner))
        step = (shapely.get_x(b) - shapely.get_x(a), shapely.get_y(b) - shapely.get_y(a))
        sign = np.where(end == 0, shift, -shift) / np.hypot(*step)
        got = shapely.get_point(drawn, end)
        gap_x = shapely.get_x(got) - (shapely.get_x(a) - step[1] * sign)
        gap_y = shapely.get_y(got) - (shapely.get_y(a) + step[0] * sign)
        lost |= ~(np.hypot(gap_x, gap_y) < _SAME_END_FT)
    return lost


def _vertex_by_vertex(line: Any, shift: float, drawn: Any) -> Any:
    """The parallel line with a mitre at every vertex, where all its pieces keep their direction."""
    xy = shapely.get_coordinates(line)
    step = np.diff(xy, axis=0)
    side = _unit(step)[:, ::-1] * np.array([-shift, shift])
    turn = side[:-1] + side[1:]
    square = np.sum(turn * turn, axis=1)
    if len(square) and square.min() < 2.0 * shift * shift:
        return drawn
    corner = turn * (2.0 * shift * shift / square)[:, None]
    moved = xy + np.vstack([side[:1], corner, side[-1:]])
    keeps = np.sum(np.diff(moved, axis=0) * step, axis=1) > 0.0
    return shapely.LineString(moved) if keeps.all() else drawn


def _longest(geometry: Any) -> Any:
    parts = shapely.get_parts(geometry)
    return max(parts, key=lambda part: float(part.length)) if len(parts) else None


def _unit(vectors: Floats) -> Floats:
    return np.asarray(vectors / np.hypot(vectors[:, 0], vectors[:, 1])[:, None])


def _run_lengths(xy: Floats, owner: Ints) -> Floats:
    """Length from the start of its own line to every vertex."""
    step = np.zeros(len(xy))
    if len(xy):
        step[1:] = np.hypot(*np.diff(xy, axis=0).T)
        new_line = np.concatenate([[True], owner[1:] != owner[:-1]])
        step[new_line] = 0.0
        total = np.cumsum(step)
        starts = np.flatnonzero(new_line)
        step = total - np.repeat(total[starts], np.diff(np.append(starts, len(xy))))
    return step

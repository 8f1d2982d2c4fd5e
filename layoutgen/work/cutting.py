"""Cut one shape into the fewest pieces that fit the reach of the applicator.

Coordinates: x to the right across travel, y along it, feet. A piece is the paint inside a rectangle
of the reach's size. Cuts run straight across or straight along what is left. Along one direction
the fewest windows are found exactly; of all ways with that number the one is taken whose cuts cross
the least paint, where a natural break of a figure costs next to nothing (`part_line`). Where
the reach is too narrow as well, strips across and strips along are both tried, each with the
furthest reach for every number of pieces; where they may take too many, an integer program places
windows anywhere (`covering`). `tests/work/test_cutting.py` holds the numbers to proven minima.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.work.covering import fewer_windows
from layoutgen.work.reach import TINY_FT

Floats = NDArray[np.float64]
#: positions nearer than this are one (ft)
_SAME_FT = 1e-4
#: paint thinner than this is a rounding of a cut (ft)
_GAP_FT = 2e-6
#: a shape may exceed a whole number of reaches by this much: an eighth of an inch of spray
EASE_FT = 0.01
#: a foot of paint crossed at a natural break counts as much as this elsewhere
_AT_BREAK = 1e-3
_HALVINGS = 30
#: share of paint that rounding may cost
_LOST = 1e-8
#: shapes whose strips need at most this many pieces are also covered by windows anywhere
_SMALL = 12


@dataclass(frozen=True)
class Reach:
    """What one set-up paints: across travel and along it, and how far pieces lap (ft)."""

    across_ft: float
    along_ft: float
    overlap_ft: float = 0.0

    def size(self, axis: int) -> float:
        """Extent along x (0) or y (1)."""
        return self.along_ft if axis else self.across_ft

    def holds(self, shape: Any, ease_ft: float = TINY_FT) -> bool:
        """Whether a shape is painted in one set-up."""
        west, south, east, north = shape.bounds
        wide, long = self.across_ft + ease_ft, self.along_ft + ease_ft
        return bool(east - west <= wide and north - south <= long)


class Paint:
    """A shape, seen along one axis: where there is paint, and how much a cut would cross."""

    def __init__(self, shape: Any, axis: int) -> None:
        self.shape, self.axis = shape, axis

    @cached_property
    def spans(self) -> Floats:
        """(n, 2) stretches of the axis with paint, sorted, those that touch joined."""
        box = shapely.bounds(shapely.get_parts(self.shape))
        ends = box[:, [self.axis, self.axis + 2]]
        ends = ends[np.argsort(ends[:, 0], kind="stable")]
        high = np.maximum.accumulate(ends[:, 1])
        new = np.concatenate([[True], ends[1:, 0] > high[:-1] + _GAP_FT])
        last = np.concatenate([np.flatnonzero(new)[1:] - 1, [len(ends) - 1]])
        return np.column_stack([ends[new, 0], high[last]])

    def starts_at(self, at: float) -> float:
        """The first paint at or after a position; infinite where there is none."""
        k = int(np.searchsorted(self.spans[:, 1], at + _GAP_FT))
        return float(max(at, self.spans[k, 0])) if k < len(self.spans) else np.inf

    @cached_property
    def edges(self) -> Floats:
        """(n, 4) edges: position from and to on the axis, and the other coordinate there."""
        rings = shapely.get_rings(shapely.orient_polygons(shapely.get_parts(self.shape)))
        xy, ring = shapely.get_coordinates(rings, return_index=True)
        same = ring[1:] == ring[:-1]
        a, b = xy[:-1][same], xy[1:][same]
        along, other = self.axis, 1 - self.axis
        return np.column_stack([a[:, along], b[:, along], a[:, other], b[:, other]])

    def crossed(self, at: Floats) -> Floats:
        """Feet of paint under a straight cut at each position; on an edge the lesser side."""
        return np.asarray(np.minimum(self._one_side(at - _SAME_FT), self._one_side(at + _SAME_FT)))

    def _one_side(self, at: Floats) -> Floats:
        """Outlines turn counterclockwise, so what goes one way on a line lies right of the rest."""
        u0, u1, v0, v1 = self.edges.T
        hit = (u0[None, :] <= at[:, None]) != (u1[None, :] <= at[:, None])
        with np.errstate(divide="ignore", invalid="ignore"):
            share = (at[:, None] - u0[None, :]) / (u1 - u0)[None, :]
        other = np.where(hit, v0 + share * (v1 - v0), 0.0) * np.sign(u1 - u0)
        return np.asarray(np.abs(other.sum(axis=1)))

    def positions(self) -> Floats:
        """Where the amount of paint under a cut bends or jumps."""
        return np.unique(np.concatenate([self.edges[:, 0], self.spans.ravel()]))


def part_line(paint: Paint, size: float, overlap: float, breaks: Sequence[float]) -> list[float]:
    """Cuts along an axis: as few as possible, then through as little paint as possible.

    The first window, and one that begins after a gap, is of full size; one that begins at a cut
    through paint laps over the piece before. Exact: the cheapest cuts lie where the paint under
    them bends, or a whole number of windows from such a place or from an end.
    """
    lines = _Windows(paint, size, overlap)
    latest = lines.greedy()
    if not latest:
        return []
    candidates = lines.candidates(latest, breaks)
    price = paint.crossed(candidates)
    price[np.isin(candidates, _nearest(candidates, breaks))] *= _AT_BREAK
    # of equal cuts the one farthest along, which leaves the least for the next
    return [lines.centered(cut) for cut in _cheapest(lines, candidates, price, latest)]


class _Windows:
    """Windows of one size that together see all paint of an axis."""

    def __init__(self, paint: Paint, size: float, overlap: float) -> None:
        self.paint, self.size, self.overlap = paint, size, overlap
        self.starts, self.ends = paint.spans[:, 0], paint.spans[:, 1]

    def reach(self, at: float) -> float:
        """How far a window sees that begins with the first paint at or after a cut."""
        return float(self.reaches(np.array([at]))[0])

    def reaches(self, at: Floats) -> Floats:
        """The same for many cuts."""
        k = np.searchsorted(self.ends, at + _GAP_FT)
        start = np.append(self.starts, np.inf)[k]
        fresh = at <= start + _GAP_FT
        return np.asarray(np.where(fresh, start + self.size, at + self.size - self.overlap))

    def greedy(self) -> list[float]:
        """Fewest cuts, each as far along as can be."""
        out: list[float] = []
        at = self.starts[0]
        while (to := self.reach(at)) < self.ends[-1] - TINY_FT:
            at = self._snapped(to)
            out.append(at)
        return out

    def _snapped(self, at: float) -> float:
        """The position itself, or the end of the paint before it where it lies in a gap."""
        k = int(np.searchsorted(self.starts, at, side="right")) - 1
        return float(min(at, self.ends[k]))

    def centered(self, cut: float) -> float:
        """The middle of the gap that a cut at its edge means; a cut through paint as it is."""
        k = int(np.searchsorted(self.ends, cut - _SAME_FT))
        if k + 1 < len(self.ends) and cut >= self.ends[k] - _SAME_FT:
            return float((self.ends[k] + self.starts[k + 1]) / 2.0)
        return cut

    def candidates(self, latest: Sequence[float], breaks: Sequence[float]) -> Floats:
        """Cuts worth trying, sorted: bends of the paint, breaks, and windows counted from them."""
        step = self.size - self.overlap
        base = np.concatenate([self.paint.positions(), np.asarray(breaks, dtype=float), latest])
        if len(latest) <= 12:
            counts = np.arange(-len(latest), len(latest) + 1)
            base = (base[:, None] + counts[None, :] * step).ravel()
        inside = base[(base > self.starts[0] + _SAME_FT) & (base < self.ends[-1] - _SAME_FT)]
        gap = self.starts[1:], self.ends[:-1]
        held = np.searchsorted(gap[0], inside, side="right")
        open_ = (
            (held < len(gap[1])) & (inside > gap[1][np.minimum(held, len(gap[1]) - 1)])
            if len(gap[1])
            else np.zeros(len(inside), dtype=bool)
        )
        return self._in_turn(np.unique(np.round(inside[~open_], 7)), latest)

    def _in_turn(self, cuts: Floats, latest: Sequence[float]) -> Floats:
        """Without gaps, a cut must leave no more than the windows after it see."""
        if len(self.starts) > 1 or not len(cuts):
            return cuts
        number = np.searchsorted(np.asarray(latest) + TINY_FT, cuts)
        left = (len(latest) - number) * (self.size - self.overlap)
        return np.asarray(cuts[cuts >= self.ends[-1] - left - TINY_FT])


def _nearest(candidates: Floats, breaks: Sequence[float]) -> Floats:
    """Candidates that lie at a natural break."""
    at = np.asarray(breaks, dtype=float)
    if not len(at) or not len(candidates):
        return np.empty(0)
    near = np.abs(candidates[:, None] - at[None, :]).min(axis=1) < _SAME_FT
    return np.asarray(candidates[near])


def _cheapest(
    lines: _Windows, candidates: Floats, price: Floats, latest: Sequence[float]
) -> list[float]:
    """The cheapest chain of as many cuts as the greedy one.

    A cut that lay before the greedy cut of one number less would need one cut more after it; so
    every candidate can only be the cut of one number.
    """
    number = np.searchsorted(np.asarray(latest) + TINY_FT, candidates)
    levels = [np.flatnonzero(number == k) for k in range(len(latest))]
    reach = lines.reaches(candidates)
    first = lines.reach(float(lines.starts[0]))
    cost = np.where(candidates[levels[0]] <= first + TINY_FT, price[levels[0]], np.inf)
    before: list[NDArray[np.int64]] = []
    for was, now in pairwise(levels):
        fits = candidates[None, now] <= reach[was, None] + TINY_FT
        ways = np.where(fits, cost[:, None], np.inf)
        before.append(was[np.argmin(ways, axis=0)])
        cost = ways.min(axis=0) + price[now]
    cost = np.where(reach[levels[-1]] >= lines.ends[-1] - TINY_FT, cost, np.inf)
    at = int(levels[-1][len(cost) - 1 - int(np.argmin(np.round(cost[::-1], 9)))])
    chain = [at]
    for step, now in zip(reversed(before), reversed(levels[1:]), strict=True):
        chain.append(int(step[np.searchsorted(now, chain[-1])]))
    return [float(candidates[k]) for k in reversed(chain)]


def best_pieces(
    shape: Any, reach: Reach, breaks: tuple[Sequence[float], Sequence[float]]
) -> list[Any]:
    """Pieces of a shape, in order along travel, then across.

    Args:
        shape: polygon or multipolygon.
        reach: size of a piece.
        breaks: natural breaks at x, and at y.
    """
    reach = _eased(shape, reach)
    if reach.holds(shape):
        return [shape]
    if _is_rectangle(shape):
        return _grid(shape, reach, breaks)
    narrow = [_extent(shape, axis) <= reach.size(axis) + TINY_FT for axis in (0, 1)]
    if any(narrow):
        axis = 1 if narrow[0] else 0
        return _parted(shape, axis, reach, breaks)
    plain, needed = _grid(shape, reach, breaks), _at_least(shape, reach)
    if len(plain) <= needed:
        return _in_order(plain)
    ways = [plain, *(_strips(shape, axis, reach, breaks) for axis in (1, 0))]
    best = min(ways, key=len)
    if needed < len(best) <= _SMALL and not reach.overlap_ft:
        best = _any_order(shape, reach, len(best)) or best
    return _in_order(best)


def _eased(shape: Any, reach: Reach) -> Reach:
    """The reach, a hair more where that saves a piece that nobody would paint."""

    def size(axis: int) -> float:
        own = reach.size(axis)
        count = int(_extent(shape, axis) / own)
        over = _extent(shape, axis) - count * own
        return own + over / count if count and TINY_FT < over <= EASE_FT else own

    return reach if reach.overlap_ft else Reach(size(0), size(1))


def _in_order(pieces: Sequence[Any]) -> list[Any]:
    """Along travel, then across."""
    return sorted(pieces, key=lambda p: (round(p.bounds[1], 3), round(p.bounds[0], 3)))


def _apart(shape: Any, axis: int, reach: Reach) -> int:
    """Pieces that are needed for certain: no two of some points of the paint fit one piece.

    Points on lines across an axis, the lines a piece apart; on each line as far apart as windows
    of the other direction are.
    """
    paint, other = Paint(shape, axis), 1 - axis
    lines, at, size = [], float(paint.starts_at(-np.inf)), reach.size(axis)
    while np.isfinite(at):
        lines.append(between(shape, axis, at, at + _SAME_FT))
        at = paint.starts_at(at + size + _SAME_FT)
    return sum(_windows_needed(line, other, reach) for line in lines)


def _is_rectangle(shape: Any) -> bool:
    west, south, east, north = shape.bounds
    return bool(abs((east - west) * (north - south) - shape.area) < TINY_FT)


def _grid(shape: Any, reach: Reach, breaks: tuple[Sequence[float], Sequence[float]]) -> list[Any]:
    """Strips along travel, each parted across."""
    return [
        piece
        for strip in _parted(shape, 1, reach, breaks)
        for piece in _parted(strip, 0, reach, breaks)
    ]


def _extent(shape: Any, axis: int) -> float:
    box = shape.bounds
    return float(box[axis + 2] - box[axis])


def _parted(
    shape: Any, axis: int, reach: Reach, breaks: tuple[Sequence[float], Sequence[float]]
) -> list[Any]:
    cuts = part_line(Paint(shape, axis), reach.size(axis), reach.overlap_ft, breaks[axis])
    return slices(shape, axis, cuts, reach.overlap_ft)


def slices(shape: Any, axis: int, cuts: Sequence[float], overlap: float = 0.0) -> list[Any]:
    """The paint between cuts; each piece after a cut also laps over the one before."""
    ends = [-np.inf, *cuts, np.inf]
    out = []
    for low, high in pairwise(ends):
        piece = between(shape, axis, low, high)
        if overlap and np.isfinite(low) and _touches(piece, axis, low):
            piece = between(shape, axis, low - overlap, high)
        if not piece.is_empty:
            out.append(piece)
    return out


def _touches(piece: Any, axis: int, at: float) -> bool:
    return not piece.is_empty and piece.bounds[axis] < at + _SAME_FT


def between(shape: Any, axis: int, low: float, high: float) -> Any:
    """Paint of a shape between two positions; slivers of rounding left out."""
    west, south, east, north = shape.bounds
    box = [west - 1.0, south - 1.0, east + 1.0, north + 1.0]
    box[axis], box[axis + 2] = max(box[axis], low), min(box[axis + 2], high)
    if box[axis] >= box[axis + 2]:
        return shapely.Polygon()
    return polygons(shapely.intersection(shape, shapely.box(*box)))


def polygons(shape: Any) -> Any:
    """The areas of a geometry, without lines, points and slivers."""
    parts = shapely.get_parts(shapely.get_parts(shape))  # collections hold multipolygons
    parts = parts[(shapely.get_type_id(parts) == 3) & (shapely.area(parts) > 1e-9)]
    west, south, east, north = shapely.bounds(parts).reshape(-1, 4).T
    parts = parts[np.minimum(east - west, north - south) > _GAP_FT]
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(list(parts))


def _windows_needed(shape: Any, axis: int, reach: Reach) -> int:
    """Fewest windows along an axis."""
    if shape.is_empty:
        return 0
    return len(_Windows(Paint(shape, axis), reach.size(axis), reach.overlap_ft).greedy()) + 1


def _clipped(shape: Any, axis: int, high: float) -> Any:
    """Paint up to a position; faster than `between`, good enough to measure extents."""
    box = list(shape.bounds)
    box[axis + 2] = min(box[axis + 2], high)
    return polygons(shapely.clip_by_rect(shape, *box))


def _furthest(low: float, high: float, holds: Callable[[float], bool]) -> float:
    """The last position for which a condition holds that fails from some place on."""
    if holds(high):
        return high
    if not holds(low + _SAME_FT):
        return low
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low


def _strips(
    shape: Any, axis: int, reach: Reach, breaks: tuple[Sequence[float], Sequence[float]]
) -> list[Any]:
    """Strips across an axis, each parted along the other one; fewest pieces of this kind.

    With every number of pieces it is best to come as far as possible, since what is left needs no
    more pieces then. So the furthest position is found for one piece more at a time.
    """
    low, high = (float(shape.bounds[axis + k]) for k in (0, 2))
    other = 1 - axis
    most = _windows_needed(shape, other, reach)

    def advance(at: float, pieces: int) -> float:
        rest = between(shape, axis, at, np.inf)
        if rest.is_empty:
            return high
        start = float(rest.bounds[axis])
        lap = reach.overlap_ft if abs(start - at) < _SAME_FT and at > low + _SAME_FT else 0.0
        to = min(high, start + reach.size(axis) - lap)
        near = _clipped(rest, axis, to)
        return _furthest(
            start, to, lambda c: _windows_needed(_clipped(near, axis, c), other, reach) <= pieces
        )

    tops: list[tuple[float, tuple[float, ...]]] = [(low, ())]
    while tops[-1][0] < high - TINY_FT:
        ways = [
            (advance(tops[-m][0], m), (*tops[-m][1], tops[-m][0]))
            for m in range(1, min(most, len(tops)) + 1)
        ]
        tops.append(max(ways, key=lambda way: way[0]))
    cuts = list(tops[-1][1][1:])
    return [
        piece
        for strip in slices(shape, axis, cuts, reach.overlap_ft)
        for piece in _parted(strip, other, reach, breaks)
    ]


def _any_order(shape: Any, reach: Reach, known: int) -> list[Any] | None:
    """Fewer pieces than known, by windows anywhere; None if there are none."""
    boxes = fewer_windows(shape, (reach.across_ft, reach.along_ft), known)
    pieces = [] if boxes is None else _in_turn(shape, boxes)
    whole = abs(sum(p.area for p in pieces) - shape.area) <= _LOST * shape.area
    return pieces if pieces and whole else None


def _in_turn(shape: Any, boxes: Sequence[Any]) -> list[Any]:
    """Paint of each window that no window before it has."""
    out, rest = [], shape
    for box in boxes:
        piece = polygons(shapely.intersection(rest, box))
        rest = polygons(shapely.difference(rest, box))
        out += [] if piece.is_empty else [piece]
    return out


def _at_least(shape: Any, reach: Reach) -> int:
    """Pieces that its area, or points of its paint that no two of fit one piece, need."""
    area = shape.area / (reach.across_ft * reach.along_ft) - TINY_FT
    return max(int(np.ceil(area)), *(_apart(shape, axis, reach) for axis in (0, 1)))

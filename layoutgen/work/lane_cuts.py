"""Parting a marking between the lanes it is painted from, then by the reach."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise, product
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.work.cutting import EASE_FT, Paint, Reach, best_pieces, between

Floats = NDArray[np.float64]
#: pieces by outline and breaks, from the shape's lower left corner
Known = dict[tuple[Any, ...], list[Any]]
_DIGITS = 8
_SAME_FT = 0.01


@dataclass(frozen=True)
class Cutter:
    """How one marking may be parted; at `hard` edges to the hair, at others within the slack."""

    reach: Reach
    edges: tuple[float, ...]
    slack_ft: float
    breaks: tuple[tuple[float, ...], tuple[float, ...]]
    known: Known = field(default_factory=dict)
    hard: frozenset[float] = frozenset()

    def pieces(self, shape: Any) -> list[Any]:
        """Pieces by lane, each by the reach."""
        if self.reach.holds(shape, EASE_FT) and not self.edges_in(shape):
            return [shape]
        return [piece for column in self.columns(shape) for piece in self._by_reach(column)]

    def _by_reach(self, column: Any) -> list[Any]:
        """Pieces of a column; those of equal ones are known from before, wherever they lay."""
        if self.reach.holds(column, EASE_FT):
            return [column]
        x, y = column.bounds[:2]
        xy = np.round(shapely.get_coordinates(column) - (x, y), _DIGITS)
        near = (
            tuple(round(b - x, _DIGITS) for b in self.breaks[0]),
            tuple(round(b - y, _DIGITS) for b in self.breaks[1]),
        )
        key = (xy.tobytes(), near)
        if key not in self.known:
            home = shapely.transform(column, lambda c: np.subtract(c, (x, y)))
            self.known[key] = best_pieces(home, self.reach, near)
        return [shapely.transform(one, lambda c: np.add(c, (x, y))) for one in self.known[key]]

    def edges_in(self, shape: Any) -> list[float]:
        """Edges that part a shape by more than the slack on either side."""
        west, _, east, _ = shape.bounds
        slack = {e: _SAME_FT if e in self.hard else self.slack_ft for e in self.edges}
        return [e for e in self.edges if west + slack[e] < e < east - slack[e]]

    def columns(self, shape: Any) -> list[Any]:
        """The shape parted between lanes."""
        edges = [e for e in self.edges if shape.bounds[0] < e < shape.bounds[2]]
        if not edges:
            return [shape]
        cuts = self._lane_cuts(Paint(shape, 0), edges)
        ends = [-np.inf, *cuts, np.inf]
        parts = [between(shape, 0, a, b) for a, b in pairwise(ends)]
        return [part for part in parts if not part.is_empty]

    def _lane_cuts(self, paint: Paint, edges: Sequence[float]) -> list[float]:
        """A cut near every edge: fewest pieces across, then least paint crossed, then nearest."""
        options = [self._options(paint, e) for e in edges]
        spans = paint.spans
        chains: dict[float, tuple[tuple[float, ...], list[float]]] = {-np.inf: ((0, 0.0, 0.0), [])}
        for edge, (at, price) in zip(edges, options, strict=True):
            grown: dict[float, tuple[tuple[float, ...], list[float]]] = {}
            for (last, (cost, cuts)), k in product(chains.items(), range(len(at))):
                if at[k] <= last:
                    continue
                far = abs(at[k] - edge)
                step = (self._across(spans, last, at[k]), float(price[k]), far)
                total = tuple(round(a + b, 6) for a, b in zip(cost, step, strict=True))
                if at[k] not in grown or total < grown[at[k]][0]:
                    grown[at[k]] = (total, [*cuts, at[k]])
            chains = grown or chains
        best = min(
            chains.items(),
            key=lambda c: (c[1][0][0] + self._across(spans, c[0], np.inf), *c[1][0][1:]),
        )
        return best[1][1]

    def _options(self, paint: Paint, edge: float) -> tuple[list[float], Floats]:
        """Positions near an edge, with the paint that a cut there crosses."""
        if edge in self.hard:
            return [edge], paint.crossed(np.array([edge]))
        near = paint.positions()
        near = near[np.abs(near - edge) <= self.slack_ft]
        at = np.unique(np.round([edge, *near, *self._breaks_near(edge)], 6))
        price = paint.crossed(at)
        return [float(a) for a in at], price

    def _breaks_near(self, edge: float) -> list[float]:
        return [x for x in self.breaks[0] if abs(x - edge) <= self.slack_ft]

    def _across(self, spans: Floats, low: float, high: float) -> int:
        """Windows that the paint between two cuts needs at least across travel."""
        inside = spans[(spans[:, 1] > low + 1e-4) & (spans[:, 0] < high - 1e-4)]
        if not len(inside):
            return 0
        wide = min(inside[-1, 1], high) - max(inside[0, 0], low)
        return max(1, int(np.ceil(wide / self.reach.across_ft - 1e-6)))

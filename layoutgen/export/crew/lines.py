"""Long lines as they lie: the offset of every single line of a section, and its dashes.

A row of `sections` names one pair of edges; a double line is two lines beside that place.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import shapely

from layoutgen.export.crew.model import SHAPE, Card, Row
from layoutgen.export.crew.words import feet_inches

#: parts whose middles differ by less than this belong to one line, ft
_SAME_LINE_FT = 0.25


@dataclass(frozen=True)
class Line:
    """One line of a section; offsets from the axis, right of travel positive, ft.

    `dash_ft` and `gap_ft` are to the inch; 0 for a solid line.
    """

    near_ft: float
    far_ft: float
    dash_ft: float
    gap_ft: float

    @property
    def words(self) -> str:
        """ "solid", or the length of line and gap."""
        if not self.dash_ft:
            return "solid"
        return f"{feet_inches(self.dash_ft)} line, {feet_inches(self.gap_ft)} gap"


def lines_of(row: Row, card: Card) -> list[Line]:
    """The lines of a section painted in motion, left to right; none for other sections."""
    if not row["moving"] or card.street is None:
        return []
    axis = card.frame.local(card.street[SHAPE])
    parts = [p for p in shapely.get_parts(row[SHAPE]) if p.geom_type == "Polygon"]
    known = sorted((_place(part, axis, card.frame.way) for part in parts), key=lambda one: one[2])
    return [_line(group) for group in _groups(known)]


def _place(part: Any, axis: Any, way: int) -> tuple[float, float, float, float, float]:
    """Near, far and middle offset, and first and last station of a part."""
    points = shapely.points(shapely.get_coordinates(part))
    stations = shapely.line_locate_point(axis, points)
    low, high = np.maximum(stations - 0.5, 0.0), np.minimum(stations + 0.5, axis.length)
    before = shapely.get_coordinates(shapely.line_interpolate_point(axis, low))
    after = shapely.get_coordinates(shapely.line_interpolate_point(axis, high))
    xy, along = shapely.get_coordinates(points), after - before
    across = xy - before
    side = np.sign(across[:, 0] * along[:, 1] - across[:, 1] * along[:, 0]) * way
    offsets = side * shapely.distance(points, axis)
    near, far = float(offsets.min()), float(offsets.max())
    return near, far, float(np.median(offsets)), float(stations.min()), float(stations.max())


def _groups(known: Sequence[tuple[float, ...]]) -> Iterator[list[tuple[float, ...]]]:
    group: list[tuple[float, ...]] = []
    for one in known:
        if group and one[2] - group[-1][2] > _SAME_LINE_FT:
            yield group
            group = []
        group.append(one)
    if group:
        yield group


def _line(group: Sequence[tuple[float, ...]]) -> Line:
    near, far = min(one[0] for one in group), max(one[1] for one in group)
    runs = sorted((one[3], one[4]) for one in group)
    gaps = [b[0] - a[1] for a, b in pairwise(runs)]
    if not gaps or float(np.median(gaps)) < 1.0 / 24.0:
        return Line(near, far, 0.0, 0.0)
    dash, gap = (
        round(float(np.median(found)) * 12.0) / 12.0 for found in ([b - a for a, b in runs], gaps)
    )
    return Line(near, far, dash, gap)

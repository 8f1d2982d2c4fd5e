"""Places for the numbers of sections: on their paint if they fit, else beside it with a leader.

No label lies on another, on a mark or on a leader; what finds no place is left to the table and
counted, never printed over something else.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from layoutgen.export.crew.shapes import joined

#: distances from the paint that are tried, pt, and directions, degrees
_DISTANCES = (9.0, 14.0, 20.0, 28.0, 38.0, 50.0, 66.0, 86.0)
_DIRECTIONS = tuple(range(0, 360, 15))
_SIZE_PT = 7.5
_HIGH_PT = 10.0
_GAP_PT = 1.5

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Label:
    """A placed label: its box, and the leader from the box to the paint, if any."""

    words: str
    box: Box
    leader: Any | None


def place_labels(
    wanted: Sequence[tuple[str, Any]], taken: Sequence[Any], frame: Box
) -> tuple[list[Label], list[str]]:
    """Labels with a place, and the words that found none.

    Args:
        wanted: words and painted shape, in points.
        taken: shapes that no label may touch (marks, words).
        frame: of the drawing; no label leaves it.
    """
    search = _Search([shape for _, shape in wanted], list(taken), shapely.box(*frame))
    placed, lost = [], []
    for words, shape in wanted:
        label = search.find(words, shape)
        if label is None:
            lost.append(words)
            continue
        search.take(label)
        placed.append(label)
    return placed, lost


class _Search:
    """What is taken so far."""

    def __init__(self, shapes: Sequence[Any], taken: list[Any], frame: Any) -> None:
        self.paint = joined(shapes)
        self.shapes = shapes
        self.taken = taken
        self.boxes: list[Any] = []
        self.leaders: list[Any] = []
        self.frame = frame
        shapely.prepare(self.paint)

    def find(self, words: str, shape: Any) -> Label | None:
        """A free place: inside, nearest to its own paint, off all paint, at last over other."""
        half = (max(len(words) * 4.3 + 4.0, _HIGH_PT) / 2.0, _HIGH_PT / 2.0)
        inside = _inside(shape, half)
        if inside is not None and self._is_free(inside, None):
            return Label(words, inside.bounds, None)
        anchor = shape.representative_point()
        free = [pair for pair in _around(shape, anchor, half) if self._is_free(*pair)]
        for suits in (self._is_nearest, self._is_off_paint, _any_place):
            for box, leader in free:
                if suits(box, shape):
                    return Label(words, box.bounds, leader)
        return None

    def _is_nearest(self, box: Any, shape: Any) -> bool:
        """Whether nobody would take the label for that of another section."""
        others = [other for other in self.shapes if other is not shape]
        apart = shapely.distance(np.array(others, dtype=object), box).min(initial=np.inf)
        return bool(apart > 2.0 * shape.distance(box) + _GAP_PT)

    def _is_off_paint(self, box: Any, _: Any) -> bool:
        return not self.paint.intersects(box)

    def take(self, label: Label) -> None:
        """Keep others off a label and its leader."""
        self.boxes.append(shapely.box(*label.box))
        if label.leader is not None:
            self.leaders.append(label.leader)

    def _is_free(self, box: Any, leader: Any) -> bool:
        around = box.buffer(_GAP_PT, join_style="mitre")
        if not self.frame.contains(around):
            return False
        others = (*self.taken, *self.boxes, *self.leaders)
        if any(around.intersects(other) for other in others):
            return False
        if leader is None:
            return True
        return not any(leader.distance(other) < _GAP_PT for other in (*self.boxes, *self.leaders))


def _any_place(_: Any, __: Any) -> bool:
    return True


def _inside(shape: Any, half: tuple[float, float]) -> Any | None:
    """A box in the middle of the largest part, where the paint is wide enough to hold it."""
    part = max(shapely.get_parts(shape), key=lambda one: one.area)
    for point in (part.centroid, part.representative_point()):
        box = _box(point.x, point.y, half)
        if part.contains(box.buffer(2.0, join_style="mitre")):
            return box
    return None


def _around(shape: Any, anchor: Any, half: tuple[float, float]) -> list[tuple[Any, Any]]:
    """Boxes about the paint with leaders to its nearest point, near ones first."""
    west, south, east, north = shape.bounds
    reach = (east - west) / 2.0, (north - south) / 2.0
    middle = (west + east) / 2.0, (south + north) / 2.0
    out = []
    for distance in _DISTANCES:
        for direction in _DIRECTIONS:
            ahead = math.cos(math.radians(direction)), math.sin(math.radians(direction))
            x = middle[0] + ahead[0] * (reach[0] + distance)
            y = middle[1] + ahead[1] * (reach[1] + distance)
            box = _box(x, y, half)
            if box.distance(shape) > _GAP_PT:
                out.append((box, _leader(box, shape, anchor)))
    return sorted(out, key=lambda pair: float(pair[0].distance(shape)))


def _leader(box: Any, shape: Any, anchor: Any) -> Any:
    """From the edge of the box to a little within the paint."""
    start, touch = shapely.get_coordinates(shapely.shortest_line(box, shape))
    toward = (anchor.x - touch[0], anchor.y - touch[1])
    far = math.hypot(*toward)
    step = min(2.0, far) / far if far > 0 else 0.0
    end = (touch[0] + toward[0] * step, touch[1] + toward[1] * step)
    return shapely.LineString([tuple(start), end])


def _box(x: float, y: float, half: tuple[float, float]) -> Any:
    return shapely.box(x - half[0], y - half[1], x + half[0], y + half[1])

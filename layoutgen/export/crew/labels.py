"""Places for the numbers of sections: on their paint if they fit, else beside it with a leader.

No label lies on another, on a mark or on a leader; what finds no place is left to the table and
counted, never printed over something else.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

#: distances from the paint that are tried, pt, and directions, degrees
_APART = np.array((9.0, 14.0, 20.0, 28.0, 38.0, 50.0, 66.0, 86.0))
_TURNS = np.radians(np.arange(0.0, 360.0, 15.0))
_AHEAD = np.cos(_TURNS), np.sin(_TURNS)
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
        self.shapes = np.array(shapes, dtype=object)
        self.paint = shapely.STRtree(self.shapes)
        self.fixed = shapely.STRtree(taken)
        self.lying: list[Any] = []
        self.frame = frame.bounds

    def find(self, words: str, shape: Any) -> Label | None:
        """A free place: inside, nearest to its own paint, off all paint, at last over other."""
        half = (max(len(words) * 4.3 + 4.0, _HIGH_PT) / 2.0, _HIGH_PT / 2.0)
        inside = _inside(shape, half)
        if inside is not None and self._free(np.array([inside])).any():
            return Label(words, inside.bounds, None)
        boxes = _around(shape, half)
        boxes = boxes[self._free(boxes)]
        apart = shapely.distance(boxes, shape)
        boxes = boxes[np.argsort(apart, kind="stable")]
        boxes = boxes[np.sort(apart, kind="stable") > _GAP_PT]
        leaders = _leaders(boxes, shape)
        clear = self._are_clear(leaders)
        boxes, leaders = boxes[clear], leaders[clear]
        for suits in (self._is_nearest, self._is_off_paint, _any_place):
            for box, leader in zip(boxes, leaders, strict=True):
                if suits(box, shape):
                    return Label(words, box.bounds, leader)
        return None

    def _is_nearest(self, box: Any, shape: Any) -> bool:
        """Whether nobody would take the label for that of another section."""
        reach = 2.0 * shape.distance(box) + _GAP_PT
        near = self.paint.query(box, predicate="dwithin", distance=reach)
        return all(self.shapes[k] is shape for k in near)

    def _is_off_paint(self, box: Any, _: Any) -> bool:
        return not len(self.paint.query(box, predicate="intersects"))

    def take(self, label: Label) -> None:
        """Keep others off a label and its leader."""
        self.lying.append(shapely.box(*label.box))
        if label.leader is not None:
            self.lying.append(label.leader)

    def _free(self, boxes: Any) -> Any:
        """Which boxes lie in the frame, and on nothing that is taken."""
        bounds = shapely.bounds(boxes) + np.array([-_GAP_PT, -_GAP_PT, _GAP_PT, _GAP_PT])
        free = (bounds[:, :2] > self.frame[:2]).all(axis=1)
        free &= (bounds[:, 2:] < self.frame[2:]).all(axis=1)
        around = shapely.box(*bounds.T)
        free[self.fixed.query(around, predicate="intersects")[0]] = False
        if self.lying:
            lying = np.array(self.lying, dtype=object)
            free &= ~shapely.intersects(around[:, None], lying[None, :]).any(axis=1)
        return free

    def _are_clear(self, leaders: Any) -> Any:
        """Which leaders keep off the labels and leaders that lie already."""
        if not self.lying or not len(leaders):
            return np.ones(len(leaders), dtype=bool)
        lying = np.array(self.lying, dtype=object)
        return ~shapely.dwithin(leaders[:, None], lying[None, :], _GAP_PT).any(axis=1)


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


def _around(shape: Any, half: tuple[float, float]) -> Any:
    """Boxes about the paint."""
    west, south, east, north = shape.bounds
    reach = (east - west) / 2.0 + _APART, (north - south) / 2.0 + _APART
    x = (west + east) / 2.0 + (reach[0][:, None] * _AHEAD[0]).ravel()
    y = (south + north) / 2.0 + (reach[1][:, None] * _AHEAD[1]).ravel()
    return shapely.box(x - half[0], y - half[1], x + half[0], y + half[1])


def _leaders(boxes: Any, shape: Any) -> Any:
    """From the edge of each box to a little within the paint."""
    if not len(boxes):
        return boxes
    anchor = shapely.get_coordinates(shape.representative_point())[0]
    ends = shapely.get_coordinates(shapely.shortest_line(boxes, shape)).reshape(-1, 2, 2)
    toward = anchor - ends[:, 1]
    far = np.maximum(np.hypot(*toward.T), 1e-9)
    ends[:, 1] += toward * (np.minimum(2.0, far) / far)[:, None]
    return shapely.linestrings(ends)


def _box(x: float, y: float, half: tuple[float, float]) -> Any:
    return shapely.box(x - half[0], y - half[1], x + half[0], y + half[1])

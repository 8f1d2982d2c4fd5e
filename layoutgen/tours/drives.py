"""Lines of drives: the streets a truck takes between two places, as geometry."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse.csgraph import dijkstra

from layoutgen.geometry.polyline import Floats, Ints
from layoutgen.tours.travel import CHUNK, TINY_FT, Network, Places, Travel, cycle

#: (drive, course, from and to along the course)
_Part = tuple[int, int, float, float]


def drives(
    network: Network, places: Places, travel: Travel, pairs: Sequence[tuple[int, int]]
) -> NDArray[np.object_]:
    """LineStrings of the drives of (from, to) pairs, indices as in `Travel`.

    A pair (j, j) is the way the truck moves while it works at j. Ways are searched again, only for
    the pairs asked for. None where there is no way.
    """
    rows = [_place_pair(places, travel, i, j) for i, j in pairs]
    ends = np.array(rows, dtype=np.int64).reshape(-1, 2)
    parts = _parts(network, places, ends)
    owner = np.array([k for k, *_ in parts], dtype=np.int64)
    lines = _part_lines(network, parts)
    out = np.full(len(pairs), None, dtype=object)
    xy, part = shapely.get_coordinates(lines, return_index=True)
    split = np.searchsorted(owner[part], np.arange(len(pairs) + 1)) if len(owner) else None
    for k, (i, j) in enumerate(pairs):
        inner = xy[split[k] : split[k + 1]] if split is not None else np.empty((0, 2))
        out[k] = _joined(_with_yard(places, inner, i, j))
    return out


def _place_pair(places: Places, travel: Travel, i: int, j: int) -> tuple[int, int]:
    """Rows in `Places` of a pair of matrix indices."""
    first = int(travel.out_yard[j]) if i == 0 else i + places.yards - 1
    last = int(travel.in_yard[i]) if j == 0 else j + places.yards - 1
    return first, last


def _parts(network: Network, places: Places, ends: Ints) -> list[_Part]:
    """Pieces of courses that make up the drives between places, drive by drive."""
    done: dict[int, list[_Part]] = {}
    first = places.course[ends[:, 0]]
    starts = np.unique(first[first >= 0])
    for low in range(0, len(starts), CHUNK):
        chunk = starts[low : low + CHUNK]
        way, before = dijkstra(network.turns, indices=chunk, return_predecessors=True)
        for k in np.flatnonzero(np.isin(first, chunk)):
            row = int(np.searchsorted(chunk, first[k]))
            courses = _chain(network, places, ends[k], way[row], before[row])
            done[int(k)] = list(_pieces(network, places, int(k), ends[k], courses))
    return [part for k in sorted(done) for part in done[k]]


def _chain(network: Network, places: Places, pair: Ints, way: Floats, before: Ints) -> list[int]:
    """Courses of one drive in order; empty without a way, one only when driving on."""
    i, j = int(pair[0]), int(pair[1])
    start, goal = int(places.course[i]), int(places.course[j])
    if goal < 0:
        return []
    on = places.enter_ft[j] >= places.leave_ft[i] - TINY_FT
    if i == j or (start == goal and on):
        return [start]
    out = [goal]
    if start == goal:
        out.append(cycle(network, way, goal)[1])
    while out[-1] != start and out[-1] >= 0:
        out.append(int(before[out[-1]]))
    return out[::-1] if out[-1] == start else []


def _pieces(
    network: Network, places: Places, k: int, pair: Ints, courses: list[int]
) -> Iterator[_Part]:
    i, j = int(pair[0]), int(pair[1])
    if len(courses) == 1:
        low = places.enter_ft[i] if i == j else places.leave_ft[i]
        high = places.leave_ft[j] if i == j else places.enter_ft[j]
        yield k, courses[0], float(low), float(high)
    for at, course in enumerate(courses if len(courses) > 1 else []):
        low = places.leave_ft[i] if at == 0 else 0.0
        high = places.enter_ft[j] if at == len(courses) - 1 else network.length_ft[course]
        yield k, course, float(low), float(high)


def _part_lines(network: Network, parts: list[_Part]) -> NDArray[np.object_]:
    """Line of every part in its driving direction; a point-like part gives its two equal ends."""
    course = np.array([part[1] for part in parts], dtype=np.int64)
    span = np.array([part[2:] for part in parts], dtype=float).reshape(-1, 2)
    against = network.direction[course] < 0
    longest = network.length_ft[course][:, None]
    station = np.where(against[:, None], longest - span[:, ::-1], span)
    axes, segment = network.design.axes, network.segment[course]
    out = np.full(len(parts), None, dtype=object)
    long = station[:, 1] - station[:, 0] > 1e-3
    out[long] = axes.pieces(segment[long], station[long, 0], station[long, 1])
    ends = axes.locate(segment[~long], station[~long, 0])
    out[~long] = shapely.linestrings(np.stack([ends, ends], axis=1))
    out[against] = shapely.reverse(out[against])
    return out


def _with_yard(places: Places, xy: Floats, i: int, j: int) -> Floats:
    """Coordinates of a drive with the yard itself put at its end or begin."""
    if len(xy) == 0:
        return xy
    yard = np.array([places.yard_xy])
    parts = [yard] * (i == 0 and j != 0) + [xy] + [yard] * (j == 0 and i != 0)
    return np.concatenate(parts)


def _joined(xy: Floats) -> Any:
    """LineString through points, repeated neighbours left out."""
    if len(xy) == 0:
        return None
    new = np.concatenate([[True], np.hypot(*np.diff(xy, axis=0).T) > TINY_FT])
    clean = xy[new]
    return shapely.LineString(clean if len(clean) > 1 else np.repeat(clean, 2, axis=0))

"""Drives between jobs on the turn-expanded street graph.

A *course* is a segment driven in one direction. Courses are the nodes of the graph, turns are its
arcs; an arc weighs its turn plus the course it leads onto, so turn penalties and one-way streets
need no special cases. Time and distance travel packed in one number (milliseconds above tenths of a
foot): the fastest drive is found with its length, among equally fast ones the shortest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order, connected_components, dijkstra

from layoutgen.config import Params, measure, number
from layoutgen.geometry.polyline import Floats, Ints
from layoutgen.street.design import Design
from layoutgen.work.jobs import Job

#: seconds and feet of a pair without a way; longer than any shift or district
UNREACHABLE = 10_000_000
#: 2^28 tenths of a foot leave 25 bits of a float's 53 for milliseconds: nine hours, exactly
_PACK = float(1 << 28)
#: courses whose shortest ways are searched in one call; bounds the memory
CHUNK = 256
_MPH_TO_FT_PER_S = 5280.0 / 3600.0
TINY_FT = 1e-6
#: street class that trucks never drive
NOT_DRIVEN = "path"


class TravelParams(Params):
    """Speeds of a loaded marking truck and what its turns cost, in right-hand traffic.

    Where traffic keeps left, the two kinds of turn change places.
    """

    freeway_mph: float = measure(
        "speed", "55 mph", low="5 mph", high="80 mph", source="from memory", text="truck speed cap"
    )
    ramp_mph: float = measure(
        "speed", "30 mph", low="5 mph", high="80 mph", source="from memory", text="truck speed cap"
    )
    arterial_mph: float = measure(
        "speed", "30 mph", low="5 mph", high="80 mph", source="from memory", text="truck speed cap"
    )
    collector_mph: float = measure(
        "speed", "25 mph", low="5 mph", high="80 mph", source="from memory", text="truck speed cap"
    )
    local_mph: float = measure(
        "speed", "20 mph", low="5 mph", high="80 mph", source="from memory", text="truck speed cap"
    )
    alley_mph: float = measure(
        "speed", "10 mph", low="5 mph", high="80 mph", source="from memory", text="truck speed cap"
    )
    yard_mph: float = measure(
        "speed", "10 mph", low="1 mph", high="80 mph", source="from memory",
        text="speed between the yard and the nearest street",
    )  # fmt: skip
    straight_min: float = measure(
        "time", "3 s", low="0 s", high="5 min", source="from memory", text="crossing straight on"
    )
    right_turn_min: float = measure(
        "time", "6 s", low="0 s", high="5 min", source="from memory", text="turn to the near side"
    )
    left_turn_min: float = measure(
        "time", "15 s", low="0 s", high="5 min", source="from memory",
        text="turn across oncoming traffic",
    )  # fmt: skip
    u_turn_min: float = measure(
        "time", "60 s", low="0 s", high="10 min", source="from memory",
        text="turning round, only where nothing else leads back",
    )  # fmt: skip
    straight_within_deg: float = number(
        30.0, low=5.0, high=60.0, source="from memory", unit="deg", text="up to here no turn"
    )

    def cap_mph(self, street_class: str) -> float:
        """Speed cap of a street class; unknown classes drive like local streets."""
        return float(getattr(self, f"{street_class}_mph", self.local_mph))


@dataclass(frozen=True)
class Network:
    """Courses and turns.

    Attributes:
        segment, direction: of every course; direction +1 along the axis, -1 against it.
        length_ft, seconds: to drive it whole.
        own: packed weight of driving it whole.
        turns: packed weight from the end of one course to the end of the next (by row).
        onto: the same by column.
        courses: (segments, 2) course along and against each segment, -1 = not allowed.
    """

    design: Design
    params: TravelParams
    segment: Ints
    direction: Ints
    length_ft: Floats
    seconds: Floats
    own: Floats
    turns: Any
    onto: Any
    courses: Ints


@dataclass(frozen=True)
class Places:
    """Where drives begin and end: first the ways out of the yard (`yards` of them), then the jobs.

    Attributes:
        course: course of each place, -1 = not on a driven street.
        enter_ft, leave_ft: distance along the course.
        access_ft: straight way between the place and the street.
        yard_xy: the yard.
    """

    course: Ints
    enter_ft: Floats
    leave_ft: Floats
    access_ft: Floats
    yards: int
    yard_xy: tuple[float, float]


@dataclass(frozen=True)
class Travel:
    """(n + 1, n + 1) drives from the exit of a row to the entry of a column; the yard is index 0.

    Attributes:
        seconds, feet: int32; `UNREACHABLE` where there is no way.
        out_yard, in_yard: (n + 1,) which way out of, and into, the yard is taken.
    """

    seconds: NDArray[np.int32]
    feet: NDArray[np.int32]
    out_yard: Ints
    in_yard: Ints


def build(design: Design, params: TravelParams) -> Network:
    """Turn-expanded graph of all streets that trucks drive."""
    segment, direction = _courses(design)
    length_ft = design.axes.lengths[segment] if len(segment) else np.empty(0)
    caps = [min(_posted(s.speed_mph), params.cap_mph(s.street_class)) for s in design.segments]
    speed = np.array(caps, dtype=float)[segment] * _MPH_TO_FT_PER_S
    seconds = length_ft / speed
    own = np.maximum(_pack(seconds, length_ft), 1.0)
    courses = np.full((len(design.segments), 2), -1, dtype=np.int64)
    courses[segment, (direction < 0).astype(np.int64)] = np.arange(len(segment))
    a, b, penalty_s = _turns(design, params, segment, direction)
    weight = _pack(penalty_s, 0.0) + own[b]
    turns = csr_array((weight, (a, b)), shape=(len(segment), len(segment)))
    onto = turns.tocsc()
    return Network(
        design, params, segment, direction, length_ft, seconds, own, turns, onto, courses
    )


def place(network: Network, jobs: Sequence[Job], yard_xy: tuple[float, float]) -> Places:
    """Places of the yard and of jobs; the yard lies on the nearest driven segment."""
    course, enter, leave = _job_places(network, jobs)
    yard, along, access_ft = _attach(network, yard_xy)
    yards = len(yard)
    return Places(
        np.concatenate([yard, course]),
        np.concatenate([along, enter]),
        np.concatenate([along, leave]),
        np.concatenate([np.full(yards, access_ft), np.zeros(len(course))]),
        yards,
        yard_xy,
    )


def matrix(network: Network, places: Places) -> Travel:
    """Fastest drive, and its length, from the exit of every place to the entry of every other.

    A place further on along the same course is reached by driving on; one behind, only by a loop
    through the streets. The diagonal is 0 and means nothing.
    """
    count = len(places.course)
    seconds = np.full((count, count), UNREACHABLE, dtype=np.int32)
    feet = np.full((count, count), UNREACHABLE, dtype=np.int32)
    on = np.flatnonzero(places.course >= 0)
    targets, column = np.unique(places.course[on], return_inverse=True)
    for first in range(0, len(targets), CHUNK):
        chunk = targets[first : first + CHUNK]
        rows = np.flatnonzero((column >= first) & (column < first + CHUNK))
        between = _between(network, chunk, targets)[np.ix_(column[rows] - first, column)]
        packed = _with_ends(network, places, between, rows=on[rows], columns=on)
        cells = np.ix_(on[rows], on)
        seconds[cells], feet[cells] = _unpack(packed)
    np.fill_diagonal(seconds, 0)
    np.fill_diagonal(feet, 0)
    return _one_yard(seconds, feet, places.yards)


def _posted(speed_mph: float) -> float:
    return speed_mph if speed_mph > 0.0 else np.inf


def _courses(design: Design) -> tuple[Ints, Ints]:
    driven = np.array([s.street_class != NOT_DRIVEN for s in design.segments], dtype=bool)
    oneway = np.array([s.oneway for s in design.segments], dtype=object)
    forward = np.flatnonzero(driven & (oneway != "backward"))
    backward = np.flatnonzero(driven & (oneway != "forward"))
    direction = np.repeat([1, -1], [len(forward), len(backward)])
    return np.concatenate([forward, backward]), direction.astype(np.int64)


def _turns(
    design: Design, params: TravelParams, segment: Ints, direction: Ints
) -> tuple[Ints, Ints, Floats]:
    """Pairs of courses that follow each other, and the seconds of the turn between them."""
    names = np.array([[s.start, s.end] for s in design.segments], dtype=object).reshape(-1, 2)
    codes = np.unique(names.astype(str), return_inverse=True)[1].reshape(-1, 2)
    ahead = direction > 0
    tail = np.where(ahead, codes[segment, 0], codes[segment, 1])
    head = np.where(ahead, codes[segment, 1], codes[segment, 0])
    a, b = _joins(head, tail)
    back = (segment[a] == segment[b]) & (direction[a] != direction[b])
    keep = ~back | _must_turn_round(a, b, back, len(segment))
    a, b, back = a[keep], b[keep], back[keep]
    right_deg = _right_deg(design, segment, direction, a, b)
    drivable = np.unique(segment)
    ends = np.bincount(codes[drivable].ravel(), minlength=int(codes.max(initial=-1)) + 1)
    seconds = _turn_seconds(params, right_deg, mirrored=design.driving_side == "left")
    seconds[ends[head[a]] <= 2] = 0.0  # a mere joint: nothing is crossed
    seconds[back] = params.u_turn_min * 60.0
    return a, b, seconds


def _joins(head: Ints, tail: Ints) -> tuple[Ints, Ints]:
    """All (a, b) with head[a] == tail[b]."""
    order = np.argsort(tail, kind="stable")
    low = np.searchsorted(tail[order], head, side="left")
    counts = np.searchsorted(tail[order], head, side="right") - low
    a = np.repeat(np.arange(len(head)), counts)
    within = np.arange(len(a)) - np.repeat(np.cumsum(counts) - counts, counts)
    return a, order[low[a] + within]


def _must_turn_round(a: Ints, b: Ints, back: NDArray[np.bool_], count: int) -> NDArray[np.bool_]:
    """Pairs whose second course cannot be reached from the first but by turning round right there.

    That is at dead ends, and where all that leads on leads away for good (a one-way street out of
    the district).
    """
    onward = np.bincount(a[~back], minlength=count)
    out = np.asarray(back & (onward[a] == 0))
    kept = ~back | out
    links = csr_array((np.ones(int(kept.sum())), (a[kept], b[kept])), shape=(count, count))
    _, part = connected_components(links, directed=True, connection="strong")
    doubt = np.flatnonzero(back & ~out & (part[a] != part[b]))
    for one in np.unique(part[a[doubt]]):
        mine = doubt[part[a[doubt]] == one]
        reached = breadth_first_order(links, a[mine[0]], return_predecessors=False)
        out[mine] = ~np.isin(b[mine], reached)
    return out


def _right_deg(design: Design, segment: Ints, direction: Ints, a: Ints, b: Ints) -> Floats:
    """Change of heading from the end of a to the begin of b, degrees, to the right positive."""
    longest = design.axes.lengths
    end = np.where(direction[a] > 0, longest[segment[a]], 0.0)
    begin = np.where(direction[b] > 0, 0.0, longest[segment[b]])
    u = design.axes.directions(segment[a], end) * direction[a][:, None]
    v = design.axes.directions(segment[b], begin) * direction[b][:, None]
    left = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    return np.asarray(-np.degrees(np.arctan2(left, (u * v).sum(axis=1))), dtype=float)


def _turn_seconds(params: TravelParams, right_deg: Floats, *, mirrored: bool) -> Floats:
    near_deg = -right_deg if mirrored else right_deg
    turn_min = np.where(near_deg > 0.0, params.right_turn_min, params.left_turn_min)
    straight = np.abs(near_deg) <= params.straight_within_deg
    return np.where(straight, params.straight_min, turn_min) * 60.0


def _pack(seconds: ArrayLike, feet: ArrayLike) -> Floats:
    ms, tenths = np.rint(np.asarray(seconds) * 1000.0), np.rint(np.asarray(feet) * 10.0)
    return np.asarray(ms * _PACK + tenths, dtype=float)


def _unpack(packed: Floats) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Whole seconds and feet."""
    way = np.isfinite(packed)
    known = np.where(way, packed, 0.0)
    ms = np.floor(known / _PACK)
    feet = (known - ms * _PACK) / 10.0
    seconds = np.where(way, np.rint(ms / 1000.0), UNREACHABLE)
    return seconds.astype(np.int32), np.where(way, np.rint(feet), UNREACHABLE).astype(np.int32)


def _job_places(network: Network, jobs: Sequence[Job]) -> tuple[Ints, Floats, Floats]:
    index = np.array([job.segment_index for job in jobs], dtype=np.int64)
    against = np.array([job.travel < 0 for job in jobs], dtype=bool)
    course = network.courses[index, against.astype(np.int64)]
    longest = network.design.axes.lengths[index] if len(index) else np.empty(0)
    stations = np.array([[job.entry_ft, job.exit_ft] for job in jobs]).reshape(-1, 2)
    along = np.where(against[:, None], longest[:, None] - stations, stations)
    along = np.clip(along, 0.0, longest[:, None])
    return course, along[:, 0], along[:, 1]


def _attach(network: Network, xy: tuple[float, float]) -> tuple[Ints, Floats, float]:
    """Courses past the yard, the yard's place along each, and its distance from the street."""
    driven = np.unique(network.segment)
    if len(driven) == 0:
        return np.array([-1]), np.zeros(1), 0.0
    point = shapely.Point(xy)
    lines = network.design.axes.lines()[driven]
    gaps = shapely.distance(lines, point)
    nearest = int(np.argmin(gaps))
    station = float(shapely.line_locate_point(lines[nearest], point))
    both = network.courses[driven[nearest]]
    longest = float(network.design.axes.lengths[driven[nearest]])
    along = np.array([station, longest - station])
    return both[both >= 0], along[both >= 0], float(gaps[nearest])


def _between(network: Network, sources: Ints, targets: Ints) -> Floats:
    """Packed way from the end of each source course to the begin of each target course."""
    way = dijkstra(network.turns, directed=True, indices=sources)
    out = way[:, targets] - network.own[targets]
    for row, source in enumerate(sources):
        best, _ = cycle(network, way[row], int(source))
        out[row, np.searchsorted(targets, source)] = best - network.own[source]
    return np.asarray(out)


def cycle(network: Network, way: Floats, course: int) -> tuple[float, int]:
    """Packed way from the end of a course round to its end again, and the course before it."""
    before, weight = _onto(network, course)
    if len(before) == 0:
        return np.inf, -1
    total = way[before] + weight
    best = int(np.argmin(total))
    return float(total[best]), int(before[best])


def _onto(network: Network, course: int) -> tuple[Ints, Floats]:
    """Courses that lead onto one, and the weights of those turns."""
    low, high = network.onto.indptr[course : course + 2]
    return network.onto.indices[low:high], network.onto.data[low:high]


def _with_ends(
    network: Network, places: Places, between: Floats, *, rows: Ints, columns: Ints
) -> Floats:
    """Packed drives with the rest of the first course and the begin of the last one added."""
    course, leave, enter = places.course, places.leave_ft[rows], places.enter_ft[columns]
    speed = network.length_ft / network.seconds
    slow = network.params.yard_mph * _MPH_TO_FT_PER_S
    rest_ft = network.length_ft[course[rows]] - leave
    packed = between + _pack(rest_ft / speed[course[rows]], rest_ft)[:, None]
    packed += _pack(enter / speed[course[columns]], enter)[None, :]
    gap = enter[None, :] - leave[:, None]
    ahead = (course[rows][:, None] == course[columns][None, :]) & (gap >= -TINY_FT)
    gap = np.maximum(gap[ahead], 0.0)
    packed[ahead] = _pack(gap / speed[course[rows]][np.nonzero(ahead)[0]], gap)
    for axis, index in ((1, rows), (0, columns)):
        access = places.access_ft[index]
        packed += np.expand_dims(_pack(access / slow, access), axis)
    return packed


def _one_yard(seconds: NDArray[np.int32], feet: NDArray[np.int32], yards: int) -> Travel:
    """Matrix with the ways out of and into the yard reduced to the best for every job."""
    order = seconds[:yards].astype(np.int64) * (UNREACHABLE + 1) + feet[:yards]
    out_yard = np.argmin(order, axis=0)
    order = seconds[:, :yards].astype(np.int64) * (UNREACHABLE + 1) + feet[:, :yards]
    in_yard = np.argmin(order, axis=1)
    all_ = np.arange(len(seconds))
    best = [(part[out_yard, all_], part[all_, in_yard]) for part in (seconds, feet)]
    small = [part[yards - 1 :, yards - 1 :].copy() for part in (seconds, feet)]
    for part, (row, column) in zip(small, best, strict=True):
        part[0, 1:], part[1:, 0], part[0, 0] = row[yards:], column[yards:], 0
    return Travel(
        small[0],
        small[1],
        np.concatenate([[0], out_yard[yards:]]),
        np.concatenate([[0], in_yard[yards:]]),
    )

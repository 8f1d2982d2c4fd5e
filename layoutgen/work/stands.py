"""Where a truck can stand across a street: its lanes, and what lies beside them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import groupby, pairwise

from layoutgen.street.design import Segment, Strip

#: strips with lanes of their own; the rest is reached from them, or stood upon
_LANES = ("travel_lane", "turn_lane", "center_turn_lane")
_NAMES: Mapping[str, str] = {
    "center_turn_lane": "center turn lane",
    "bike_lane": "bike lane",
    "turn_lane": "turn lane",
}
Lane = tuple[float, float]
#: more than this is not taken beside the lanes (ft)
_WIDEST_SIDE_FT = 10.0


@dataclass(frozen=True)
class Stand:
    """A lane, or the strips beside lanes, as a place that a truck paints from.

    Attributes:
        left_ft, right_ft: offsets from the axis.
        direction: travel along growing station (+1) or against it (-1).
        label: for the crew, counted from the left of the driver.
        taken: (left, right) offsets of the lanes that a truck there takes from traffic.
        side_ft: width taken beside the lanes, 0 on a lane.
    """

    left_ft: float
    right_ft: float
    direction: int
    label: str
    taken: tuple[Lane, ...]
    side_ft: float


def stands_of(segment: Segment, truck_ft: float) -> tuple[Stand, ...]:
    """Stands of a segment from left to right, without gaps.

    Beside the lanes a truck that is wider than the strips there takes the next lane too.
    """
    runs = [list(run) for _, run in groupby(segment.strips, key=_run_key(segment))]
    ways = [run[0].direction if run[0].kind in _LANES else 0 for run in runs]
    taken = [_taken(runs, k, truck_ft) for k in range(len(runs))]
    return tuple(
        _stand(segment, run, _way(segment, ways, k), taken[k]) for k, run in enumerate(runs)
    )


def edges_of(stands: tuple[Stand, ...]) -> tuple[float, ...]:
    """Offsets where one stand ends and the next begins."""
    return tuple(a.right_ft for a, _ in pairwise(stands))


def hard_edges_of(stands: tuple[Stand, ...]) -> frozenset[float]:
    """Those between opposing directions: no paint of one may lap over to the other."""
    return frozenset(a.right_ft for a, b in pairwise(stands) if a.direction != b.direction)


def stand_at(stands: tuple[Stand, ...], offset_ft: float) -> Stand:
    """The stand that holds an offset, or the outermost one on its side."""
    inside = [one for one in stands[:-1] if offset_ft < one.right_ft]
    return inside[0] if inside else stands[-1]


def _run_key(segment: Segment) -> Callable[[Strip], int]:
    numbers = {id(s): k for k, s in enumerate(segment.strips)}
    return lambda strip: numbers[id(strip)] if strip.kind in _LANES else -1


def _way(segment: Segment, ways: list[int], at: int) -> int:
    """Travel of a stand: its own, that of the nearest lane, or that of the street."""
    fixed = {"forward": 1, "backward": -1}.get(segment.oneway, 0)
    if fixed:
        return fixed
    order = sorted(range(len(ways)), key=lambda k: (abs(k - at), k))
    return next((ways[k] for k in order if ways[k]), 1)


def _stand(segment: Segment, run: list[Strip], way: int, taken: tuple[Lane, ...]) -> Stand:
    left, right = run[0].left_ft, run[-1].right_ft
    lane = run[0].kind in _LANES
    label = _lane_label(segment, run[0], way) if lane else _side_label(run)
    side = 0.0 if lane else min(right - left, _WIDEST_SIDE_FT)
    return Stand(left, right, way, label, taken, side)


def _taken(runs: list[list[Strip]], at: int, truck_ft: float) -> tuple[Lane, ...]:
    """The lane itself, or the one beside strips that are narrower than the truck."""
    run = runs[at]
    if run[0].kind in _LANES:
        return ((run[0].left_ft, run[-1].right_ft),)
    if run[-1].right_ft - run[0].left_ft >= truck_ft:
        return ()
    beside = [runs[k] for k in (at - 1, at + 1) if 0 <= k < len(runs)]
    lanes = [other for other in beside if other[0].kind in _LANES]
    return ((lanes[0][0].left_ft, lanes[0][-1].right_ft),) if lanes else ()


def _lane_label(segment: Segment, strip: Strip, way: int) -> str:
    if strip.kind == "center_turn_lane":
        return _NAMES[strip.kind]
    lanes = [s for s in segment.strips if s.kind in _LANES and s.direction == strip.direction]
    lanes.sort(key=lambda s: s.center_ft * way)
    number = next(k for k, s in enumerate(lanes, start=1) if s is strip)
    return f"lane {number} of {len(lanes)}" if len(lanes) > 1 else "the lane"


def _side_label(run: list[Strip]) -> str:
    names = dict.fromkeys(_NAMES.get(s.kind, s.kind) for s in run)
    return " and ".join(names)

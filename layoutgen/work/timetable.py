"""Painting order within one job, and the waits for drying that it takes.

The applicator is at the rear: on one pass along a lane the truck is always ahead of its own wet
paint. Coming into a lane again it drives over all that was painted there, so that must be free of
tracking; and what lies over a base coat waits until the whole of it may be painted over. Of two
orders, by color first or by lane first, the shorter one is taken.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

#: (minutes until tires do not mark it, until it may be painted over), by material and color
Drying = Callable[[str, str], tuple[float, float]]
#: sections that begin within this of each other are side by side (ft)
_SAME_FT = 0.01
_DIGITS = 4


@dataclass(frozen=True)
class Stint:
    """What the timetable knows of one section; `start_ft` counts along the truck's travel."""

    section_id: str
    marking_id: str
    over_id: str
    coat: int
    color: str
    material: str
    lane: str
    start_ft: float
    minutes: float


@dataclass(frozen=True)
class Pace:
    """Minutes to flush or swap between two colors, and to drive round to a place behind."""

    change_min: float
    return_min: float = 0.0


@dataclass(frozen=True)
class Timetable:
    """Order of sections, when each begins, waits before each, and at the end (minutes)."""

    order: tuple[str, ...]
    start_min: Mapping[str, float]
    wait_min: Mapping[str, float]
    colors: tuple[str, ...]
    last_wait_min: float
    total_min: float

    @property
    def dry_min(self) -> float:
        """All waits for drying."""
        return round(sum(self.wait_min.values()) + self.last_wait_min, _DIGITS)


def timetable(stints: Sequence[Stint], drying: Drying, pace: Pace, *, stay: bool) -> Timetable:
    """The shorter of two timetables.

    Args:
        stints: sections of one job.
        drying: of every material, at the planned temperature.
        pace: minutes between sections.
        stay: whether the job ends when tires no longer mark its paint (cones stand until then).
    """
    by_color = sorted(stints, key=lambda s: (s.coat, s.color, s.lane, *_along(s)))
    by_lane = sorted(stints, key=lambda s: (s.coat, s.lane, s.color, *_along(s)))
    ways = [by_color] if by_color == by_lane else [by_color, by_lane]
    made = [_run(order, drying, pace, stay) for order in ways]
    return min(made, key=lambda t: t.total_min)


def _along(stint: Stint) -> tuple[float, str]:
    return round(stint.start_ft / _SAME_FT) * _SAME_FT, stint.section_id


def _run(order: Sequence[Stint], drying: Drying, pace: Pace, stay: bool) -> Timetable:
    clock = 0.0
    wet: dict[str, float] = {}
    bases: dict[str, float] = {}
    starts: dict[str, float] = {}
    waits: dict[str, float] = {}
    before: Stint | None = None
    for stint in order:
        clock += _between(before, stint, pace) if before else 0.0
        until = bases.get(stint.over_id, 0.0)
        if before is None or not _same_pass(before, stint):
            until = max(until, wet.get(stint.lane, 0.0))
        waits[stint.section_id] = round(max(0.0, until - clock), _DIGITS)
        clock += waits[stint.section_id]
        starts[stint.section_id] = round(clock, _DIGITS)
        clock += stint.minutes
        no_track, dry = drying(stint.material, stint.color)
        wet[stint.lane] = max(wet.get(stint.lane, 0.0), clock + no_track)
        bases[stint.marking_id] = max(bases.get(stint.marking_id, 0.0), clock + dry)
        before = stint
    last = round(max(0.0, max(wet.values(), default=0.0) - clock), _DIGITS) if stay else 0.0
    colors = tuple(s.color for i, s in enumerate(order) if not i or order[i - 1].color != s.color)
    ids = tuple(s.section_id for s in order)
    return Timetable(ids, starts, waits, colors, last, round(clock + last, _DIGITS))


def _between(before: Stint, stint: Stint, pace: Pace) -> float:
    """A change of color, and the way round to the begin of another pass; at once where both."""
    change = pace.change_min if before.color != stint.color else 0.0
    back = stint.start_ft < before.start_ft - _SAME_FT
    return max(change, pace.return_min if back else 0.0)


def _same_pass(before: Stint, stint: Stint) -> bool:
    """Whether the truck only pulls forward from one section to the next."""
    same = (before.coat, before.color, before.lane) == (stint.coat, stint.color, stint.lane)
    return same and stint.start_ft >= before.start_ft - _SAME_FT

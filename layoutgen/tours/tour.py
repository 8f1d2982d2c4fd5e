"""Truck tours from jobs: who paints what in which order, on the clock.

Times are estimates for planning. The road authority's traffic control plan, local work hours and
the weather decide when a crew may work.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.errors import Finding
from layoutgen.street.design import Design
from layoutgen.tours import solver, travel
from layoutgen.tours.clock import (
    TANK_COLORS,
    UNITS_PER_GAL,
    Case,
    Settings,
    Tour,
    TourParams,
    TruckParams,
    Visit,
    by_tank,
    schedule,
)
from layoutgen.tours.days import delay_into, work_days
from layoutgen.tours.tables import TourTables, no_tables, tour_tables
from layoutgen.work.jobs import Job

__all__ = ["Settings", "TourParams", "TourTables", "TruckParams", "plan", "schedule"]


def plan(
    jobs: Sequence[Job],
    design: Design,
    yard_xy: tuple[float, float] | None,
    settings: Settings,
    *,
    seed: int = 1,
) -> tuple[TourTables, list[Finding]]:
    """Tours for jobs from one yard; every job is in one tour, or unserved with the reason.

    Without a yard, trucks start at the node nearest to the middle of the jobs, and a finding says
    so. Equal jobs, settings and seed give equal tours.
    """
    if not jobs:
        return no_tables(), []
    ordered = tuple(sorted(jobs, key=lambda job: job.job_id))
    points = _points(ordered, design)
    yard, findings = (yard_xy, []) if yard_xy else _middle_yard(points, design)
    case = _case(ordered, design, settings, (yard, points))
    reasons = _hopeless(case)
    found = _search(case, [j for j in range(1, len(ordered) + 1) if j not in reasons], seed)
    left = f"no time left in {settings.tour.days} days of {settings.truck.count} truck(s)"
    reasons |= dict.fromkeys(found.unserved, left)
    tours, closed = _on_days(case, found.routes)
    shut = "the weather of no working day is open long enough for its tour"
    reasons |= dict.fromkeys(closed, shut)
    tables = tour_tables(case, tours, reasons, interrupted=found.interrupted)
    return tables, findings + _unserved_findings(case, reasons)


def _case(
    jobs: tuple[Job, ...],
    design: Design,
    settings: Settings,
    where: tuple[tuple[float, float], NDArray[np.float64]],
) -> Case:
    yard, points = where
    network = travel.build(design, settings.travel)
    places = travel.place(network, jobs, yard)
    truck = settings.truck
    tanks = [getattr(truck, f"tank_{color}_gal") for color in TANK_COLORS]
    gallons = np.array([list(by_tank(job).values()) for job in jobs])
    service_s = np.array([0] + [round(job.minutes * 60) for job in jobs], dtype=np.int64)
    return Case(
        jobs=jobs,
        design=design,
        settings=settings,
        network=network,
        places=places,
        ways=travel.matrix(network, places),
        change_s=_changes(jobs, round(settings.crew.color_change_min * 60)),
        service_s=service_s,
        loads=np.vstack([np.zeros(len(tanks)), np.ceil(gallons * UNITS_PER_GAL - 1e-6)]).astype(
            np.int64
        ),
        tanks=np.floor(np.array(tanks) * UNITS_PER_GAL + 1e-6).astype(np.int64),
        xy=np.vstack([yard, points]),
    )


def _loads(gallons: NDArray[np.float64]) -> NDArray[np.int64]:
    """Units of paint by place and tank; none at the yard."""
    units = np.ceil(gallons * UNITS_PER_GAL - 1e-6)
    return np.vstack([np.zeros(gallons.shape[1]), units]).astype(np.int64)


def _points(jobs: Sequence[Job], design: Design) -> NDArray[np.float64]:
    """(n, 2) middle of every job on its axis."""
    middle = [(job.entry_ft + job.exit_ft) / 2.0 for job in jobs]
    return design.axes.locate([job.segment_index for job in jobs], middle)


def _changes(jobs: Sequence[Job], change_s: int) -> NDArray[np.int64]:
    """Seconds to change color between the last of one job and the first of the next; yard: 0."""
    first = np.array([job.colors[0] if job.colors else "" for job in jobs])
    last = np.array([job.colors[-1] if job.colors else "" for job in jobs])
    out = np.zeros((len(jobs) + 1, len(jobs) + 1), dtype=np.int64)
    out[1:, 1:] = np.where(last[:, None] != first[None, :], change_s, 0)
    return out


def _middle_yard(
    points: NDArray[np.float64], design: Design
) -> tuple[tuple[float, float], list[Finding]]:
    """Node of a driven street nearest to the middle of the jobs, and the finding that says so."""
    driven = [s for s in design.segments if s.street_class != travel.NOT_DRIVEN] or list(
        design.segments
    )
    names = sorted({node for segment in driven for node in (segment.start, segment.end)})
    xy = np.array([design.nodes[name] for name in names])
    best = int(np.argmin(np.hypot(*(xy - points.mean(axis=0)).T)))
    yard = (float(xy[best, 0]), float(xy[best, 1]))
    finding = Finding(
        code="no_yard",
        severity="warning",
        source="tours",
        feature_id=names[best],
        text="No yard was given; trucks start at the intersection in the middle of the jobs.",
        fix="Add an input `yard` with the point where trucks start, refill and end.",
        geometry=shapely.Point(yard),
    )
    return yard, [finding]


def _hopeless(case: Case) -> dict[int, str]:
    """Jobs that no tour can serve, with the reason."""
    out: dict[int, str] = {}
    for number_ in range(1, len(case.jobs) + 1):
        reason = _no_way(case, number_) or _no_paint(case, number_) or _no_time(case, number_)
        if reason:
            out[number_] = reason
    return out


def _no_way(case: Case, number_: int) -> str:
    if case.places.course[case.places.yards + number_ - 1] < 0:
        return "trucks do not drive on its street"
    if case.ways.seconds[0, number_] == travel.UNREACHABLE:
        return "no way from the yard to it"
    if case.ways.seconds[number_, 0] == travel.UNREACHABLE:
        return "no way from it back to the yard"
    return ""


def _no_paint(case: Case, number_: int) -> str:
    over = [
        f"{need / UNITS_PER_GAL:.1f} gal of {color} paint do not fit its tank"
        for color, need, tank in zip(TANK_COLORS, case.loads[number_], case.tanks, strict=True)
        if need > tank
    ]
    return over[0] if over else ""


def _no_time(case: Case, number_: int) -> str:
    drive_s = int(case.ways.seconds[0, number_] + case.ways.seconds[number_, 0])
    crew, truck = case.settings.crew, case.settings.truck
    need_min = (drive_s + int(case.service_s[number_])) / 60.0 + truck.refill_min
    if need_min <= crew.shift_min:
        return ""
    return f"takes {need_min:.0f} min with loading and drive, a shift has {crew.shift_min:.0f}"


def _search(case: Case, hopeful: list[int], seed: int) -> solver.Plan:
    """Plan over the jobs that can be served, in the numbers of the case."""
    part = np.array([0, *hopeful], dtype=np.int64)
    cells = np.ix_(part, part)
    settings = case.settings
    problem = solver.Problem(
        seconds=case.ways.seconds[cells].astype(np.int64) + case.change_s[cells],
        feet=case.ways.feet[cells].astype(np.int64),
        service_s=case.service_s[part],
        loads=case.loads[part],
        tanks=case.tanks,
        shift_s=round(settings.crew.shift_min * 60),
        refill_s=round(settings.truck.refill_min * 60),
        max_tours=settings.tour.days * settings.truck.count,
        fixed_s=round(settings.tour.tour_cost_min * 60),
        xy=case.xy[part],
    )
    budget = solver.Budget(seed, settings.tour.iterations, settings.tour.zone_jobs)
    found = solver.solve(problem, budget)
    routes = tuple(tuple(int(part[job]) for job in route) for route in found.routes)
    unserved = tuple(int(part[job]) for job in found.unserved)
    return solver.Plan(routes, unserved, found.interrupted)


def _on_days(case: Case, routes: Sequence[tuple[int, ...]]) -> tuple[list[Tour], list[int]]:
    """Every tour on the first truck and day that is open for it; jobs of tours without a day."""
    free = [
        (day, truck)
        for day in work_days(case.settings.tour, case.settings.hours)
        for truck in range(case.settings.truck.count)
    ]
    tours, closed = [], []
    for route in routes:
        plain = _scheduled(case, route, 0)
        delays = ((k, delay_into(plain, day, case.settings)) for k, (day, _) in enumerate(free))
        found = next(((k, later) for k, later in delays if later is not None), None)
        if found is None:
            closed += [job for job in route if job]
            continue
        day, truck = free.pop(found[0])
        tours.append(_tour(day.date, truck, route, _scheduled(case, route, found[1])))
    return tours, closed


def _scheduled(case: Case, route: tuple[int, ...], later_s: int) -> tuple[Visit, ...]:
    return schedule(route, case.ways, case.change_s, case.service_s, case.settings, later_s)


def _tour(date: str, truck: int, route: tuple[int, ...], visits: tuple[Visit, ...]) -> Tour:
    name = f"truck {truck + 1}"
    return Tour(f"tour/{date}/{name}".replace(" ", "-"), date, name, route, visits)


def _unserved_findings(case: Case, reasons: Mapping[int, str]) -> list[Finding]:
    """One finding per reason, so that a thousand unserved jobs do not bury the rest."""
    by_reason: dict[str, list[int]] = {}
    for number_ in sorted(reasons):
        by_reason.setdefault(reasons[number_], []).append(number_)
    return [
        Finding(
            code="jobs_unserved",
            severity="warning",
            source="tours",
            feature_id=case.jobs[numbers[0] - 1].job_id,
            text=f"{len(numbers)} job(s) are in no tour: {reason}.",
            fix="See layer `unserved`; add days, trucks or tank, or check the street's directions.",
            geometry=shapely.Point(case.xy[numbers[0]]),
        )
        for reason, numbers in by_reason.items()
    ]

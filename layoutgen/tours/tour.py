"""Truck tours from jobs: who paints what in which order, on the clock.

Times are estimates for planning. The road authority's traffic control plan, local work hours and
the weather decide when a crew may work.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pydantic import field_validator

from layoutgen.config import Params, choice, measure, number
from layoutgen.errors import Finding
from layoutgen.gis.schema import layer
from layoutgen.street.design import Design
from layoutgen.tours import solver, travel
from layoutgen.work.jobs import Job
from layoutgen.work.time import CrewParams, clock_seconds, clock_text

#: colors that have a tank, in the order of load dimensions
TANK_COLORS = ("white", "yellow", "green")
#: paint is counted in hundredths of a gallon
_UNITS_PER_GAL = 100
_FT_PER_MILE = 5280.0


class TruckParams(Params):
    """Trucks and their tanks."""

    count: int = number(
        1, low=1, high=50, source="common practice", text="trucks with a crew, each day"
    )
    tank_white_gal: float = measure(
        "volume", "60 gal", low="0 gal", high="2000 gal", source="from memory", text="white paint"
    )
    tank_yellow_gal: float = measure(
        "volume", "60 gal", low="0 gal", high="2000 gal", source="from memory", text="yellow paint"
    )
    tank_green_gal: float = measure(
        "volume", "30 gal", low="0 gal", high="2000 gal", source="from memory", text="green paint"
    )
    refill_min: float = measure(
        "time",
        "15 min",
        low="0 min",
        high="3 h",
        source="from memory",
        text="loading, before every departure",
    )


class TourParams(Params):
    """How far ahead to plan, and how hard to search."""

    days: int = number(60, low=1, high=400, source="common practice", text="working days at hand")
    iterations: int = number(
        3000, low=10, high=1_000_000, source="from memory", text="steps per zone"
    )
    zone_jobs: int = number(
        300, low=20, high=2000, source="from memory", text="jobs planned at a time"
    )
    tour_cost_min: float = measure(
        "time",
        "60 min",
        low="0 min",
        high="24 h",
        source="from memory",
        text="price of a tour, in paid time",
    )
    start_date: str = choice(
        "", source="common practice", text="such as 2030-05-06; empty = numbered days"
    )

    @field_validator("start_date")
    @classmethod
    def _date(cls, value: str) -> str:
        if value:
            datetime.date.fromisoformat(value)
        return value


@dataclass(frozen=True)
class Settings:
    """All that planning tours needs to know."""

    tour: TourParams
    truck: TruckParams
    travel: travel.TravelParams
    crew: CrewParams


@dataclass(frozen=True)
class TourTables:
    """Layers of the schema, working plane, without a CRS; `interrupted` = stopped by the user."""

    jobs: gpd.GeoDataFrame
    visits: gpd.GeoDataFrame
    tours: gpd.GeoDataFrame
    unserved: gpd.GeoDataFrame
    interrupted: bool = False


@dataclass(frozen=True)
class Visit:
    """One arrival of a tour, in seconds from midnight; place 0 is the yard."""

    place: int
    kind: str
    arrive_s: int
    start_s: int
    leave_s: int
    drive_s: int
    drive_ft: int
    change_s: int
    lunch_s: int


@dataclass(frozen=True)
class _Case:
    """Everything known before the search: index 0 of arrays is the yard, then jobs in order."""

    jobs: tuple[Job, ...]
    design: Design
    settings: Settings
    network: travel.Network
    places: travel.Places
    ways: travel.Travel
    change_s: NDArray[np.int64]
    service_s: NDArray[np.int64]
    loads: NDArray[np.int64]
    tanks: NDArray[np.int64]
    xy: NDArray[np.float64]


@dataclass(frozen=True)
class _Tour:
    """One truck shift."""

    tour_id: str
    date: str
    truck: str
    route: tuple[int, ...]
    visits: tuple[Visit, ...]


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
        return _no_tables(), []
    ordered = tuple(sorted(jobs, key=lambda job: job.job_id))
    points = _points(ordered, design)
    yard, findings = (yard_xy, []) if yard_xy else _middle_yard(points, design)
    case = _case(ordered, design, settings, (yard, points))
    reasons = _hopeless(case)
    found = _search(case, [j for j in range(1, len(ordered) + 1) if j not in reasons], seed)
    left = f"no time left in {settings.tour.days} days of {settings.truck.count} truck(s)"
    reasons |= dict.fromkeys(found.unserved, left)
    tours = [_tour(case, k, route) for k, route in enumerate(found.routes)]
    tables = _tables(case, tours, reasons, interrupted=found.interrupted)
    return tables, findings + _unserved_findings(case, reasons)


def schedule(
    route: Sequence[int], ways: travel.Travel, change_s: NDArray[np.int64],
    service_s: NDArray[np.int64], settings: Settings,
) -> tuple[Visit, ...]:  # fmt: skip
    """Clock of one tour: loading, drives, color changes, lunch, work, refills (0), the return.

    Lunch is taken on the first arrival after it may begin; a tour over by then has none.
    """
    crew = settings.crew
    lunch_at, lunch_s = clock_seconds(crew.lunch_start), round(crew.lunch_min * 60)
    refill_s = round(settings.truck.refill_min * 60)
    begin = clock_seconds(crew.shift_start)
    visits = [Visit(0, "depot", begin, begin, begin + refill_s, 0, 0, 0, 0)]
    for place in (*route, 0):
        before = visits[-1]
        drive_s = int(ways.seconds[before.place, place])
        arrive = before.leave_s + drive_s
        last = place == 0 and len(visits) == len(route) + 1
        change = int(change_s[before.place, place])
        due = not last and arrive >= lunch_at and not any(one.lunch_s for one in visits)
        lunch = lunch_s if due else 0
        start = arrive + change + lunch
        work = int(service_s[place]) if place else 0 if last else refill_s
        kind = "job" if place else "depot" if last else "refill"
        feet = int(ways.feet[before.place, place])
        visits.append(Visit(place, kind, arrive, start, start + work, drive_s, feet, change, lunch))
    return tuple(visits)


def _case(
    jobs: tuple[Job, ...],
    design: Design,
    settings: Settings,
    where: tuple[tuple[float, float], NDArray[np.float64]],
) -> _Case:
    yard, points = where
    network = travel.build(design, settings.travel)
    places = travel.place(network, jobs, yard)
    truck = settings.truck
    tanks = [truck.tank_white_gal, truck.tank_yellow_gal, truck.tank_green_gal]
    gallons = np.array([[job.gallons.get(c, 0.0) for c in TANK_COLORS] for job in jobs])
    service_s = np.array([0] + [round(job.minutes * 60) for job in jobs], dtype=np.int64)
    return _Case(
        jobs=jobs,
        design=design,
        settings=settings,
        network=network,
        places=places,
        ways=travel.matrix(network, places),
        change_s=_changes(jobs, round(settings.crew.color_change_min * 60)),
        service_s=service_s,
        loads=np.vstack([np.zeros(3), np.ceil(gallons * _UNITS_PER_GAL - 1e-6)]).astype(np.int64),
        tanks=np.floor(np.array(tanks) * _UNITS_PER_GAL + 1e-6).astype(np.int64),
        xy=np.vstack([yard, points]),
    )


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


def _hopeless(case: _Case) -> dict[int, str]:
    """Jobs that no tour can serve, with the reason."""
    out: dict[int, str] = {}
    for number_, job in enumerate(case.jobs, start=1):
        reason = _no_way(case, number_) or _no_paint(case, number_, job) or _no_time(case, number_)
        if reason:
            out[number_] = reason
    return out


def _no_way(case: _Case, number_: int) -> str:
    if case.places.course[case.places.yards + number_ - 1] < 0:
        return "trucks do not drive on its street"
    if case.ways.seconds[0, number_] == travel.UNREACHABLE:
        return "no way from the yard to it"
    if case.ways.seconds[number_, 0] == travel.UNREACHABLE:
        return "no way from it back to the yard"
    return ""


def _no_paint(case: _Case, number_: int, job: Job) -> str:
    other = sorted(set(job.gallons) - set(TANK_COLORS))
    if other:
        return f"no tank for {', '.join(other)} paint"
    over = [
        f"{need / _UNITS_PER_GAL:.1f} gal of {color} do not fit its tank"
        for color, need, tank in zip(TANK_COLORS, case.loads[number_], case.tanks, strict=True)
        if need > tank
    ]
    return over[0] if over else ""


def _no_time(case: _Case, number_: int) -> str:
    drive_s = int(case.ways.seconds[0, number_] + case.ways.seconds[number_, 0])
    crew, truck = case.settings.crew, case.settings.truck
    need_min = (drive_s + int(case.service_s[number_])) / 60.0 + truck.refill_min
    if need_min <= crew.shift_min:
        return ""
    return f"takes {need_min:.0f} min with loading and drive, a shift has {crew.shift_min:.0f}"


def _search(case: _Case, hopeful: list[int], seed: int) -> solver.Plan:
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


def _tour(case: _Case, number_: int, route: tuple[int, ...]) -> _Tour:
    day, truck = divmod(number_, case.settings.truck.count)
    date = _date(case.settings.tour.start_date, day)
    name = f"truck {truck + 1}"
    visits = schedule(route, case.ways, case.change_s, case.service_s, case.settings)
    return _Tour(f"tour/{date}/{name}".replace(" ", "-"), date, name, route, visits)


def _date(start: str, day: int) -> str:
    """Date of a working day, counted from 0 without Saturdays and Sundays; or its number."""
    if not start:
        return f"day {day + 1:02d}"
    first = np.busday_offset(np.datetime64(start), 0, roll="forward")
    return str(np.busday_offset(first, day))


def _tables(
    case: _Case, tours: Sequence[_Tour], reasons: Mapping[int, str], *, interrupted: bool
) -> TourTables:
    points = shapely.points(case.xy)
    rows = [row for tour in tours for row in _visit_rows(case, tour)]
    at = [points[visit.place] for tour in tours for visit in tour.visits]
    left = sorted(reasons)
    return TourTables(
        jobs=_frame("jobs", list(_job_rows(case, tours)), points[1:]),
        visits=_frame("visits", rows, at),
        tours=_frame("tours", [_tour_row(case, tour) for tour in tours], _tour_lines(case, tours)),
        unserved=_frame(
            "unserved",
            [
                {"job_id": job.job_id, "street": _street(case, job), "reason": reasons[number_]}
                for number_, job in ((k, case.jobs[k - 1]) for k in left)
            ],
            [points[k] for k in left],
        ),
        interrupted=interrupted,
    )


def _no_tables() -> TourTables:
    return TourTables(*(_frame(name, [], []) for name in ("jobs", "visits", "tours", "unserved")))


def _frame(name: str, rows: list[dict[str, Any]], geometry: Any) -> gpd.GeoDataFrame:
    """Table with exactly the columns of a layer, in their order and types."""
    columns = layer(name).columns
    table = pd.DataFrame(rows, columns=[column.name for column in columns])
    types = {"text": object, "real": float, "integer": np.int64}
    table = table.astype({column.name: types[column.type] for column in columns})
    return gpd.GeoDataFrame(table, geometry=np.array(list(geometry), dtype=object))


def _street(case: _Case, job: Job) -> str:
    return case.design.segments[job.segment_index].name


def _job_rows(case: _Case, tours: Sequence[_Tour]) -> Iterator[dict[str, Any]]:
    """Rows of all jobs; tour empty and sequence 0 where unserved."""
    spot = {
        visit.place: (tour.tour_id, k)
        for tour in tours
        for k, visit in enumerate(tour.visits)
        if visit.place
    }
    index = [job.segment_index for job in case.jobs]
    ahead = case.design.axes.directions(index, [job.entry_ft for job in case.jobs])
    way = ahead * np.array([[job.travel] for job in case.jobs])
    bearing = np.degrees(np.arctan2(way[:, 0], way[:, 1])) % 360.0
    for number_, job in enumerate(case.jobs, start=1):
        tour_id, sequence = spot.get(number_, ("", 0))
        yield {
            "job_id": job.job_id,
            "tour_id": tour_id,
            "sequence": sequence,
            "segment_id": case.design.segments[job.segment_index].segment_id,
            "street": _street(case, job),
            "bearing_deg": float(bearing[number_ - 1]),
            "entry_ft": job.entry_ft,
            "exit_ft": job.exit_ft,
            "markings": ", ".join(job.marking_ids),
            "kinds": job.kinds,
            "area_sqft": job.area_sqft,
            **{f"{color}_gal": job.gallons.get(color, 0.0) for color in TANK_COLORS},
            "beads_lb": job.beads_lb,
            "minutes": job.minutes,
            "window": "",
            "earliest": "",
            "latest": "",
        }


def _visit_rows(case: _Case, tour: _Tour) -> Iterator[dict[str, Any]]:
    for sequence, visit in enumerate(tour.visits):
        job = case.jobs[visit.place - 1] if visit.place else None
        yield {
            "tour_id": tour.tour_id,
            "sequence": sequence,
            "kind": visit.kind,
            "job_id": job.job_id if job else "",
            "street": _street(case, job) if job else "",
            "arrive": clock_text(visit.arrive_s),
            "start": clock_text(visit.start_s),
            "leave": clock_text(visit.leave_s),
            "drive_min": visit.drive_s / 60.0,
            "drive_mi": visit.drive_ft / _FT_PER_MILE,
        }


def _tour_row(case: _Case, tour: _Tour) -> dict[str, Any]:
    visits, jobs = tour.visits, [case.jobs[k - 1] for k in tour.route if k]

    def minutes(of: Callable[[Visit], int]) -> float:
        return sum(of(visit) for visit in visits) / 60.0

    refill_s = sum(one.leave_s - one.start_s for one in visits if one.kind == "refill")
    return {
        "tour_id": tour.tour_id,
        "date": tour.date,
        "truck": tour.truck,
        "start": clock_text(visits[0].leave_s),
        "finish": clock_text(visits[-1].arrive_s),
        "jobs": len(jobs),
        "drive_mi": sum(one.drive_ft for one in visits) / _FT_PER_MILE,
        "drive_min": minutes(lambda one: one.drive_s),
        "paint_min": minutes(lambda one: one.leave_s - one.start_s if one.place else 0),
        "dry_min": 0.0,
        "wait_min": 0.0,
        "changeover_min": minutes(lambda one: one.change_s + one.lunch_s) + refill_s / 60.0,
        **{f"{c}_gal": sum(job.gallons.get(c, 0.0) for job in jobs) for c in TANK_COLORS},
        "beads_lb": sum(job.beads_lb for job in jobs),
    }


def _tour_lines(case: _Case, tours: Sequence[_Tour]) -> list[Any]:
    """Line of every tour: its drives, and the way it moves while it works."""
    pairs: list[tuple[int, int]] = []
    counts: list[int] = []
    for tour in tours:
        before = len(pairs)
        for a, b in pairwise(tour.visits):
            pairs += [(a.place, b.place)] + [(b.place, b.place)] * (b.place > 0)
        counts.append(len(pairs) - before)
    lines = travel.drives(case.network, case.places, case.ways, pairs)
    ends = np.cumsum([0, *counts])
    return [_one_line(lines[a:b]) for a, b in pairwise(ends)]


def _one_line(lines: NDArray[np.object_]) -> Any:
    xy = shapely.get_coordinates(lines)
    new = np.concatenate([[True], np.hypot(*np.diff(xy, axis=0).T) > 1e-6])
    return shapely.LineString(xy[new] if new.sum() > 1 else np.repeat(xy[new], 2, axis=0))


def _unserved_findings(case: _Case, reasons: Mapping[int, str]) -> list[Finding]:
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

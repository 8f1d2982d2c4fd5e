"""Settings of trucks and tours, the records of a plan, and the clock of one tour."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from pydantic import field_validator

from layoutgen.config import Params, choice, measure, number
from layoutgen.street.design import Design
from layoutgen.tours import travel
from layoutgen.work.jobs import Job
from layoutgen.work.time import CrewParams, clock_seconds
from layoutgen.work.traffic_control import TrafficControlParams

#: colors that have a tank, in the order of load dimensions; `other` = the rest, in pails
TANK_COLORS = ("white", "yellow", "green", "other")
#: paint is counted in hundredths of a gallon
UNITS_PER_GAL = 100


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
    tank_other_gal: float = measure(
        "volume",
        "15 gal",
        low="0 gal",
        high="2000 gal",
        source="from memory",
        text="red, blue, purple and black paint together, carried in pails",
    )
    refill_min: float = measure(
        "time",
        "15 min",
        low="0 min",
        high="3 h",
        source="from memory",
        text="loading, before every departure",
    )


def by_tank(job: Job) -> dict[str, float]:
    """Gallons of a job by tank."""
    out = {color: job.gallons.get(color, 0.0) for color in TANK_COLORS}
    out["other"] = sum(v for color, v in job.gallons.items() if color not in TANK_COLORS)
    return out


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
    traffic: TrafficControlParams = field(default_factory=TrafficControlParams)


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
class Case:
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
class Tour:
    """One truck shift."""

    tour_id: str
    date: str
    truck: str
    route: tuple[int, ...]
    visits: tuple[Visit, ...]


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

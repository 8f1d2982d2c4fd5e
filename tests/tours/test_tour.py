"""Tours on the clock."""

from __future__ import annotations

import datetime
import random
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from shapely.geometry import Point
from tours.hand_streets import design_of, lattice

from layoutgen.gis.schema import layer
from layoutgen.street.design import Design
from layoutgen.tours import travel
from layoutgen.tours.tour import (
    TANK_COLORS,
    Settings,
    TourParams,
    TourTables,
    TruckParams,
    plan,
    schedule,
)
from layoutgen.work.jobs import Job
from layoutgen.work.time import CrewParams

DESIGN = lattice(8)
YARD = (1200.0, 900.0)


def settings_of(**changes: Any) -> Settings:
    """Few search steps and small tanks, with changes to any group."""
    tour = {"iterations": 60, "days": 20} | changes.get("tour", {})
    tanks = {
        "tank_white": "12 gal",
        "tank_yellow": "10 gal",
        "tank_green": "5 gal",
        "tank_other": "2 gal",
    }
    return Settings(
        TourParams(**tour),
        TruckParams(**(tanks | changes.get("truck", {}))),
        travel.TravelParams(),
        CrewParams(**changes.get("crew", {})),
    )


def jobs_of(design: Design, count: int, seed: int = 1) -> list[Job]:
    pick = random.Random(seed)
    out = []
    for k in range(count):
        s = pick.choice(design.segments)
        way = {"forward": 1, "backward": -1, "both": pick.choice((1, -1))}[s.oneway]
        a, b = sorted((pick.uniform(0, s.length_ft), pick.uniform(0, s.length_ft)))
        colors = pick.choice([("white",), ("white",), ("yellow",), ("green", "white")])
        gallons = {color: pick.uniform(0.2, 2.0) for color in colors}
        letter = "F" if way > 0 else "B"
        out.append(
            Job(
                job_id=f"job/{s.segment_id}/{letter}/m{k:04d}",
                segment_index=s.index,
                travel=way,
                entry_ft=a if way > 0 else b,
                exit_ft=b if way > 0 else a,
                marking_ids=(f"m{k:04d}", f"n{k:04d}"),
                colors=colors,
                area_sqft=pick.uniform(10, 90),
                gallons=gallons,
                beads_lb=6.0 * gallons.get("white", 0.0),
                minutes=pick.uniform(8, 22),
                kinds="2 arrow",
            )
        )
    return out


JOBS = jobs_of(DESIGN, 60)


@pytest.fixture(scope="module")
def tables() -> TourTables:
    got, findings = plan(JOBS, DESIGN, YARD, settings_of())
    assert findings == []
    return got


def _minute(text: str) -> int:
    return int(text[:2]) * 60 + int(text[3:5])


def test_columns_are_those_of_the_schema(tables: TourTables) -> None:
    empty, findings = plan([], DESIGN, YARD, settings_of())
    assert findings == []
    for name in ("jobs", "visits", "tours", "unserved"):
        expected = [column.name for column in layer(name).columns] + ["geometry"]
        assert list(getattr(tables, name).columns) == expected
        assert list(getattr(empty, name).columns) == expected
        assert len(getattr(empty, name)) == 0
        kinds = set(getattr(tables, name).geom_type)
        assert kinds <= {layer(name).geometry}


def test_every_job_is_visited_once(tables: TourTables) -> None:
    visited = tables.visits.loc[tables.visits["kind"] == "job", "job_id"].tolist()
    assert sorted(visited) == sorted(job.job_id for job in JOBS)
    assert len(tables.unserved) == 0
    assert tables.tours["jobs"].sum() == len(JOBS)
    merged = tables.jobs.merge(tables.visits, on=["job_id", "tour_id", "sequence"])
    assert len(merged) == len(JOBS)


def test_tours_begin_and_end_at_the_yard(tables: TourTables) -> None:
    assert len(tables.tours) > 1
    for _, visits in tables.visits.groupby("tour_id"):
        assert visits["sequence"].tolist() == list(range(len(visits)))
        assert visits["kind"].iloc[0] == visits["kind"].iloc[-1] == "depot"
        assert set(visits["kind"].iloc[1:-1]) <= {"job", "refill"}
        assert visits.geometry.iloc[0].equals(Point(YARD))
        assert visits.geometry.iloc[-1].equals(Point(YARD))


def test_times_add_up(tables: TourTables) -> None:
    """Every arrival is the departure before plus the drive; a tour is the sum of its parts."""
    minutes = {job.job_id: job.minutes for job in JOBS}
    for tour in tables.tours.itertuples():
        visits = tables.visits[tables.visits["tour_id"] == tour.tour_id]
        before = None
        for visit in visits.itertuples():
            arrive, start, leave = (_minute(t) for t in (visit.arrive, visit.start, visit.leave))
            assert arrive <= start <= leave
            if before is not None:
                assert arrive - before == pytest.approx(visit.drive_min, abs=1.01)
            if visit.kind == "job":
                assert leave - start == pytest.approx(minutes[visit.job_id], abs=1.01)
            before = leave
        parts = tour.drive_min + tour.paint_min + tour.dry_min + tour.wait_min + tour.changeover_min
        assert _minute(tour.finish) - _minute(tour.start) == pytest.approx(parts, abs=1.01)
        assert visits["drive_mi"].sum() == pytest.approx(tour.drive_mi)
        assert visits["drive_min"].sum() == pytest.approx(tour.drive_min)
        shift = CrewParams()
        end = 7 * 60 + shift.shift_min + shift.lunch_min
        assert _minute(tour.finish) <= end


def test_tanks_never_run_dry_and_refills_are_needed(tables: TourTables) -> None:
    tanks = dict(zip(TANK_COLORS, (12.0, 10.0, 5.0, 2.0), strict=True))
    gallons = {job.job_id: job.gallons for job in JOBS}
    refills = 0
    for _, visits in tables.visits.groupby("tour_id"):
        left = dict(tanks)
        for visit in visits.itertuples():
            if visit.kind == "refill":
                left, refills = dict(tanks), refills + 1
            for color, amount in gallons.get(visit.job_id, {}).items():
                left[color] -= amount
            assert min(left.values()) >= -1e-9
    assert refills > 0
    total = {c: sum(job.gallons.get(c, 0.0) for job in JOBS) for c in TANK_COLORS}
    assert {c: tables.tours[f"{c}_gal"].sum() for c in TANK_COLORS} == pytest.approx(
        total, abs=1e-3
    )


def test_equal_seed_gives_equal_tours_whatever_the_order_of_jobs(tables: TourTables) -> None:
    shuffled = list(JOBS)
    random.Random(9).shuffle(shuffled)
    again, _ = plan(shuffled, DESIGN, YARD, settings_of())
    for name in ("jobs", "visits", "tours"):
        assert getattr(again, name).to_csv() == getattr(tables, name).to_csv()


def test_tour_line_is_as_long_as_its_drives_and_its_work(tables: TourTables) -> None:
    moving = {job.job_id: abs(job.exit_ft - job.entry_ft) for job in JOBS}
    for tour in tables.tours.itertuples():
        visits = tables.visits[tables.visits["tour_id"] == tour.tour_id]
        expected = tour.drive_mi * 5280 + sum(moving.get(k, 0.0) for k in visits["job_id"])
        assert tour.geometry.length == pytest.approx(expected, abs=1.0 * len(visits))


def test_drives_are_no_shorter_than_the_straight_line(tables: TourTables) -> None:
    jobs = {job.job_id: job for job in JOBS}

    def spot(visit: Any, end: str) -> Point:
        if not visit.job_id:
            return Point(YARD)
        job = jobs[visit.job_id]
        return Point(DESIGN.axes.locate([job.segment_index], [getattr(job, end)])[0])

    for _, visits in tables.visits.groupby("tour_id"):
        rows = list(visits.itertuples())
        for a, b in pairwise(rows):
            assert b.drive_mi * 5280 >= spot(a, "exit_ft").distance(spot(b, "entry_ft")) - 1.0


def test_bearing_and_places_of_jobs() -> None:
    design = design_of({"a": (0.0, 0.0), "b": (0.0, 500.0)}, [("N", "a", "b", {})])
    up = replace(JOBS[0], segment_index=0, travel=1, entry_ft=10.0, exit_ft=30.0)
    down = replace(up, job_id="job/z", travel=-1, entry_ft=30.0, exit_ft=10.0)
    got, _ = plan([up, down], design, (0.0, 0.0), settings_of())
    assert got.jobs["bearing_deg"].tolist() == [0.0, 180.0]
    assert [p.y for p in got.jobs.geometry] == [20.0, 20.0]


def test_schedule_by_hand() -> None:
    """Two jobs and a refill; lunch falls on the arrival at the second job after noon."""
    seconds = np.array([[0, 600, 300], [900, 0, 120], [240, 60, 0]], dtype=np.int32)
    index = np.zeros(3, dtype=np.int64)
    ways = travel.Travel(seconds, seconds * 10, index, index)
    change = np.array([[0, 0, 0], [0, 0, 360], [0, 360, 0]])
    work = np.array([0, 4 * 3600, 1800])
    settings = settings_of(crew={"shift_start": "08:00"}, truck={"refill": "20 min"})
    got = schedule((1, 0, 2), ways, change, work, settings)
    clock = [(v.kind, v.arrive_s - 28_800, v.start_s - 28_800, v.leave_s - 28_800) for v in got]
    noon = 1800 + 14_400 + 900  # back at the yard 12:45: lunch, then loading
    loaded = noon + 1800 + 1200
    assert clock == [
        ("depot", 0, 0, 1200),
        ("job", 1800, 1800, 16_200),
        ("refill", noon, noon + 1800, loaded),
        ("job", loaded + 300, loaded + 300, loaded + 2100),
        ("depot", loaded + 2340, loaded + 2340, loaded + 2340),
    ]
    direct = schedule((1, 2), ways, change, work, settings)
    assert [v.change_s for v in direct] == [0, 0, 360, 0]
    assert [v.lunch_s for v in direct] == [0, 0, 1800, 0]


def test_no_yard_is_found_and_taken_from_the_middle() -> None:
    got, findings = plan(JOBS[:12], DESIGN, None, settings_of())
    assert [f.code for f in findings] == ["no_yard"]
    points = np.array([(p.x, p.y) for p in got.jobs.geometry])
    nodes = np.array(list(DESIGN.nodes.values()))
    yard = np.array(got.visits.geometry.iloc[0].coords[0])
    gaps = np.hypot(*(nodes - points.mean(axis=0)).T)
    assert np.hypot(*(yard - points.mean(axis=0))) == pytest.approx(gaps.min())


def test_reasons_of_unserved_jobs() -> None:
    """An island, a sink that lets nobody out, a path, a tank, a color, a shift."""
    nodes = {
        "a": (0.0, 0.0), "b": (400.0, 0.0), "c": (800.0, 0.0), "d": (400.0, 300.0),
        "x": (5000.0, 0.0), "y": (5400.0, 0.0),
    }  # fmt: skip
    rows: list[Any] = [
        ("main", "a", "b", {}),
        ("sink", "b", "c", {"oneway": "forward"}),
        ("walk", "b", "d", {"street_class": "path"}),
        ("isle", "x", "y", {}),
    ]
    base = replace(JOBS[0], travel=1, entry_ft=10.0, exit_ft=20.0, colors=("white",),
                   gallons={"white": 1.0}, minutes=10.0)  # fmt: skip
    jobs = [
        replace(base, job_id="0", segment_index=0),
        replace(base, job_id="1", segment_index=1),
        replace(base, job_id="2", segment_index=2),
        replace(base, job_id="3", segment_index=3),
        replace(base, job_id="4", segment_index=0, gallons={"white": 12.5}),
        replace(
            base,
            job_id="5",
            segment_index=0,
            gallons={"blue": 1.2, "red": 1.0},
            colors=("blue", "red"),
        ),
        replace(base, job_id="6", segment_index=0, minutes=500.0),
    ]
    got, findings = plan(jobs, design_of(nodes, rows), (10.0, 5.0), settings_of())
    reasons = dict(zip(got.unserved["job_id"], got.unserved["reason"], strict=True))
    assert reasons == {
        "1": "no way from it back to the yard",
        "2": "trucks do not drive on its street",
        "3": "no way from the yard to it",
        "4": "12.5 gal of white paint do not fit its tank",
        "5": "2.2 gal of other paint do not fit its tank",
        "6": reasons["6"],
    }
    assert reasons["6"].startswith("takes 51")
    assert [f.code for f in findings] == ["jobs_unserved"] * 6
    assert got.visits.loc[got.visits["kind"] == "job", "job_id"].tolist() == ["0"]
    assert got.jobs.loc[got.jobs["job_id"] == "3", ["tour_id", "sequence"]].values.tolist() == [
        ["", 0]
    ]


def test_too_few_days_leave_jobs_with_that_reason() -> None:
    got, findings = plan(JOBS, DESIGN, YARD, settings_of(tour={"days": 1}))
    assert len(got.tours) == 1
    assert 0 < len(got.unserved) < len(JOBS)
    assert set(got.unserved["reason"]) == {"no time left in 1 days of 1 truck(s)"}
    assert len(findings) == 1


def test_dates_skip_weekends_and_trucks_share_days() -> None:
    settings = settings_of(tour={"start_date": "2030-05-04"}, truck={"count": 2})
    got, _ = plan(JOBS, DESIGN, YARD, settings)
    dates = [datetime.date.fromisoformat(text) for text in got.tours["date"]]
    assert dates[0] == dates[1] == datetime.date(2030, 5, 6)  # the 4th is a Saturday
    assert all(date.weekday() < 5 for date in dates)
    assert got.tours["truck"].tolist()[:3] == ["truck 1", "truck 2", "truck 1"]
    assert got.tours["tour_id"].is_unique
    assert got.tours["tour_id"].iloc[1] == "tour/2030-05-06/truck-2"

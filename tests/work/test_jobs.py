"""Grouping of markings to jobs."""

from __future__ import annotations

import itertools
import random
import time
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tours.hand_streets import design_of, lattice
from work.hand_markings import sections_of, table

from layoutgen.street.design import Design
from layoutgen.work.jobs import Job, JobParams, group, windows
from layoutgen.work.sections import not_reached
from layoutgen.work.time import CrewParams

CREW = CrewParams()
NODES = {"a": (0.0, 0.0), "b": (300.0, 40.0), "c": (700.0, -20.0)}


def _streets(oneway: str = "both") -> Design:
    return design_of(NODES, [("S1", "a", "b", {"oneway": oneway}), ("S2", "b", "c", {})])


def _at_once(*_: str) -> tuple[float, float]:
    """A material that is dry as it lands."""
    return 0.0, 0.0


def _jobs(
    rows: list[dict[str, Any]], design: Design | None = None, reach: str = "60 ft"
) -> list[Job]:
    table = sections_of(rows)
    return group(table, design or _streets(), JobParams(reach=reach), (CREW, _at_once))[0]


def _figure(marking_id: str, a: float, b: float, **more: Any) -> dict[str, Any]:
    return {"marking_id": marking_id, "from_ft": a, "to_ft": b} | more


def test_figures_within_reach_form_one_set_up() -> None:
    """Stations 10-20, 40-70 and 75-80: the third ends 70 ft from the first start."""
    rows = [_figure("m/1", 10, 20), _figure("m/2", 40, 70), _figure("m/3", 75, 80)]
    jobs = _jobs(rows)
    assert [job.marking_ids for job in jobs] == [("m/1", "m/2"), ("m/3",)]
    assert [(job.entry_ft, job.exit_ft) for job in jobs] == [(10.0, 70.0), (75.0, 80.0)]
    assert [job.job_id for job in jobs] == ["job/S1/F/m/1", "job/S1/F/m/3"]
    single = _jobs(rows, reach="70 ft")
    assert [job.marking_ids for job in single] == [("m/1", "m/2", "m/3")]


def test_a_job_carries_the_district_of_most_of_its_paint() -> None:
    rows = [
        _figure("m/1", 10, 20, district="A", area_sqft=10.0),
        _figure("m/2", 22, 30, district="B", area_sqft=12.0),
        _figure("m/3", 31, 40, district="B", area_sqft=1.0),
    ]
    assert [job.district for job in _jobs(rows)] == ["B"]
    rows[0] |= {"area_sqft": 13.0}  # now as much as B: the first by name
    assert [job.district for job in _jobs(rows)] == ["A"]
    assert [job.district for job in _jobs([_figure("m/1", 10, 20)])] == [""]


def test_backward_jobs_run_down_the_stations() -> None:
    rows = [_figure("m/1", 10, 20, travel=-1), _figure("m/2", 50, 60, travel=-1)]
    (job,) = _jobs(rows)
    assert job.marking_ids == ("m/2", "m/1")
    assert (job.travel, job.entry_ft, job.exit_ft) == (-1, 60.0, 10.0)


def test_directions_and_segments_never_mix() -> None:
    rows = [
        _figure(f"m/{s}{t}", 10, 20, segment_index=s, travel=t) for s in (0, 1) for t in (1, -1)
    ]
    jobs = _jobs(rows)
    assert len(jobs) == 4
    assert {(j.segment_index, j.travel) for j in jobs} == {(0, 1), (0, -1), (1, 1), (1, -1)}


def test_base_coat_comes_first_and_stays_with_what_lies_on_it() -> None:
    """A green field of 0-100 ft with two white symbols: longer than the reach, still one job."""
    rows = [
        _figure("a-sym", 5, 12, coat=2, over_id="g", travel=1),
        _figure("b-sym", 80, 88, coat=2, over_id="g", travel=1),
        _figure("g", 0, 100, coat=1, color="green"),
        _figure("x", 130, 138),
    ]
    jobs = _jobs(rows)
    assert [job.marking_ids for job in jobs] == [("g", "a-sym", "b-sym"), ("x",)]
    assert jobs[0].colors == ("green", "white")
    assert sorted(jobs[0].gallons) == ["green", "white"]


def test_base_coat_comes_first_even_where_the_symbol_begins_before_it() -> None:
    """OP-066: the first coat must be tack-free before the next; so all first coats come first."""
    rows = [
        _figure("a-sym", 8, 16, coat=2, over_id="g"),
        _figure("arrow", 20, 25),
        _figure("g", 10, 30, color="green"),
    ]
    (job,) = _jobs(rows)
    assert job.marking_ids == ("g", "arrow", "a-sym")
    assert job.colors == ("green", "white")


def test_long_lines_are_one_job_per_color_and_direction() -> None:
    rows = [
        _figure("w1", 0, 120, is_line=True),
        _figure("w2", 150, 290, is_line=True),
        _figure("y", 20, 280, is_line=True, color="yellow"),
        _figure("back", 0, 290, is_line=True, travel=-1),
        _figure("arrow", 100, 110),
    ]
    jobs = _jobs(rows)
    got = {job.marking_ids: (job.entry_ft, job.exit_ft) for job in jobs}
    assert got == {
        ("w1", "w2"): (0.0, 290.0),
        ("y",): (20.0, 280.0),
        ("back",): (290.0, 0.0),
        ("arrow",): (100.0, 110.0),
    }
    # no cones for the moving operation
    line = next(job for job in jobs if job.marking_ids == ("y",))
    reserve = 1.0 + CREW.tip_cleaning_percent / 100.0
    # a figure 4 ft wide: six passes of 8 in
    painting = 6 * 260.0 / (CREW.line_mph * 88.0) * reserve + CREW.inspection_min
    assert line.minutes == pytest.approx(CREW.position_min + painting, abs=1e-3)


@pytest.mark.parametrize("oneway, wrong", [("forward", -1), ("backward", 1)])
def test_against_a_one_way_street_is_found(oneway: str, wrong: int) -> None:
    rows = table([_figure("m", 10, 20, travel=wrong), _figure("n", 10, 20, travel=-wrong)])
    findings = not_reached(rows, _streets(oneway))
    assert [(f.code, f.feature_id) for f in findings] == [("travel_against_oneway", "m")]


def test_kept_markings_have_no_job_and_lost_ones_are_found() -> None:
    rows = [_figure("k", 0, 5, action="keep"), _figure("lost", 0, 5, segment_index=-1)]
    findings = not_reached(table(rows), _streets())
    assert [(f.code, f.severity) for f in findings] == [("marking_without_segment", "error")]
    assert _jobs(rows[:1]) == []


def test_painted_sections_leave_their_job_and_ids_stay() -> None:
    """The job is named after all its markings, painted ones too."""
    rows = [_figure("a", 10, 20), _figure("b", 22, 30), _figure("c", 200, 210)]
    before = _jobs(rows)
    rows[0] |= {"status": "painted"}
    after = _jobs(rows)
    assert [job.job_id for job in after] == [job.job_id for job in before]
    assert [job.marking_ids for job in after] == [("b",), ("c",)]
    assert after[0].entry_ft == before[0].entry_ft
    rows[1] |= {"status": "painted"}
    rows[2] |= {"status": "failed"}
    assert [job.job_id for job in _jobs(rows)] == [before[1].job_id]


def test_overlapping_set_ups_never_send_the_truck_back() -> None:
    """0-60 fills one window; 50-70 is the next, but the truck already stands at 60."""
    jobs = _jobs([_figure("a", 0, 60), _figure("b", 50, 70), _figure("c", 55, 58)])
    assert [j.marking_ids for j in jobs] == [("a", "c"), ("b",)]
    assert [(j.entry_ft, j.exit_ft) for j in jobs] == [(0.0, 60.0), (60.0, 70.0)]


def test_sums_are_those_of_the_markings() -> None:
    rows = [
        _figure("a", 0, 9, area_sqft=20.0),
        _figure("b", 12, 20, area_sqft=31.5, color="yellow"),
    ]
    table = sections_of(rows)
    (job,), placed = group(table, _streets(), JobParams(), (CREW, _at_once))
    assert placed["sequence"].tolist() == [1, 2]
    assert job.area_sqft == pytest.approx(51.5)
    assert job.gallons == pytest.approx(dict(zip(table["color"], table["paint_gal"], strict=True)))
    assert job.beads_lb == pytest.approx(table["beads_lb"].sum())
    set_up = CREW.position_min + CREW.coning_min + CREW.color_change_min
    assert job.minutes == pytest.approx(table["minutes"].sum() + set_up)
    assert job.kinds == "2 arrow"


def _random_rows(count: int, segments: int, seed: int) -> list[dict[str, Any]]:
    pick = random.Random(seed)
    rows = []
    for k in range(count):
        a = pick.uniform(0, 330)
        line = pick.random() < 0.15
        rows.append(
            _figure(
                f"m/{k:06d}",
                a,
                a + (pick.uniform(50, 300) if line else pick.uniform(1, 30)),
                segment_index=pick.randrange(segments),
                travel=pick.choice((-1, 1)),
                is_line=line,
                color=pick.choice(("white", "yellow", "green")),
                area_sqft=pick.uniform(3, 80),
                kind=pick.choice(("arrow", "word", "stop_line")),
            )
        )
    return rows


def test_every_marking_is_in_exactly_one_job_whatever_the_row_order() -> None:
    design = lattice(5)
    rows = _random_rows(900, len(design.segments), 1)
    jobs = _jobs(rows, design)
    ids = [one for job in jobs for one in job.marking_ids]
    assert sorted(ids) == sorted(row["marking_id"] for row in rows)
    assert len({job.job_id for job in jobs}) == len(jobs)
    _check_each(jobs, {row["marking_id"]: row for row in rows})
    random.Random(4).shuffle(rows)
    again = _jobs(rows, design)
    assert again == jobs


def _check_each(jobs: list[Job], rows: dict[str, dict[str, Any]]) -> None:
    """Reach, direction and segment of every set-up, read from its markings."""
    for job in jobs:
        mine = [rows[one] for one in job.marking_ids]
        assert {row["segment_index"] for row in mine} == {job.segment_index}
        assert (job.exit_ft - job.entry_ft) * job.travel >= 0.0
        if not mine[0]["is_line"]:
            span = max(r["to_ft"] for r in mine) - min(r["from_ft"] for r in mine)
            assert span <= 60.0 + 1e-6


def test_ids_do_not_change_with_other_streets() -> None:
    design = lattice(5)
    rows = _random_rows(400, len(design.segments), 2)
    ids = {job.job_id for job in _jobs(rows, design)}
    fewer = [row for row in rows if row["segment_index"] != 3]
    name = design.segments[3].segment_id
    expected = {one for one in ids if not one.startswith(f"job/{name}/")}
    assert {job.job_id for job in _jobs(fewer, design)} == expected


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 40), st.integers(0, 12)).map(lambda p: (p[0], p[0] + p[1])),
        min_size=1,
        max_size=7,
    )
)
def test_greedy_windows_are_the_fewest(spans: list[tuple[int, int]]) -> None:
    """Against every choice of window starts among the interval starts."""
    spans = sorted(spans)
    reach = 12.0
    owner = windows([float(a) for a, _ in spans], [float(b) for _, b in spans], reach)
    for k in set(owner):
        mine = [span for span, one in zip(spans, owner, strict=True) if one == k]
        assert max(b for _, b in mine) - min(a for a, _ in mine) <= reach
    starts = sorted({a for a, _ in spans})
    best = next(
        size
        for size in range(1, len(starts) + 1)
        for chosen in itertools.combinations(starts, size)
        if all(any(s <= a and b <= s + reach for s in chosen) for a, b in spans)
    )
    assert len(set(owner)) == best


def test_fifty_thousand_markings_take_seconds() -> None:
    design = lattice(30)
    table = sections_of(_random_rows(50_000, len(design.segments), 5))
    began = time.perf_counter()
    jobs, _ = group(table, design, JobParams(), (CREW, _at_once))
    assert time.perf_counter() - began < 15.0
    assert sum(len(job.marking_ids) for job in jobs) == 50_000

"""Sections and jobs of the demo town: they tile, fit, wait, and their sums agree."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from test_properties import town
from work.test_timetable import TIMES, faults

from layoutgen.work.jobs import Job, JobParams, group
from layoutgen.work.loads import LoadParams, loads_table
from layoutgen.work.materials import shipped_materials
from layoutgen.work.quantities import (
    AMOUNTS,
    PaintParams,
    choose_material,
    measure,
    summarise,
    with_sums,
)
from layoutgen.work.reach import ReachParams
from layoutgen.work.sections import cut_markings
from layoutgen.work.time import CrewParams, section_minutes
from layoutgen.work.timetable import Stint, Timetable

REACH = ReachParams()
CREW = CrewParams()
#: slow enough that every base coat is waited for
DRYING = dict.fromkeys(shipped_materials(), TIMES["slow"])


@dataclass(frozen=True)
class Work:
    """Everything between markings and tours."""

    markings: gpd.GeoDataFrame
    sections: gpd.GeoDataFrame
    marks: gpd.GeoDataFrame
    jobs: list[Job]


@cache
def work() -> Work:
    markings = choose_material(town().markings, PaintParams())
    sections, marks = cut_markings(markings, town().design, REACH)
    sections = measure(sections, shipped_materials(), "asphalt")
    sections["minutes"] = section_minutes(sections, CREW, REACH.pass_width_ft)
    sections["status"] = "open"
    times = (CREW, DRYING.__getitem__)
    jobs, sections = group(sections, town().design, JobParams(), times)
    return Work(with_sums(markings, sections), sections, marks, jobs)


def test_sections_tile_their_markings() -> None:
    sections, markings = work().sections, work().markings.set_index("marking_id")
    assert set(sections["marking_id"]) == set(markings.index)
    whole = sections.groupby("marking_id").geometry.apply(lambda g: g.area.sum())
    own = markings.geometry.area.reindex(whole.index)
    assert ((whole - own).abs() / own).max() < 1e-6
    shapes, owners = sections.geometry.to_numpy(), sections["marking_id"].to_numpy()
    around = markings.geometry.buffer(1e-4).reindex(owners).to_numpy()
    assert shapely.is_valid(shapes).all()
    assert shapely.covered_by(shapes, around).all()
    i, j = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    once = (i < j) & (owners[i] == owners[j])
    # a hair smaller: GEOS errs where edges run within a rounding of each other
    less = shapely.buffer(shapes, -1e-4)
    shared = shapely.area(shapely.intersection(less[i[once]], less[j[once]]))
    assert once.sum() > 1000
    assert shared.max() < 1e-6


def test_sections_fit_the_reach_and_are_numbered() -> None:
    still = work().sections[work().sections["moving"] == 0]
    assert still["length_ft"].max() <= REACH.length_ft + 1e-6
    assert still["width_ft"].max() <= REACH.width_ft + 1e-6
    sections = work().sections
    assert sections["section_id"].is_unique
    counts = sections.groupby("marking_id")["number"].agg(list)
    assert all(numbers == list(range(1, len(numbers) + 1)) for numbers in counts)


def test_bars_of_a_crosswalk_are_cut_by_lane_and_direction() -> None:
    """On two-way streets the halves of a crosswalk are painted in their own directions."""
    sections = work().sections
    bars = sections[sections["kind"] == "crosswalk"]
    ways = bars.groupby("marking_id")["travel"].nunique()
    two_way = {s.segment_id for s in town().design.segments if s.oneway == "both"}
    owners = work().markings.set_index("marking_id")["segment_id"].reindex(ways.index)
    assert (ways[owners.isin(two_way)] == 2).mean() > 0.9
    assert (ways[~owners.isin(two_way)] == 1).all()


def test_every_section_is_in_one_job_and_stacks_stay_together() -> None:
    sections = work().sections
    assert (sections["job_id"] != "").all()
    listed = [one for job in work().jobs for one in job.section_ids]
    assert sorted(listed) == sorted(sections["section_id"])
    job_of = sections.groupby("marking_id")["job_id"].agg(set)
    tops = sections[(sections["over_id"].fillna("") != "") & (sections["moving"] == 0)]
    pairs = tops[["marking_id", "over_id"]].drop_duplicates()
    pairs = pairs[pairs["over_id"].isin(sections.loc[sections["moving"] == 0, "marking_id"])]
    assert len(pairs) > 10
    assert all(job_of[a] == job_of[b] for a, b in pairs.itertuples(index=False))


def test_no_job_paints_or_drives_over_wet_paint() -> None:
    rows = work().sections.set_index("section_id")
    waited = 0
    for job in work().jobs:
        own = rows.loc[list(job.section_ids)]
        stints = [_stint(str(name), row, job.travel) for name, row in own.iterrows()]
        plan = Timetable(
            job.section_ids,
            own["start_min"].to_dict(),
            own["wait_min"].to_dict(),
            job.colors,
            0.0,
            0.0,
        )
        assert faults(stints, plan, CREW.color_change_min) == [], job.job_id
        waited += job.dry_min > 0.0
    assert waited > 20


def _stint(name: str, row: Any, travel: int) -> Stint:
    start = row["from_ft"] if travel > 0 else -row["to_ft"]
    over = row["over_id"] or ""
    figures = (row["coat"], row["color"], "slow", row["lane"], start, row["minutes"])
    return Stint(name, row["marking_id"], over, *figures)


def test_sums_of_sections_markings_jobs_and_streets_agree_to_the_last_digit() -> None:
    sections, quantities = work().sections, summarise(work().markings)
    for name in AMOUNTS:
        total = round(float(sections[name].sum()), 4)
        assert round(float(work().markings[name].sum()), 4) == total
        assert round(float(quantities[name].sum()), 4) == total
    gallons = round(sum(v for job in work().jobs for v in job.gallons.values()), 4)
    assert gallons == round(float(sections["paint_gal"].sum()), 4)
    assert round(sum(j.beads_lb for j in work().jobs), 4) == round(sections["beads_lb"].sum(), 4)
    by_color = quantities.groupby("color")["paint_gal"].sum().round(4).to_dict()
    assert by_color == sections.groupby("color")["paint_gal"].sum().round(4).to_dict()


def test_load_sheet_is_the_sum_of_its_sections() -> None:
    jobs = pd.DataFrame(
        {
            "job_id": [job.job_id for job in work().jobs],
            "tour_id": [f"T{k % 3}" for k in range(len(work().jobs))],
            "sequence": np.arange(len(work().jobs)),
            "cones": 7,
            "cone_in": 28,
            "signs": 3,
            "arrow_board": 0,
        }
    )
    tours = pd.DataFrame({"tour_id": ["T0", "T1", "T2"]})
    loads = loads_table(tours, jobs, work().sections, (LoadParams(), shipped_materials()))
    paint = loads[loads["item"] == "paint"].groupby("color")["amount"].sum().round(4)
    asked = work().sections.groupby("color")["paint_gal"].sum().round(4)
    assert paint.to_dict() == asked.to_dict()
    beads = loads.loc[loads["item"] == "beads", "amount"].sum()
    assert round(beads, 4) == round(work().sections["beads_lb"].sum(), 4)
    assert (loads.loc[loads["item"] == "cones", "amount"] == 7).all()


def test_register_marks_join_neighboring_pieces() -> None:
    """Every mark lies on the outline of the box of the piece it begins."""
    marks, sections = work().marks, work().sections.set_index("section_id")
    assert (marks["section_id"] != marks["next_id"]).all()
    later = sections.loc[marks["next_id"]]
    assert (later["number"] > 1).all()
    low, high = later["from_ft"].to_numpy(), later["to_ft"].to_numpy()
    at = marks["station_ft"].to_numpy()
    assert np.minimum(np.abs(at - low), np.abs(at - high)).max() < 1e-6
    assert len(marks) == 2 * (sections["number"] > 1).sum()


@pytest.mark.parametrize("change", [{"length": "3 ft"}, {"width": "6 ft"}, {"overlap": "3 in"}])
def test_other_reaches_fit_too(change: dict[str, str]) -> None:
    params = ReachParams(**change)
    some = work().markings.iloc[::9]
    sections, _ = cut_markings(some, town().design, params)
    still = sections[sections["moving"] == 0]
    assert still["length_ft"].max() <= params.length_ft + 1e-6
    assert still["width_ft"].max() <= params.width_ft + 1e-6
    assert sections["marking_id"].nunique() == len(some)

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

from layoutgen.markings.symbols import figure
from layoutgen.work.cutting import EASE_FT
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
from layoutgen.work.stands import hard_edges_of, stands_of
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
    times = (CREW, lambda material, _: DRYING[material])
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
    assert still["length_ft"].max() <= REACH.length_ft + EASE_FT
    assert still["width_ft"].max() <= REACH.width_ft + EASE_FT
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


def test_traffic_keeps_right_in_every_piece_of_a_crosswalk() -> None:
    """On two-way streets offsets right of the axis are painted along it, left ones against it."""
    sections = work().sections
    bars = sections[sections["kind"] == "crosswalk"]
    streets = {s.segment_id: s for s in town().design.segments}
    owners = work().markings.set_index("marking_id")["segment_id"].reindex(bars["marking_id"])
    plain = [
        streets[o].oneway == "both" and "center" not in lane
        for o, lane in zip(owners, bars["lane"], strict=True)
    ]
    rows = bars[plain]
    middle = (rows["left_ft"] + rows["right_ft"]) / 2.0
    clear = middle.abs() > 8.0
    assert clear.sum() > 500
    assert (np.sign(middle[clear]) == rows["travel"][clear]).all()


def test_no_piece_laps_into_the_opposing_lane() -> None:
    sections = work().sections
    still = sections[sections["moving"] == 0]
    segments = town().design.segments
    edges = {k: hard_edges_of(stands_of(segments[k], 8.5)) for k in set(still["segment_index"])}
    over = [
        section
        for section, k, left, right in zip(
            still["section_id"],
            still["segment_index"],
            still["left_ft"],
            still["right_ft"],
            strict=True,
        )
        if any(left + 0.02 < e < right - 0.02 for e in edges[k])
    ]
    assert over == []


def test_closing_every_lane_of_a_direction_holds_traffic() -> None:
    """Lanes are closed together: what is left decides about hold and taper."""
    segments = town().design.segments
    checked = 0
    for job in work().jobs:
        segment = segments[job.segment_index]
        lanes = segment.lanes(job.travel)
        spare = any(s.kind == "center_turn_lane" for s in segment.strips)
        own = sum(s.right_ft - s.left_ft for s in lanes)
        if job.moving or spare or not lanes:
            continue
        closed = job.closed_ft >= own - 0.01
        told = "hold traffic" in job.hold.replace("inside the intersection: hold traffic", "")
        assert closed == told or len(lanes) == 1, job.job_id
        assert (job.taper == "one_lane") == told, job.job_id
        checked += 1
    assert checked > 300


def test_turn_arrows_are_stem_and_head_and_two_lane_words_two_halves() -> None:
    """Common practice: an arrow in two parts, and the wide word lane by lane."""
    sections, markings = work().sections, work().markings.set_index("marking_id")
    arrows = sections[sections["kind"] == "turn_arrow"]
    assert set(arrows["pieces"]) == {2}
    stem, head = (arrows[arrows["number"] == n]["length_ft"] for n in (1, 2))
    assert stem.to_numpy() == pytest.approx(8.0 - head.to_numpy())
    assert set(stem.round(3)) == {round(figure("arrow_left").breaks[0], 3)}
    wide = markings.index[markings["style"] == "SCHOOL two-lane"]
    halves = sections[sections["marking_id"].isin(wide)]
    assert len(wide) == 3
    assert (halves.groupby("marking_id")["lane"].nunique() == 2).all()
    assert (halves.groupby(["marking_id", "lane"]).size() == 2).all()


def test_every_section_is_in_one_job_and_stacks_stay_together() -> None:
    sections = work().sections
    assert (sections["job_id"] != "").all()
    listed = [one for job in work().jobs for one in job.section_ids]
    assert sorted(listed) == sorted(sections["section_id"])
    job_of = sections.groupby("marking_id")["job_id"].agg(set)
    tops = sections[sections["over_id"].fillna("") != ""]  # lines over red and green too
    assert (tops["moving"] == 1).any()
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
    assert still["length_ft"].max() <= params.length_ft + EASE_FT
    assert still["width_ft"].max() <= params.width_ft + EASE_FT
    assert sections["marking_id"].nunique() == len(some)

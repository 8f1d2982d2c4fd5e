"""Layers jobs, visits, tours and unserved from a plan."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layoutgen.gis.schema import layer
from layoutgen.tours.clock import TANK_COLORS, Case, Tour, Visit, by_tank
from layoutgen.tours.drives import drives
from layoutgen.work.jobs import Job
from layoutgen.work.time import clock_text

_FT_PER_MILE = 5280.0


@dataclass(frozen=True)
class TourTables:
    """Layers of the schema, working plane, without a CRS; `interrupted` = stopped by the user."""

    jobs: gpd.GeoDataFrame
    visits: gpd.GeoDataFrame
    tours: gpd.GeoDataFrame
    unserved: gpd.GeoDataFrame
    interrupted: bool = False


def tour_tables(
    case: Case, tours: Sequence[Tour], reasons: Mapping[int, str], *, interrupted: bool
) -> TourTables:
    """Layers of a plan; `reasons` says why a job (numbered from 1) is in no tour."""
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


def no_tables() -> TourTables:
    """Layers of a plan without jobs."""
    return TourTables(*(_frame(name, [], []) for name in ("jobs", "visits", "tours", "unserved")))


def _frame(name: str, rows: list[dict[str, Any]], geometry: Any) -> gpd.GeoDataFrame:
    """Table with exactly the columns of a layer, in their order and types."""
    columns = layer(name).columns
    table = pd.DataFrame(rows, columns=[column.name for column in columns])
    types = {"text": object, "real": float, "integer": np.int64}
    table = table.astype({column.name: types[column.type] for column in columns})
    return gpd.GeoDataFrame(table, geometry=np.array(list(geometry), dtype=object))


def _street(case: Case, job: Job) -> str:
    return case.design.segments[job.segment_index].name


def _job_rows(case: Case, tours: Sequence[Tour]) -> Iterator[dict[str, Any]]:
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
            **{f"{color}_gal": gallons for color, gallons in by_tank(job).items()},
            "beads_lb": job.beads_lb,
            "minutes": job.minutes,
            "window": "",
            "earliest": "",
            "latest": "",
            "district": job.district,
        }


def _visit_rows(case: Case, tour: Tour) -> Iterator[dict[str, Any]]:
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


def _tour_row(case: Case, tour: Tour) -> dict[str, Any]:
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
        **{f"{c}_gal": sum(by_tank(job)[c] for job in jobs) for c in TANK_COLORS},
        "beads_lb": sum(job.beads_lb for job in jobs),
    }


def _tour_lines(case: Case, tours: Sequence[Tour]) -> list[Any]:
    """Line of every tour: its drives, and the way it moves while it works."""
    pairs: list[tuple[int, int]] = []
    counts: list[int] = []
    for tour in tours:
        before = len(pairs)
        for a, b in pairwise(tour.visits):
            pairs += [(a.place, b.place)] + [(b.place, b.place)] * (b.place > 0)
        counts.append(len(pairs) - before)
    lines = drives(case.network, case.places, case.ways, pairs)
    ends = np.cumsum([0, *counts])
    return [_one_line(lines[a:b]) for a, b in pairwise(ends)]


def _one_line(lines: NDArray[np.object_]) -> Any:
    xy = shapely.get_coordinates(lines)
    new = np.concatenate([[True], np.hypot(*np.diff(xy, axis=0).T) > 1e-6])
    return shapely.LineString(xy[new] if new.sum() > 1 else np.repeat(xy[new], 2, axis=0))

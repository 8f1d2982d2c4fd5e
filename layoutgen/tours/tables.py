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
from layoutgen.street.design import Design
from layoutgen.tours.clock import TANK_COLORS, Case, Tour, Visit, by_tank
from layoutgen.tours.drives import drives
from layoutgen.work.jobs import Job
from layoutgen.work.time import clock_text
from layoutgen.work.traffic_control import Closure, Work, estimate

_FT_PER_MILE = 5280.0
_SUMMED = ("beads_lb", "primer_gal", "weight_lb", "cost")


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
    crossing = names_at_nodes(case.design)
    for number_, job in enumerate(case.jobs, start=1):
        tour_id, sequence = spot.get(number_, ("", 0))
        closure = _closure(case, job)
        yield {
            "job_id": job.job_id,
            "tour_id": tour_id,
            "sequence": sequence,
            "segment_id": case.design.segments[job.segment_index].segment_id,
            "street": _street(case, job),
            "cross_streets": _cross_streets(case.design, job, crossing),
            "bearing_deg": float(bearing[number_ - 1]),
            "entry_ft": job.entry_ft,
            "exit_ft": job.exit_ft,
            "markings": ", ".join(job.marking_ids),
            "kinds": job.kinds,
            "sections": len(job.section_ids),
            "area_sqft": job.area_sqft,
            **{f"{color}_gal": gallons for color, gallons in by_tank(job).items()},
            "beads_lb": job.beads_lb,
            "primer_gal": job.primer_gal,
            "weight_lb": job.weight_lb,
            "materials": ", ".join(job.materials),
            "cost": job.cost,
            "minutes": job.minutes,
            "dry_min": job.dry_min,
            "moving": int(job.moving),
            "speed_mph": case.design.segments[job.segment_index].speed_mph,
            "closed_ft": job.closed_ft,
            "cones": closure.cones,
            "cone_in": closure.cone_in,
            "signs": closure.signs,
            "arrow_board": closure.arrow_board,
            "taper_ft": closure.taper_ft,
            "buffer_ft": closure.buffer_ft,
            "duration": closure.duration,
            "hold": job.hold,
            "window": "",
            "earliest": "",
            "latest": "",
            "district": job.district,
        }


def names_at_nodes(design: Design) -> dict[str, list[str]]:
    """Names of the streets that meet at every node, each once, sorted."""
    out: dict[str, set[str]] = {}
    for segment in design.segments:
        for node in (segment.start, segment.end):
            out.setdefault(node, set()).add(segment.name)
    return {node: sorted(name for name in names if name) for node, names in out.items()}


def _cross_streets(design: Design, job: Job, at: Mapping[str, list[str]]) -> str:
    """The streets at the ends of its segment, in order of travel."""
    segment = design.segments[job.segment_index]
    ends = [segment.start, segment.end][:: job.travel]
    texts = [" and ".join(n for n in at[end] if n != segment.name) or "its end" for end in ends]
    return f"from {texts[0]} to {texts[1]}"


def _closure(case: Case, job: Job) -> Closure:
    """Estimate of what closes the place to traffic, for loading."""
    segment = case.design.segments[job.segment_index]
    work = Work(
        speed_mph=segment.speed_mph,
        closed_ft=job.closed_ft,
        work_ft=abs(job.exit_ft - job.entry_ft),
        minutes=job.minutes,
        moving=job.moving,
        night=case.settings.crew.is_night,
        taper=job.taper,
    )
    return estimate(work, case.settings.traffic)


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

    served = [_closure(case, job) for job in jobs]
    dry_min = round(sum(job.dry_min for job in jobs), 4)
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
        "paint_min": minutes(lambda one: one.leave_s - one.start_s if one.place else 0) - dry_min,
        "dry_min": dry_min,
        "wait_min": 0.0,
        "changeover_min": minutes(lambda one: one.change_s + one.lunch_s) + refill_s / 60.0,
        **{f"{c}_gal": round(sum(by_tank(job)[c] for job in jobs), 4) for c in TANK_COLORS},
        **{name: round(sum(getattr(job, name) for job in jobs), 4) for name in _SUMMED},
        "cones": max((closure.cones for closure in served), default=0),
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

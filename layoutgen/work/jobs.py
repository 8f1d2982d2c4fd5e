"""Sections to jobs: what one set-up of the truck serves.

Sections of one segment and one direction that a truck reaches from one place form a job; a base
coat and what is painted over it stay together. Lines painted while driving along form a job by
segment, direction, color and material. Jobs are formed over all sections, painted ones included,
and only then lose what is done: so their ids stay while work goes on.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from layoutgen.config import Params, length
from layoutgen.street.design import Design
from layoutgen.work.closing import closing
from layoutgen.work.time import CrewParams, around_min
from layoutgen.work.timetable import Drying, Pace, Stint, Timetable, timetable
from layoutgen.work.traffic_control import Taper

_TINY_FT = 1e-9
_DIGITS = 4
#: a section with this status needs no work
DONE = "painted"


class JobParams(Params):
    """How far one set-up reaches."""

    reach_ft: float = length(
        "60 ft",
        low="5 ft",
        high="500 ft",
        source="common practice",
        text="length of street that hoses and cones serve without moving the set-up",
    )


@dataclass(frozen=True)
class Job:
    """One set-up of the truck.

    Attributes:
        job_id: from segment and marking ids, so that other streets never change it.
        segment_index: index into the segments of the design.
        travel: +1 the truck moves along the axis, -1 against it.
        entry_ft, exit_ft: segment stations where the truck enters and leaves.
        marking_ids: in painting order.
        section_ids: in painting order.
        colors: in painting order, repeats left out only between neighbours.
        gallons: wet paint by color.
        minutes: time at the job, set-up, color changes and drying within included.
        kinds: marking kinds with counts.
        district: label of the district that holds most of its painted area.
        amounts: sums of sections: beads_lb, primer_gal, weight_lb, cost.
        dry_min: waits for drying within it.
        moving: painted while driving along.
        closed_ft: width taken from traffic.
        hold: why traffic must be held, or empty.
        taper: kind of taper before the work.
    """

    job_id: str
    segment_index: int
    travel: int
    entry_ft: float
    exit_ft: float
    marking_ids: tuple[str, ...]
    colors: tuple[str, ...]
    area_sqft: float
    gallons: Mapping[str, float]
    beads_lb: float
    minutes: float
    kinds: str
    district: str = ""
    section_ids: tuple[str, ...] = ()
    primer_gal: float = 0.0
    weight_lb: float = 0.0
    cost: float = 0.0
    dry_min: float = 0.0
    materials: tuple[str, ...] = ()
    moving: bool = False
    closed_ft: float = 0.0
    hold: str = ""
    taper: Taper = "merging"


def group(
    sections: gpd.GeoDataFrame, design: Design, params: JobParams, times: tuple[CrewParams, Drying]
) -> tuple[list[Job], gpd.GeoDataFrame]:
    """Jobs sorted by id, and the sections with job_id, sequence, start_min and wait_min.

    Every section that is not painted yet is in exactly one job; painted ones have no job.

    Args:
        sections: table of `sections.cut_markings` with amounts and minutes.
        design: street model the segment indices point into.
        params: reach.
        times: set-up times, and drying by material.
    """
    rows = _along_travel(sections)
    parts = [_set_ups(rows[~rows["moving"]], params.reach_ft)] if (~rows["moving"]).any() else []
    parts += [_runs(rows[rows["moving"]])] if rows["moving"].any() else []
    if not parts:
        return [], _placed(sections, [], {})
    made = _records(pd.concat(parts), design, times)
    jobs = sorted((job for job, _ in made), key=lambda job: job.job_id)
    return jobs, _placed(sections, jobs, {job.job_id: table for job, table in made})


def windows(start: list[float], end: list[float], reach: float) -> list[int]:
    """Window of every interval, for the fewest windows of one length; starts must be sorted.

    Greedy is optimal: the leftmost interval not yet covered must lie in some window, and of all
    windows that hold it the one that begins with it holds every later interval the others hold. So
    each interval joins the first window that holds it, or opens a new one at its own start. An
    interval longer than the window is alone.
    """
    opened: list[float] = []
    out: list[int] = []
    for a, b in zip(start, end, strict=True):
        first = bisect_left(opened, b - reach - _TINY_FT)
        if first == len(opened):
            opened.append(a)
        out.append(first)
    return out


def _along_travel(sections: gpd.GeoDataFrame) -> pd.DataFrame:
    """Adds stack (base coat and all over it, by direction) and start and end along travel."""
    out = pd.DataFrame(sections.drop(columns="geometry", errors="ignore"))
    out = out.sort_values("section_id", kind="stable")
    # a line over a ground that is painted piece by piece is painted with it, once it is dry
    moving = out["moving"].astype(bool)
    out["moving"] = moving & ~out["over_id"].isin(set(out.loc[~moving, "marking_id"]))
    ahead = (out["travel"] > 0).to_numpy(dtype=bool)
    pairs = zip(_stacks(out), ahead, strict=True)
    out["stack"] = [f"{stack}/{'F' if forward else 'B'}" for stack, forward in pairs]
    out["start"] = np.where(ahead, out["from_ft"], -out["to_ft"])
    out["end"] = np.where(ahead, out["to_ft"], -out["from_ft"])
    return out


def _stacks(rows: pd.DataFrame) -> pd.Series[str]:
    """Id of the base coat below each marking that is not a moving line, or its own id."""
    own = rows["marking_id"].astype(str)
    over = rows["over_id"].fillna("").astype(str)
    bases = set(own[~rows["moving"]])
    below = over.isin(bases) & ~rows["moving"]
    return own.where(~below, over)


def _set_ups(rows: pd.DataFrame, reach_ft: float) -> pd.DataFrame:
    """Figures with columns key (job), entry and exit along travel."""
    stacks = rows.groupby("stack").agg(
        segment_index=("segment_index", "first"),
        travel=("travel", "first"),
        start=("start", "min"),
        end=("end", "max"),
    )
    place = ["segment_index", "travel"]
    stacks = stacks.rename_axis("stack").reset_index().sort_values([*place, "start", "stack"])
    windows_of = [
        windows(part["start"].tolist(), part["end"].tolist(), reach_ft)
        for _, part in stacks.groupby(place, sort=True)
    ]
    stacks["window"] = np.array([one for part in windows_of for one in part], dtype=np.int64)
    spans = stacks.groupby([*place, "window"])[["start", "end"]]
    stacks["entry"] = spans.transform("min")["start"]
    stacks["exit"] = spans.transform("max")["end"]
    stacks["entry"] = _not_behind(stacks, reach_ft)
    stacks["key"] = _keys(stacks, [*place, "window"], "set-up")
    return rows.merge(stacks[["stack", "entry", "exit", "key"]], on="stack", how="left")


def _not_behind(stacks: pd.DataFrame, reach_ft: float) -> pd.Series[float]:
    """Entry of each set-up, moved up to where the one before it ended, since trucks do not back up.

    Windows may overlap; a truck at the end of one still reaches the beginning of the next. Markings
    longer than the reach are painted on the move and do not push others.
    """
    place = ["segment_index", "travel", "window"]
    jobs = stacks.groupby(place, sort=True)[["entry", "exit"]].first().reset_index()
    short = jobs["exit"] - jobs["entry"] <= reach_ft + _TINY_FT
    jobs["before"] = jobs["exit"].where(short)
    jobs["before"] = jobs.groupby(place[:2])["before"].cummax()
    jobs["before"] = jobs.groupby(place[:2])["before"].ffill()
    jobs["before"] = jobs.groupby(place[:2])["before"].shift()
    pushed = short & (jobs["before"] > jobs["entry"])
    jobs["moved"] = jobs["entry"].where(~pushed, jobs[["before", "exit"]].min(axis=1))
    moved = stacks[place].merge(jobs[[*place, "moved"]], on=place, how="left")["moved"]
    return pd.Series(moved.to_numpy(dtype=float), index=stacks.index)


def _runs(rows: pd.DataFrame) -> pd.DataFrame:
    """Long lines with columns key (job), entry and exit along travel."""
    lines = rows.copy()
    place = ["segment_index", "travel", "color", "material"]
    spans = lines.groupby(place)[["start", "end"]]
    lines["entry"] = spans.transform("min")["start"]
    lines["exit"] = spans.transform("max")["end"]
    lines["key"] = _keys(lines, place, "run")
    return lines


def _keys(rows: pd.DataFrame, columns: list[str], prefix: str) -> pd.Series[str]:
    number = rows.groupby(columns, sort=True).ngroup()
    return prefix + " " + number.astype(str)


def _records(
    rows: pd.DataFrame, design: Design, times: tuple[CrewParams, Drying]
) -> list[tuple[Job, Timetable]]:
    """One job per key, with its timetable; none where nothing is left to paint."""
    order = rows.sort_values(["key", "section_id"], kind="stable")
    ends = np.flatnonzero(order["key"].to_numpy()[1:] != order["key"].to_numpy()[:-1]) + 1
    records = order.to_dict("records")
    bounds = [0, *ends.tolist(), len(records)]
    parts = (records[a:b] for a, b in pairwise(bounds))
    return [_job(part, design, times) for part in parts if any(_open(row) for row in part)]


def _open(row: Mapping[Any, Any]) -> bool:
    return bool(row.get("status", "open") != DONE)


def _job(
    part: Sequence[Mapping[Any, Any]], design: Design, times: tuple[CrewParams, Drying]
) -> tuple[Job, Timetable]:
    crew, drying = times
    first = part[0]
    todo = [row for row in part if _open(row)]
    moving = bool(first["moving"])
    plan = timetable(
        [_stint(row) for row in todo],
        drying,
        Pace(crew.color_change_min, crew.return_min),
        stay=not moving,
    )
    by_id = {row["section_id"]: row for row in todo}
    rows = [by_id[one] for one in plan.order]
    travel = int(first["travel"])
    segment = design.segments[first["segment_index"]]
    entry, exit_ = (
        float(min(max(first[end] * travel, 0.0), segment.length_ft)) for end in ("entry", "exit")
    )
    closed = closing(
        segment,
        travel,
        {lane for row in rows for lane in row.get("taken", ())},
        max(float(row.get("side_ft", 0.0)) for row in rows),
        any(bool(row.get("inside", False)) for row in rows),
    )
    named = f"{segment.segment_id}/{'F' if travel > 0 else 'B'}"
    job = Job(
        job_id=f"job/{named}/{min(row['marking_id'] for row in part)}",
        segment_index=int(first["segment_index"]),
        travel=travel,
        entry_ft=entry,
        exit_ft=exit_,
        marking_ids=tuple(dict.fromkeys(str(row["marking_id"]) for row in rows)),
        colors=plan.colors,
        gallons=_by_color(rows),
        minutes=round(around_min(crew, moving=moving) + plan.total_min, _DIGITS),
        kinds=_kinds(rows),
        district=_most(rows),
        section_ids=plan.order,
        dry_min=plan.dry_min,
        materials=tuple(sorted({str(row["material"]) for row in rows})),
        moving=moving,
        closed_ft=round(closed.width_ft, _DIGITS),
        hold="" if moving else closed.hold,
        taper=closed.taper,
        **{name: _total(rows, name) for name in _SUMMED},
    )
    return job, plan


#: columns of sections that a job sums
_SUMMED = ("area_sqft", "beads_lb", "primer_gal", "weight_lb", "cost")


def _total(rows: Sequence[Mapping[Any, Any]], name: str) -> float:
    return float(round(sum(float(row.get(name, 0.0)) for row in rows), _DIGITS))


def _stint(row: Mapping[Any, Any]) -> Stint:
    return Stint(
        str(row["section_id"]),
        str(row["marking_id"]),
        str(row["over_id"] or ""),
        int(row["coat"]),
        str(row["color"]),
        str(row["material"]),
        str(row["lane"]),
        float(row["start"]),
        float(row["minutes"]),
    )


def _kinds(rows: Sequence[Mapping[Any, Any]]) -> str:
    """Kinds with the number of their markings."""
    kinds = [kind for _, kind in sorted({(row["marking_id"], row["kind"]) for row in rows})]
    return ", ".join(f"{kinds.count(kind)} {kind}" for kind in sorted(set(kinds)))


def _most(rows: Sequence[Mapping[Any, Any]]) -> str:
    """District of the largest summed area; of equal ones the first by name."""
    sums: dict[str, float] = {}
    for row in rows:
        label = str(row["district"])
        sums[label] = sums.get(label, 0.0) + float(row["area_sqft"])
    return min(sums, key=lambda label: (-round(sums[label], 3), label))


def _by_color(rows: Sequence[Mapping[Any, Any]]) -> dict[str, float]:
    """Gallons by color, without colors that take none."""
    out: dict[str, float] = {}
    for row in rows:
        out[str(row["color"])] = out.get(str(row["color"]), 0.0) + float(row["paint_gal"])
    return {color: round(out[color], _DIGITS) for color in sorted(out) if out[color] > 0.0}


def _placed(
    sections: gpd.GeoDataFrame, jobs: Sequence[Job], plans: Mapping[str, Timetable]
) -> gpd.GeoDataFrame:
    """Sections with their place in their job; those without a job have none."""
    place = {
        one: (job.job_id, k, plans[job.job_id].start_min[one], plans[job.job_id].wait_min[one])
        for job in jobs
        for k, one in enumerate(job.section_ids, start=1)
    }
    found = [place.get(one, ("", 0, 0.0, 0.0)) for one in sections["section_id"]]
    columns = ("job_id", "sequence", "start_min", "wait_min")
    values = list(zip(*found, strict=True)) if found else [()] * len(columns)
    types = (object, np.int64, float, float)
    return sections.assign(
        **{
            name: pd.Series(list(v), index=sections.index, dtype=t)
            for name, v, t in zip(columns, values, types, strict=True)
        }
    )

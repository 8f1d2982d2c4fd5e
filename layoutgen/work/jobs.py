"""Markings to jobs: what one set-up of the truck serves.

Figures and transverse markings of one segment and one direction that a truck reaches from one place
form a job; a base coat and what is painted over it stay together. Long lines of one segment,
direction and color form a job that the truck paints while it drives along.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from layoutgen.config import Params, length
from layoutgen.errors import Finding
from layoutgen.street.design import Design
from layoutgen.work.quantities import KEEP
from layoutgen.work.time import CrewParams, job_minutes

_TINY_FT = 1e-9


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
        marking_ids: in painting order: base coats first, then along travel.
        colors: in painting order, repeats left out only between neighbours.
        gallons: wet paint by color.
        minutes: time at the job, set-up and color changes within included.
        kinds: marking kinds with counts.
        district: label of the district that holds most of its painted area.
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


def group(
    markings: gpd.GeoDataFrame, design: Design, params: JobParams, crew: CrewParams
) -> tuple[list[Job], list[Finding]]:
    """Jobs sorted by id; every marking that is not kept is in exactly one, or in a finding.

    Args:
        markings: table of the contract with paint_gal, beads_lb (`quantities.measure`) and minutes.
        design: street model the segment indices point into.
        params: reach.
        crew: set-up times.
    """
    todo, findings = _usable(markings, design)
    rows, turned = _with_direction(todo, design)
    is_line = rows["is_line"].astype(bool)
    parts = [_set_ups(rows[~is_line], params.reach_ft)] if (~is_line).any() else []
    parts += [_runs(rows)] if is_line.any() else []
    jobs = _records(pd.concat(parts), design, crew) if parts else []
    return sorted(jobs, key=lambda job: job.job_id), findings + turned


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


def _usable(markings: gpd.GeoDataFrame, design: Design) -> tuple[pd.DataFrame, list[Finding]]:
    """Markings to paint that lie on a segment; the others that should be painted as findings."""
    todo = pd.DataFrame(markings.drop(columns="geometry", errors="ignore"))
    todo = todo.loc[todo["action"] != KEEP]
    index = pd.to_numeric(todo["segment_index"], errors="coerce")
    on_segment = index.between(0, len(design.segments) - 1)
    lost = sorted(todo.loc[~on_segment, "marking_id"].astype(str))
    kept = todo.loc[on_segment].copy()
    kept["segment_index"] = index[on_segment].astype(np.int64)
    return kept, [_lost_finding(marking_id) for marking_id in lost]


def _lost_finding(marking_id: str) -> Finding:
    return Finding(
        code="marking_without_segment",
        severity="error",
        source="work",
        feature_id=marking_id,
        text="The marking lies on no street segment, so no truck can be sent to it.",
        fix="Check the rule that made it.",
    )


def _with_direction(rows: pd.DataFrame, design: Design) -> tuple[pd.DataFrame, list[Finding]]:
    """Adds travel (+1 or -1), stack (base coat and all over it), and start and end along travel."""
    out = rows.sort_values("marking_id", kind="stable").copy()
    out["is_line"] = out["is_line"].astype(bool)
    out["stack"] = _stacks(out)
    one_way = {"both": 0, "forward": 1, "backward": -1}
    allowed = np.array([one_way[s.oneway] for s in design.segments], dtype=np.int64)
    fixed = allowed[out["segment_index"].to_numpy(dtype=np.int64)]
    asked = _asked_travel(out)
    against = (fixed != 0) & (asked == -fixed)
    out["travel"] = np.where(fixed != 0, fixed, np.where(asked == 0, 1, asked))
    ahead = (out["travel"] > 0).to_numpy(dtype=bool)
    out["start"] = np.where(ahead, out["from_ft"], -out["to_ft"])
    out["end"] = np.where(ahead, out["to_ft"], -out["from_ft"])
    return out, [_against_finding(str(one)) for one in out.loc[against, "marking_id"]]


def _against_finding(marking_id: str) -> Finding:
    return Finding(
        code="travel_against_oneway",
        severity="warning",
        source="work",
        feature_id=marking_id,
        text="The marking asks for travel against its one-way street; it is painted with traffic.",
        fix="Check `oneway` of the street, or the direction of the marking.",
    )


def _stacks(rows: pd.DataFrame) -> pd.Series[str]:
    """Id of the base coat below each marking that is not a line, or its own id."""
    own = rows["marking_id"].astype(str)
    over = rows["over_id"].fillna("").astype(str)
    bases = set(own[~rows["is_line"]])
    below = over.isin(bases) & ~rows["is_line"]
    return own.where(~below, over)


def _asked_travel(rows: pd.DataFrame) -> pd.Series[int]:
    """Travel wished by each marking; within a stack the first one that is not 0 counts for all."""
    wished = rows["travel"].astype(float).replace(0.0, np.nan)
    return wished.groupby(rows["stack"]).transform("first").fillna(0.0).astype(np.int64)


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
    lines = rows[rows["is_line"]].copy()
    place = ["segment_index", "travel", "color"]
    spans = lines.groupby(place)[["start", "end"]]
    lines["entry"] = spans.transform("min")["start"]
    lines["exit"] = spans.transform("max")["end"]
    lines["key"] = _keys(lines, place, "run")
    return lines


def _keys(rows: pd.DataFrame, columns: list[str], prefix: str) -> pd.Series[str]:
    number = rows.groupby(columns, sort=True).ngroup()
    return prefix + " " + number.astype(str)


def _records(rows: pd.DataFrame, design: Design, crew: CrewParams) -> list[Job]:
    """One record per key. Base coats come first, so that they dry while the rest is painted."""
    order = rows.sort_values(["key", "coat", "start", "marking_id"], kind="stable")
    order = order.assign(sqft=order["area_sqft"])
    parts = order.groupby("key", sort=False)
    first = parts.first()
    lists = parts[["marking_id", "color", "kind", "paint_gal", "district", "sqft"]].agg(list)
    sums = parts[["area_sqft", "beads_lb", "minutes"]].sum()
    table = first[["segment_index", "travel", "entry", "exit", "is_line"]].join(sums).join(lists)
    return [_record(row, design, crew) for row in table.to_dict("records")]


def _record(row: Mapping[Any, Any], design: Design, crew: CrewParams) -> Job:
    travel, ids, colors, kinds = row["travel"], row["marking_id"], row["color"], row["kind"]
    segment = design.segments[row["segment_index"]]
    entry, exit_ = (
        float(min(max(row[end] * travel, 0.0), segment.length_ft)) for end in ("entry", "exit")
    )
    order = tuple(str(c) for i, c in enumerate(colors) if i == 0 or colors[i - 1] != c)
    return Job(
        job_id=f"job/{segment.segment_id}/{'F' if travel > 0 else 'B'}/{min(ids)}",
        segment_index=int(row["segment_index"]),
        travel=int(travel),
        entry_ft=entry,
        exit_ft=exit_,
        marking_ids=tuple(str(one) for one in ids),
        colors=order,
        area_sqft=float(row["area_sqft"]),
        gallons=_sums(colors, row["paint_gal"]),
        beads_lb=float(row["beads_lb"]),
        minutes=job_minutes(row["minutes"], colors=len(order), is_line=row["is_line"], params=crew),
        kinds=", ".join(f"{kinds.count(kind)} {kind}" for kind in sorted(set(kinds))),
        district=_most(row["district"], row["sqft"]),
    )


def _most(labels: list[str], areas: list[float]) -> str:
    """Label of the largest summed area; of equal ones the first by name."""
    sums: dict[str, float] = {}
    for label, area in zip(labels, areas, strict=True):
        sums[str(label)] = sums.get(str(label), 0.0) + float(area)
    return min(sums, key=lambda label: (-round(sums[label], 3), label))


def _sums(colors: list[str], gallons: list[float]) -> dict[str, float]:
    """Gallons by color, without colors that take none."""
    out: dict[str, float] = {}
    for color, amount in zip(colors, gallons, strict=True):
        out[str(color)] = out.get(str(color), 0.0) + float(amount)
    return {color: out[color] for color in sorted(out) if out[color] > 0.0}

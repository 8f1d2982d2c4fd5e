"""Ids, names and controls of intersections from the rows of role `intersections`."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

import geopandas as gpd
import numpy as np

from layoutgen.errors import Finding
from layoutgen.gis.read import points_of
from layoutgen.street.controls import Crossing, NodeControl, apply_whole, places_of
from layoutgen.street.ends import End
from layoutgen.street.params import StreetParams


def name_crossings(
    crossings: Sequence[Crossing],
    ends: Sequence[Sequence[End]],
    controls: Sequence[NodeControl],
    tables: Mapping[str, gpd.GeoDataFrame],
    params: StreetParams,
) -> tuple[list[tuple[str, str]], list[Finding]]:
    """(id, name) per crossing, from the nearest row of role intersections or from the streets."""
    given, findings = _nearest_rows(crossings, tables, params.controls.intersection_reach_ft)
    ids: dict[str, int] = defaultdict(int)
    out = []
    for k, crossing in enumerate(crossings):
        row = given.get(k)
        streets = sorted({e.segment.name for e in ends[k] if e.segment.name})
        node_id = text_of(row, "intersection_id") or _derived_id(ends[k])
        ids[node_id] += 1
        node_id = node_id if ids[node_id] == 1 else f"{node_id}~{ids[node_id]}"
        name = text_of(row, "name") or " & ".join(streets)
        out.append((node_id, name))
        whole = text_of(row, "control") or None
        findings += apply_whole(crossing, controls[k], whole, node_id)
    return out, findings


def _derived_id(ends: Sequence[End]) -> str:
    names = sorted({e.segment.segment_id for e in ends})
    return "+".join(names[:2])


def text_of(row: Mapping[str, Any] | None, key: str) -> str:
    """Text of a cell; empty where the row or the value is missing."""
    value = row.get(key) if row is not None else None
    return "" if value is None or value != value else str(value)


def _nearest_rows(
    crossings: Sequence[Crossing], tables: Mapping[str, gpd.GeoDataFrame], reach: float
) -> tuple[dict[int, Mapping[str, Any]], list[Finding]]:
    """Row of role intersections for each crossing: mutual nearest within reach."""
    if "intersections" not in tables:
        return {}, []
    table = tables["intersections"]
    places = points_of(table)
    rows = table.drop(columns=table.geometry.name).to_dict("records")
    usable = [i for i, p in enumerate(places) if p is not None and not p.is_empty]
    taken: dict[int, Mapping[str, Any]] = {}
    used: set[int] = set()
    for far, node, i in _candidates(crossings, places, usable, reach):
        if np.isfinite(far) and node not in taken:
            taken[node] = rows[i]
            used.add(i)
    unused = [i for i in range(len(rows)) if i not in used]
    text = "no intersection of three or more streets here that is not named already"
    fix = (
        "nothing to do where streets merely bend or end, or where several nodes make one "
        "intersection; else check the street lines"
    )
    return taken, [
        Finding("intersection_unused", "notice", "intersections",
                text_of(rows[i], "intersection_id"), text, fix, places[i], 1)
        for i in unused
    ]  # fmt: skip


def _candidates(
    crossings: Sequence[Crossing], places: Any, usable: Sequence[int], reach: float
) -> list[tuple[float, int, int]]:
    """(distance, crossing, row) of the nearest crossing of each usable row, nearest first."""
    if not crossings or not usable:
        return []
    xy = np.array([[places[i].x, places[i].y] for i in usable])
    tree, owner = places_of(crossings)
    far, place = tree.query(xy, distance_upper_bound=reach)
    order = np.lexsort([xy[:, 1], xy[:, 0], far])
    return [
        (float(far[k]), owner[place[k]] if np.isfinite(far[k]) else -1, usable[k])
        for k in order.tolist()
    ]

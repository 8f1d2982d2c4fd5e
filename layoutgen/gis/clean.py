"""Street lines made fit for a network: every repair and every refusal is a finding.

The steps look at whole columns at once; what they find per row goes to the findings layer with its
geometry. Rows in = rows used + rows in findings.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layoutgen.errors import Finding

#: shorter lines cannot carry a marking; far below any real block, far above rounding
MIN_LENGTH_FT = 0.5
_LINE_TYPES = (1, 2, 5)  # LineString, LinearRing, MultiLineString


def clean_streets(table: gpd.GeoDataFrame) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    """Single, distinct, non-degenerate lines with unique ids, sorted by id.

    Args:
        table: role `streets` on the working plane (ft).

    Returns:
        The lines, with `source_id` (the id in the file, or one made from the geometry),
        `source_row` (its number in the table) and unique `segment_id`; and the findings.
    """
    findings: list[Finding] = []
    table = table.assign(source_row=np.arange(len(table)))
    for step in (_drop_unusable, _drop_closed, _give_ids, _single_parts, _drop_short):
        table, found = step(table)
        findings += found
    table, found = _drop_twins(table)
    findings += found
    table, found = _unique_ids(table)
    return table.sort_values("segment_id").reset_index(drop=True), findings + found


def stable_id(line: Any) -> str:
    """Short id from a geometry: the same for either digitised direction and any row order."""
    return stable_ids(np.array([line], dtype=object))[0]


def stable_ids(lines: NDArray[np.object_]) -> list[str]:
    """`stable_id` of many lines."""
    normal = shapely.normalize(shapely.set_precision(lines, 0.1))
    return ["g" + hashlib.sha1(b).hexdigest()[:10] for b in shapely.to_wkb(normal, byte_order=1)]


def _drop_unusable(table: gpd.GeoDataFrame) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    geoms = table.geometry.to_numpy()
    none = shapely.is_missing(geoms) | shapely.is_empty(geoms)
    not_line = ~none & ~np.isin(shapely.get_type_id(geoms), _LINE_TYPES)
    broken = ~none & ~not_line & ~_all_finite(geoms)
    found = _rows(table, none, "null_geometry", "the row has no geometry", "draw the line")
    found += _rows(table, not_line, "not_a_line", "the row is not a line", "use a line layer")
    text = "the line has coordinates that are no numbers on the map"
    found += _rows(table, broken, "bad_coordinates", text, "redraw the line, or check its CRS")
    return table[~(none | not_line | broken)], found


def _all_finite(geoms: NDArray[np.object_]) -> NDArray[np.bool_]:
    """Whether every vertex is a place; bounds would not tell, they skip broken vertices."""
    xy, owner = shapely.get_coordinates(geoms, return_index=True)
    out = np.ones(len(geoms), dtype=bool)
    out[owner[~np.isfinite(xy).all(axis=1)]] = False
    return out


def _drop_closed(table: gpd.GeoDataFrame) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    closed = (table["status"] == "closed").to_numpy()
    path = (table["street_class"] == "path").to_numpy() & ~closed
    text = "the street is not open to traffic (status)"
    found = [replace(f, severity="notice") for f in _rows(table, closed, "closed_street", text, "")]
    if path.any():
        text = f"{int(path.sum())} rows are of class path; vehicles do not use them"
        found.append(Finding("path", "notice", "streets", "", text, "", rows=int(path.sum())))
    return table[~(closed | path)], found


def _give_ids(table: gpd.GeoDataFrame) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    missing = table["segment_id"].isna().to_numpy()
    ids = table["segment_id"].to_numpy(dtype=object, copy=True)
    made = np.full(len(table), None, dtype=object)
    made[missing] = stable_ids(table.geometry.to_numpy()[missing])
    ids[missing] = made[missing]
    table = table.assign(source_id=ids, segment_id=ids, _key=made)
    fix = "give every street a stable id, so that results can be compared from year to year"
    if missing.all() and len(table):
        text = f"no row has an id; all {len(table)} ids were made from the geometry"
        return table, [Finding("missing_id", "notice", "streets", "", text, fix)]
    text = "the row has no id; one was made from its geometry"
    return table, _repairs(table, missing, "missing_id", text, fix)


def _single_parts(table: gpd.GeoDataFrame) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    """Multipart lines joined where they touch, else one row per part."""
    geoms = table.geometry.to_numpy()
    multi = shapely.get_num_geometries(geoms) > 1
    text = (
        "the line has several parts; parts that touch were joined, others became rows of their own"
    )
    found = _repairs(table, multi, "multipart", text, "draw one line per street segment")
    several = shapely.get_type_id(geoms) == 5
    if not several.any():
        return table.reset_index(drop=True), found
    merged = geoms.copy()
    merged[several] = shapely.line_merge(geoms[several], directed=True)
    table = table.set_geometry(gpd.GeoSeries(merged, index=table.index, crs=table.crs))
    table.loc[several, "_key"] = None
    parts = table.explode(index_parts=False)
    number = parts.groupby(level=0).cumcount().to_numpy()
    many = parts.index.duplicated(keep=False)
    ids = parts["segment_id"].to_numpy(dtype=object, copy=True)
    ids[many] = [f"{i}/{n + 1}" for i, n in zip(ids[many], number[many], strict=True)]
    return parts.assign(segment_id=ids).reset_index(drop=True), found


def _drop_short(table: gpd.GeoDataFrame) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    geoms = table.geometry.to_numpy()
    short = shapely.length(geoms) < MIN_LENGTH_FT
    slim = shapely.remove_repeated_points(geoms)
    fewer = shapely.get_num_coordinates(slim) < shapely.get_num_coordinates(geoms)
    found = _rows(table, short, "zero_length", "the line has no length", "delete the row")
    text = "the line repeats a vertex; it was removed"
    found += _repairs(table, fewer & ~short, "repeated_vertex", text, "")
    table = table.set_geometry(gpd.GeoSeries(slim, index=table.index, crs=table.crs))
    table.loc[fewer, "_key"] = None
    return table[~short], found


def _drop_twins(table: gpd.GeoDataFrame) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    """Only the first (by id) of several rows with one geometry is used.

    `_key` is the id made from the geometry, where an earlier step has made it.
    """
    keys = table["_key"].to_numpy(dtype=object, copy=True)
    open_ = np.flatnonzero(pd.isna(keys))
    keys[open_] = stable_ids(table.geometry.to_numpy()[open_])
    table = table.assign(_key=keys).sort_values(["_key", "segment_id"], kind="stable")
    twin = table["_key"].duplicated().to_numpy()
    first = table.groupby("_key")["segment_id"].transform("first").to_numpy()
    lost, kept = table[twin], first[twin]
    fix = "delete one of the rows"
    found = [
        Finding("duplicate_line", "warning", "streets", str(i), f"same line as {f}", fix, g, 1)
        for i, f, g in zip(lost["source_id"], kept, lost.geometry, strict=True)
    ]
    return table[~twin], found


def _unique_ids(table: gpd.GeoDataFrame) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    """Equal ids on different lines get a running number, in an order rows cannot change."""
    table = table.sort_values("_key", kind="stable").drop(columns="_key")
    number = table.groupby("segment_id").cumcount().to_numpy()
    again = number > 0
    ids = table["segment_id"].to_numpy(dtype=object, copy=True)
    ids[again] = [f"{i}~{n + 1}" for i, n in zip(ids[again], number[again], strict=True)]
    text = "the id is used by another line too; a running number was added"
    fix = "give every street an id of its own"
    found = [
        replace(f, severity="warning") for f in _repairs(table, again, "duplicate_id", text, fix)
    ]
    return table.assign(segment_id=ids), found


def _rows(table: gpd.GeoDataFrame, mask: Any, code: str, text: str, fix: str) -> list[Finding]:
    """One finding per masked row that is not used."""
    return [replace(f, severity="error", rows=1) for f in _repairs(table, mask, code, text, fix)]


def _repairs(table: gpd.GeoDataFrame, mask: Any, code: str, text: str, fix: str) -> list[Finding]:
    """One finding per masked row that is used after a repair."""
    ids, geoms = _ids_and_lines(table, mask)
    return [
        Finding(code, "notice", "streets", i, text, fix, g) for i, g in zip(ids, geoms, strict=True)
    ]


def _ids_and_lines(table: gpd.GeoDataFrame, mask: Any) -> tuple[Sequence[str], NDArray[np.object_]]:
    name = "source_id" if "source_id" in table else "segment_id"
    ids = ["" if i is None or i != i else str(i) for i in table[name].to_numpy()[mask]]
    geoms = table.geometry.to_numpy()[mask]
    usable = ~shapely.is_missing(geoms) & _all_finite(geoms)
    out = geoms.copy()
    out[~usable] = None
    return ids, out

"""Raised islands: crosswalks, stop lines and lane lines stop at their curb."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from layoutgen.errors import Finding
from layoutgen.geometry.polyline import Polylines
from layoutgen.markings.exclusions import Exclusions, keep_out
from layoutgen.street.areas import Area

#: markings of many parts that go on beyond an island
_PARTED = ("crosswalk", "stop_line", "yield_line")
#: styles whose parts run across the street, so that an island leaves two rests of each
_ACROSS = ("transverse_lines", "ladder", "solid")
#: smaller rests are not painted (sq ft)
_LEAST_SQFT = 1.0


def off_islands(
    table: gpd.GeoDataFrame, exclusions: Exclusions, axes: Polylines
) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    """Markings without what would lie on islands.

    A crosswalk leads through a refuge: it loses the bars that meet the island. Lines keep what lies
    outside, as at exclusions; a figure that meets an island is left out with a finding.
    """
    islands = exclusions.islands
    if not len(table) or not islands:
        return table, []
    parted = (table["kind"].isin(_PARTED) | (table["gives"] == "parts")).to_numpy()
    rest, findings = keep_out(
        table[~parted].reset_index(drop=True),
        Exclusions(islands, exclusions.shortest_ft, word="island"),
        axes,
    )
    kept, found = _parts_off(table[parted].reset_index(drop=True), islands)
    both = gpd.GeoDataFrame(pd.concat([rest, kept]), geometry="geometry", crs=table.crs)
    return both.sort_values("marking_id").reset_index(drop=True), findings + found


def _parts_off(
    table: gpd.GeoDataFrame, islands: Sequence[Area]
) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    """Crosswalks, stop and yield lines without the parts on islands."""
    zones = np.array([area.shape for area in islands], dtype=object)
    shapes = table.geometry.to_numpy().copy()
    zone, row = shapely.STRtree(shapes).query(zones, predicate="intersects")
    findings: list[Finding] = []
    for k in np.unique(row).tolist():
        island = shapely.union_all(zones[zone[row == k]])
        across = table["style"].iloc[k] in _ACROSS
        left = _outside(shapes[k], island, across=across)
        if not len(left):
            findings.append(_nothing_left(table.iloc[k], shapes[k]))
        shapes[k] = shapely.MultiPolygon(left)
    area = shapely.area(shapes)
    out = table.set_geometry(gpd.GeoSeries(shapes, index=table.index, crs=table.crs))
    out = out.assign(area_sqft=area, length_ft=area / out["width_ft"].to_numpy(dtype=float))
    return out[area > 0], findings


def _outside(shape: Any, island: Any, *, across: bool) -> list[Any]:
    """Parts that stay clear of an island; what runs across the street is cut instead."""
    parts = shapely.get_parts(shape)
    if not across:
        hit = shapely.area(shapely.intersection(parts, island)) > 0.02
        return list(parts[~hit])
    rests = shapely.get_parts(shapely.difference(parts, island))
    return [r for r in rests if r.geom_type == "Polygon" and r.area >= _LEAST_SQFT]


def _nothing_left(row: Any, shape: Any) -> Finding:
    text = f"nothing of {row['marking_id']} lies beside the island; it was left out"
    fix = "check the place of the island, or mark by hand"
    return Finding("on_island", "warning", "markings", str(row["marking_id"]), text, fix, shape)

"""Markings tables made by hand."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import pandas as pd
from shapely.geometry import box

from layoutgen.work.materials import MaterialParams, shipped_materials
from layoutgen.work.quantities import measure, with_sums
from layoutgen.work.time import CrewParams, section_minutes

COLUMNS: dict[str, Any] = {
    "marking_id": "",
    "kind": "arrow",
    "style": "",
    "rule": "",
    "reason": "",
    "sources": "",
    "segment_id": "",
    "intersection_id": "",
    "street": "Alder Street",
    "station_ft": 0.0,
    "offset_ft": 0.0,
    "bearing_deg": 0.0,
    "color": "white",
    "material": "waterborne",
    "coat": 1,
    "over_id": "",
    "length_ft": 10.0,
    "width_ft": 4.0,
    "area_sqft": 15.0,
    "action": "new",
    "condition": "",
    "segment_index": 0,
    "from_ft": 0.0,
    "to_ft": 10.0,
    "travel": 1,
    "is_line": False,
    "district": "",
}


def table(rows: Sequence[dict[str, Any]]) -> gpd.GeoDataFrame:
    """Markings with defaults for what a row leaves out."""
    full = pd.DataFrame([COLUMNS | row for row in rows], columns=list(COLUMNS))
    for name, value in COLUMNS.items():
        full[name] = full[name].astype(type(value) if not isinstance(value, str) else object)
    return gpd.GeoDataFrame(full, geometry=[box(0, 0, 1, 1)] * len(full))


def sections_of(
    rows: Sequence[dict[str, Any]],
    crew: CrewParams | None = None,
    materials: dict[str, MaterialParams] | None = None,
) -> gpd.GeoDataFrame:
    """Sections, one per marking that is not kept, with amounts and minutes."""
    out = table(rows)
    out = out[out["action"] != "keep"].reset_index(drop=True)
    out = out.assign(
        section_id=out["marking_id"] + "/s1",
        number=1,
        pieces=1,
        lane=[row.get("lane", "the lane") for row in rows if row.get("action") != "keep"],
        moving=out["is_line"].astype(int),
        closed_ft=0.0,
        hold="",
        status=[row.get("status", "open") for row in rows if row.get("action") != "keep"],
    )
    out = measure(out, materials or shipped_materials(), "asphalt")
    return out.assign(minutes=section_minutes(out, crew or CrewParams(), 8.0 / 12.0))


def measured(rows: Sequence[dict[str, Any]], crew: CrewParams | None = None) -> gpd.GeoDataFrame:
    """Markings with the sums of their sections."""
    return with_sums(table(rows), sections_of(rows, crew))

"""Markings tables made by hand."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import pandas as pd
from shapely.geometry import box

from layoutgen.work.quantities import PaintParams, measure
from layoutgen.work.time import CrewParams, minutes

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
    "material": "paint",
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


def measured(rows: Sequence[dict[str, Any]], crew: CrewParams | None = None) -> gpd.GeoDataFrame:
    """Markings with paint, beads, cost and minutes."""
    out, _ = measure(table(rows), PaintParams())
    return out.assign(minutes=minutes(out, crew or CrewParams()))

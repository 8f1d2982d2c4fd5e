"""Layers of the output that show the street model, the findings and the run itself."""

from __future__ import annotations

import json
import time
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely
from numpy.typing import NDArray

from layoutgen import __version__
from layoutgen.errors import Finding, FindingLog
from layoutgen.export.formats import CAUTION
from layoutgen.gis.read import Inputs
from layoutgen.gis.schema import AUDIT, layer
from layoutgen.settings import Project
from layoutgen.street.cross_section import strips_text
from layoutgen.street.design import Design, Leg
from layoutgen.street.legs import leg_points


def streets_table(design: Design, plane: pyproj.CRS) -> gpd.GeoDataFrame:
    """Layer `streets`: the axes with their cross-sections, those left out not included."""
    shown = design.in_layout()
    rows = [
        {
            "segment_id": s.segment_id,
            "source_ids": ", ".join(s.source_ids),
            "name": s.name,
            "street_class": s.street_class,
            "speed_mph": s.speed_mph,
            "speed_source": s.speed_source,
            "oneway": s.oneway,
            "width_ft": s.width_ft,
            "width_source": s.width_source,
            "left_ft": -s.edges_ft[0],
            "right_ft": s.edges_ft[1],
            "lanes_source": s.lanes_source,
            "length_ft": s.length_ft,
            "bike_left": s.bike[0],
            "bike_right": s.bike[1],
            "bike_source": s.bike_source,
            "strips": strips_text(s.strips),
            "district": s.district,
        }
        for s in (design.segments[i] for i in shown)
    ]
    names = [column.name for column in layer("streets").columns]
    table = pd.DataFrame(rows, columns=names)
    return gpd.GeoDataFrame(table, geometry=design.axes.lines()[shown], crs=plane)


def intersections_table(design: Design, plane: pyproj.CRS) -> gpd.GeoDataFrame:
    """Layer `intersections`."""
    inside = [c for c in design.intersections if not c.outside]
    rows = [(c.intersection_id, c.name, c.control, len(c.legs), c.district) for c in inside]
    table = pd.DataFrame(rows, columns=["intersection_id", "name", "control", "legs", "district"])
    areas = [c.area for c in inside]
    return gpd.GeoDataFrame(table, geometry=areas, crs=plane)


def approaches_table(design: Design, plane: pyproj.CRS) -> gpd.GeoDataFrame:
    """Layer `approaches`, roundabout circles left out."""
    legs = [
        leg
        for leg in design.legs()
        if leg.inbound and not leg.segment.roundabout and not leg.outside
    ]
    rows = [
        {
            "approach_id": leg.leg_id,
            "intersection_id": leg.intersection_id,
            "segment_id": leg.segment.segment_id,
            "street": leg.segment.name,
            "bearing_deg": leg.inbound_bearing_deg,
            "control": leg.control,
            "control_source": leg.control_source,
            "lanes": len(leg.inbound),
            "movements": "|".join(";".join(lane) for lane in leg.movements),
            "curb_ft": leg.layout.curb.station_ft,
            "stop_ft": leg.layout.stop.station_ft,
        }
        for leg in legs
    ]
    columns = [
        *("approach_id", "intersection_id", "segment_id", "street", "bearing_deg", "control"),
        *("control_source", "lanes", "movements", "curb_ft", "stop_ft"),
    ]
    lines = _stop_positions(legs, design)
    return gpd.GeoDataFrame(pd.DataFrame(rows, columns=columns), geometry=lines, crs=plane)


def _stop_positions(legs: Sequence[Leg], design: Design) -> Sequence[Any] | NDArray[np.object_]:
    """Line across the approach lanes where traffic stops or would stop."""
    if not legs:
        return []
    index = [leg.segment.index for leg in legs]
    sides = (
        [min(s.left_ft for s in leg.inbound) for leg in legs],
        [max(s.right_ft for s in leg.inbound) for leg in legs],
    )
    ends = [
        leg_points(legs, design.axes, index,
                   [leg.layout.stop.at(o) for leg, o in zip(legs, offsets, strict=True)], offsets)
        for offsets in sides
    ]  # fmt: skip
    return np.asarray(shapely.linestrings(np.stack(ends, axis=1)), dtype=object)


def findings_table(log: FindingLog, plane: pyproj.CRS) -> gpd.GeoDataFrame:
    """Layer `findings`."""
    columns = ["code", "severity", "source", "feature_id", "text", "fix", "rows"]
    rows = [tuple(getattr(f, c) for c in columns) for f in log]
    table = pd.DataFrame(rows, columns=columns)
    return gpd.GeoDataFrame(table, geometry=[f.geometry for f in log], crs=plane)


def audit_table(findings: Sequence[Finding], plane: pyproj.CRS) -> gpd.GeoDataFrame:
    """Layer `audit`; findings about the file as a whole have no kind, section or measure."""
    names = [column.name for column in AUDIT.columns]
    rows = [tuple(getattr(f, c, "") for c in names) for f in findings]
    table = pd.DataFrame(rows, columns=names)
    return gpd.GeoDataFrame(table, geometry=[f.geometry for f in findings], crs=plane)


def run_info(project: Project, inputs: Inputs, log: FindingLog, started: float) -> pd.DataFrame:
    """Layer `run_info`: one row."""
    rows = {name: _row_counts(inputs, log, name) for name in inputs.rows}
    row = {
        "version": __version__,
        "settings_hash": project.settings_hash,
        "inputs": json.dumps(rows, sort_keys=True),
        "seed": project.settings.project.seed,
        "started": datetime.fromtimestamp(started, UTC).isoformat(timespec="seconds"),
        "seconds": round(time.time() - started, 2),
        "caution": CAUTION,
    }
    return pd.DataFrame([row])


def reported_rows(log: FindingLog, role: str) -> int:
    """Input rows of a role that are in findings instead of the layout."""
    return sum(f.rows for f in log if f.source == role)


def _row_counts(inputs: Inputs, log: FindingLog, role: str) -> Mapping[str, Any]:
    rows, reported = inputs.rows[role], reported_rows(log, role)
    file = Path(inputs.files[role]).name
    return {"file": file, "rows": rows, "used": rows - reported, "reported": reported}

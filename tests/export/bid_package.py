"""Invented streets with quantities, jobs, visits and tours, for the bid schedule and the feed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from export.sample_package import NASTY, PLANE, STATE_FEET, table

from layoutgen.gis.schema import layer
from layoutgen.gis.write import write_package

MEASURES = (
    *("quantity", "equivalent_lf", "count", "area_sqft"),
    *("paint_gal", "beads_lb", "primer_gal", "weight_lb"),
)
_ITEMS = (
    ("4 in line", "lane_line", "white", "waterborne paint", "LF"),
    ("4 in line", "edge_line", "white", "waterborne paint", "LF"),
    ("4 in line", "center_line", "yellow", "waterborne paint", "LF"),
    ("* <symbol>?", "lane_arrow", "white", "preformed sheet", "EA"),
    ("=bar", "stop_line", "white", "hot melt", "SF"),
)


def quantities(seed: int = 7) -> pd.DataFrame:
    """Rows of every street and item, figures to four decimals; some are missing."""
    draw = np.random.default_rng(seed)
    rows = [(street, *item) for street in NASTY for item in _ITEMS]
    names = ["street", "item", "kind", "color", "material", "unit"]
    out = pd.DataFrame(rows, columns=names)
    for name in (*MEASURES, "length_lf", "minutes", "cost"):
        out[name] = np.round(draw.uniform(0.01, 900.0, len(out)), 4)
    out["count"] = draw.integers(1, 60, len(out))
    out.loc[::4, "primer_gal"] = None
    return out[[column.name for column in layer("quantities").columns]]


def bid_package(folder: Path, rows: pd.DataFrame | None = None) -> Path:
    path = folder / "bid.gpkg"
    tables = {"quantities": quantities() if rows is None else rows}
    write_package(path, tables | {"run_info": table("run_info", 1)}, crs=STATE_FEET)
    return path


def feed_package(folder: Path, *, streets: Any, jobs: Any, visits: Any, tours: Any) -> Path:
    """A package with rows given as dicts of the columns that matter; the rest is left empty."""
    path = folder / "feed.gpkg"
    given = {"streets": streets, "run_info": [{"started": "2030-05-01T10:20:30+00:00"}]}
    write_package(path, _tables(given), crs=STATE_FEET)
    routed = {"jobs": jobs, "visits": visits, "tours": tours}
    write_package(path, _tables(routed), crs=STATE_FEET, keep=path)
    return path


def _tables(given: dict[str, Any]) -> dict[str, Any]:
    return {name: _table(name, rows) for name, rows in given.items()}


def _table(name: str, rows: list[dict[str, Any]]) -> Any:
    lay = layer(name)
    out = pd.DataFrame({c.name: [row.get(c.name) for row in rows] for c in lay.columns})
    if lay.geometry is None:
        return out
    empty = shapely.LineString([(0, 0), (9, 9)]) if "Line" in lay.geometry else shapely.Point(0, 0)
    shapes = [row.get("geometry", empty) for row in rows]
    return gpd.GeoDataFrame(out, geometry=shapes, crs=PLANE)

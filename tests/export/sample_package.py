"""An invented town's tables on its working plane, with street names that break careless writers."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from layoutgen.gis.plane import working_plane
from layoutgen.gis.schema import LAYERS, Column, layer
from layoutgen.gis.write import write_package

PLANE = working_plane(-71.1063, 42.3741)
STATE_FEET = pyproj.CRS.from_epsg(2249)
NASTY = (
    'O\'Hollow "Back" Lane',
    "<b>Bold</b> & Daughters Way ]]> <!-- x -->",
    '=HYPERLINK("https://example.org";"Elm")',
    "+1 Avenue",
    "-2+3 Alley",
    "@SUM(A1) Court",
    "\tTab Road",
    "\rReturn Road",
    "two\nlines, Street; {braces} %s",
    "شارع النخيل",
    "רחוב הגפן \u202egnihton",
    "👩\u200d👩\u200d👧\u200d👦 Family Lane",
    "Cafe\u0301 Row",
    "Bell\x07 and\x1b Escape \ufffe Row",
    "A street whose name is far too long for the little screen in a truck",
)
ROWS = len(NASTY)


def tables(stage: str, rows: int = ROWS) -> dict[str, Any]:
    """A table for every layer of a stage."""
    return {lay.name: table(lay.name, rows) for lay in LAYERS if lay.stage == stage}


def table(name: str, rows: int = ROWS) -> Any:
    """A table of one layer, each value different."""
    lay = layer(name)
    columns = {column.name: _values(column, rows) for column in lay.columns}
    if lay.geometry is None:
        return pd.DataFrame(columns)
    return gpd.GeoDataFrame(columns, geometry=shapes(lay.geometry, rows), crs=PLANE)


def shapes(kind: str, rows: int) -> Any:
    """Skewed shapes up to a mile from the middle of the plane."""
    x, y = np.arange(rows) * 331.7 - 2400.3, np.arange(rows) * -173.9 + 900.7
    if kind == "Point":
        return shapely.points(x, y)
    if kind == "LineString":
        return shapely.linestrings(
            np.stack([np.c_[x, y], np.c_[x + 55, y + 8], np.c_[x, y + 99]], 1)
        )
    if kind == "MultiPolygon":
        return np.array([_letter(a, b) for a, b in zip(x, y, strict=True)], dtype=object)
    mixed = [None, shapely.Point(1, 2), _letter(5, 5), shapely.LineString([(0, 0), (4, 1)])]
    return np.array([mixed[i % 4] for i in range(rows)], dtype=object)


def town(folder: Path, *, routed: bool = True) -> Path:
    """A package as `generate`, and `route` if wanted, leave it."""
    path = folder / "town.gpkg"
    write_package(path, tables("generate"), crs=STATE_FEET)
    if routed:
        write_package(path, _routes(), crs=STATE_FEET, keep=path)
    return path


def _routes() -> dict[str, Any]:
    """Two tours, the second empty, and visits in shuffled order."""
    out = tables("route") | tables("record")
    out["tours"] = out["tours"].iloc[:2].assign(tour_id=["T/1", "T 1"])
    out["visits"] = out["visits"].iloc[::-1].assign(tour_id="T/1")
    out["visits"]["kind"] = ["depot", *["job"] * (ROWS - 2), "depot"]
    return out


def _letter(x: float, y: float) -> Any:
    """A block with a hole, given clockwise; a second part makes every third a multipolygon."""
    ring = np.array([(0, 0), (1, 12), (9, 13), (8, 1)]) + np.array([x, y])
    block = shapely.Polygon(ring, [ring[::-1] * 0.5 + 0.5 * ring.mean(axis=0)])
    return (
        shapely.MultiPolygon([block, shapely.box(x + 20, y, x + 24, y + 2)]) if x % 3 < 1 else block
    )


def _values(column: Column, rows: int) -> Any:
    if column.type == "integer":
        return np.arange(rows)
    if column.type == "real":
        return np.arange(rows) / 3 - 1
    if column.name in ("street", "name"):
        return [NASTY[i % len(NASTY)] for i in range(rows)]
    if column.name == "color":
        return [("white", "yellow", "green", "mauve")[i % 4] for i in range(rows)]
    return [f"{column.name}-{i}" for i in range(rows)]

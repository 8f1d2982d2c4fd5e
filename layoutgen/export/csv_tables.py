"""CSV tables (RFC 4180): one file per layer, with the place of a row as lon and lat.

UTF-8 with a byte-order mark: spreadsheets on Windows take a file without it for the local code
page and garble names, while Python (`utf-8-sig`), databases and map programs skip the mark.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from layoutgen.export.formats import (
    CAUTION,
    DECIMALS,
    layers_in,
    plain,
    rows_of,
    write_texts,
)
from layoutgen.gis.plane import WGS84
from layoutgen.gis.schema import Layer
from layoutgen.gis.write import read_layer

#: a spreadsheet may run a cell that starts so as a formula (line feed and full-width forms too)
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")

_README = f"""{CAUTION}

The CSV tables in this folder are UTF-8 with a byte-order mark; cells are separated by commas.
lon and lat are WGS84 degrees of a point on the row's geometry: the middle of a line, a point
inside an area. Empty cells are unknown values.
A text that starts with = + - @, a tab or a line break has an apostrophe put before it, so that no
spreadsheet runs it as a formula. Take it off again if you read the tables with a program.
"""


class _Echo:
    """Where a csv writer writes when its lines are wanted as text."""

    def write(self, line: str) -> str:
        return line


def write(package: Path, folder: Path) -> list[Path]:
    """Write `<layer>.csv` for every layer, and CAUTION.txt beside them.

    Raises:
        InputError: no such package.
        OutputError: the folder cannot be written.
    """
    texts = {f"{layer.name}.csv": _lines(package, layer) for layer in layers_in(package)}
    caution = iter([_README])
    return write_texts(folder, texts | {"CAUTION.txt": caution}, encoding="utf-8-sig")


def escaped(text: str) -> str:
    """Text that no spreadsheet takes for a formula."""
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


def _lines(package: Path, layer: Layer) -> Iterator[str]:
    names = [column.name for column in layer.columns]
    table: pd.DataFrame = read_layer(package, layer.name)
    if layer.geometry is not None:
        table = _with_place(table)
        names += ["lon", "lat"]
    writer: Any = csv.writer(_Echo())
    yield writer.writerow(names)
    for row in rows_of(table, names):
        yield writer.writerow([_cell(value) for value in row])


def _cell(value: Any) -> Any:
    return escaped(plain(value)) if isinstance(value, str) else value


def _with_place(table: Any) -> pd.DataFrame:
    places = gpd.GeoSeries(_places(table.geometry.to_numpy()), crs=table.crs).to_crs(WGS84)
    lon, lat = (get(places.to_numpy()) for get in (shapely.get_x, shapely.get_y))
    out: pd.DataFrame = table.assign(lon=np.round(lon, DECIMALS), lat=np.round(lat, DECIMALS))
    return out


def _places(shapes: Any) -> Any:
    """A point on each geometry, in its own CRS: the middle of a line is another one in degrees."""
    line = shapely.get_type_id(shapes) == 1
    places = shapely.point_on_surface(shapes)
    places[line] = shapely.line_interpolate_point(shapes[line], 0.5, normalized=True)
    return places

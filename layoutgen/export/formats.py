"""The exchange formats by name, and what their writers share: caution, text, lon/lat, files.

Each writer is a module with `write(package, folder) -> list[Path]`.
"""

from __future__ import annotations

import importlib
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from layoutgen.config import nearest
from layoutgen.errors import ConfigError, OutputError
from layoutgen.gis.plane import WGS84
from layoutgen.gis.schema import LAYERS, Layer
from layoutgen.gis.write import layer_names, read_layer, staged

#: carried by every exported document
CAUTION = (
    "Layout for planning. Local codes, the road authority's traffic control plan and a licensed "
    "engineer govern. Verify in the field before painting."
)
#: of a degree: 0.44 in along a meridian
DECIMALS = 7

Writer = Callable[..., list[Path]]

#: XML 1.0, section 2.2: what is not a character there; no format has a use for the others either
_NO_CHARACTER = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_POLYGONAL = (3, 6, 7)


def _late(module: str) -> Writer:
    """The writer of a module that itself imports this one: found when it is first called."""

    def write(package: Path, folder: Path, **options: Any) -> list[Path]:
        paths: list[Path] = importlib.import_module(module).write(package, folder, **options)
        return paths

    return write


#: name of a format -> its writer
FORMATS: Mapping[str, Writer] = {
    "gpx": _late("layoutgen.export.gpx"),
    "geojson": _late("layoutgen.export.geojson"),
    "csv": _late("layoutgen.export.csv_tables"),
    "kml": _late("layoutgen.export.kml"),
}


#: papers of an office or a crew, by name -> their writer; some take options
PAPERS: Mapping[str, Writer] = {
    "crew": _late("layoutgen.export.crew"),
    "bid": _late("layoutgen.export.bid"),
    "wzdx": _late("layoutgen.export.wzdx"),
}


def export(
    package: Path,
    formats: Sequence[str],
    folder: Path,
    options: Mapping[str, Mapping[str, Any]] | None = None,
) -> list[Path]:
    """Write a package in each of the formats; the files written.

    Args:
        package: the GeoPackage.
        formats: names of `FORMATS` or `PAPERS`.
        folder: made if missing.
        options: by format, passed to its writer.

    Raises:
        ConfigError: no such format; nothing is written then.
        InputError: the package, or a layer that a format needs, is missing.
        OutputError: the folder cannot be written.
    """
    writers = {**FORMATS, **PAPERS}
    for name in formats:
        if name not in writers:
            raise ConfigError(f"'{name}': no such export format.{nearest(name, writers)}")
    asked = {name: (options or {}).get(name, {}) for name in formats}
    return [path for name in asked for path in writers[name](package, folder, **asked[name])]


def layers_in(package: Path) -> list[Layer]:
    """Layers of the schema that the package holds, in the schema's order."""
    names = set(layer_names(package))
    return [layer for layer in LAYERS if layer.name in names]


def read_lon_lat(package: Path, name: str) -> Any:
    """A layer as GeoDataFrame in WGS84 degrees, lon before lat, rounded to `DECIMALS`.

    Outer rings run counterclockwise, holes clockwise (RFC 7946, 3.1.6, and KML 2.2 ask for it).
    """
    table: Any = read_layer(package, name)
    shapes = table.geometry.to_crs(WGS84).to_numpy()
    shapes = shapely.transform(shapes, lambda xy: np.round(xy, DECIMALS))
    return table.set_geometry(gpd.GeoSeries(_turned(shapes), index=table.index, crs=WGS84))


def rows_of(table: pd.DataFrame, columns: Iterable[str]) -> Iterator[tuple[Any, ...]]:
    """Rows of plain Python values, None where a value is missing."""
    return zip(*(_values(table[name]) for name in columns), strict=True)


def plain(value: Any) -> str:
    """Text without control characters; empty for None."""
    return "" if value is None else _NO_CHARACTER.sub("", str(value))


def write_texts(
    folder: Path, texts: Mapping[str, Iterable[str]], *, encoding: str = "utf-8"
) -> list[Path]:
    """Write files from pieces of text; none is put in place before all are complete.

    Args:
        folder: made if missing.
        texts: pieces by file name.
        encoding: of the files.

    Raises:
        OutputError: the folder or a file cannot be written.
    """
    _make(folder)
    with staged(folder) as hidden:
        for name, pieces in texts.items():
            with (hidden / name).open("w", encoding=encoding, newline="") as file:
                file.writelines(pieces)
    return [folder / name for name in texts]


def _values(column: pd.Series[Any]) -> list[Any]:
    known = column.notna()
    if pd.api.types.is_float_dtype(column):
        known &= np.isfinite(column)
    values: list[Any] = column.astype(object).where(known, None).tolist()
    return values


def _turned(shapes: Any) -> Any:
    """Polygons with outer rings counterclockwise: GEOS normalises to the opposite."""
    shapes = shapes.copy()
    areas = np.isin(shapely.get_type_id(shapes), _POLYGONAL)
    shapes[areas] = shapely.reverse(shapely.normalize(shapes[areas]))
    return shapes


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise OutputError(f"{folder}: cannot be made ({fault.strerror or fault}).") from fault

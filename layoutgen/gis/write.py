"""Write the output GeoPackage, whole or not at all, and read its layers back.

Big layers go through pyogrio as Arrow tables, the few rows of any geometry or none through fiona;
`gis/schema.py` gives both the columns, their types and the descriptions that go into the file.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing, contextmanager
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeAlias

import fiona
import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import pyogrio
import pyproj
import shapely
from fiona._err import CPLE_BaseError  # what fiona lets through from GDAL has no public base
from fiona.errors import FionaError
from pyogrio.errors import DataLayerError, DataSourceError, FeatureError, FieldError, GeometryError
from pyproj.exceptions import ProjError

from layoutgen.errors import InputError, OutputError
from layoutgen.gis.schema import AUDIT, LAYERS, Column, Layer

#: 1.2 and not newer: programs built on GDAL 3.6 warn at every open of a 1.4 file (seen)
VERSION = "1.2"
#: the real time of a run stands in `run_info`; here it would make equal runs differ
FIXED_TIME = "2000-01-01T00:00:00.000Z"
#: what a map program that opens the bare file draws from top to bottom
TOP_DOWN = (
    *("findings", "visits", "unserved", "jobs", "tours", "approaches", "register_marks"),
    *("markings", "sections", "streets", "intersections"),
    *("quantities", "materials", "loads", "records", "run_info"),
)
#: files that an open SQLite connection keeps beside a database, or a crashed one leaves there
_JOURNALS = ("-wal", "-journal")
_GEOMETRY = "geom"
#: geometries made ready in one go
_AT_ONCE = 4096
_ARROW = {"text": pa.string(), "real": pa.float64(), "integer": pa.int64()}
_FIONA = {"text": "str", "real": "float", "integer": "int64"}
_SHAPES = {"Point": (0,), "LineString": (1,), "MultiPolygon": (6,)}
_FAULTS = (
    *(DataSourceError, DataLayerError, FeatureError, FieldError, GeometryError),
    *(FionaError, CPLE_BaseError, sqlite3.Error, ProjError),
)
_DESCRIPTIONS = """
CREATE TABLE IF NOT EXISTS gpkg_data_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT, description TEXT,
  mime_type TEXT, constraint_name TEXT,
  CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name),
  CONSTRAINT gdc_tn UNIQUE (table_name, name));
CREATE TABLE IF NOT EXISTS gpkg_data_column_constraints (
  constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT, min NUMERIC,
  min_is_inclusive BOOLEAN, max NUMERIC, max_is_inclusive BOOLEAN, description TEXT,
  CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value));
"""
_EXTENSION = """
INSERT INTO gpkg_extensions (table_name, extension_name, definition, scope)
SELECT ?1, 'gpkg_schema', 'http://www.geopackage.org/spec121/#extension_schema', 'read-write'
WHERE NOT EXISTS (SELECT 1 FROM gpkg_extensions WHERE table_name = ?1)
"""

Table: TypeAlias = gpd.GeoDataFrame | pd.DataFrame


def write_package(
    path: Path,
    tables: Mapping[str, Table],
    *,
    crs: pyproj.CRS,
    keep: Path | None = None,
    only: bool = False,
) -> None:
    """Write tables as layers of a GeoPackage; an earlier file stays as it is until all is written.

    Every layer of the latest stage named in `tables` is written, empty where no table is given.

    Args:
        path: the file to write, `*.gpkg`.
        tables: by layer name, in any plane CRS set on the table; columns beyond the layer's own
            are left out, rows keep their order.
        crs: of the layers in the file.
        keep: an existing package whose other layers are carried over; may be `path` itself.
        only: no layer but those with a table is written.

    Raises:
        OutputError: the file cannot be written, is open in another program, or does not fit `crs`.
        InputError: `keep` is missing or no GeoPackage.
        ValueError: a table misses a column, or holds what its column or layer cannot: our fault.
    """
    layers = [lay for lay in _layers_of(tables) if not only or lay.name in tables]
    _check_target(path)
    if keep is not None:
        _refuse_open(keep)
        layer_names(keep)
    with staged(path.parent) as folder, _write_faults(path):
        draft = folder / "draft.gpkg"
        if keep is not None:
            shutil.copyfile(keep, draft)
        rows = {lay.name: _write_layer(draft, lay, tables.get(lay.name), crs) for lay in layers}
        with closing(sqlite3.connect(draft)) as base:
            _finish(base, layers, rows)
            base.execute("VACUUM INTO ?", (str(folder / path.name),))
        draft.unlink()
        _refuse_open(path)


def write_audit(path: Path, table: gpd.GeoDataFrame, crs: pyproj.CRS) -> None:
    """Findings of an audit, as a GeoPackage or as text with the longitude and latitude of each.

    Raises:
        OutputError: another suffix, or the file cannot be written.
    """
    kind = path.suffix.lower()
    if kind not in (".gpkg", ".csv"):
        raise OutputError(f"{path}: findings go to a .gpkg or a .csv file. Choose such a name.")
    table = table[[*(c.name for c in AUDIT.columns), table.geometry.name]]
    with staged(path.resolve().parent) as folder, _write_faults(path):
        if kind == ".csv":
            places = shapely.centroid(table.to_crs(4326).geometry.to_numpy())
            plain = pd.DataFrame(table.drop(columns=table.geometry.name))
            plain = plain.assign(
                lon=np.round(shapely.get_x(places), 7), lat=np.round(shapely.get_y(places), 7)
            )
            plain.to_csv(folder / path.name, index=False)
            return
        _refuse_open(path)
        options = {"layer": AUDIT.name, "driver": "GPKG", "geometry_type": "Unknown"}
        file = folder / path.name
        pyogrio.write_dataframe(
            table.to_crs(crs), file, **options, dataset_options={"VERSION": VERSION}
        )
        with closing(sqlite3.connect(file)) as base:
            _finish(base, [AUDIT], {AUDIT.name: len(table)})


@contextmanager
def staged(folder: Path) -> Iterator[Path]:
    """A hidden folder inside `folder`; its files replace their namesakes when the block ends well.

    Whatever else ends the block, an interrupt included, the hidden folder and all in it are gone.

    Raises:
        OutputError: `folder` is missing or not writable, or a file cannot be put in place.
    """
    if not folder.is_dir():
        raise OutputError(f"{folder}: no such folder; create it or choose another output path.")
    try:
        with tempfile.TemporaryDirectory(prefix=".layoutgen-", dir=folder) as name:
            yield Path(name)
            _put_in_place(sorted(Path(name).iterdir()), folder)
    except OSError as fault:
        raise OutputError(
            f"{fault.filename or folder}: cannot be written ({fault.strerror or fault}). Check "
            "permissions, free space, and whether another program holds a file open."
        ) from fault


def read_layer(path: Path, name: str) -> Table:
    """One layer in the file's own CRS; missing numbers and texts read as NaN or None.

    Integer columns come as int64, or as nullable Int64 where a value is missing.

    Raises:
        InputError: no such file, no GeoPackage, layer absent, or a column of ours missing.
    """
    if not has_layer(path, name):
        layer_names(path)
        raise InputError(f"{path}: has no layer '{name}'.{_writer_of(name)}")
    table: Table = pyogrio.read_dataframe(path, layer=name, use_arrow=True)
    columns = next((lay.columns for lay in LAYERS if lay.name == name), ())
    lost = [column.name for column in columns if column.name not in table]
    if lost:
        raise InputError(f"{path}: layer '{name}' lacks {', '.join(lost)}.{_writer_of(name)}")
    return table.assign(**{c.name: _as_read(c, table[c.name]) for c in columns})


def has_layer(path: Path, name: str) -> bool:
    """Whether the file exists and holds the layer.

    Raises:
        InputError: there is a file, but no GeoPackage.
    """
    return path.is_file() and name in layer_names(path)


def layer_names(path: Path) -> list[str]:
    """Layers of a package, from the top of the drawing order down.

    Raises:
        InputError: no such file, or no GeoPackage.
    """
    if not path.is_file():
        raise InputError(f"{path}: no such file. `layoutgen generate` writes it.")
    try:
        return [str(name) for name in pyogrio.list_layers(path)[:, 0]]
    except DataSourceError as fault:
        raise InputError(f"{path}: cannot be read as a GeoPackage ({fault}).") from fault


def _put_in_place(files: list[Path], folder: Path) -> None:
    for file in files:
        if (folder / file.name).is_dir():
            raise OutputError(f"{folder / file.name}: is a folder; a file has to go there.")
        with file.open("rb+") as written:  # SQLite leaves a copied database to the system's cache
            os.fsync(written.fileno())
    for file in files:
        os.replace(file, folder / file.name)


def _writer_of(name: str) -> str:
    stages = [lay.stage for lay in LAYERS if lay.name == name]
    return "".join(f" `layoutgen {stage}` writes it." for stage in stages)


def _as_read(column: Column, values: pd.Series[Any]) -> pd.Series[Any]:
    """Integers with gaps come out of Arrow as floats; other columns are right already."""
    if column.type != "integer":
        return values
    return values.astype("Int64" if values.isna().any() else "int64")


def _layers_of(tables: Mapping[str, Table]) -> list[Layer]:
    """Layers to write: those with a table, and the rest of the latest stage among them."""
    unknown = set(tables) - {lay.name for lay in LAYERS}
    if unknown or not tables:
        raise ValueError(f"no layers of the schema: {sorted(unknown)}")
    stages = {lay.stage for lay in LAYERS if lay.name in tables}
    latest = "route" if "route" in stages else "generate"
    chosen = [lay for lay in LAYERS if lay.name in tables or lay.stage == latest]
    # fiona adds to a file, but only pyogrio is asked to create one: it goes first
    return sorted(chosen, key=_is_small)


def _is_small(layer: Layer) -> bool:
    return layer.geometry in (None, "Geometry")


def _check_target(path: Path) -> None:
    if path.suffix.lower() != ".gpkg":
        raise OutputError(f"{path}: the output is a GeoPackage; give it a name ending in .gpkg.")
    if path.is_dir():
        raise OutputError(f"{path}: is a folder; name the file to write.")
    _refuse_open(path)


def _refuse_open(path: Path) -> None:
    """A journal of the old file would be played back into the new one and corrupt it."""
    beside = [path.name + end for end in _JOURNALS if path.with_name(path.name + end).exists()]
    if beside:
        raise OutputError(
            f"{path}: is open in another program ({beside[0]} lies beside it). Save and close "
            "it there. If nothing has it open, open it once in a map program and close it again."
        )


@contextmanager
def _write_faults(path: Path) -> Iterator[None]:
    """Faults of the libraries below, as ours."""
    try:
        yield
    except _FAULTS as fault:
        raise OutputError(
            f"{path}: cannot be written; what was there is unchanged. Check free space. ({fault})"
        ) from fault


def _write_layer(file: Path, layer: Layer, table: Table | None, crs: pyproj.CRS) -> int:
    """Write one layer over its namesake, if any; the number of rows."""
    rows = _arrow(layer, _empty(layer, crs) if table is None else table, crs)
    write = _write_small if _is_small(layer) else _write_bulk
    write(file, layer, rows, crs)
    return int(rows.num_rows)


def _empty(layer: Layer, crs: pyproj.CRS) -> Table:
    columns: dict[str, list[Any]] = {column.name: [] for column in layer.columns}
    table: Table = gpd.GeoDataFrame(columns, geometry=[], crs=crs)
    return table


def _arrow(layer: Layer, table: Table, crs: pyproj.CRS) -> pa.Table:
    """The layer's own columns, typed by the schema, with the geometry."""
    lost = [column.name for column in layer.columns if column.name not in table]
    if lost:
        raise ValueError(f"table '{layer.name}' has no column {', '.join(lost)}")
    columns = {column.name: _typed(layer, column, table[column.name]) for column in layer.columns}
    if layer.geometry is not None:
        if getattr(table, "crs", None) is None:
            raise ValueError(f"table '{layer.name}' has no geometry or no CRS")
        columns[_GEOMETRY] = pa.chunked_array(_binary(layer, table, crs), type=pa.binary())
    return pa.table(columns)


def _binary(layer: Layer, table: Table, crs: pyproj.CRS) -> Iterator[pa.Array]:
    """Geometries in `crs` as ISO well-known binary, a few thousand at a time to spare memory."""
    for begin in range(0, len(table), _AT_ONCE):
        shapes = _shapes(layer, table.geometry.iloc[begin : begin + _AT_ONCE], crs)
        yield pa.array(shapely.to_wkb(shapes, output_dimension=2, flavor="iso"), type=pa.binary())


def _typed(layer: Layer, column: Column, values: pd.Series[Any]) -> pa.Array:
    try:
        return pa.array(values, type=_ARROW[column.type], from_pandas=True)
    except (pa.ArrowInvalid, pa.ArrowTypeError) as fault:
        raise ValueError(f"{layer.name}.{column.name} is not {column.type}: {fault}") from fault


def _shapes(layer: Layer, given: gpd.GeoSeries, crs: pyproj.CRS) -> np.ndarray[Any, np.dtype[Any]]:
    """Geometries in `crs`, of the layer's type."""
    shapes = np.array(given.to_crs(crs).to_numpy())
    if not np.isfinite(shapely.get_coordinates(shapes)).all():
        raise OutputError(f"{layer.name}: lies outside of what '{crs.name}' can express.")
    if layer.geometry == "Geometry":
        shapes[shapely.is_empty(shapes)] = None  # an empty place is no place
        return shapes
    return _of_type(layer, shapes)


def _of_type(layer: Layer, shapes: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """One type per layer, so that every program can read it: polygons become multipolygons."""
    if layer.geometry == "MultiPolygon":
        single = shapely.get_type_id(shapes) == 3
        shapes[single] = shapely.multipolygons(shapes[single], indices=np.arange(single.sum()))
    ids = shapely.get_type_id(shapes)
    wrong = shapes[(ids >= 0) & ~np.isin(ids, _SHAPES[layer.geometry or ""])]
    if wrong.size:
        raise ValueError(f"{layer.name}: {wrong[0].geom_type} in a layer of {layer.geometry}")
    return shapes


def _write_bulk(file: Path, layer: Layer, rows: pa.Table, crs: pyproj.CRS) -> None:
    pyogrio.raw.write_arrow(
        rows,
        file,
        layer=layer.name,
        driver="GPKG",
        geometry_name=_GEOMETRY,
        geometry_type=layer.geometry,
        crs=_crs_text(crs),
        dataset_options={} if file.exists() else {"VERSION": VERSION},
        layer_options={"GEOMETRY_NAME": _GEOMETRY, "SPATIAL_INDEX": "YES"},
    )


@lru_cache(maxsize=8)
def _crs_text(crs: pyproj.CRS) -> str:
    """Authority and code where there is one: every program knows it, a definition not always."""
    known = crs.to_authority(min_confidence=90)
    return ":".join(known) if known else crs.to_wkt("WKT1_GDAL")


def _write_small(file: Path, layer: Layer, rows: pa.Table, crs: pyproj.CRS) -> None:
    schema = {
        "geometry": "None" if layer.geometry is None else "Unknown",
        "properties": {column.name: _FIONA[column.type] for column in layer.columns},
    }
    place = {} if layer.geometry is None else {"crs": _crs_text(crs)}
    with fiona.open(file, "w", driver="GPKG", layer=layer.name, schema=schema, **place) as sink:
        sink.writerecords(_records(rows))


def _records(rows: pa.Table) -> Iterator[dict[str, Any]]:
    for batch in rows.to_batches(max_chunksize=10_000):
        for row in batch.to_pylist():
            shape = row.pop(_GEOMETRY, None)
            yield {
                "geometry": None if shape is None else _mapping(shape),
                "properties": row,
            }


def _mapping(shape: bytes) -> Any:
    return shapely.geometry.mapping(shapely.from_wkb(shape))


def _finish(base: sqlite3.Connection, layers: Iterable[Layer], rows: Mapping[str, int]) -> None:
    """Descriptions, drawing order and fixed times; last, because writing a layer drops them."""
    base.executescript(_DESCRIPTIONS)
    for table in ("gpkg_data_columns", "gpkg_data_column_constraints"):
        base.execute(_EXTENSION, (table,))
    for layer in layers:
        _describe(base, layer)
        _count(base, layer.name, rows[layer.name])
    for table in ("gpkg_contents", "gpkg_geometry_columns"):
        _reorder(base, table)
    base.commit()


def _describe(base: sqlite3.Connection, layer: Layer) -> None:
    base.execute(
        "UPDATE gpkg_contents SET description = ?, last_change = ? WHERE table_name = ?",
        (layer.text, FIXED_TIME, layer.name),
    )
    base.execute("DELETE FROM gpkg_data_columns WHERE table_name = ?", (layer.name,))
    base.executemany(
        "INSERT INTO gpkg_data_columns (table_name, column_name, description) VALUES (?, ?, ?)",
        [(layer.name, column.name, column.text) for column in layer.columns],
    )


def _count(base: sqlite3.Connection, name: str, rows: int) -> None:
    """A library that lost rows without a word, on a full disk say, must not pass."""
    found = base.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]
    if found != rows:
        raise sqlite3.DatabaseError(f"layer '{name}' holds {found} of {rows} rows")


def _reorder(base: sqlite3.Connection, table: str) -> None:
    """Rows of a catalog table in drawing order: programs list layers as they find them there."""
    cursor = base.execute(f"SELECT * FROM {table}")
    names = [column[0] for column in cursor.description]
    rows = sorted(cursor.fetchall(), key=lambda row: _rank(row[names.index("table_name")]))
    base.execute(f"DELETE FROM {table}")
    base.executemany(f"INSERT INTO {table} VALUES ({','.join('?' * len(names))})", rows)


def _rank(name: str) -> tuple[int, str]:
    return (TOP_DOWN.index(name) if name in TOP_DOWN else len(TOP_DOWN), name)

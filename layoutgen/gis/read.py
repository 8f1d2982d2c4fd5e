"""Reading: any vector file GDAL knows -> one table per role under our own field names.

Only this module and its siblings in `gis` open files. A file that cannot be used at all raises
`InputError`; a row that cannot be used becomes a `Finding`.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import fiona
import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pyproj
import shapely

from layoutgen.config import UNITS, Params, Where, choice, nearest, where
from layoutgen.errors import Finding, InputError
from layoutgen.gis.cells import FIELD_UNIT, cell_text, meaning, parsed
from layoutgen.gis.derive import ColumnRule, asked_columns, with_columns
from layoutgen.gis.plane import center_of, check_crs, parse_crs, to_plane, working_plane
from layoutgen.gis.roles import ROLES, Field, Role, role

#: GDAL keeps OSM node ids in a table that must be sorted; many extracts are not
_GDAL_OPTIONS = {"OSM_USE_CUSTOM_INDEXING": "NO"}
#: one pair of an HSTORE text as GDAL writes it; quotes and backslashes inside are escaped
_TAG = re.compile(r'"((?:[^"\\]|\\.)*)"=>"((?:[^"\\]|\\.)*)"')


class InputParams(Params):
    """`[inputs.<role>]`: where a role comes from and how its columns read."""

    source: str = choice(..., source="design", text="file or folder, relative to this file")
    source_of: str = choice(
        "", source="design", text="without a source of its own: the role whose file is read"
    )
    layer: str = choice("", source="design", text="layer, where the file has several that fit")
    crs: str = choice("", source="design", text="CRS of a file that names none, e.g. EPSG:2264")
    columns: dict[str, list[ColumnRule]] = choice(
        {}, source="design", text="new column = rules {take or value, when}; the first that fits"
    )
    fields: dict[str, str | list[str]] = choice(
        {}, source="design", text="our field = their column (a list is joined with blanks)"
    )
    values: dict[str, dict[str, str | int | float | bool]] = choice(
        {},
        source="design",
        text="our field -> their code (may hold * and ?) = our value; empty = unknown",
    )
    units: dict[str, str] = choice(
        {}, source="design", text="our field = unit of their plain numbers, e.g. m or km/h"
    )
    constants: dict[str, str | int | float | bool] = choice(
        {}, source="design", text="our field = value of every row, where no column tells it"
    )
    where: dict[str, Any] = choice({}, source="design", text="use only rows whose columns match")


@dataclass(frozen=True)
class Inputs:
    """All tables on the working plane.

    Attributes:
        plane: CRS of the working plane.
        source_crs: CRS of the streets file.
        tables: role -> table with our columns, `geometry` in feet; absent roles are missing.
        rows: role -> rows in the file.
    """

    plane: pyproj.CRS
    source_crs: pyproj.CRS
    tables: Mapping[str, gpd.GeoDataFrame]
    rows: Mapping[str, int]
    files: Mapping[str, str]


def read_inputs(
    specs: Mapping[str, InputParams], side: str = "right"
) -> tuple[Inputs, list[Finding]]:
    """Read every role and bring all to one working plane, centred on the streets.

    Args:
        specs: role -> where it comes from and how it reads.
        side: driving side, which rules of columns may ask for.

    Raises:
        InputError: a file is missing, unreadable, has no CRS or lacks a mapped column.
    """
    findings: list[Finding] = []
    tables: dict[str, gpd.GeoDataFrame] = {}
    rows: dict[str, int] = {}
    for known in ROLES:
        if known.name not in specs or known.on_request:
            continue
        raw = read_source(specs[known.name], known)
        rows[known.name] = len(raw)
        tables[known.name], found = map_fields(raw, specs[known.name], known, side)
        findings += found
        if known.geometry:
            findings += check_crs(tables[known.name], _label(specs[known.name], known))
    streets = tables["streets"]
    if rows["streets"] and not len(streets):
        raise InputError(
            f"{_label(specs['streets'], role('streets'))}: no row is left by `where`. "
            "Check the columns and values it asks for."
        )
    if streets.geometry.isna().all() or streets.geometry.is_empty.all():
        raise InputError(f"{_label(specs['streets'], role('streets'))}: no row has a geometry.")
    plane = working_plane(*center_of(streets))
    flat = {
        name: to_plane(table, plane) if role(name).geometry else table.set_crs(plane)
        for name, table in tables.items()
    }
    files = {name: specs[name].source for name in tables}
    return Inputs(plane, pyproj.CRS(streets.crs), flat, rows, files), findings


def read_on_request(
    spec: InputParams, known: Role, plane: pyproj.CRS
) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    """One role on a working plane that is given.

    Raises:
        InputError: as `read_inputs`.
    """
    raw = read_source(spec, known)
    table, findings = map_fields(raw, spec, known)
    findings += check_crs(table, _label(spec, known))
    return to_plane(table, plane), findings


def read_source(spec: InputParams, known: Role) -> gpd.GeoDataFrame:
    """All rows of one source as they are, with a CRS if the file or the settings name one.

    Raises:
        InputError: missing or unreadable file, unknown layer, or several layers that fit.
    """
    path = Path(spec.source)
    label = _label(spec, known)
    if not path.exists():
        raise InputError(f"{label}: no such file. Check `source` (relative to the project file).")
    pyogrio.set_gdal_config_options(_GDAL_OPTIONS)
    table = _read_any(path, spec, known, label)
    if not known.geometry:
        return table
    if spec.crs:
        key = f"inputs.{known.name}.crs"
        table = table.set_crs(parse_crs(spec.crs, key), allow_override=True)
    return _with_tags(table, _asked_columns(spec, known))


def list_layers(path: Path) -> list[tuple[str, str]]:
    """(layer, geometry type) of a file, as GDAL sees them.

    Raises:
        InputError: GDAL cannot open it.
    """
    if path.suffix == ".parquet":
        return [(path.stem, "Unknown")]
    try:
        found = pyogrio.list_layers(path)
    except pyogrio.errors.DataSourceError as fault:
        raise InputError(f"{path}: GDAL cannot open it ({fault}).") from None
    return [(str(name), str(kind or "")) for name, kind in found]


def column_types(path: Path, layer: str) -> dict[str, str]:
    """Column -> type of a layer, from its header only (fiona reads the schema without the rows)."""
    if path.suffix == ".parquet":
        return {str(k): str(v) for k, v in _read_parquet(path, True).dtypes.items()}
    with fiona.open(path, layer=layer) as source:
        return {str(k): str(v) for k, v in source.schema["properties"].items()}


def map_fields(
    raw: gpd.GeoDataFrame, spec: InputParams, known: Role, side: str = "right"
) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    """Table with our fields; codes translated, numbers parsed, unknown codes reported.

    Raises:
        InputError: a mapped column is not in the file.
    """
    raw = _with_made(raw, spec, known, side)
    kept, findings = _filter(raw, spec, known)
    label = f"inputs.{known.name}"
    _check_names(spec, known, label)
    out: dict[str, Any] = {}
    for fld in known.fields:
        column = _source_column(kept, fld, spec, label)
        if fld.name in spec.constants:
            out[fld.name] = _constant(fld, spec, label, len(kept))
            continue
        out[fld.name], found = _convert(column, fld, spec, known)
        findings += found
    table = gpd.GeoDataFrame(out, geometry=kept.geometry.array, crs=raw.crs, index=kept.index)
    return table.reset_index(drop=True), findings


def _read_any(path: Path, spec: InputParams, known: Role, label: str) -> gpd.GeoDataFrame:
    as_table = not known.geometry
    if path.suffix == ".parquet":
        return _guarded(lambda: _read_parquet(path, as_table), label, as_table)
    layer = spec.layer or _pick_layer(path, known, label)
    names = [name for name, _ in list_layers(path)]
    if layer not in names:
        raise InputError(f"{label}: no layer '{layer}'.{nearest(layer, names)}")
    options = {"X_POSSIBLE_NAMES": "lon*,x", "Y_POSSIBLE_NAMES": "lat*,y"}
    extra = options if path.suffix == ".csv" and not as_table else {}
    return _guarded(
        lambda: pyogrio.read_dataframe(
            path, layer=layer, on_invalid="ignore", read_geometry=not as_table, **extra
        ),
        label,
        as_table,
    )


def _read_parquet(path: Path, as_table: bool) -> pd.DataFrame:
    """A Parquet file; one without geometry, or whose geometry does not matter, as plain table."""
    try:
        table: pd.DataFrame = gpd.read_parquet(path)
    except ValueError:
        if not as_table:
            raise
        table = pd.read_parquet(path)
    return table


def _guarded(read: Callable[[], Any], label: str, as_table: bool = False) -> gpd.GeoDataFrame:
    """Whatever a reader raises on a broken file, said as one clear line."""
    try:
        with warnings.catch_warnings():
            # text columns that a GeoJSON reader takes for JSON and cannot parse: kept as text
            warnings.filterwarnings("ignore", "Could not parse column", UserWarning)
            table = read()
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as fault:
        raise InputError(f"{label}: cannot be read ({fault}).") from None
    except (ValueError, OSError) as fault:
        raise InputError(f"{label}: cannot be read ({fault}).") from None
    if as_table:
        return _without_places(table)
    if not isinstance(table, gpd.GeoDataFrame):
        raise InputError(f"{label}: the layer has no geometry.")
    return table


def _without_places(table: pd.DataFrame) -> gpd.GeoDataFrame:
    """A table for a role that has no geometry, in the form that all roles share."""
    places = table.geometry.name if isinstance(table, gpd.GeoDataFrame) else None
    plain = pd.DataFrame(table.drop(columns=[places] if places else []))
    return gpd.GeoDataFrame(plain, geometry=gpd.GeoSeries([None] * len(plain), index=plain.index))


def _pick_layer(path: Path, known: Role, label: str) -> str:
    """The one layer whose geometry fits the role; for a table one without geometry, if any."""
    layers = list_layers(path)
    fits = [name for name, kind in layers if _fits(kind, known)]
    if not known.geometry:
        fits = [name for name, kind in layers if not kind] or [name for name, _ in layers]
    if {"lines", "points", "multipolygons"} <= {name for name, _ in layers}:
        return "points" if "Point" in known.geometry else "lines"
    if len(fits) == 1 or (fits and len(layers) == 1):
        return fits[0]
    listed = ", ".join(name for name, _ in layers)
    problem = "several layers fit" if fits else f"no layer with {' or '.join(known.geometry)}"
    raise InputError(f"{label}: {problem} (it has: {listed}). Set `layer` for this input.")


def _fits(kind: str, known: Role) -> bool:
    plain = kind.removesuffix(" Z").removeprefix("3D ").removeprefix("2.5D ").replace("25D", "")
    return plain in known.geometry or plain in ("Unknown", "Geometry", "GeometryCollection")


def _asked_columns(spec: InputParams, known: Role) -> set[str]:
    """Every column that a role may read: our own field names, mapped ones and those of `where`."""
    mapped = [[v] if isinstance(v, str) else v for v in spec.fields.values()]
    ours = {fld.name for fld in known.fields}
    return ours.union(*mapped, spec.where, asked_columns(spec.columns)) - set(spec.columns)


def _with_tags(table: gpd.GeoDataFrame, asked: set[str]) -> gpd.GeoDataFrame:
    """Asked OSM keys that GDAL packs into `other_tags` ("k"=>"v", ...) as columns of their own.

    Only asked ones: an extract has thousands of keys, and a column for each would fill the memory.
    """
    if "other_tags" not in table:
        return table
    wanted = sorted(asked - set(table.columns))
    # rows without further tags hold NaN, not an empty text
    texts = [text if isinstance(text, str) else "" for text in table["other_tags"]]
    found = [{_unescape(k): _unescape(v) for k, v in _TAG.findall(text)} for text in texts]
    columns = {name: [tags.get(name) for tags in found] for name in wanted}
    fresh = pd.DataFrame(columns, index=table.index, dtype=object).dropna(axis=1, how="all")
    return gpd.GeoDataFrame(
        pd.concat([table, fresh], axis=1), geometry=table.geometry.name, crs=table.crs
    )


def _unescape(text: str) -> str:
    """A key or value as it is in OSM: GDAL writes a backslash before quotes and backslashes."""
    return re.sub(r"\\(.)", r"\1", text)


def _with_made(
    raw: gpd.GeoDataFrame, spec: InputParams, known: Role, side: str
) -> gpd.GeoDataFrame:
    """The rows with the columns that rules make."""
    for name in sorted(asked_columns(spec.columns)):
        if name not in raw.columns and "other_tags" not in raw.columns:
            raise InputError(_no_column(f"inputs.{known.name}.columns", name, raw, spec))
    return raw.assign(**with_columns(raw, spec.columns, cell_text, side)) if spec.columns else raw


def _filter(
    raw: gpd.GeoDataFrame, spec: InputParams, known: Role
) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    """Rows that `where` wants; one finding says how many it left out."""
    conditions: Where = where(spec.where)
    for name in conditions.names():
        if name not in raw.columns:
            raise InputError(_no_column(f"inputs.{known.name}.where", name, raw, spec))
    if not conditions.conditions:
        return raw, []
    columns = raw[list(conditions.names())].to_dict("records")
    keep = np.array([conditions.matches(row) for row in columns], dtype=bool)
    left_out = int((~keep).sum())
    text = f"{left_out} rows left out by `where`"
    found = Finding("filtered_out", "notice", known.name, "", text, "", rows=left_out)
    return raw[keep], [found] if left_out else []


def _check_names(spec: InputParams, known: Role, label: str) -> None:
    """Every name on the left of a mapping must be one of the role's fields."""
    ours = [fld.name for fld in known.fields]
    for part in ("fields", "values", "units", "constants"):
        for name in getattr(spec, part):
            if name not in ours:
                raise InputError(f"{label}.{part}.{name}: no such field.{nearest(name, ours)}")
    for name, unit in spec.units.items():
        _check_unit(name, unit, label)


def _check_unit(name: str, unit: str, label: str) -> None:
    """A unit must be one, and measure what its field measures."""
    dimension = next((d for end, (_, d) in FIELD_UNIT.items() if name.endswith(end)), "")
    good = [u for u, (d, _) in UNITS.items() if d == dimension]
    if unit not in good:
        hint = nearest(unit, good) if good else " This field has no unit."
        raise InputError(f"{label}.units.{name}: {unit!r} is no unit here.{hint}")


def _source_column(
    raw: gpd.GeoDataFrame, fld: Field, spec: InputParams, label: str
) -> pd.Series[Any] | None:
    """Their column of one of our fields: mapped, else of the same name, else None."""
    mapped = spec.fields.get(fld.name)
    if mapped is None:
        return raw[fld.name] if fld.name in raw.columns else None
    names = [mapped] if isinstance(mapped, str) else mapped
    for name in names:
        if name not in raw.columns and "other_tags" not in raw.columns:
            raise InputError(_no_column(f"{label}.fields.{fld.name}", name, raw, spec))
    present = [raw[name] for name in names if name in raw.columns]
    if len(present) < 2:
        return present[0] if present else None
    texts = pd.concat([column.map(cell_text) for column in present], axis=1)
    joined = [" ".join(part for part in row if part) for row in texts.to_numpy()]
    return pd.Series(joined, index=raw.index, dtype=object)


def _no_column(key: str, name: str, raw: gpd.GeoDataFrame, spec: InputParams) -> str:
    columns = [str(c) for c in raw.columns if c != raw.geometry.name]
    return f"{key}: {spec.source} has no column '{name}'.{nearest(name, columns)}"


def _convert(
    column: pd.Series[Any] | None, fld: Field, spec: InputParams, known: Role
) -> tuple[Any, list[Finding]]:
    """Values of one field, and findings for codes that mean nothing to us."""
    if column is None:
        return None, []
    codes = {
        cell_text(k).casefold(): cell_text(v) for k, v in spec.values.get(fld.name, {}).items()
    }
    texts = column.map(cell_text)
    distinct = {text: meaning(text, codes) for text in texts.unique()}
    values: dict[str, Any] = {}
    bad: list[str] = []
    for text, ours in distinct.items():
        value, ok = parsed(ours, fld, spec.units.get(fld.name, ""))
        values[text] = value
        if not ok:
            bad.append(text)
    found = [_unknown_code(code, int((texts == code).sum()), fld, known) for code in sorted(bad)]
    return np.array([values[text] for text in texts], dtype=object), found


def _constant(fld: Field, spec: InputParams, label: str, rows: int) -> Any:
    """The value of every row, from the settings."""
    text = cell_text(spec.constants[fld.name])
    value, ok = parsed(text, fld, spec.units.get(fld.name, ""))
    if not ok:
        allowed = ", ".join(fld.choices) or fld.type
        raise InputError(f"{label}.constants.{fld.name}: {text!r} is none of: {allowed}.")
    out = np.empty(rows, dtype=object)
    out[:] = value
    return out


def _unknown_code(code: str, count: int, fld: Field, known: Role) -> Finding:
    allowed = ", ".join(fld.choices) or {"yes_no": "yes, no"}.get(fld.type, "a number")
    text = f"{fld.name}: {code!r} on {count} rows means nothing here; taken as unknown"
    fix = f"map it in [inputs.{known.name}.values.{fld.name}] to: {allowed}"
    return Finding("unknown_code", "warning", known.name, code, text, fix)


def _label(spec: InputParams, known: Role) -> str:
    return f"inputs.{known.name}: {spec.source}"


def points_of(table: gpd.GeoDataFrame) -> Any:
    """One representative point per row; None where there is no geometry."""
    return shapely.centroid(table.geometry.to_numpy())

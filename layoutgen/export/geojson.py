"""GeoJSON (RFC 7946): one file per layer that has geometry, WGS84, one feature a line."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from layoutgen.export.formats import CAUTION, layers_in, read_lon_lat, rows_of, write_texts
from layoutgen.gis.schema import Layer


def write(package: Path, folder: Path) -> list[Path]:
    """Write `<layer>.geojson` for every layer with geometry.

    A row without place, or with an empty one, has a null geometry (RFC 7946, 3.2). The caution
    stands in the foreign member `description` of the collection (6.1).

    Raises:
        InputError: no such package.
        OutputError: the folder cannot be written.
    """
    layers = [layer for layer in layers_in(package) if layer.geometry is not None]
    return write_texts(folder, {f"{lay.name}.geojson": _collection(package, lay) for lay in layers})


def _collection(package: Path, layer: Layer) -> Iterator[str]:
    names = [column.name for column in layer.columns]
    table = read_lon_lat(package, layer.name)
    head = {"name": layer.name, "description": f"{layer.text} {CAUTION}"}
    yield '{"type": "FeatureCollection",\n' + _json(head)[1:-1] + ',\n"features": ['
    mark = "\n"
    # an id has to be unique among the features to be one
    has_id = names[0].endswith("_id") and bool(table[names[0]].is_unique)
    for shape, row in zip(_shapes(table), rows_of(table, names), strict=True):
        yield mark + _feature(shape, dict(zip(names, row, strict=True)), row[0] if has_id else None)
        mark = ",\n"
    yield "\n]}\n"


def _shapes(table: Any) -> Any:
    """GeoJSON text of each geometry, None where there is none."""
    shapes = table.geometry.to_numpy()
    return shapely.to_geojson(np.where(shapely.is_empty(shapes), None, shapes))


def _feature(shape: str | None, properties: dict[str, Any], key: Any) -> str:
    own = "" if key is None else f'"id": {_json(key)}, '
    return (
        f'{{"type": "Feature", {own}"geometry": {shape or "null"}, '
        f'"properties": {_json(properties)}}}'
    )


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)

"""What an output table is: name, geometry, stage, columns."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

ColumnType = Literal["text", "real", "integer"]


@dataclass(frozen=True)
class Column:
    """One output column."""

    name: str
    type: ColumnType
    text: str


@dataclass(frozen=True)
class Layer:
    """One output layer of the GeoPackage; geometry None = attribute table."""

    name: str
    geometry: str | None
    stage: Literal["generate", "route", "record"]
    text: str
    columns: tuple[Column, ...]


def columns_of(spec: str) -> tuple[Column, ...]:
    """Columns from lines of `name type text`."""
    kinds: dict[str, ColumnType] = {"text": "text", "real": "real", "integer": "integer"}
    rows = (line.strip().split(None, 2) for line in spec.strip().splitlines())
    return tuple(Column(name, kinds[kind], text) for name, kind, text in rows)

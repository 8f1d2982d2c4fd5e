"""Markings and their shapes -> the markings table: places, extents, directions, ids."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layoutgen.geometry.polyline import Polylines
from layoutgen.markings.marking import (
    GROUNDS,
    BarsShape,
    FigureShape,
    GroundShape,
    LineShape,
    LinkShape,
    Marking,
    PatchesShape,
    TeethShape,
)
from layoutgen.markings.templates import figure


def markings_table(
    asked: Sequence[tuple[str, Marking]],
    shapes: NDArray[np.object_],
    axes: Polylines,
    material: str,
) -> gpd.GeoDataFrame:
    """Table of (rule, marking) with their polygons on the working plane, sorted by id."""
    table = pd.DataFrame(_texts(asked, material) | _places([m for _, m in asked]))
    area = shapely.area(shapes)
    table["area_sqft"] = area
    table["length_ft"] = area / table["width_ft"].to_numpy(dtype=float)
    table["bearing_deg"] = _bearings(table, axes)
    table["marking_id"] = _ids(table, axes)
    frame = gpd.GeoDataFrame(table.drop(columns=["sort_ft", "heading_ft"]), geometry=shapes)
    return frame.sort_values("marking_id").reset_index(drop=True)


def _texts(asked: Sequence[tuple[str, Marking]], material: str) -> dict[str, list[Any]]:
    """Columns that say what, why and whose; a table made from rows takes ten times as long."""
    own = [m for _, m in asked]
    segments = [m.frame.segment for m in own]
    return {
        "kind": [m.kind for m in own],
        "style": [m.style for m in own],
        "rule": [name for name, _ in asked],
        "reason": [m.reason for m in own],
        "sources": [_joined(m.sources) for m in own],
        "segment_id": [s.segment_id for s in segments],
        "intersection_id": [m.intersection_id for m in own],
        "street": [s.name for s in segments],
        "color": [m.color for m in own],
        "material": [material] * len(own),
        "coat": [1] * len(own),
        "over_id": [""] * len(own),
        "action": ["new"] * len(own),
        "condition": [""] * len(own),
        "anchor": [m.anchor for m in own],
        "tag": [m.tag for m in own],
        "priority": [m.priority for m in own],
        "is_line": [m.is_line for m in own],
        "gives": [_gives(m) for m in own],
        "asked": list(range(len(own))),
        "level": [max(s.levels, key=abs) for s in segments],
        "district": [m.district for m in own],
        "breaks": [_breaks(m) for m in own],
    }


def _breaks(marking: Marking) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Where a figure is best parted: across it, and along it from its near edge."""
    if not isinstance(marking.shape, FigureShape):
        return (), ()
    drawn = figure.figure_of(marking.shape)
    return tuple(drawn.side_breaks), tuple(drawn.breaks)


def _gives(marking: Marking) -> str:
    """How a marking gives way to a stronger one: length, parts, or the whole of it."""
    if isinstance(marking.shape, FigureShape | TeethShape):
        return "whole"
    if marking.is_line or marking.color in GROUNDS or isinstance(marking.shape, GroundShape):
        return "length"
    return "most_parts" if marking.kind == "crosswalk" else "parts"


@lru_cache(maxsize=1024)
def _joined(sources: tuple[str, ...]) -> str:
    return ", ".join(sources)


def _places(own: Sequence[Marking]) -> dict[str, Any]:
    """Columns in stations and offsets of the segment, and those that number and turn a marking."""
    reverse = np.array([m.frame.reverse for m in own], dtype=bool)
    length = np.array([m.frame.segment.length_ft for m in own], dtype=float)
    sign = np.where(reverse, -1, 1)
    sort = np.array([m.station_ft for m in own], dtype=float)
    first, last, heading, facing = np.array(
        [_reach(m) for m in own], dtype=float
    ).reshape(-1, 4).T  # fmt: skip
    first, last, heading, station = (
        np.where(reverse, length - s, s) for s in (first, last, heading, sort)
    )
    return {
        "station_ft": station,
        "offset_ft": np.array([m.offset_ft for m in own], dtype=float) * sign,
        "width_ft": np.array([m.width_ft for m in own], dtype=float),
        "segment_index": np.array([m.frame.segment.index for m in own], dtype=np.int64),
        "from_ft": np.maximum(0.0, np.minimum(first, last)),
        "to_ft": np.minimum(length, np.maximum(first, last)),
        "travel": np.array([m.travel for m in own], dtype=np.int64) * sign,
        "facing": facing.astype(np.int64) * sign,
        "sort_ft": sort,
        "heading_ft": heading,
    }


def _reach(marking: Marking) -> tuple[float, float, float, int]:
    """First and last station; station whose axis direction the drawing follows; +1 or -1 for the
    travel that reads the marking. In frame coordinates."""
    shape, facing = marking.shape, marking.travel or 1
    if isinstance(shape, BarsShape):
        return (*_bars_extent(shape), shape.base_ft, facing)
    if isinstance(shape, LineShape):
        return shape.start_ft, shape.stop_ft, marking.station_ft, facing
    if isinstance(shape, FigureShape):
        far = shape.upstream_ft + shape.facing * figure.figure_of(shape).length_ft
        return shape.upstream_ft, far, (shape.upstream_ft + far) / 2, shape.facing
    if isinstance(shape, PatchesShape):
        stations = [station for patch in shape.patches for station, _ in patch.corners]
        return min(stations), max(stations), marking.station_ft, facing
    if isinstance(shape, LinkShape):
        return 0.0, shape.start_ft, marking.station_ft, facing
    if isinstance(shape, GroundShape):
        return shape.base_ft, shape.base_ft, marking.station_ft, facing
    ends = [shape.cut.at(shape.left_ft), shape.cut.at(shape.right_ft)]
    return min(ends), max(ends) + shape.height_ft, shape.base_ft, facing


def _bars_extent(shape: BarsShape) -> tuple[float, float]:
    ends = [(cut, bar) for bar in shape.bars for cut in (bar.near, bar.far)]
    stations = [cut.at(bar.left_ft) for cut, bar in ends]
    stations += [cut.at(bar.right_ft) for cut, bar in ends]
    return min(stations), max(stations)


def _bearings(table: pd.DataFrame, axes: Polylines) -> Any:
    """Compass direction of the travel that reads each marking."""
    if not len(table):
        return np.empty(0)
    along = axes.directions(table["segment_index"].to_numpy(), table["heading_ft"].to_numpy())
    along = along * table["facing"].to_numpy(dtype=float)[:, None]
    return np.degrees(np.arctan2(along[:, 0], along[:, 1])) % 360.0


def _ids(table: pd.DataFrame, axes: Polylines) -> list[str]:
    """kind/anchor/tag/number; numbers follow the place, not the digitised direction."""
    if not len(table):
        return []
    first = axes.xy[axes.first[:-1]]
    last = axes.xy[axes.first[1:] - 1]
    flip = (first[:, 0] > last[:, 0]) | ((first[:, 0] == last[:, 0]) & (first[:, 1] > last[:, 1]))
    of_block = table["anchor"].to_numpy() == table["segment_id"].to_numpy()
    sign = np.where(of_block & flip[table["segment_index"].to_numpy()], -1.0, 1.0)
    # markings of one block may stand in frames of both directions
    place = np.where(of_block, table["station_ft"], table["sort_ft"]).astype(float)
    along = np.round(place * sign, 3)
    across = np.round(table["offset_ft"].to_numpy(dtype=float) * sign, 3)
    stems = _stems(table)
    known: dict[str, int] = {}
    group = np.array([known.setdefault(stem, len(known)) for stem in stems])
    order = np.lexsort([across, along, group])
    counts = np.bincount(group)
    number = np.empty(len(table), dtype=np.int64)
    number[order] = np.arange(len(table)) - np.repeat(np.cumsum(counts) - counts, counts) + 1
    return [f"{stem}/{n}" for stem, n in zip(stems, number.tolist(), strict=True)]


def _stems(table: pd.DataFrame) -> list[str]:
    parts = zip(*(table[name].to_list() for name in ("kind", "anchor", "tag")), strict=True)
    return [f"{kind}/{anchor}/{tag}" if tag else f"{kind}/{anchor}" for kind, anchor, tag in parts]

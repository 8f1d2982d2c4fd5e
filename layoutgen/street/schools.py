"""School zones: the area a school reaches, and the stretches of street inside it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from layoutgen.geometry.polyline import Polylines
from layoutgen.street.naming import text_of


def school_zones(tables: Mapping[str, gpd.GeoDataFrame], reach: float) -> list[tuple[str, Any]]:
    """(id, zone polygon) per school."""
    if "schools" not in tables:
        return []
    table = tables["schools"]
    out = []
    for i, (row, place) in enumerate(
        zip(table.drop(columns=table.geometry.name).to_dict("records"), table.geometry, strict=True)
    ):
        if place is not None and not place.is_empty:
            label = text_of(row, "school_id") or text_of(row, "name") or f"school {i + 1}"
            out.append((label, shapely.buffer(place, reach)))
    return sorted(out, key=lambda pair: pair[0])


def zone_stations(
    schools: Sequence[tuple[str, Any]], axes: Polylines
) -> dict[int, list[tuple[str, float, float]]]:
    """Segment -> (school, first, last station inside its zone)."""
    out: dict[int, list[tuple[str, float, float]]] = defaultdict(list)
    if not schools or not len(axes):
        return out
    lines = axes.lines()
    tree = shapely.STRtree(lines)
    for label, zone in schools:
        hit = np.sort(tree.query(zone, predicate="intersects"))
        for i, inside in zip(hit.tolist(), shapely.intersection(lines[hit], zone), strict=True):
            points = shapely.points(shapely.get_coordinates(inside))
            if len(points) > 1:
                station = shapely.line_locate_point(lines[i], points)
                out[i].append((label, float(station.min()), float(station.max())))
    return out


def in_zone(
    schools: Sequence[tuple[str, Any]], points: Sequence[tuple[float, float]]
) -> list[bool]:
    """Whether each point lies in the zone of some school."""
    inside = np.zeros(len(points), dtype=bool)
    shapes = shapely.points(np.array(points, dtype=float).reshape(-1, 2))
    for _, zone in schools:
        inside |= shapely.contains(zone, shapes)
    return [bool(i) for i in inside]

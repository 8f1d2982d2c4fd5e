"""What lies across a street: rail crossings and speed humps, put on the nearest axis by station."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.config import Params, length
from layoutgen.errors import Finding
from layoutgen.geometry.polyline import Polylines
from layoutgen.gis.clean import stable_id
from layoutgen.gis.roles import role
from layoutgen.street.design import RailCrossing, Segment, SpeedHump


class FeatureParams(Params):
    """`[features]`: how far from a street axis its features may be drawn."""

    rail_crossing_reach_ft: float = length(
        "60 ft",
        low="5 ft",
        high="300 ft",
        source="common practice",
        text="a rail crossing farther from every street axis is reported",
    )
    speed_hump_reach_ft: float = length(
        "40 ft",
        low="5 ft",
        high="150 ft",
        source="common practice",
        text="a speed hump farther from every street axis is reported",
    )
    legend_reach_ft: float = length(
        "40 ft",
        low="5 ft",
        high="150 ft",
        source="common practice",
        text="a legend farther from every street axis is reported",
    )


@dataclass(frozen=True)
class Spot:
    """A row on its street."""

    segment: int
    station_ft: float
    own_id: str
    row: Mapping[str, Any]
    shape: Any


def with_features(
    segments: Sequence[Segment],
    axes: Polylines,
    tables: Mapping[str, gpd.GeoDataFrame],
    params: FeatureParams,
) -> tuple[tuple[Segment, ...], list[Finding]]:
    """Segments with their rail crossings and speed humps; findings about rows without a street."""
    out = list(segments)
    findings: list[Finding] = []
    reaches = {
        "rail_crossings": params.rail_crossing_reach_ft,
        "speed_humps": params.speed_hump_reach_ft,
    }
    for name, reach in reaches.items():
        if name not in tables:
            continue
        setting = f"features.{name.removesuffix('s')}_reach"
        spots, found = placed(tables[name], name, axes, reach, setting)
        findings += found
        by_segment: dict[int, list[Any]] = defaultdict(list)
        for spot in sorted(spots, key=lambda s: (s.station_ft, s.own_id)):
            by_segment[spot.segment].append(_RECORDS[name](spot))
        for i, records in by_segment.items():
            fields: dict[str, Any] = {name: tuple(records)}
            out[i] = replace(out[i], **fields)
    return tuple(out), findings


def _rail_crossing(spot: Spot) -> RailCrossing:
    tracks = spot.row.get("tracks")
    return RailCrossing(
        spot.own_id, spot.station_ft, _number(tracks, int), text_of(spot, "control")
    )


def _speed_hump(spot: Spot) -> SpeedHump:
    long = _number(spot.row.get("length_ft"), float)
    return SpeedHump(spot.own_id, spot.station_ft, text_of(spot, "kind"), long)


_RECORDS: Mapping[str, Callable[[Spot], Any]] = {
    "rail_crossings": _rail_crossing,
    "speed_humps": _speed_hump,
}


def _number(value: Any, kind: Callable[[Any], Any]) -> Any:
    return None if value is None or value != value else kind(value)


def text_of(spot: Spot, key: str) -> str:
    """A text of the row; empty where it has none."""
    value = spot.row.get(key)
    return "" if value is None or value != value else str(value)


def placed(
    table: gpd.GeoDataFrame, name: str, axes: Polylines, reach: float, setting: str
) -> tuple[list[Spot], list[Finding]]:
    """Rows on their streets, and findings about the others; `setting` is the name of the reach."""
    shapes = table.geometry.to_numpy()
    rows = table.drop(columns=table.geometry.name).to_dict("records")
    key = role(name).id_field
    ids = ["" if row[key] is None or row[key] != row[key] else str(row[key]) for row in rows]
    good = [i for i, shape in enumerate(shapes) if _usable(shape)]
    known = np.array([shapes[i] for i in good], dtype=object)
    segment, station, far = _nearest(known, axes, reach)
    what = name.removesuffix("s").replace("_", " ")
    spots: list[Spot] = []
    text = f"the {what} has no usable geometry"
    findings = [
        Finding("null_geometry", "warning", name, ids[i], text, "give it a place", None, 1)
        for i in range(len(rows))
        if i not in set(good)
    ]
    for k, i in enumerate(good):
        if segment[k] >= 0:
            own = ids[i] or stable_id(shapes[i])
            spots.append(Spot(int(segment[k]), float(station[k]), own, rows[i], shapes[i]))
            continue
        text = f"the nearest street is {far[k]:.0f} ft away, more than the reach of {reach:.0f} ft"
        fix = f"move the {what}, or raise {setting}"
        findings.append(Finding("feature_far", "warning", name, ids[i], text, fix, shapes[i], 1))
    return spots, findings


def _usable(shape: Any) -> bool:
    if shape is None or shape.is_empty:
        return False
    return bool(np.isfinite(shapely.get_coordinates(shape)).all())


def _nearest(shapes: NDArray[np.object_], axes: Polylines, reach: float) -> tuple[Any, Any, Any]:
    """(segment or -1, station, distance) per shape; of streets equally near the first by id."""
    segment = np.full(len(shapes), -1, dtype=np.int64)
    station = np.zeros(len(shapes))
    distance = np.full(len(shapes), np.inf)
    if not len(shapes):
        return segment, station, distance
    lines = axes.lines()
    tree = shapely.STRtree(lines)
    distance = shapely.distance(shapes, lines[tree.nearest(shapes)])
    which, line = tree.query(shapes, predicate="dwithin", distance=reach)
    far = np.round(shapely.distance(shapes[which], lines[line]), 2)
    order = np.lexsort([line, far, which])
    first, at = np.unique(which[order], return_index=True)
    segment[first] = line[order][at]
    own = lines[segment[first]]
    foot = shapely.get_point(shapely.shortest_line(own, shapes[first]), 0)
    station[first] = shapely.line_locate_point(own, foot)
    return segment, station, distance

"""A layout of any origin -> paints on the street model: matched by geometry, measured at once.

Rows that cannot be judged become findings; rows in = paints + rows in findings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layoutgen.errors import Finding
from layoutgen.markings.conformity import Paint
from layoutgen.markings.measuring import limits, parts_of
from layoutgen.street.design import Design, Leg, Segment, Strip

ROLE = "layout"
#: what a marking loses in a choice between streets, per ft outside the roadway: across the travel
_SQUARE_FT = 30.0
#: and on a piece of street inside an intersection, where a leg would do as well
_INSIDE_FT = 3.0
#: a marking so far from its own middle is looked at where it comes nearest to it
_HOLLOW_FT = 10.0
_POLYGONAL, _LINEAR = (3, 6), (1, 2, 5)


@dataclass(frozen=True)
class _Match:
    """Street of every marking by index (-1 = none), with the extents of the paint on it."""

    segment: NDArray[np.int64]
    from_ft: Any
    to_ft: Any
    left_ft: Any
    right_ft: Any


def paints_of(
    table: gpd.GeoDataFrame, design: Design, reach_ft: float
) -> tuple[list[Paint], list[Finding]]:
    """Paints of a layout, and findings about rows that are none.

    Args:
        table: role `layout` on the working plane.
        design: the street model.
        reach_ft: a marking farther from every street axis belongs to none.
    """
    table, findings = _painted(_named(table))
    table, found = _of_kind(table)
    findings += found
    shapes = table.geometry.to_numpy()
    bearing = np.array([np.nan if b is None else b for b in table["bearing_deg"]], dtype=float)
    match = _matched(shapes, bearing, design, reach_ft)
    lost = match.segment < 0
    findings += [
        _told("layout_no_street", i, f"no street within {reach_ft:g} ft; not judged", g)
        for i, g in zip(table["marking_id"][lost], shapes[lost], strict=True)
    ]
    bearing, found = _with_lanes(match, bearing, design)
    return _records(table, match, bearing, design), findings + found


def _named(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Words as ours are written, and an id of its own for every row."""
    out = table.copy()
    for name in ("kind", "style", "color"):
        out[name] = [_word(v) for v in table[name]]
    named = [_text(v) or f"row {k + 1}" for k, v in enumerate(table["marking_id"])]
    given = pd.Series(named, index=table.index)
    again = given.groupby(given).cumcount().to_numpy()
    out["marking_id"] = [f"{i} #{k + 1}" if k else i for i, k in zip(given, again, strict=True)]
    return out


def _text(value: Any) -> str:
    return "" if value is None or value != value else str(value).strip()


def _word(value: Any) -> str:
    return "_".join(_text(value).casefold().replace("-", " ").split())


def _painted(table: gpd.GeoDataFrame) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    """Rows as multi-polygons: lines get their width, broken outlines are repaired."""
    shapes = shapely.force_2d(table.geometry.to_numpy().copy())
    ids = table["marking_id"].to_numpy()
    findings: list[Finding] = []
    line = np.isin(shapely.get_type_id(shapes), _LINEAR)
    width = np.array([w or 0.0 for w in table["width_ft"]], dtype=float)
    bare = line & ~(width > 0.0)
    shapes[line] = shapely.buffer(
        shapes[line], np.maximum(width[line], 0.0) / 2, cap_style="flat", join_style="mitre"
    )
    findings += [
        _told("layout_no_width", i, "a line without a width is no paint; not judged", None)
        for i in ids[bare]
    ]
    bent = ~shapely.is_valid(shapes) & ~shapely.is_missing(shapes) & ~bare
    shapes[bent] = shapely.make_valid(shapes[bent])
    shapes[bent] = [_areas_of(shape) for shape in shapes[bent]]
    findings += [_repaired(i, g) for i, g in zip(ids[bent], shapes[bent], strict=True)]
    bad = ~np.isin(shapely.get_type_id(shapes), _POLYGONAL) | ~(shapely.area(shapes) > 0.0)
    findings += [
        _told("layout_no_paint", i, "has no painted area; not judged", None)
        for i in ids[bad & ~bare]
    ]
    good = ~bad & ~bare
    kept = table.set_geometry(gpd.GeoSeries(shapes, index=table.index, crs=table.crs))[good]
    return kept.reset_index(drop=True), findings


def _areas_of(shape: Any) -> Any:
    """The areas of a repaired shape, without the lines and points that repair leaves."""
    parts = [p for p in shapely.get_parts(shape) if p.geom_type in ("Polygon", "MultiPolygon")]
    return shapely.union_all(parts) if parts else shapely.MultiPolygon()


def _of_kind(table: gpd.GeoDataFrame) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    """Rows that say what they are."""
    mute = (table["kind"] == "").to_numpy()
    findings = [
        _told("layout_no_kind", i, "does not say what it is; not judged", g)
        for i, g in zip(table["marking_id"][mute], table.geometry[mute], strict=True)
    ]
    return table[~mute].reset_index(drop=True), findings


def _matched(shapes: Any, bearing: Any, design: Design, reach_ft: float) -> _Match:
    """The street each marking lies on: inside its roadway, along its traffic, near its axis."""
    segment = np.full(len(shapes), -1, dtype=np.int64)
    lines = design.axes.lines()
    if len(shapes) and len(lines):
        place = _middles(shapes)
        k, j = shapely.STRtree(lines).query(place, predicate="dwithin", distance=reach_ft)
        score = _scores(place[k], bearing[k], j, design)
        order = np.lexsort([j, score, k])
        owner, first = np.unique(k[order], return_index=True)
        segment[owner] = j[order[first]]
    return _extents(shapes, segment, design)


def _middles(shapes: Any) -> Any:
    """Middle of every marking; of one that bends round its middle the nearest place on it."""
    middle = shapely.centroid(shapes)
    hollow = shapely.distance(middle, shapes) > _HOLLOW_FT
    if hollow.any():
        way = shapely.shortest_line(shapes[hollow], middle[hollow])
        middle[hollow] = shapely.get_point(way, 0)
    return middle


def _scores(place: Any, bearing: Any, j: Any, design: Design) -> Any:
    """How little a street suits a marking, in feet."""
    station, offset, beyond = _on_axis(shapely.get_coordinates(place), j, design)
    edges = np.array([s.edges_ft for s in design.segments])[j]
    inside = np.array([block.inside for block in design.blocks])[j]
    outside = np.maximum(0.0, np.maximum(edges[:, 0] - offset, offset - edges[:, 1]))
    ahead = design.axes.directions(j, station)
    t = np.radians(bearing)
    like = np.abs(ahead[:, 0] * np.sin(t) + ahead[:, 1] * np.cos(t))
    square = np.where(np.isfinite(like), 1.0 - like, 0.0)
    score = outside + np.abs(beyond) + _SQUARE_FT * square + _INSIDE_FT * inside
    return np.round(score + 0.02 * np.abs(offset), 6)


def _on_axis(xy: Any, j: Any, design: Design) -> tuple[Any, Any, Any]:
    """(station, offset, distance beyond the end) of points on the axes of segments."""
    lines = design.axes.lines()
    station = shapely.line_locate_point(lines[j], shapely.points(xy))
    ahead = design.axes.directions(j, station)
    apart = xy - design.axes.locate(j, station)
    offset = apart[:, 0] * ahead[:, 1] - apart[:, 1] * ahead[:, 0]
    along = np.sum(apart * ahead, axis=1)
    # locating rounds: what lies beyond the last point comes back a hair before it
    at_end = (station <= 1e-6) | (station >= design.axes.lengths[j] - 1e-6)
    return station, offset, np.where(at_end, along, 0.0)


def _extents(shapes: Any, segment: Any, design: Design) -> _Match:
    """Stations and offsets between which the paint lies."""
    xy, owner = shapely.get_coordinates(shapes, return_index=True)
    on = segment[owner] >= 0 if len(owner) else np.zeros(0, dtype=bool)
    xy, owner = xy[on], owner[on]
    if not len(owner):
        none = np.zeros(len(shapes))
        return _Match(segment, none, none, none, none)
    station, offset, beyond = _on_axis(xy, segment[owner], design)
    first, last = limits(station + beyond, owner, len(shapes))
    left, right = limits(offset, owner, len(shapes))
    return _Match(segment, first, last, left, right)


def _with_lanes(match: _Match, bearing: Any, design: Design) -> tuple[Any, list[Finding]]:
    """Travel of the nearest lane for markings that name none."""
    out = bearing.copy()
    rows = np.flatnonzero(~np.isfinite(bearing) & (match.segment >= 0))
    if not len(rows):
        return out, []
    j = match.segment[rows]
    middle = (match.from_ft[rows] + match.to_ft[rows]) / 2
    ahead = design.axes.directions(j, middle)
    across = ((match.left_ft[rows] + match.right_ft[rows]) / 2).tolist()
    way = [
        _way(design.segments[int(i)].strips, offset)
        for i, offset in zip(j, across, strict=True)
    ]  # fmt: skip
    ahead = ahead * np.array(way, dtype=float)[:, None]
    out[rows] = np.degrees(np.arctan2(ahead[:, 0], ahead[:, 1])) % 360.0
    text = f"{len(rows)} markings name no travel direction; that of the nearest lane was taken"
    fix = "map bearing_deg in [inputs.layout.fields]"
    return out, [Finding("layout_bearing_assumed", "notice", ROLE, "", text, fix)]


def _way(strips: Sequence[Strip], offset_ft: float) -> int:
    """Direction of the lane nearest to an offset; along the street where no lane has one."""
    lanes = [s for s in strips if s.direction]
    if not lanes:
        return 1
    return min(lanes, key=lambda s: max(s.left_ft - offset_ft, offset_ft - s.right_ft)).direction


def _records(table: gpd.GeoDataFrame, match: _Match, bearing: Any, design: Design) -> list[Paint]:
    """One record per row that lies on a street."""
    rows = np.flatnonzero(match.segment >= 0)
    shapes = table.geometry.to_numpy()[rows]
    parts = parts_of(shapes, bearing[rows])
    words = [table[c].to_numpy()[rows] for c in ("marking_id", "kind", "style", "color")]
    sides = [a[rows].tolist() for a in (match.from_ft, match.to_ft, match.left_ft, match.right_ft)]
    out = []
    for k, (name, kind, style, color) in enumerate(zip(*words, strict=True)):
        segment = design.segments[int(match.segment[rows[k]])]
        first, last, left, right = (side[k] for side in sides)
        paint = Paint(
            *(name, kind, style, color, shapes[k], float(bearing[rows[k]]) % 360.0, segment),
            *((first + last) / 2, (left + right) / 2, _leg(design, segment, first, last)),
            *(first, last, left, right),
        )
        out.append(paint.with_parts(parts[k]))
    return out


def _leg(design: Design, segment: Segment, first_ft: float, last_ft: float) -> Leg | None:
    """The leg on whose length a marking lies whole, or the one its middle lies on if it is short.

    None for long lines that run from one leg to the other, and where there is no intersection.
    """
    block = design.blocks[segment.index]
    middle, length = (first_ft + last_ft) / 2, segment.length_ft
    start, end = block.start_leg, block.end_leg
    if start is not None and last_ft <= start.room_ft + 1.0:
        return start
    if end is not None and length - first_ft <= end.room_ft + 1.0:
        return end
    if last_ft - first_ft > length / 2:
        return None
    if start is not None and middle <= start.room_ft:
        return start
    return end if end is not None and length - middle <= end.room_ft else None


def _told(code: str, marking_id: str, text: str, place: Any) -> Finding:
    """A row that cannot be judged."""
    fix = {
        "layout_no_kind": "map kind in [inputs.layout.fields] and its codes in .values.kind",
        "layout_no_width": "map width_ft in [inputs.layout.fields], or set it under .constants",
        "layout_no_paint": "redraw it as an area, or as a line with a width",
        "layout_no_street": "check its place and the CRS; or set [audit] reach",
    }[code]
    return Finding(code, "warning", ROLE, marking_id, text, fix, place, rows=1)


def _repaired(marking_id: str, shape: Any) -> Finding:
    text = "its outline crosses itself; the repaired area is judged"
    place = None if shapely.is_empty(shape) else shape
    return Finding("layout_repaired", "notice", ROLE, marking_id, text, "redraw it", place)

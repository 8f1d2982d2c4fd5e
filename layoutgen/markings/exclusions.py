"""No marking inside an exclusion: figures and bars are left out, long lines are cut back."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.config import Params, length
from layoutgen.errors import Finding
from layoutgen.geometry.polyline import Polylines
from layoutgen.street.areas import Area

#: a marking that shares less than this with an exclusion only touches it (sq ft)
_TOUCH_SQFT = 0.02
#: a piece this near to an exclusion was cut by it
_AT_CUT_FT = 1e-6


class ExclusionParams(Params):
    """`[exclusions]`: what is left of lines at the edge of an exclusion."""

    shortest_ft: float = length(
        "10 ft",
        low="0 ft",
        high="100 ft",
        source="common practice",
        text="shorter rests of a line that an exclusion cuts are left out",
    )


@dataclass(frozen=True)
class Exclusions:
    """Areas without markings, and the shortest rest of a line worth painting.

    `islands` are raised: a crosswalk leads through them. `word` is what findings call the areas.
    """

    areas: tuple[Area, ...] = ()
    shortest_ft: float = 10.0
    islands: tuple[Area, ...] = ()
    word: str = "exclusion"


def keep_out(
    table: gpd.GeoDataFrame, exclusions: Exclusions, axes: Polylines
) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    """Markings table without what lies in an exclusion, and a finding per marking concerned.

    Lines keep what lies outside, measured anew; anything else that overlaps one is left out whole,
    because half a figure or half a crosswalk says nothing.
    """
    if not len(table) or not exclusions.areas:
        return table, []
    shapes = table.geometry.to_numpy().copy()
    is_line = table["is_line"].to_numpy(dtype=bool)
    inside, partly = _overlaps(shapes, exclusions.areas)
    spans: dict[int, tuple[float, float]] = {}
    findings: list[Finding] = []
    rows_of_pieces = (table["gives"] == "parts").to_numpy()
    for k in [k for k in partly if rows_of_pieces[k]]:
        rest = _clear_pieces(shapes[k], exclusions, partly[k])
        if len(rest.geoms):
            names = _names(exclusions, partly.pop(k))
            findings.append(_cut_back(table.iloc[k], shapes[k], rest, names))
            shapes[k], spans[k] = rest, (-np.inf, np.inf)
    lost = inside | {k: zones for k, zones in partly.items() if not is_line[k]}
    lines = axes.pieces(*_whole(table, axes, [k for k in partly if k not in lost]))
    for k, axis in zip([k for k in partly if k not in lost], lines, strict=True):
        cutter = shapely.union_all([exclusions.areas[z].shape for z in partly[k]])
        rest, span = _rest(shapes[k], cutter, axis, exclusions.shortest_ft)
        if rest is None:
            lost[k] = partly[k]
            continue
        findings.append(_cut_back(table.iloc[k], shapes[k], rest, _names(exclusions, partly[k])))
        shapes[k], spans[k] = rest, span
    findings += [
        _left_out(table.iloc[k], shapes[k], _names(exclusions, lost[k])) for k in sorted(lost)
    ]
    return _measured(table, shapes, spans, sorted(lost)), findings


def _clear_pieces(shape: Any, exclusions: Exclusions, zones: Sequence[int]) -> Any:
    """The pieces of a marking that stay clear of exclusions."""
    parts = shapely.get_parts(shape)
    cutter = shapely.union_all([exclusions.areas[z].shape for z in zones])
    return shapely.MultiPolygon(list(parts[~shapely.intersects(parts, cutter)]))


def _overlaps(
    shapes: NDArray[np.object_], areas: Sequence[Area]
) -> tuple[dict[int, list[int]], dict[int, list[int]]]:
    """(marking -> exclusions that cover it, marking -> exclusions it only overlaps)."""
    zones = np.array([area.shape for area in areas], dtype=object)
    tree = shapely.STRtree(shapes)
    zone, row = tree.query(zones, predicate="covers")
    inside: dict[int, list[int]] = defaultdict(list)
    for z, k in zip(zone.tolist(), row.tolist(), strict=True):
        inside[k].append(z)
    zone, row = tree.query(zones, predicate="intersects")
    open_ = ~np.isin(row, list(inside))
    zone, row = zone[open_], row[open_]
    shared = shapely.area(shapely.intersection(shapes[row], zones[zone])) > _TOUCH_SQFT
    partly: dict[int, list[int]] = defaultdict(list)
    for z, k in sorted(zip(zone[shared].tolist(), row[shared].tolist(), strict=True)):
        partly[k].append(z)
    return dict(inside), {k: partly[k] for k in sorted(partly)}


def _whole(table: gpd.GeoDataFrame, axes: Polylines, rows: Sequence[int]) -> tuple[Any, Any, Any]:
    """Arguments of `Polylines.pieces` for the whole axis of each row."""
    index = table["segment_index"].to_numpy(dtype=np.int64)[list(rows)]
    return index, np.zeros(len(index)), axes.lengths[index]


def _rest(
    shape: Any, cutter: Any, axis: Any, shortest_ft: float
) -> tuple[Any, tuple[float, float]]:
    """(what stays of a line, its first and last station); (None, ...) where nothing does.

    Strokes side by side are judged together, so that no half of a double line is left over.
    """
    parts = shapely.get_parts(shapely.difference(shape, cutter))
    parts = parts[shapely.area(parts) > _TOUCH_SQFT]
    if not len(parts):
        return None, (0.0, 0.0)
    low, high = _stations(parts, axis)
    group = _groups(low, high)
    at_cut = shapely.dwithin(parts, cutter, _AT_CUT_FT)
    short = np.zeros(len(parts), dtype=bool)
    for number in np.unique(group):
        own = group == number
        short |= own & at_cut & (high[own].max() - low[own].min() < shortest_ft)
    parts, low, high = parts[~short], low[~short], high[~short]
    if not len(parts):
        return None, (0.0, 0.0)
    return shapely.MultiPolygon(list(parts)), (float(low.min()), float(high.max()))


def _stations(parts: NDArray[np.object_], axis: Any) -> tuple[Any, Any]:
    """First and last station of every part."""
    xy, owner = shapely.get_coordinates(parts, return_index=True)
    station = shapely.line_locate_point(axis, shapely.points(xy))
    low, high = np.full(len(parts), np.inf), np.full(len(parts), -np.inf)
    np.minimum.at(low, owner, station)
    np.maximum.at(high, owner, station)
    return low, high


def _groups(low: Any, high: Any) -> Any:
    """Number per part; parts whose stations overlap share one."""
    order = np.argsort(low, kind="stable")
    reached = np.maximum.accumulate(high[order])
    opens = np.concatenate([[False], low[order][1:] > reached[:-1]])
    group = np.empty(len(low), dtype=np.int64)
    group[order] = np.cumsum(opens)
    return group


def _measured(
    table: gpd.GeoDataFrame,
    shapes: NDArray[np.object_],
    spans: dict[int, tuple[float, float]],
    lost: Sequence[int],
) -> gpd.GeoDataFrame:
    """Table with the cut shapes and without the lost rows, measured anew."""
    out = table.set_geometry(gpd.GeoSeries(shapes, index=table.index, crs=table.crs))
    low, high, at = (
        out[c].to_numpy(dtype=float).copy() for c in ("from_ft", "to_ft", "station_ft")
    )
    for k, (first, last) in spans.items():
        low[k], high[k] = max(low[k], first), min(high[k], last)
        at[k] = min(max(at[k], low[k]), high[k])
    area = shapely.area(shapes)
    cut = list(spans)
    sqft = out["area_sqft"].to_numpy(dtype=float).copy()
    sqft[cut] = area[cut]
    feet = out["length_ft"].to_numpy(dtype=float).copy()
    feet[cut] = area[cut] / out["width_ft"].to_numpy(dtype=float)[cut]
    out = out.assign(from_ft=low, to_ft=high, station_ft=at, area_sqft=sqft, length_ft=feet)
    keep = np.ones(len(out), dtype=bool)
    keep[list(lost)] = False
    return out[keep].reset_index(drop=True)


def _names(exclusions: Exclusions, zones: Sequence[int]) -> str:
    areas = [exclusions.areas[z] for z in zones]
    told = ", ".join(f"{a.area_id} ({a.text})" if a.text else a.area_id for a in areas)
    return f"{exclusions.word} {told}"


def _left_out(row: Any, shape: Any, names: str) -> Finding:
    text = f"{row['marking_id']} would stand in {names}; it was left out"
    return Finding("excluded", "notice", "markings", str(row["marking_id"]), text, "", shape)


def _cut_back(row: Any, shape: Any, rest: Any, names: str) -> Finding:
    gone = shape.area - rest.area
    text = f"{row['marking_id']} was cut back by {gone:.1f} sq ft at {names}"
    return Finding("excluded_part", "notice", "markings", str(row["marking_id"]), text, "", shape)

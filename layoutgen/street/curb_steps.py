"""Lines along the curb, walked in steps and put on the streets that run along them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from layoutgen.errors import Finding
from layoutgen.geometry.polyline import Polylines
from layoutgen.gis.clean import stable_id

#: length of a step (ft)
_STEP_FT = 5.0
#: a street runs along a step that is turned less against it
_ALONG = math.cos(math.radians(35.0))
#: a step may lie so far beyond the end of its street (ft)
_BEYOND_FT = 3.0
#: a shorter stretch on a street is none, and as much may be lost unsaid (ft)
_LEAST_FT = 10.0


@dataclass(frozen=True)
class Part:
    """What of a line lies along one segment: stations, and its mean offset from the axis."""

    own_id: str
    row: Mapping[str, Any]
    segment: int
    from_ft: float
    to_ft: float
    offset_ft: float


@dataclass(frozen=True)
class _Steps:
    """Middles of steps, their unit directions, their lengths, and the row of each."""

    xy: Any
    ahead: Any
    length_ft: Any
    row: Any


def lines_along(
    table: gpd.GeoDataFrame, axes: Polylines, reach_ft: float
) -> tuple[list[Part], list[Finding]]:
    """Parts of lines on segments, and findings about what lies along no street."""
    if not len(table):
        return [], []
    shapes = table.geometry.to_numpy()
    records = table.drop(columns=table.geometry.name).to_dict("records")
    ids = [_id(next(iter(r.values())), shape) for r, shape in zip(records, shapes, strict=True)]
    steps = _steps(shapes)
    segment, station, offset = _on_streets(steps, axes, reach_ft)
    parts: list[Part] = []
    findings: list[Finding] = []
    for k, record in enumerate(records):
        own = steps.row == k
        total, placed = float(steps.length_ft[own].sum()), 0.0
        for i in np.unique(segment[own & (segment >= 0)]).tolist():
            on = own & (segment == i)
            half = float(steps.length_ft[on].max()) / 2
            low = max(0.0, float(station[on].min()) - half)
            high = min(float(axes.lengths[i]), float(station[on].max()) + half)
            if high - low < min(_LEAST_FT, 0.9 * total):
                continue
            placed += float(steps.length_ft[on].sum())
            parts.append(Part(ids[k], record, i, low, high, float(offset[on].mean())))
        findings += _told(ids[k], shapes[k], total, placed)
    return parts, findings


def _told(own_id: str, shape: Any, total_ft: float, placed_ft: float) -> list[Finding]:
    lost = total_ft - placed_ft
    if placed_ft and lost <= _LEAST_FT:
        return []
    text = f"{lost:.0f} of {total_ft:.0f} ft lie along no street within reach and were left out"
    fix = "move the line to its curb, or raise curb_uses.reach"
    gone = int(not placed_ft)
    return [Finding("zone_off_street", "warning", "curb_zones", own_id, text, fix, shape, gone)]


def _id(told: Any, shape: Any) -> str:
    return str(told) if isinstance(told, str) and told else stable_id(shape)


def _steps(shapes: Any) -> _Steps:
    """Every line in steps of equal length, each with the direction of the line there."""
    xy, ahead, size, row = [], [], [], []
    for k, shape in enumerate(shapes):
        for line in shapely.get_parts(shape):
            count = max(1, math.ceil(line.length / _STEP_FT))
            each = line.length / count
            if not math.isfinite(each) or each <= 0.0:
                continue
            cuts = shapely.get_coordinates(
                shapely.line_interpolate_point(line, np.arange(count + 1) * each)
            )
            run = np.diff(cuts, axis=0)
            norm = np.maximum(np.hypot(*run.T), 1e-9)
            xy.append((cuts[1:] + cuts[:-1]) / 2)
            ahead.append(run / norm[:, None])
            size.append(np.full(count, each))
            row.append(np.full(count, k))
    if not xy:
        none = np.empty((0, 2))
        return _Steps(none, none, np.empty(0), np.empty(0, dtype=np.int64))
    return _Steps(np.vstack(xy), np.vstack(ahead), np.concatenate(size), np.concatenate(row))


def _on_streets(steps: _Steps, axes: Polylines, reach_ft: float) -> tuple[Any, Any, Any]:
    """(segment or -1, station, offset) of every step: of streets along it the nearest."""
    count = len(steps.row)
    segment, station, offset = np.full(count, -1, dtype=np.int64), np.zeros(count), np.zeros(count)
    lines, places = axes.lines(), shapely.points(steps.xy)
    which, line = shapely.STRtree(lines).query(places, predicate="dwithin", distance=reach_ft)
    at = shapely.line_locate_point(lines[line], places[which])
    run = axes.directions(line, at)
    away = steps.xy[which] - axes.locate(line, at)
    beyond = np.abs((away * run).sum(axis=1))
    across = away[:, 0] * run[:, 1] - away[:, 1] * run[:, 0]
    along = np.abs((run * steps.ahead[which]).sum(axis=1)) >= _ALONG
    good = along & (beyond <= _BEYOND_FT)
    which, line, at, across = which[good], line[good], at[good], across[good]
    order = np.lexsort([line, np.round(np.abs(across), 2), which])
    first, pick = np.unique(which[order], return_index=True)
    chosen = order[pick]
    segment[first], station[first], offset[first] = line[chosen], at[chosen], across[chosen]
    return segment, station, offset

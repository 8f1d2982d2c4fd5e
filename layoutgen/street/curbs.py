"""Roadway edges from curb lines: transects across every block, robust to bays, islands and gaps."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.config import Params, length, number
from layoutgen.geometry.polyline import Floats, Ints, Polylines

#: transects per block at most; more tell nothing new
_MOST = 24
#: least room between a median and the edge of the roadway
_LANE_FT = 8.0
#: narrower medians are none
_LEAST_MEDIAN_FT = 1.0
#: corners are looked for this far out, in these steps, with rays of this length
_CORNER_REACH_FT = 110.0
_CORNER_STEP_FT = 2.0
_CORNER_LOOK_FT = 80.0
#: stations in a row that make an edge (12 ft)
_CORNER_HOLD = 6


class CurbParams(Params):
    """`[curbs]`: how curb lines are measured."""

    reach_ft: float = length(
        "60 ft",
        low="15 ft",
        high="150 ft",
        source="common practice",
        text="a curb farther from the axis than this belongs to something else",
    )
    step_ft: float = length(
        "12 ft",
        low="3 ft",
        high="100 ft",
        source="common practice",
        text="distance between transects along a block",
    )
    end_clear_ft: float = length(
        "40 ft",
        low="0 ft",
        high="150 ft",
        source="common practice",
        text="no transect nearer than this to the ends of a block, where corners open",
    )
    least_share: float = number(
        0.3,
        low=0.05,
        high=1.0,
        source="common practice",
        text="share of the transects that must meet a curb on a side",
    )
    least_width_ft: float = length(
        "16 ft",
        low="8 ft",
        high="40 ft",
        source="common practice",
        text="a narrower measured roadway is not believed",
    )
    corner_flare_ft: float = length(
        "6 ft",
        low="1 ft",
        high="20 ft",
        source="common practice",
        text="where the curb has swung out this far, the corner begins",
    )

    corner_back_ft: float = length(
        "3 ft",
        low="0 ft",
        high="30 ft",
        source="common practice",
        text="a corner this much nearer than the widths say is not believed",
    )
    corner_out_ft: float = length(
        "12 ft",
        low="0 ft",
        high="60 ft",
        source="common practice",
        text="nor one this much farther out",
    )


@dataclass(frozen=True)
class Measured:
    """Distance from the axis to the left and the right edge of a roadway, and to those of a median
    that lies about the axis (0 = no median)."""

    left_ft: float
    right_ft: float
    inner_left_ft: float = 0.0
    inner_right_ft: float = 0.0

    @property
    def median_ft(self) -> float:
        """Width of the median."""
        return self.inner_left_ft + self.inner_right_ft

    @property
    def width_ft(self) -> float:
        """From edge to edge, median and all."""
        return self.left_ft + self.right_ft


@dataclass(frozen=True)
class Edges:
    """Distances per segment, left and right; nan = not known.

    `near` counts from the axis to the first curb; `past` to the next one behind it, and `far` to
    the first one that leaves room for a lane, both only where the first ones may be of a median.
    """

    near: tuple[Floats, Floats]
    past: tuple[Floats, Floats]
    far: tuple[Floats, Floats]
    divided: NDArray[np.bool_]

    def measured(self, i: int, *, two_way: bool, least_ft: float) -> Measured | None:
        """Edges of a segment, if they can be believed.

        The axis of a two-way street lies about its middle, so one known side stands for both; and
        a curb within a lane's width of it is that of a median.
        """
        pair = _pair(self.near, i, two_way)
        outer = _pair(self.far, i, two_way)
        if pair is None or not two_way or outer is None:
            return Measured(*pair) if pair is not None and sum(pair) >= least_ft else None
        between = self.divided[i] and min(pair) >= _LANE_FT
        if sum(pair) < least_ft or (between and outer == self._seen(i)):
            return Measured(*outer, *pair)
        if min(pair) >= _LANE_FT:
            return Measured(*pair)
        past = _pair(self.past, i, two_way) or outer
        if pair[0] < pair[1]:
            return Measured(outer[0], pair[1], _behind(pair[0], past[0], outer[0]), -pair[0])
        return Measured(pair[0], outer[1], -pair[1], _behind(pair[1], past[1], outer[1]))

    def _seen(self, i: int) -> tuple[float, float]:
        """The far curbs as they were seen, each on its own side."""
        return float(self.far[0][i]), float(self.far[1][i])


def _behind(near_ft: float, past_ft: float, far_ft: float) -> float:
    """Far edge of a median beside the axis; a median drawn as one line has the least width."""
    return past_ft if past_ft < far_ft - 1.0 else near_ft + _LEAST_MEDIAN_FT


def _pair(sides: tuple[Floats, Floats], i: int, two_way: bool) -> tuple[float, float] | None:
    left, right = float(sides[0][i]), float(sides[1][i])
    if two_way and np.isnan(left) != np.isnan(right):
        left = right = float(np.nanmax([left, right]))
    return None if np.isnan(left) or np.isnan(right) else (left, right)


def curb_lines(table: gpd.GeoDataFrame) -> NDArray[np.object_]:
    """Lines of a curb layer: lines as they are, polygons by their rings; no z, no empties."""
    shapes = shapely.force_2d(table.geometry.to_numpy())
    shapes = shapes[~shapely.is_missing(shapes)]
    area = shapely.get_dimensions(shapes) == 2
    shapes[area] = shapely.boundary(shapes[area])
    parts = shapely.get_parts(shapes)
    return np.asarray(parts[shapely.length(parts) > 0.1], dtype=object)


def measure_edges(
    axes: Polylines,
    curbs: NDArray[np.object_],
    params: CurbParams,
    divided: NDArray[np.bool_] | None = None,
) -> Edges:
    """Edges of every roadway: the median over its transects on each side.

    On streets said to be `divided` (one flag per axis) the first curbs are those of the median, if
    there are others behind them.

    Near the ends of a block corners open and curbs belong to the crossing street, so transects
    keep away from them; a block too short for that is measured in its middle.
    """
    line, station = _transects(axes.lengths, params)
    near = _both_sides(axes, (line, station), curbs, params, np.zeros((2, len(axes))))
    both = np.stack(near)
    about = both.sum(axis=0) < params.least_width_ft
    said = np.zeros(len(axes), dtype=bool) if divided is None else divided
    beside = (both.min(axis=0) < _LANE_FT) & (both.max(axis=0) >= 2 * _LANE_FT)
    asked = about | beside | said
    rows = asked[line]
    more = [np.full((2, len(axes)), np.nan)] * 2
    if rows.any():
        where = line[rows], station[rows]
        found = [
            np.stack(_both_sides(axes, where, curbs, params, both + beyond))
            for beyond in (_LEAST_MEDIAN_FT, _LANE_FT)
        ]
        more = [np.where(asked, sides, np.nan) for sides in found]
    return Edges(near, (more[0][0], more[0][1]), (more[1][0], more[1][1]), said)


def _both_sides(
    axes: Polylines,
    where: tuple[Ints, Floats],
    curbs: NDArray[np.object_],
    params: CurbParams,
    beyond: Floats,
) -> tuple[Floats, Floats]:
    """Median distance left and right per axis, of curbs beyond a distance per side and axis."""
    line = where[0]
    out = [
        _medians(
            line,
            curb_distance(axes, where, sign, curbs, (beyond[k][line], params.reach_ft)),
            len(axes),
            params.least_share,
        )
        for k, sign in enumerate((-1.0, 1.0))
    ]
    return out[0], out[1]


def curb_distance(
    axes: Polylines,
    where: tuple[Ints, Floats],
    sign: float,
    curbs: NDArray[np.object_],
    look: tuple[Floats | float, float],
) -> Floats:
    """Distance to the first curb at right angles to the axis, right (+1) or left (-1); nan = none.

    Args:
        axes: street axes.
        where: (axis numbers, stations) of the transects.
        sign: side.
        curbs: curb lines.
        look: curbs nearer than the first and farther than the second distance are not seen.
    """
    line, station = where
    # where no first curb is known there is none behind it
    known = np.isfinite(np.broadcast_to(look[0], len(line)))
    begin = np.where(known, look[0], 0.0)
    start = axes.locate(line, station, sign * begin)
    rays = shapely.linestrings(np.stack([start, axes.locate(line, station, sign * look[1])], 1))
    ray, curb = shapely.STRtree(curbs).query(rays, predicate="intersects")
    meet = shapely.intersection(rays[ray], curbs[curb])
    gap = (
        shapely.distance(shapely.points(start[ray]), meet)
        + np.broadcast_to(look[0], len(rays))[ray]
    )
    out = np.full(len(rays), np.inf)
    met = np.isfinite(gap)
    np.minimum.at(out, ray[met], gap[met])
    return np.where(known & np.isfinite(out), out, np.nan)


def _transects(lengths: Floats, params: CurbParams) -> tuple[Ints, Floats]:
    """(axis number, station) of all transects, evenly spread between the clear ends."""
    clear = np.minimum(params.end_clear_ft, lengths * 0.4)
    inner = lengths - 2 * clear
    count = np.clip(np.round(inner / params.step_ft), 2, _MOST).astype(np.int64)
    line = np.repeat(np.arange(len(lengths)), count)
    k = np.arange(len(line)) - np.repeat(np.cumsum(count) - count, count)
    return line, clear[line] + inner[line] * (k + 0.5) / count[line]


def _medians(line: Ints, far: Floats, size: int, least_share: float) -> Floats:
    """Median of the known distances per axis; nan where too few transects met a curb."""
    known = ~np.isnan(far)
    order = np.lexsort([np.where(known, far, np.inf), line])
    count = np.bincount(line[known], minlength=size)
    total = np.bincount(line, minlength=size)
    first = np.concatenate([[0], np.cumsum(total)[:-1]])
    ranked = far[order]
    low = ranked[np.minimum(first + np.maximum(count - 1, 0) // 2, len(ranked) - 1)]
    high = ranked[np.minimum(first + count // 2, len(ranked) - 1)]
    high = np.where(count % 2 == 1, low, high)
    middle = (low + high) / 2
    enough = (count > 0) & (count >= least_share * total)
    return np.asarray(np.where(enough, middle, np.nan), dtype=float)


def corner_stations(
    axes: Polylines,
    legs: tuple[Ints, NDArray[np.bool_]],
    halves: tuple[Floats, Floats],
    curbs: NDArray[np.object_],
    params: CurbParams,
) -> tuple[Floats, Floats]:
    """Leg stations where the curbs of a leg swing out into the corner, left and right.

    The station is the innermost one from which on the curb stays within `corner_flare_ft` of the
    leg's own edge for a while; nan where that is not seen.

    Args:
        axes: street axes.
        legs: (axis number, leg starts at the last point?) per leg.
        halves: distance from the axis to the left and the right curb per leg, seen outward.
        curbs: curb lines.
        params: reach, flare.
    """
    index, at_end = legs
    grid = np.arange(0.0, _CORNER_REACH_FT, _CORNER_STEP_FT)
    out = []
    for sign, half in ((-1.0, halves[0]), (1.0, halves[1])):
        # whatever stands in the inner half of the street is an island
        far = _profile(axes, (index, at_end), grid, (sign, 0.5 * half), curbs)
        inside = far <= (half + params.corner_flare_ft)[:, None]
        out.append(_settled(inside, grid))
    return out[0], out[1]


def _profile(
    axes: Polylines,
    legs: tuple[Ints, NDArray[np.bool_]],
    grid: Floats,
    side: tuple[float, Floats],
    curbs: NDArray[np.object_],
) -> Floats:
    """(legs, stations) distance to the curb on one side, seen outward; nan beyond the street.

    `side` holds the sign of the side, and the distance per leg from which on curbs are seen.
    """
    index, at_end = legs
    sign, begin = side[0], np.repeat(side[1], len(grid))
    line = np.repeat(index, len(grid))
    back = np.repeat(at_end, len(grid))
    out_ft = np.tile(grid, len(index))
    total = axes.lengths[line]
    along = np.where(back, total - out_ft, out_ft)
    far = np.full(len(line), np.nan)
    for way in (-1.0, 1.0):
        rows = (np.where(back, -sign, sign) == way) & (out_ft <= total)
        where = (line[rows], along[rows])
        far[rows] = curb_distance(axes, where, way, curbs, (begin[rows], _CORNER_LOOK_FT))
    return far.reshape(len(index), len(grid))


def _settled(inside: NDArray[np.bool_], grid: Floats) -> Floats:
    """First station from which `inside` holds for `_CORNER_HOLD` stations; nan without one."""
    count = inside.shape[1] - _CORNER_HOLD + 1
    held = np.ones((len(inside), count), dtype=np.bool_)
    for k in range(_CORNER_HOLD):
        held &= inside[:, k : k + count]
    return np.where(held.any(axis=1), grid[held.argmax(axis=1)], np.nan)

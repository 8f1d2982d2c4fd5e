"""Curb ramps: where people step down, crosswalks begin (XWALK-22)."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product

import geopandas as gpd
import numpy as np
import shapely
from scipy.spatial import cKDTree

from layoutgen.config import Params, length
from layoutgen.errors import Finding
from layoutgen.geometry.polyline import Floats, Ints, Polylines
from layoutgen.gis.read import points_of
from layoutgen.street.design import Cut, Leg

#: how far a ramp draws a crosswalk from where the curbs put it: people walk from ramp to ramp, but
#: ramps are often surveyed at their upper end, or lie at the middle of a corner for two crosswalks
_PULL = 0.5
#: but every ramp lies this near to the middle line, so that it opens into the crosswalk (XWALK-22)
_INSIDE_WALK_FT = 4.0
#: what a foot of stagger between two ramps costs against a foot off the expected place
_FACING = 1.0
#: a ramp may lie this far inside the roadway edge, or this far behind it
_INSIDE_FT, _BEHIND_FT = 6.0, 12.0


class RampParams(Params):
    """`[curb_ramps]`: how ramps find the crosswalk they serve."""

    reach_ft: float = length(
        "20 ft",
        low="5 ft",
        high="60 ft",
        source="common practice",
        text="a ramp farther from where a crosswalk should end serves it not",
    )
    middle_ft: float = length(
        "6 ft",
        low="0 ft",
        high="20 ft",
        source="common practice",
        text="where the middle of a crosswalk is sought behind the crossing curb line",
    )


@dataclass(frozen=True)
class _End:
    """One end of a leg's crossing: where it is expected, and the ramp found there."""

    leg: int
    edge_ft: float
    expected_ft: float
    ramp: int = -1
    station_ft: float = 0.0
    offset_ft: float = 0.0
    miss_ft: float = 0.0


def ramp_points(table: gpd.GeoDataFrame | None) -> tuple[Floats, list[Finding]]:
    """(n, 2) places of ramps, and a finding about rows without one."""
    if table is None:
        return np.empty((0, 2)), []
    places = points_of(table)
    gone = shapely.is_missing(places) | shapely.is_empty(places)
    text = f"{int(gone.sum())} rows have no usable geometry"
    found = Finding("null_geometry", "warning", "curb_ramps", "", text, "", rows=int(gone.sum()))
    return shapely.get_coordinates(places[~gone]), [found] if gone.any() else []


@dataclass(frozen=True)
class RampUse:
    """Legs led to their ramps, and the ends of crossings that have none.

    `bare` holds per leg id the sides without a ramp, -1 left and +1 right, seen outward.
    """

    legs: list[Leg]
    bare: Mapping[str, tuple[int, ...]]
    unused: Ints


def with_ramps(legs: Sequence[Leg], axes: Polylines, ramps: Floats, params: RampParams) -> RampUse:
    """Legs with the line from ramp to ramp, where there are ramps near its ends.

    Args:
        legs: legs with their curb line.
        axes: street axes.
        ramps: (n, 2) places on the plane.
        params: reach.
    """
    out = list(legs)
    if not legs or not len(ramps):
        return RampUse(out, {}, np.arange(len(ramps)))
    ends = _find(legs, axes, ramps, params)
    bare = {}
    for k, leg in enumerate(legs):
        pair = ends[2 * k : 2 * k + 2]
        bare[leg.leg_id] = tuple(s for s, e in zip((-1, 1), pair, strict=True) if e.ramp < 0)
        if len(bare[leg.leg_id]) < 2:
            out[k] = replace(leg, crossing=_line(leg, [e for e in pair if e.ramp >= 0], params))
    used = {end.ramp for end in ends}
    return RampUse(out, bare, np.array([i for i in range(len(ramps)) if i not in used], dtype=int))


def unused_ramps(use: RampUse, ramps: Floats) -> list[Finding]:
    """A finding for every ramp that no crosswalk leads to."""
    text = "no crosswalk of an intersection leads to this ramp"
    fix = "nothing to do at driveways and midblock crossings; else check the curbs and the place"
    return [
        Finding("ramp_unused", "notice", "curb_ramps", "", text, fix, shapely.Point(ramps[i]), 1)
        for i in use.unused.tolist()
    ]


def without_ramp(legs: Sequence[Leg], use: RampUse) -> list[Finding]:
    """A finding for every laid out crosswalk with an end that has no ramp; no place is given."""
    name = {-1: "left", 1: "right"}
    fix = "check whether there is a ramp; a crosswalk must not lead against a curb"
    out = []
    for leg in legs:
        ends = [side for side in use.bare.get(leg.leg_id, ()) if side != _inner_side(leg)]
        if ends and leg.layout.crosswalk is not None:
            told = " and ".join(name[side] for side in ends)
            text = f"no curb ramp at the {told} end of this crosswalk, seen from the intersection"
            out.append(Finding("no_ramp", "warning", "intersections", leg.leg_id, text, fix))
    return out


def _inner_side(leg: Leg) -> int:
    """Side on which the other carriageway of a divided road lies; 0 = none."""
    if leg.twin is None:
        return 0
    return 1 if leg.twin.strips[0].left_ft > leg.edges_ft[0] else -1


def _find(legs: Sequence[Leg], axes: Polylines, ramps: Floats, params: RampParams) -> list[_End]:
    """Both ends of every leg's crossing, left then right, with the ramps that fit best together."""
    middles = [leg.layout.curb.moved(params.middle_ft) for leg in legs]
    index = np.array([leg.segment.index for leg in legs])
    at_end = np.array([leg.at_end for leg in legs])
    base = np.array([cut.station_ft for cut in middles])
    along = np.where(at_end, axes.lengths[index] - base, base)
    origin = axes.locate(index, along)
    ahead = axes.directions(index, along) * np.where(at_end, -1.0, 1.0)[:, None]
    right = np.column_stack([ahead[:, 1], -ahead[:, 0]])
    tree = cKDTree(ramps)
    out: list[_End] = []
    for k, (leg, cut) in enumerate(zip(legs, middles, strict=True)):
        sides = []
        for edge in leg.edges_ft:
            expected = cut.at(edge)
            spot = origin[k] + (expected - base[k]) * ahead[k] + edge * right[k]
            near = np.array(sorted(tree.query_ball_point(spot, params.reach_ft)), dtype=np.int64)
            away = ramps[near] - origin[k]
            station = base[k] + away @ ahead[k]
            sides.append(_candidates(_End(k, edge, expected), near, station, away @ right[k]))
        out += _best_pair(sides[0], sides[1], cut.slope)
    return out


def _candidates(end: _End, near: Ints, station: Floats, offset: Floats) -> list[_End]:
    """An end with each ramp that lies beside the roadway edge; or with none."""
    beyond = (offset - end.edge_ft) * (1.0 if end.edge_ft > 0 else -1.0)
    fits = (beyond > -_INSIDE_FT) & (beyond < _BEHIND_FT)
    return [
        replace(
            end,
            ramp=int(near[k]),
            station_ft=float(station[k]),
            offset_ft=float(offset[k]),
            miss_ft=math.hypot(station[k] - end.expected_ft, 0.5 * beyond[k]),
        )
        for k in np.flatnonzero(fits).tolist()
    ] or [end]


def _best_pair(left: Sequence[_End], right: Sequence[_End], slope: float) -> tuple[_End, _End]:
    """Ramps near where they are expected, and facing each other."""

    def cost(pair: tuple[_End, _End]) -> tuple[float, int, int]:
        a, b = pair
        skew = 0.0
        if a.ramp >= 0 and b.ramp >= 0:
            skew = abs(b.station_ft - a.station_ft - slope * (b.offset_ft - a.offset_ft))
        return math.hypot(a.miss_ft, b.miss_ft) + _FACING * skew, a.ramp, b.ramp

    return min(product(left, right), key=cost)


def _line(leg: Leg, pair: Sequence[_End], params: RampParams) -> Cut:
    """Middle line of the crossing through its ramps."""
    middle = leg.layout.curb.moved(params.middle_ft)
    wanted = []
    for end in pair:
        usual = middle.at(end.offset_ft)
        left = (1.0 - _PULL) * (usual - end.station_ft)
        wanted.append(
            (end.offset_ft, end.station_ft + min(_INSIDE_WALK_FT, max(-_INSIDE_WALK_FT, left)))
        )
    slope = middle.slope
    if len(wanted) == 2:
        (low, a), (high, b) = wanted
        steepest = math.tan(math.radians(45.0))  # XWALK-17
        slope = min(steepest, max(-steepest, (b - a) / (high - low)))
    center = sum(station - slope * offset for offset, station in wanted) / len(wanted)
    return Cut(max(0.0, center), slope)

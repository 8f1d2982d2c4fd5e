"""Curb ramps: where people step down, crosswalks begin (XWALK-22)."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import shapely
from scipy.spatial import cKDTree

from layoutgen.config import Params, length
from layoutgen.errors import Finding
from layoutgen.geometry.polyline import Floats, Ints, Polylines
from layoutgen.gis.read import points_of
from layoutgen.street.design import Cut, Leg

#: a ramp at the middle of a corner serves two crosswalks; it draws each of them only half way
_SHARED = 0.5
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
        "7 ft",
        low="0 ft",
        high="30 ft",
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


def ramp_points(table: gpd.GeoDataFrame) -> tuple[Floats, list[Finding]]:
    """(n, 2) places of ramps, and a finding about rows without one."""
    places = points_of(table)
    gone = shapely.is_missing(places) | shapely.is_empty(places)
    text = f"{int(gone.sum())} rows have no usable geometry"
    found = Finding("null_geometry", "warning", "curb_ramps", "", text, "", rows=int(gone.sum()))
    return shapely.get_coordinates(places[~gone]), [found] if gone.any() else []


def with_ramps(
    legs: Sequence[Leg], axes: Polylines, ramps: Floats, params: RampParams
) -> list[Leg]:
    """Legs with the line from ramp to ramp, where there are ramps near its ends.

    Args:
        legs: legs with their curb line.
        axes: street axes.
        ramps: (n, 2) places on the plane.
        params: reach.
    """
    if not legs or not len(ramps):
        return list(legs)
    ends = _find(legs, axes, ramps, params)
    shared = Counter(end.ramp for end in ends if end.ramp >= 0)
    out = list(legs)
    for k, leg in enumerate(legs):
        pair = [end for end in ends[2 * k : 2 * k + 2] if end.ramp >= 0]
        if pair:
            out[k] = replace(leg, crossing=_line(leg, pair, shared, params))
    return out


def _find(legs: Sequence[Leg], axes: Polylines, ramps: Floats, params: RampParams) -> list[_End]:
    """Both ends of every leg's crossing, left then right, with the best ramp within reach."""
    middles = [leg.layout.curb.moved(params.middle_ft) for leg in legs]
    index = np.array([leg.segment.index for leg in legs])
    at_end = np.array([leg.at_end for leg in legs])
    base = np.array([cut.station_ft for cut in middles])
    along = np.where(at_end, axes.lengths[index] - base, base)
    origin = axes.locate(index, along)
    ahead = axes.directions(index, along) * np.where(at_end, -1.0, 1.0)[:, None]
    right = np.column_stack([ahead[:, 1], -ahead[:, 0]])
    tree = cKDTree(ramps)
    out = []
    for k, (leg, cut) in enumerate(zip(legs, middles, strict=True)):
        for edge in leg.edges_ft:
            expected = cut.at(edge)
            spot = origin[k] + (expected - base[k]) * ahead[k] + edge * right[k]
            near = np.array(sorted(tree.query_ball_point(spot, params.reach_ft)), dtype=np.int64)
            away = ramps[near] - origin[k]
            station = base[k] + away @ ahead[k]
            out.append(_best(_End(k, edge, expected), near, station, away @ right[k]))
    return out


def _best(end: _End, near: Ints, station: Floats, offset: Floats) -> _End:
    """End with the ramp that lies best beside the roadway edge."""
    beyond = (offset - end.edge_ft) * (1.0 if end.edge_ft > 0 else -1.0)
    fits = (beyond > -_INSIDE_FT) & (beyond < _BEHIND_FT)
    if not fits.any():
        return end
    miss = np.hypot(station - end.expected_ft, 0.5 * beyond)
    k = int(np.where(fits, miss, np.inf).argmin())
    return replace(
        end,
        ramp=int(near[k]),
        station_ft=float(station[k]),
        offset_ft=float(offset[k]),
    )


def _line(leg: Leg, pair: Sequence[_End], shared: Counter[int], params: RampParams) -> Cut:
    """Middle line of the crossing through its ramps."""
    middle = leg.layout.curb.moved(params.middle_ft)
    wanted = []
    for end in pair:
        usual = middle.at(end.offset_ft)
        pull = _SHARED if shared[end.ramp] > 1 else 1.0
        wanted.append((end.offset_ft, usual + pull * (end.station_ft - usual)))
    slope = middle.slope
    if len(wanted) == 2:
        (low, a), (high, b) = wanted
        steepest = math.tan(math.radians(45.0))  # XWALK-17
        slope = min(steepest, max(-steepest, (b - a) / (high - low)))
    center = sum(station - slope * offset for offset, station in wanted) / len(wanted)
    return Cut(max(0.0, center), slope)

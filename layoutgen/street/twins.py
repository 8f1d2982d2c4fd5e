"""The two carriageways of one street at an intersection: one crosswalk line across both."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from layoutgen.geometry.polyline import Floats, Polylines
from layoutgen.street.design import Cut, Leg, LegLayout, Twin
from layoutgen.street.intersection import IntersectionParams

#: a common line that moves a carriageway's own line farther than this is none
_MOST_FT = 60.0
#: existing crosswalks of two carriageways that are farther out of line have a line each
_STAGGER_FT = 3.0
#: those that are less parallel than this are crossed each in its own frame (cosine of 3 degrees)
_ONE_FRAME = 0.9986
#: carriageways that are less parallel at the line have a line each (cosine of 20 degrees)
_PARALLEL = 0.94


@dataclass(frozen=True)
class _Frame:
    """Straight frame of a leg at the station of its curb line."""

    station_ft: float
    origin: Floats
    ahead: Floats
    right: Floats

    def place(self, station_ft: float, offset_ft: float) -> Floats:
        """Plane point of leg coordinates."""
        along = station_ft - self.station_ft
        return self.origin + along * self.ahead + offset_ft * self.right

    def read(self, xy: Floats) -> tuple[float, float]:
        """(station, offset) of a plane point."""
        away = xy - self.origin
        return self.station_ft + float(away @ self.ahead), float(away @ self.right)


def with_twins(
    legs: Sequence[Leg],
    pairs: Sequence[tuple[int, int]],
    axes: Polylines,
    params: IntersectionParams,
) -> list[Leg]:
    """Legs whose carriageways share their line across, and know each other.

    Args:
        legs: legs of one intersection, with curb lines and, if known, lines from ramp to ramp.
        pairs: (approach, departure) as numbers of legs.
        axes: street axes.
        params: steepest line.
    """
    out = list(legs)
    limit = math.tan(math.radians(params.max_skew_deg))
    for a, b in pairs:
        lead, other = legs[a], legs[b]
        if not (lead.segment.paved and other.segment.paved):
            continue
        frames = _frame(lead, axes), _frame(other, axes)
        lines = _common(lead, other, frames, limit)
        if lines is not None and _beside(lead, other, frames, params.median_gap_ft):
            together = float(frames[0].ahead @ frames[1].ahead) >= _ONE_FRAME
            out[a] = _joined(lead, other, lines[0], frames, leads=True, together=together)
            out[b] = _joined(other, lead, lines[1], frames[::-1], leads=False, together=together)
    return out


def parted(legs: Sequence[Leg]) -> list[Leg]:
    """Laid out legs; carriageways of which one has no room for a crosswalk go their own ways."""
    known = {leg.leg_id: leg for leg in legs}
    out = []
    for leg in legs:
        other = known.get(leg.twin.leg_id) if leg.twin else None
        both = leg.layout.crosswalk and other is not None and other.layout.crosswalk
        out.append(leg if both or leg.twin is None else replace(leg, twin=None))
    return out


def _frame(leg: Leg, axes: Polylines) -> _Frame:
    station = leg.layout.curb.station_ft
    index = [leg.segment.index]
    along = leg.segment.length_ft - station if leg.at_end else station
    ahead = axes.directions(index, [along])[0] * (-1.0 if leg.at_end else 1.0)
    right = np.array([ahead[1], -ahead[0]])
    return _Frame(station, axes.locate(index, [along])[0], ahead, right)


def _across(leg: Leg) -> Cut:
    return leg.crossing or leg.layout.curb


def _common(
    lead: Leg, other: Leg, frames: tuple[_Frame, _Frame], limit: float
) -> tuple[Cut, Cut] | None:
    """One straight line across both carriageways, in the coordinates of each."""
    seen = [leg for leg in (lead, other) if leg.crossing] or [lead, other]
    if lead.existing and other.existing and _stagger(lead, other, frames) > _STAGGER_FT:
        return None
    ends = {
        leg.leg_id: _ends(leg, frame, frames[0])
        for leg, frame in zip((lead, other), frames, strict=True)
    }
    slopes = [_slope(ends[leg.leg_id]) for leg in seen]
    slope = min(limit, max(-limit, sum(slopes) / len(slopes)))
    bases = [[s - slope * o for s, o in ends[leg.leg_id]] for leg in seen]
    flat = [base for own in bases for base in own]
    # curb lines are cleared; a line from ramp to ramp is met in the middle
    station = sum(flat) / len(flat) if lead.crossing or other.crossing else max(flat)
    line = Cut(max(0.0, station), slope)
    points = [frames[1].read(frames[0].place(line.at(o), o)) for _, o in ends[other.leg_id]]
    turned = Cut(points[0][0] - _slope(points) * points[0][1], _slope(points))
    moved = (
        line.station_ft - _across(lead).station_ft,
        turned.station_ft - _across(other).station_ft,
    )
    return (
        (line, turned)
        if max(abs(m) for m in moved) <= _MOST_FT and turned.station_ft >= 0
        else None
    )


def _beside(lead: Leg, other: Leg, frames: tuple[_Frame, _Frame], gap_ft: float) -> bool:
    """Whether two carriageways run side by side with no more than a median between them."""
    low, high = sorted(o for _, o in _ends(other, frames[1], frames[0]))
    gap = max(low - lead.edges_ft[1], lead.edges_ft[0] - high)
    return gap <= gap_ft and float(frames[0].ahead @ frames[1].ahead) >= _PARALLEL


def _ends(leg: Leg, own: _Frame, common: _Frame) -> list[tuple[float, float]]:
    """Both ends of a leg's line across, in common coordinates."""
    line = _across(leg)
    return [common.read(own.place(line.at(o), o)) for o in leg.edges_ft]


def _stagger(lead: Leg, other: Leg, frames: tuple[_Frame, _Frame]) -> float:
    """How far the existing crosswalks of two carriageways are out of line (ft)."""
    line = _across(lead)
    return max(abs(s - line.at(o)) for s, o in _ends(other, frames[1], frames[0]))


def _slope(points: Sequence[tuple[float, float]]) -> float:
    (s0, o0), (s1, o1) = points
    return (s1 - s0) / (o1 - o0) if abs(o1 - o0) > 1e-6 else 0.0


def _joined(
    leg: Leg,
    other: Leg,
    line: Cut,
    frames: tuple[_Frame, _Frame],
    *,
    leads: bool,
    together: bool,
) -> Leg:
    """A leg with the common line and, where one frame holds both, the other carriageway."""
    station = frames[1].station_ft
    shift = frames[0].read(frames[1].place(station, 0.0))[1]
    strips = tuple(strip.moved(shift) for strip in other.strips)
    twin = Twin(other.leg_id, strips, leads) if together else None
    if leg.crossing or other.crossing:
        return replace(leg, crossing=line, twin=twin)
    return replace(leg, layout=LegLayout(line, None, line, line, line), twin=twin)

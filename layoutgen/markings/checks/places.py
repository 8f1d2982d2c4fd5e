"""Where paint lies on its leg and on its block: measures that several families ask for."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import lru_cache
from itertools import pairwise
from typing import Any

import numpy as np
import shapely

from layoutgen.markings.conformity import LaidOut, Paint
from layoutgen.street.design import Design, Leg, RailCrossing

#: a crosswalk farther behind the curb line than this lies inside the block, as do lines that wait
#: at such a crosswalk: 20 ft and more before it
_AT_LEG_FT = {"crosswalk": 60.0}
_LINE_AT_LEG_FT = 85.0
#: a stop line this near to a rail crossing belongs to it
_AT_RAIL_FT = 70.0


def leg_place(paint: Paint, leg: Leg) -> tuple[float, float]:
    """Leg station and offset of the middle of a marking."""
    if leg.at_end:
        return leg.segment.length_ft - paint.station_ft, -paint.offset_ft
    return paint.station_ft, paint.offset_ft


def waits_at(paint: Paint) -> Leg | None:
    """The leg that a crosswalk, stop or yield line belongs to; None inside a block, at rails."""
    leg = paint.leg
    if leg is None:
        return None
    if paint.kind != "crosswalk" and (rail_near(paint) is not None or not _inbound(paint, leg)):
        return None
    away = leg_place(paint, leg)[0] - leg.layout.curb.station_ft
    return leg if away <= _AT_LEG_FT.get(paint.kind, _LINE_AT_LEG_FT) else None


def _inbound(paint: Paint, leg: Leg) -> bool:
    """Whether the traffic that reads a marking drives to the intersection of its leg."""
    turn = (paint.bearing_deg - leg.inbound_bearing_deg + 180.0) % 360.0 - 180.0
    return abs(turn) <= 90.0


def way_of(paint: Paint, design: Design) -> int:
    """Direction along its segment of the traffic that reads a marking: +1 or -1."""
    if paint.segment is None:
        return 1
    at = np.array([paint.segment.index]), np.array([paint.station_ft])
    t = math.radians(paint.bearing_deg)
    return 1 if design.axes.directions(*at)[0] @ np.array([math.sin(t), math.cos(t)]) > 0 else -1


def rail_near(paint: Paint) -> RailCrossing | None:
    """The rail crossing that a marking is near to."""
    crossings = paint.segment.rail_crossings if paint.segment else ()
    if not crossings:
        return None
    near = [c for c in crossings if abs(c.station_ft - paint.station_ft) <= _AT_RAIL_FT]
    leg = paint.leg
    if leg is not None and paint.kind in ("stop_line", "yield_line") and _inbound(paint, leg):
        way = 1.0 if leg.at_end else -1.0
        near = [c for c in near if (c.station_ft - paint.station_ft) * way > 0.0]
    return min(near, key=lambda c: abs(c.station_ft - paint.station_ft), default=None)


def from_area(paint: Paint, leg: Leg, laid: LaidOut) -> float | None:
    """Clear distance of a marking to the area of its leg's intersection, ft; None without one.

    On the leg the area ends at the curb line of the crossing street, or at the edge of the ring.
    """
    area = _areas(_Same(laid.design)).get(leg.intersection_id)
    if area is None or area.is_empty:
        return None
    return float(shapely.distance(paint.shape, area))


class _Same:
    """A design by identity, which is all that a cache needs to know of it."""

    def __init__(self, design: Design) -> None:
        self.design = design

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and other.design is self.design

    def __hash__(self) -> int:
        return id(self.design)


@lru_cache(maxsize=1)
def _areas(same: _Same) -> Mapping[str, Any]:
    """Intersection id -> its area."""
    return {c.intersection_id: c.area for c in same.design.intersections}


def depth_ft(shape: Any, bearing_deg: float) -> float:
    """Size of a shape across its side that runs more across than along the travel, ft."""
    sides = sides_of(shape, bearing_deg)
    return sides[0]


def sides_of(shape: Any, bearing_deg: float) -> tuple[float, float]:
    """Sides of the smallest rectangle around a shape: the one more along the travel, the other."""
    xy = shapely.get_coordinates(shapely.oriented_envelope(shape))[:3]
    steps = np.diff(xy, axis=0)
    t = math.radians(bearing_deg)
    along = np.abs(steps @ np.array([math.sin(t), math.cos(t)]))
    lengths = np.hypot(*steps.T)
    first = int(np.argmax(along / np.maximum(lengths, 1e-9)))
    return float(lengths[first]), float(lengths[1 - first])


def across_gaps(shapes: Sequence[Any], bearing_deg: float) -> list[float]:
    """Gaps between the neighbors of a row, measured across the travel."""
    t = math.radians(bearing_deg)
    across = np.array([math.cos(t), -math.sin(t)])
    sides = [shapely.get_coordinates(s) @ across for s in shapes]
    return [float(b.min() - a.max()) for a, b in pairwise(sides)]


def by_side(shapes: Sequence[Any], bearing_deg: float) -> list[Any]:
    """Shapes from left to right as the traffic sees them."""
    t = math.radians(bearing_deg)
    across = np.array([math.cos(t), -math.sin(t)])
    middles = [float(np.mean(shapely.get_coordinates(s)[:-1] @ across)) for s in shapes]
    return [shapes[i] for i in np.argsort(middles, kind="stable")]


def gaps(shapes: Sequence[Any]) -> list[float]:
    """Clear distances between neighbors of a row."""
    if len(shapes) < 2:
        return []
    return [float(d) for d in shapely.distance(list(shapes[:-1]), list(shapes[1:]))]


def nearest(paint: Paint, laid: LaidOut, kind: str, within_ft: float) -> tuple[float, Paint] | None:
    """(distance, marking) of the nearest other marking of a kind; on the own leg first."""
    own = laid.on_leg(paint.leg, kind) if paint.leg is not None else []
    found = own or laid.near(paint.shape, within_ft, (kind,))
    pairs = [(float(shapely.distance(paint.shape, p.shape)), p) for p in found if p is not paint]
    return min(pairs, key=lambda pair: pair[0], default=None)

"""Where paint lies on its leg and on its block: measures that several families ask for."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely

from layoutgen.markings.conformity import LaidOut, Paint
from layoutgen.street.design import Cut, Leg, RailCrossing

#: paint on a leg farther behind the curb line than this belongs to the block
_AT_LEG_FT = 100.0
#: a stop line this near to a rail crossing belongs to it
_AT_RAIL_FT = 70.0


def leg_place(paint: Paint, leg: Leg) -> tuple[float, float]:
    """Leg station and offset of the middle of a marking."""
    if leg.at_end:
        return leg.segment.length_ft - paint.station_ft, -paint.offset_ft
    return paint.station_ft, paint.offset_ft


def waits_at(paint: Paint) -> Leg | None:
    """The leg whose traffic waits at a stop or yield line; None inside a block or at rails."""
    leg = paint.leg
    if leg is None or rail_near(paint) is not None:
        return None
    return leg if leg_place(paint, leg)[0] - leg.layout.curb.station_ft <= _AT_LEG_FT else None


def rail_near(paint: Paint) -> RailCrossing | None:
    """The rail crossing that a marking is near to."""
    crossings = paint.segment.rail_crossings if paint.segment else ()
    near = [c for c in crossings if abs(c.station_ft - paint.station_ft) <= _AT_RAIL_FT]
    return min(near, key=lambda c: abs(c.station_ft - paint.station_ft), default=None)


def behind(paint: Paint, leg: Leg, cut: Cut) -> float:
    """Clear distance from a cut of the leg to the nearest paint of a marking across it, ft."""
    station, offset = leg_place(paint, leg)
    depth = min(depth_ft(part.shape, paint.bearing_deg) for part in paint.parts)
    return (station - cut.at(offset)) / math.hypot(1.0, cut.slope) - depth / 2


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

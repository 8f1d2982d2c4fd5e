"""Leg geometry: where the crossing street's curb line cuts a leg, and the stations behind it.

For two neighboring legs with half widths h and k that include the angle t (clockwise from the
first), the corner of their curbs lies at station (k + h cos t) / sin t on the first leg. The curb
line of a leg runs through the corners on its two sides; where the street goes straight on there is
no corner on that side, and the line runs parallel to the crossing street.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.config import Params, length, measure
from layoutgen.street.design import Cut, LegLayout


class IntersectionParams(Params):
    """`[intersection]`: how legs are measured."""

    heading_chord_ft: float = length(
        "40 ft",
        low="5 ft",
        high="200 ft",
        source="common practice",
        text="a leg's bearing is measured to the point this far out",
    )
    max_skew_deg: float = measure(
        "angle",
        "40 deg",
        low="0 deg",
        high="45 deg",
        source="XWALK-17",
        text="crosswalks and stop lines follow the crossing street up to this skew",
    )
    straight_deg: float = measure(
        "angle",
        "30 deg",
        low="5 deg",
        high="60 deg",
        source="common practice",
        text="neighbor legs within this angle of straight on make no corner",
    )
    corner_limit_ft: float = length(
        "90 ft",
        low="20 ft",
        high="300 ft",
        source="common practice",
        text="corners of very sharp legs are not sought beyond this station",
    )
    median_gap_ft: float = length(
        "30 ft",
        low="0 ft",
        high="100 ft",
        source="common practice",
        text="crossings with the carriageways of a divided road are one intersection up to this "
        "distance between the carriageways",
    )
    jog_gap_ft: float = length(
        "20 ft",
        low="0 ft",
        high="100 ft",
        source="common practice",
        text="nodes are one intersection where less than this is left between their curb lines",
    )
    whole_extent_ft: float = length(
        "160 ft",
        low="0 ft",
        high="500 ft",
        source="common practice",
        text="nodes farther apart than this are never joined, but for those of a roundabout",
    )
    lines_gap_ft: float = length(
        "4 ft",
        low="0 ft",
        high="30 ft",
        source="STOP-02",
        text="longitudinal lines end this far before a crosswalk or curb line without stop line",
    )


@dataclass(frozen=True)
class LegNeeds:
    """What the rules want on a leg; the layout gives every wish its station.

    On legs of a roundabout traffic yields at the edge of the ring, past the crosswalk; elsewhere
    it waits behind the crosswalk.

    Attributes:
        crosswalk_ft: width of the crosswalk, 0 = none.
        crosswalk_setback_ft: from the crossing curb line to its near edge.
        stop_line_ft: width of the stop line, 0 = none.
        stop_gap_ft: from crosswalk to stop line.
        stop_setback_ft: from the crossing curb line to the stop line where there is no crosswalk.
        yield_line_ft, yield_gap_ft, yield_setback_ft: the same for a yield line.
        box_ft: depth of a bicycle box between crosswalk and stop line, its own line included.
    """

    crosswalk_ft: float = 0.0
    crosswalk_setback_ft: float = 2.0
    stop_line_ft: float = 0.0
    stop_gap_ft: float = 4.0
    stop_setback_ft: float = 4.0
    yield_line_ft: float = 0.0
    yield_gap_ft: float = 4.0
    yield_setback_ft: float = 4.0
    box_ft: float = 0.0

    def waiting(self) -> tuple[float, float, float]:
        """Depth of the stop or yield line, its gap to the crosswalk, its setback from the curb."""
        if self.yield_line_ft and not self.stop_line_ft:
            return self.yield_line_ft, self.yield_gap_ft, self.yield_setback_ft
        return self.stop_line_ft, self.stop_gap_ft, self.stop_setback_ft


#: an area that laps over a leg by less is left as it is (sq ft)
_OVER_SQFT = 0.5
LegPolicy = Callable[[Mapping[str, Any]], LegNeeds]


def bearing(dx: float, dy: float) -> float:
    """Compass degrees of a direction on the plane."""
    return math.degrees(math.atan2(dx, dy)) % 360.0


def octant(bearing_deg: float) -> str:
    """N, NE, E ... of a bearing."""
    names = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
    return names[round(bearing_deg / 45.0) % 8]


@dataclass(frozen=True)
class Neighbor:
    """The next leg on one side: the angle to it, and its half width on the side that faces us."""

    angle_deg: float
    half_ft: float


def curb_cut(
    halves: tuple[float, float], right: Neighbor, left: Neighbor, params: IntersectionParams
) -> Cut:
    """Curb line of the crossing street on one leg, in leg coordinates.

    Args:
        halves: distance from the axis to the leg's own left and right curb (ft).
        right: next leg clockwise, by its left curb.
        left: next leg counterclockwise, by its right curb.
        params: limits.
    """
    at_right = _corner(halves[1], right, params)
    at_left = _corner(halves[0], left, params)
    if at_right is None and at_left is None:
        return Cut(0.0)
    limit = math.tan(math.radians(params.max_skew_deg))
    wished = _slope(
        None if at_left is None else left.angle_deg, None if at_right is None else right.angle_deg
    )
    slope = min(limit, max(-limit, wished))
    wanted = [at_right - slope * halves[1]] if at_right is not None else []
    wanted += [at_left + slope * halves[0]] if at_left is not None else []
    both = at_right is not None and at_left is not None
    # on the axis too the line clears a crossing street that bends at the node, such as a ring
    at_node = max(right.half_ft, left.half_ft) * math.hypot(1.0, slope) if both else 0.0
    # neither end of the line may lie behind the node, where no street of this width need be
    return Cut(max(at_node, slope * halves[0], -slope * halves[1], *wanted), slope)


@dataclass(frozen=True)
class Room:
    """What a leg offers: its curb offsets, the length it may use, whether it enters a ring."""

    edges: tuple[float, float]
    length_ft: float
    circular: bool = False

    def holds(self, cut: Cut) -> bool:
        """Whether a cut lies on the leg from curb to curb."""
        return cut.farthest(*self.edges) <= self.length_ft


def lay_out_leg(
    curb: Cut, needs: LegNeeds, room: Room, gap_ft: float
) -> tuple[LegLayout, list[str]]:
    """Stations of crosswalk, stop position and line ends; what does not fit is named.

    Args:
        curb: curb line of the crossing street.
        needs: what the rules want.
        room: what the leg offers.
        gap_ft: from crosswalk or curb to the lines where there is no stop line.

    Returns:
        The layout, and the names of the parts that the leg is too short for.
    """
    dropped: list[str] = []
    crosswalk = None
    if needs.crosswalk_ft:
        near = curb.moved(needs.crosswalk_setback_ft)
        far = near.moved(needs.crosswalk_ft)
        crosswalk = (near, far) if room.holds(far) else None
        if crosswalk is None:
            dropped.append("crosswalk")
    depth, walk_gap_ft, setback_ft = needs.waiting()
    box_ft = needs.box_ft if needs.stop_line_ft else 0.0
    walk_gap_ft, setback_ft = walk_gap_ft + box_ft, setback_ft + box_ft
    behind = crosswalk is not None and not room.circular
    stop = crosswalk[1].moved(walk_gap_ft) if crosswalk and behind else curb.moved(setback_ft)
    waits = stop.moved(depth)
    if depth and not room.holds(waits):
        dropped.append(
            "yield_line" if needs.yield_line_ft and not needs.stop_line_ft else "stop_line"
        )
    outer = crosswalk[1] if crosswalk else curb
    free = outer.moved(gap_ft if crosswalk else 0.0)
    inbound = waits if depth and (behind or not crosswalk) else free
    return LegLayout(curb, crosswalk, stop, inbound, free, box_ft), dropped


def intersection_areas(
    outlines: Sequence[NDArray[np.float64]], legs: Sequence[NDArray[np.float64]]
) -> NDArray[np.object_]:
    """Polygons through the curb ends of all legs, clockwise.

    An outline that crosses itself, as between sharp legs of unlike widths, becomes its hull without
    what lies on the legs, beyond their curb lines. One leg alone encloses nothing: its polygon is
    empty.

    Args:
        outlines: per intersection, left and right curb end of every leg, in order.
        legs: per intersection (n, 4, 2), corners of the roadway of every leg beyond its curb line.
    """
    rings = [xy if len(xy) > 2 else np.repeat(xy[:1], 4, axis=0) for xy in outlines]
    owner = np.repeat(np.arange(len(rings)), [len(xy) for xy in rings])
    vertices = np.concatenate(rings) if rings else np.empty((0, 2))
    polygons = shapely.polygons(shapely.linearrings(vertices, indices=owner))
    bad = ~shapely.is_valid(polygons) | (shapely.area(polygons) <= 0)
    pairs = zip(outlines, legs, bad, strict=True)
    polygons[bad] = [_hull(xy, ways) for xy, ways, b in pairs if b]
    return _off_legs(polygons, legs)


def _off_legs(
    polygons: NDArray[np.object_], legs: Sequence[NDArray[np.float64]]
) -> NDArray[np.object_]:
    """Areas without what lies on a leg beyond its curb line, where corners lie far apart."""
    if not len(polygons):
        return np.asarray(polygons, dtype=object)
    owner = np.repeat(np.arange(len(legs)), [len(ways) for ways in legs])
    ways = shapely.polygons(np.concatenate(legs))
    ways[~shapely.is_valid(ways)] = shapely.Polygon()
    over = shapely.area(shapely.intersection(polygons[owner], ways)) > _OVER_SQFT
    for k in np.unique(owner[over]).tolist():
        rest = shapely.difference(polygons[k], shapely.union_all(ways[owner == k]))
        parts = [p for p in shapely.get_parts(rest) if p.geom_type == "Polygon"]
        polygons[k] = max(parts, key=lambda p: p.area, default=shapely.Polygon())
    return np.asarray(polygons, dtype=object)


def _hull(xy: NDArray[np.float64], legs: NDArray[np.float64]) -> Any:
    """Hull of the curb ends without the legs; the largest piece, should they part it."""
    hull = shapely.MultiPoint(xy).convex_hull
    if hull.geom_type != "Polygon":
        return shapely.Polygon()
    ways = shapely.union_all(shapely.buffer(shapely.polygons(legs), 0.0))
    parts = shapely.get_parts(hull.difference(ways))
    parts = parts[shapely.get_dimensions(parts) == 2]
    return max(parts, key=lambda p: p.area) if len(parts) else shapely.Polygon()


def _corner(own_half: float, other: Neighbor, params: IntersectionParams) -> float | None:
    """Station of the corner with a neighbor leg, or None where there is no corner."""
    if other.angle_deg >= 180.0 - params.straight_deg or other.angle_deg < 1.0:
        return None
    t = math.radians(other.angle_deg)
    station = (other.half_ft + own_half * math.cos(t)) / math.sin(t)
    return min(station, params.corner_limit_ft)


def _slope(left_deg: float | None, right_deg: float | None) -> float:
    """Slope of the curb line, station per offset, from the directions of the crossing street.

    Directions, not corners: where the crossing street is wider on one side, a line from corner to
    corner would cut into the wide side (STOP-03).
    """
    slopes = [1.0 / math.tan(math.radians(right_deg))] if right_deg is not None else []
    slopes += [-1.0 / math.tan(math.radians(left_deg))] if left_deg is not None else []
    return sum(slopes) / len(slopes)

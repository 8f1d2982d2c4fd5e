"""The street as designed: the read-only records that rules, jobs and tours may see.

Positions are in the trade's coordinates: station along a street axis in feet, offset from the axis
in feet, positive to the *right* of growing station. Two station systems are in use:

* segment stations grow along the axis as written (layer `streets`);
* leg stations grow outward from the intersection, so every leg of an intersection reads alike.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.geometry.polyline import Polylines, offset_lines
from layoutgen.street.areas import Area

StripKind = Literal[
    "travel_lane",
    "turn_lane",
    "center_turn_lane",
    "median",
    "bike_lane",
    "buffer",
    "parking",
    "shoulder",
]
#: bike facilities, from none to the best protected
BIKE_KINDS = ("none", "shared", "lane", "contraflow", "buffered", "separated", "two_way")
Control = Literal["signal", "stop", "yield", "none"]
Side = Literal["right", "left"]


@dataclass(frozen=True)
class Strip:
    """One strip of a cross-section between two offsets.

    Attributes:
        kind: what the strip is for.
        direction: travel along growing station (+1), against it (-1), or shared / none (0).
        left_ft: smaller offset.
        right_ft: larger offset.
    """

    kind: StripKind
    direction: int
    left_ft: float
    right_ft: float

    @property
    def width_ft(self) -> float:
        return self.right_ft - self.left_ft

    @property
    def center_ft(self) -> float:
        return (self.left_ft + self.right_ft) / 2

    def moved(self, by_ft: float) -> Strip:
        """The same strip farther to the right."""
        return Strip(self.kind, self.direction, self.left_ft + by_ft, self.right_ft + by_ft)

    def reversed(self) -> Strip:
        """The same strip seen by somebody walking the other way."""
        return Strip(self.kind, -self.direction, -self.right_ft, -self.left_ft)


@dataclass(frozen=True)
class RailCrossing:
    """A rail crossing at grade: segment station of its middle; `tracks` None = unknown."""

    crossing_id: str
    station_ft: float
    tracks: int | None
    control: str


@dataclass(frozen=True)
class SpeedHump:
    """A speed hump, table or cushion: segment station of its middle; None = unknown length."""

    hump_id: str
    station_ft: float
    kind: str
    length_ft: float | None


@dataclass(frozen=True)
class Legend:
    """Words or a figure at a place of its own, on lanes of one direction of travel.

    Attributes:
        station_ft, offset_ft: its point in segment coordinates.
        lines: words in the order they are read; empty where it is a figure.
        figure: name of the figure, or empty.
        way: +1 for traffic along growing station, -1 for the other.
        lanes: numbers of the lanes, from 1 at the left of their driver; empty = all.
        nearest: only the lane nearest to the point, in place of `lanes`.
        height_ft: height of the letters or length of the figure; 0 = that of the rule.
    """

    legend_id: str
    station_ft: float
    offset_ft: float
    lines: tuple[str, ...]
    figure: str
    way: int
    lanes: tuple[int, ...] = ()
    nearest: bool = False
    height_ft: float = 0.0
    color: str = "white"


@dataclass(frozen=True)
class CurbZone:
    """A stretch of curb with a use: `side` is +1 right of the axis, -1 left; segment stations.

    `text` holds words of its own, lines parted by `|`.
    """

    zone_id: str
    use: str
    side: int
    from_ft: float
    to_ft: float
    text: str = ""


@dataclass(frozen=True)
class CurbPoint:
    """A driveway or hydrant: side as of a `CurbZone`, station of its middle; None = no width."""

    point_id: str
    kind: str
    side: int
    station_ft: float
    width_ft: float | None


@dataclass(frozen=True)
class Segment:
    """A street from one node to the next, with its cross-section.

    `start` and `end` are node ids; `strips` run left to right along the axis and fill the roadway.
    `turn_lanes` holds per direction (+1, -1) the movements of each lane, left to right as its
    driver sees them; empty where nothing is known. `bike` is the bike facility on the left and on
    the right side. `outside` = in none of the districts, where districts are given: it shapes its
    neighbors, but gets no markings of its own. `lane_use` tells who the leftmost and the rightmost
    lane are for, empty = everybody. `adt` is its traffic volume in vehicles per day, `setting` what
    lies around it: `urban` or `rural`; `axis` its line on the plane. `short_ft` is what its lanes
    of the least width take beyond the width that the data tell.
    """

    index: int
    segment_id: str
    source_ids: tuple[str, ...]
    name: str
    street_class: str
    oneway: str
    speed_mph: float
    width_ft: float
    width_source: str
    lanes_source: str
    length_ft: float
    start: str
    end: str
    strips: tuple[Strip, ...]
    center_line: str
    turn_lanes: Mapping[int, tuple[tuple[str, ...], ...]] = field(default_factory=dict)
    roundabout: bool = False
    paved: bool = True
    levels: tuple[int, int] = (0, 0)
    speed_source: str = ""
    district: str = ""
    outside: bool = False
    rail_crossings: tuple[RailCrossing, ...] = ()
    speed_humps: tuple[SpeedHump, ...] = ()
    bike: tuple[str, str] = ("none", "none")
    bike_source: str = "none"
    route: str = ""
    legends: tuple[Legend, ...] = ()
    lane_use: tuple[str, str] = ("", "")
    curb_zones: tuple[CurbZone, ...] = ()
    curb_points: tuple[CurbPoint, ...] = ()
    adt: int | None = None
    setting: str = "urban"
    driving_side: Side = "right"
    axis: Any = field(default=None, compare=False, repr=False)
    short_ft: float = 0.0

    @property
    def bike_facility(self) -> str:
        """The facility that keeps cyclists farthest from traffic, of both sides."""
        return max(self.bike, key=BIKE_KINDS.index)

    def lanes(self, direction: int) -> tuple[Strip, ...]:
        """Travel lanes of one direction (+1 along the axis, -1 against), left to right."""
        return self._lanes[direction]

    @cached_property
    def _lanes(self) -> Mapping[int, tuple[Strip, ...]]:
        lanes = [s for s in self.strips if s.kind == "travel_lane"]
        return {way: tuple(s for s in lanes if s.direction == way) for way in (1, -1)}

    @property
    def edges_ft(self) -> tuple[float, float]:
        """Offsets of the left and the right curb."""
        return self.strips[0].left_ft, self.strips[-1].right_ft

    def has(self, kind: StripKind) -> bool:
        return kind in self._kinds

    @cached_property
    def _kinds(self) -> frozenset[str]:
        return frozenset(s.kind for s in self.strips)


@dataclass(frozen=True)
class Cut:
    """A straight line across a leg: station = station_ft + slope * offset (leg coordinates)."""

    station_ft: float
    slope: float = 0.0

    def at(self, offset_ft: float) -> float:
        """Station of the cut at an offset."""
        return self.station_ft + self.slope * offset_ft

    def moved(self, distance_ft: float) -> Cut:
        """Parallel cut, moved outward by a distance measured at right angles to it."""
        return Cut(self.station_ft + distance_ft * math.hypot(1.0, self.slope), self.slope)

    def clear(self, offset_ft: float, width_ft: float) -> float:
        """Station from which a line of that width, square at its end, stays clear of the cut."""
        return max(0.0, self.farthest(offset_ft - width_ft / 2, offset_ft + width_ft / 2))

    def away(self, offset_ft: float, sides: tuple[float, float], distance_ft: float) -> float:
        """Station from which a point at an offset is so far from every point of the cut between
        two sides: on a slope the nearest lies beside it, not ahead."""
        slant = self.slope * distance_ft / math.hypot(1.0, self.slope)
        beside = min(max(slant, sides[0] - offset_ft), sides[1] - offset_ft)
        if abs(beside) >= distance_ft:
            return self.at(offset_ft + beside)
        return self.at(offset_ft + beside) + math.sqrt(distance_ft**2 - beside**2)

    def farthest(self, left_ft: float, right_ft: float) -> float:
        """Largest station of the cut between two offsets."""
        return max(self.at(left_ft), self.at(right_ft))


@dataclass(frozen=True)
class LegLayout:
    """Shared positions on one leg, in leg coordinates.

    Attributes:
        curb: curb line of the crossing street, where the leg's roadway begins.
        crosswalk: near and far edge of the crosswalk, or None where none is wanted or fits.
        stop: downstream edge of the stop or yield position of the approach.
        inbound_end: where longitudinal lines of the approach side end.
        outbound_end: where longitudinal lines of the departure side begin.
        box_ft: depth of a bicycle box ahead of the stop line, 0 = none.
    """

    curb: Cut
    crosswalk: tuple[Cut, Cut] | None
    stop: Cut
    inbound_end: Cut
    outbound_end: Cut
    box_ft: float = 0.0


@dataclass(frozen=True)
class Twin:
    """The other carriageway of a leg's street: its strips in the coordinates of the leg.

    The leg that `leads` holds what crosses both.
    """

    leg_id: str
    strips: tuple[Strip, ...]
    leads: bool


@dataclass(frozen=True)
class Leg:
    """One arm of an intersection, seen from the intersection outward.

    `strips` are in leg coordinates: direction -1 travels toward the intersection (the approach),
    +1 away from it (the departure). `at_end` tells that the leg starts at the segment's last point,
    so that leg station 0 is the end of the axis. `circular` = it leads into a roundabout. `room_ft`
    is the length the leg may use; `pocket_ft` how far the center lane of the street serves this
    approach as a turn lane; `crossing` the line from curb ramp to curb ramp, or the axis of the
    `existing` crosswalk, if there are any; `crossover` = it leads across a median to the opposite
    carriageway, and gets no crosswalk.
    `district` and `outside` are those of the intersection. `exits` are the sides, left and right as
    the approach sees them, where a street leaves that traffic may turn into.
    """

    leg_id: str
    intersection_id: str
    segment: Segment
    at_end: bool
    bearing_deg: float
    control: Control
    control_source: str
    intersection_control: str
    legs: int
    strips: tuple[Strip, ...]
    movements: tuple[tuple[str, ...], ...]
    room_ft: float
    pocket_ft: float
    school: bool
    circular: bool
    crossing: Cut | None
    layout: LegLayout
    twin: Twin | None = None
    existing: bool = False
    crossover: bool = False
    district: str = ""
    outside: bool = False
    exits: frozenset[str] = frozenset()

    @cached_property
    def inbound(self) -> tuple[Strip, ...]:
        """Approach lanes with a turn pocket, left to right as their driver sees them."""
        lanes = (s for s in self.strips if s.kind in ("travel_lane", "turn_lane"))
        return tuple(sorted((s for s in lanes if s.direction == -1), key=lambda s: -s.center_ft))

    @cached_property
    def outbound(self) -> tuple[Strip, ...]:
        """Departure lanes, from left to right in leg coordinates."""
        return tuple(s for s in self.strips if s.kind == "travel_lane" and s.direction == 1)

    @property
    def inbound_bearing_deg(self) -> float:
        """Direction of travel of the approach."""
        return (self.bearing_deg + 180.0) % 360.0

    @property
    def base_ft(self) -> float:
        """Station of the one straight frame in which all transverse markings of the leg stand.

        With a frame of its own each, on a bent leg the stop line would lose its distance to the
        crosswalk on one side.
        """
        layout = self.layout
        return layout.crosswalk[1].station_ft if layout.crosswalk else layout.stop.station_ft

    @property
    def edges_ft(self) -> tuple[float, float]:
        """Offsets of the left and the right curb."""
        return self.strips[0].left_ft, self.strips[-1].right_ft


@dataclass(frozen=True)
class Intersection:
    """Nodes where streets meet: legs clockwise, and the area between their curb lines."""

    intersection_id: str
    nodes: tuple[str, ...]
    name: str
    control: str
    legs: tuple[Leg, ...]
    area: Any
    district: str = ""
    outside: bool = False


@dataclass(frozen=True)
class CrossingPoint:
    """A pedestrian crossing given as a point.

    `station_ft` is a segment station midblock, a leg station at a leg. `markings` says whether it
    is marked, or the style; `control` what stops the traffic; empty = unknown.
    """

    crossing_id: str
    station_ft: float
    markings: str
    control: str


@dataclass(frozen=True)
class Gore:
    """Where a one-way roadway parts from another at a fork, or joins it, seen outward from there.

    Attributes:
        at_end: the fork is at the last point of the segment.
        side: the other roadway lies on the right (+1) or on the left (-1).
        diverges: traffic comes from the fork.
        leads: this one of the two holds what lies between them.
        classes: street classes that meet.
        profile: outward station and gap between the lanes of both, over the paved neutral area.
        hidden: (side, from, to): stations where an edge of its lanes lies in the other roadway.
    """

    at_end: bool
    side: int
    diverges: bool
    leads: bool
    classes: tuple[str, ...]
    profile: tuple[tuple[float, float], ...]
    hidden: tuple[tuple[int, float, float], ...]


@dataclass(frozen=True)
class Block:
    """A segment between what bounds it: a leg at each end, or None (dead end, mere joint).

    `inside` = it runs between the nodes of one intersection; lines stop outside of it. `before` and
    `after` are the strips of the one segment that goes on beyond a joint, seen along this segment.
    `crossings` are the midblock ones, by station; `gores` lie at forks of one-way roadways.
    """

    segment: Segment
    start_leg: Leg | None
    end_leg: Leg | None
    schools: tuple[tuple[str, float, float], ...] = ()
    inside: bool = False
    before: tuple[Strip, ...] = ()
    after: tuple[Strip, ...] = ()
    crossings: tuple[CrossingPoint, ...] = ()
    gores: tuple[Gore, ...] = ()

    @property
    def rail_crossings(self) -> tuple[RailCrossing, ...]:
        """Rail crossings of the segment, by station."""
        return self.segment.rail_crossings

    @property
    def speed_humps(self) -> tuple[SpeedHump, ...]:
        """Speed humps of the segment, by station."""
        return self.segment.speed_humps

    @property
    def legends(self) -> tuple[Legend, ...]:
        """Words and figures at places of their own, by station."""
        return self.segment.legends


@dataclass(frozen=True)
class Design:
    """Everything a rule may see.

    Attributes:
        segments: by index; `axes` holds their geometry in the same order (working plane, ft).
        nodes: node id -> (x, y).
        intersections: sorted by id.
        blocks: one per segment, by index.
        driving_side: `right` or `left`.
        exclusions: areas in which nothing is marked.
        islands: raised islands.
        leg_crossings: leg id -> crossings given as points that belong to that leg.
    """

    segments: tuple[Segment, ...]
    axes: Polylines
    nodes: Mapping[str, tuple[float, float]]
    intersections: tuple[Intersection, ...]
    blocks: tuple[Block, ...]
    driving_side: Side
    exclusions: tuple[Area, ...] = ()
    islands: tuple[Area, ...] = ()
    leg_crossings: Mapping[str, tuple[CrossingPoint, ...]] = field(default_factory=dict)

    def legs(self) -> tuple[Leg, ...]:
        return tuple(leg for crossing in self.intersections for leg in crossing.legs)

    def in_layout(self) -> list[int]:
        """Segments, by index, that are inside a district or lead to an intersection inside one."""
        lent = {leg.segment.index for leg in self.legs() if not leg.outside}
        return [s.index for s in self.segments if not s.outside or s.index in lent]

    def roadways(self) -> NDArray[np.object_]:
        """Roadway polygon of every segment, by index."""
        left = np.array([s.edges_ft[0] for s in self.segments])
        right = np.array([s.edges_ft[1] for s in self.segments])
        middle = offset_lines(self.axes.lines(), (left + right) / 2)
        return np.asarray(
            shapely.buffer(
                middle, (right - left) / 2, cap_style="flat", join_style="mitre", mitre_limit=1.5
            ),
            dtype=object,
        )

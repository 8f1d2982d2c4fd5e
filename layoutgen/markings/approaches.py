"""Traffic that comes to a place in a block, in a frame like that of a leg.

Stations grow away from what the traffic comes to, so that it travels toward smaller stations, and a
stop line before a crosswalk inside a block is laid out like one before an intersection.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from layoutgen.markings.bike_ends import bikes_beside
from layoutgen.markings.marking import Frame
from layoutgen.street.design import Block, Leg, RailCrossing, Segment, SpeedHump, Strip

#: MUTCD 11th edition Table 2C-3, condition B, deceleration to 0 (ADV-01 to ADV-14): mph -> ft
STOPPING_FT: Mapping[int, float] = {
    20: 115.0, 25: 155.0, 30: 200.0, 35: 250.0, 40: 305.0, 45: 360.0, 50: 425.0,
    55: 495.0, 60: 570.0, 65: 645.0, 70: 730.0, 75: 820.0, 80: 910.0, 85: 1010.0,
}  # fmt: skip


#: a line across the lanes ends this far from the middle of the center line, which goes on there
_CENTER_FT = 0.75
#: and this far from that of a line on the other side of a bike lane
_BIKE_LINE_FT = 0.25
_HALF_GAUGE_FT = 4.7083 / 2


@dataclass(frozen=True)
class Approach:
    """Traffic of one direction in a block.

    Attributes:
        block: where it drives.
        way: +1 along the segment, -1 against it.
    """

    block: Block
    way: int

    @property
    def frame(self) -> Frame:
        """Stations that grow against the traffic."""
        return Frame(self.block.segment, reverse=self.way == 1)

    @cached_property
    def lanes(self) -> tuple[Strip, ...]:
        """Its travel lanes in frame coordinates, left to right as its drivers see them."""
        lanes = self.block.segment.lanes(self.way)
        own = [s.reversed() if self.way == 1 else s for s in lanes]
        return tuple(sorted(own, key=lambda s: -s.center_ft))

    @property
    def sides_ft(self) -> tuple[float, float]:
        """Smallest and largest offset of its lanes, clear of the center line beside them."""
        left, right = min(s.left_ft for s in self.lanes), max(s.right_ft for s in self.lanes)
        if not self.block.segment.lanes(-self.way):
            return left, right
        others = self.block.segment.lanes(-self.way)
        theirs = sum(s.center_ft for s in others) / len(others) * self.frame.sign()
        on_left = theirs < (left + right) / 2
        return (left + _CENTER_FT, right) if on_left else (left, right - _CENTER_FT)

    @property
    def waiting_ft(self) -> tuple[float, float]:
        """The same with the bike lane beside them, clear of the line beyond it: where all wait."""
        strips = self.block.segment.strips
        own = [s.reversed() for s in strips] if self.way == 1 else list(strips)
        left, right = self.sides_ft
        for bike in bikes_beside(self.lanes, own):
            at_curb = bike.left_ft == min(s.left_ft for s in own)
            left = min(left, bike.left_ft + (0.0 if at_curb else _BIKE_LINE_FT))
            at_curb = bike.right_ft == max(s.right_ft for s in own)
            right = max(right, bike.right_ft - (0.0 if at_curb else _BIKE_LINE_FT))
        return left, right

    @property
    def begin_ft(self) -> float:
        """Largest frame station where its markings may stand: the line ends behind it."""
        leg = self.block.start_leg if self.way == 1 else self.block.end_leg
        return self.block.segment.length_ft - reach_ft(leg, inbound=False)

    @property
    def end_ft(self) -> float:
        """Smallest such station: the stop position or line ends ahead of it."""
        return reach_ft(self.leg, inbound=True)

    @property
    def leg(self) -> Leg | None:
        """The leg it drives to."""
        return self.block.end_leg if self.way == 1 else self.block.start_leg

    def at(self, station_ft: float) -> float:
        """Frame station of a segment station, and the other way round."""
        return self.frame.station(station_ft)

    def holds(self, near_ft: float, far_ft: float) -> bool:
        """Whether an extent lies between the line ends of the block."""
        return self.end_ft <= near_ft and far_ft <= self.begin_ft


def approaches(block: Block) -> Iterator[Approach]:
    """Both directions of a block that have lanes."""
    for way in (1, -1):
        if block.segment.lanes(way):
            yield Approach(block, way)


def table_at(segment: Segment, station_ft: float) -> SpeedHump | None:
    """The speed table that a crosswalk at a segment station lies on: it is raised."""
    tables = (h for h in segment.speed_humps if h.kind == "table")
    own = (h for h in tables if abs(h.station_ft - station_ft) <= half_table_ft(h))
    return next(own, None)


def half_table_ft(hump: SpeedHump) -> float:
    """Half the length of a speed table, 22 ft where it is unknown (common practice)."""
    return (hump.length_ft or 22.0) / 2


def to_rail_ft(crossing: RailCrossing, spacing_ft: float = 14.0) -> float:
    """From the middle of a rail crossing to its outermost rail; tracks 14 ft apart, unless told
    (common practice), of standard gauge, 4 ft 8.5 in."""
    return (max(1, crossing.tracks or 1) - 1) * spacing_ft / 2 + _HALF_GAUGE_FT


def seen_along(block: Block) -> int:
    """The direction in which markings across the whole block are told: that of a one-way street,
    else from the lesser node, which no digitising changes."""
    segment = block.segment
    ways = [way for way in (1, -1) if segment.lanes(way)]
    if len(ways) == 1:
        return ways[0]
    return 1 if segment.start <= segment.end else -1


def reach_ft(leg: Leg | None, *, inbound: bool) -> float:
    """How far from the end of the block the line ends of a leg lie; 0 without a leg."""
    if leg is None:
        return 0.0
    cut = leg.layout.inbound_end if inbound else leg.layout.outbound_end
    return max(0.0, cut.farthest(*leg.edges_ft))


def stopping_ft(speed_mph: float) -> float:
    """Distance of Table 2C-3, condition B to a stop, for the next speed that the table has."""
    step = min(85, max(20, math.ceil(speed_mph / 5.0 - 1e-9) * 5))
    return STOPPING_FT[step]

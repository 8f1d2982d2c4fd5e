"""Lanes that end at a joint of two pieces of a street: which lane, how long the taper, from where.

MUTCD 11th edition 3B.12. The taper lies on the piece with more lanes and is over where the narrower
piece begins.
"""

from __future__ import annotations

import bisect
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from layoutgen.street.design import Block, Segment, Strip

#: mph -> ft: Table 2C-3, condition A, lane changes in heavy traffic (ADV-01 to ADV-14)
ADVANCE_FT: Mapping[int, float] = {
    20: 225.0, 25: 325.0, 30: 460.0, 35: 565.0, 40: 670.0, 45: 775.0, 50: 885.0,
    55: 990.0, 60: 1100.0, 65: 1200.0, 70: 1250.0, 75: 1350.0, 80: 1475.0, 85: 1600.0,
}  # fmt: skip
#: from this speed on the taper grows with the speed, below with its square (TAPER-01, TAPER-02)
_FAST_MPH = 45.0
#: lanes whose edges lie nearer to each other than this go on as one (ft)
_LEAST_SHIFT_FT = 2.0


@dataclass(frozen=True)
class Reduction:
    """A lane that ends in a block.

    Attributes:
        way: direction of its traffic along the segment.
        lane: the lane that ends.
        beside: the lane next to it, that traffic moves into.
        to_right: +1 where the lane lies right of the segment's other lanes, by offset, else -1.
        from_ft, to_ft: offset of its outer edge before the taper and behind it.
        end_ft: segment station of the joint.
        length_ft: length of the taper as the formula wants it.
    """

    way: int
    lane: Strip
    beside: Strip
    to_right: int
    from_ft: float
    to_ft: float
    end_ft: float
    length_ft: float

    def upstream(self, distance_ft: float) -> float:
        """Segment station that far before the joint, seen by the traffic."""
        return self.end_ft - self.way * distance_ft


def taper_ft(shift_ft: float, speed_mph: float, *, rural: bool) -> float:
    """Length of a taper: W x S, or W x S x S / 60 below 45 mph; at least 100 or 200 ft.

    MUTCD 11th edition 3B.12 (TAPER-01 to TAPER-03).
    """
    fast = speed_mph >= _FAST_MPH
    length = shift_ft * speed_mph if fast else shift_ft * speed_mph * speed_mph / 60.0
    return max(length, 200.0 if rural else 100.0)


def advance_ft(speed_mph: float) -> float:
    """Distance of the Lane Ends sign before the taper, for the next speed that the table has."""
    speeds = list(ADVANCE_FT)
    k = min(bisect.bisect_left(speeds, speed_mph - 1e-9), len(speeds) - 1)
    return ADVANCE_FT[speeds[k]]


def reduction(block: Block, way: int, classes: Sequence[str]) -> Reduction | None:
    """The lane of one direction that ends at the joint ahead, on streets of some classes."""
    segment = block.segment
    ahead = block.after if way == 1 else block.before
    if not ahead or segment.street_class not in classes or segment.roundabout:
        return None
    own = segment.lanes(way)
    theirs = [s for s in ahead if s.kind == "travel_lane" and s.direction == way]
    if not theirs or len(theirs) >= len(own):
        return None
    right = own[-1].right_ft - theirs[-1].right_ft
    left = theirs[0].left_ft - own[0].left_ft
    # a lane of a two-way street ends on its outer side: the inner one is the center line's
    outer = way if segment.driving_side == "right" else -way
    to_right = (
        outer if segment.lanes(-way) or abs(right - left) < 0.1 else 1 if right > left else -1
    )
    shift = right if to_right == 1 else left
    if shift < _LEAST_SHIFT_FT:
        return None
    return _found(segment, way, to_right, shift)


def _found(segment: Segment, way: int, to_right: int, shift_ft: float) -> Reduction:
    lanes = segment.lanes(way) if to_right == 1 else segment.lanes(way)[::-1]
    lane, beside = lanes[-1], lanes[-2]
    edge = lane.right_ft if to_right == 1 else lane.left_ft
    length = taper_ft(shift_ft, segment.speed_mph, rural=segment.setting == "rural")
    end = segment.length_ft if way == 1 else 0.0
    return Reduction(way, lane, beside, to_right, edge, edge - to_right * shift_ft, end, length)

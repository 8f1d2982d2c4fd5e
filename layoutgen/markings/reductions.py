"""Lanes that end at a joint of two pieces of a street: which lane, how long the taper, from where.

MUTCD 11th edition 3B.12. The taper lies on the piece with more lanes and is over where the narrower
piece begins.
"""

from __future__ import annotations

import bisect
import math
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
    """One lane that ends in a block, or several side by side.

    Attributes:
        way: direction of its traffic along the segment.
        lanes: the lanes that end, the outermost last.
        beside: the lane next to them, that traffic moves into.
        to_right: +1 where they lie right of the segment's other lanes, by offset, else -1.
        from_ft, to_ft: offset of their outer edge before the taper and behind it.
        end_ft: segment station of the joint.
        length_ft: length of the taper as the formula wants it.
    """

    way: int
    lanes: tuple[Strip, ...]
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


def reductions(block: Block, way: int, classes: Sequence[str]) -> tuple[Reduction, ...]:
    """Where lanes of one direction end at the joint ahead, on streets of some classes.

    One side, or both sides of a one-way road that narrows on both.
    """
    segment = block.segment
    ahead = block.after if way == 1 else block.before
    if not ahead or segment.street_class not in classes or segment.roundabout:
        return ()
    own = segment.lanes(way)
    theirs = [s for s in ahead if s.kind == "travel_lane" and s.direction == way]
    if not theirs or len(theirs) >= len(own):
        return ()
    right = own[-1].right_ft - theirs[-1].right_ft
    left = theirs[0].left_ft - own[0].left_ft
    sides = _sides(segment, way, (left, right), len(own) - len(theirs))
    return tuple(
        _found(segment, way, (to_right, count), shift)
        for to_right, count, shift in sides
        if shift >= _LEAST_SHIFT_FT
    )


def _sides(
    segment: Segment, way: int, shifts: tuple[float, float], lost: int
) -> list[tuple[int, int, float]]:
    """(side, number of lanes that end there, how far its edge moves), the outer side first."""
    outer = way if segment.driving_side == "right" else -way
    near, far = shifts[::-1] if outer == 1 else shifts
    # lanes of a two-way street end on its outer side: the inner one is the center line's
    if segment.lanes(-way):
        return [(outer, lost, near)]
    if lost > 1 and min(near, far) >= _LEAST_SHIFT_FT:
        count = math.floor(lost * near / (near + far) + 0.5 + 1e-6)
        count = max(1, min(count, lost - 1))
        return [(outer, count, near), (-outer, lost - count, far)]
    return [(outer, lost, near) if near > far - 0.1 else (-outer, lost, far)]


def _found(segment: Segment, way: int, side: tuple[int, int], shift_ft: float) -> Reduction:
    to_right, count = side
    lanes = segment.lanes(way) if to_right == 1 else segment.lanes(way)[::-1]
    edge = lanes[-1].right_ft if to_right == 1 else lanes[-1].left_ft
    length = taper_ft(shift_ft, segment.speed_mph, rural=segment.setting == "rural")
    end = segment.length_ft if way == 1 else 0.0
    to_ft = edge - to_right * shift_ft
    return Reduction(way, lanes[-count:], lanes[-count - 1], to_right, edge, to_ft, end, length)

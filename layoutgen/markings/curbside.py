"""The strip along a curb that cars stand in, and what of a block it may use."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from layoutgen.street.design import Block, CurbZone, Leg, Segment, Strip

Span = tuple[float, float]
#: a wider strip is for cars at an angle
ANGLE_FT = 12.0
#: half of a midblock crosswalk, and a step (ft)
_WALK_FT = 6.0
#: stalls keep this far from the lines around another use of the curb (common practice)
_ZONE_FT = 2.0
#: from the end of a street that goes on, to the first mark (ft)
_END_FT = 0.5


@dataclass(frozen=True)
class Bay:
    """Where cars stand on one side of a street.

    Attributes:
        side: +1 right of the axis, -1 left.
        strip: the strip they stand in.
        inner_ft: offset of its edge toward traffic.
        curb_ft: offset of its edge toward the curb.
        way: direction of the lane beside it.
        lined: a bike lane or buffer lies beside it, whose line is its edge.
    """

    side: int
    strip: Strip
    inner_ft: float
    curb_ft: float
    way: int
    lined: bool

    @property
    def depth_ft(self) -> float:
        return self.strip.width_ft

    def at(self, depth_ft: float) -> float:
        """Offset so far from the edge toward traffic, toward the curb."""
        return self.inner_ft + self.side * depth_ft


def bay_of(segment: Segment, side: int, kinds: Sequence[str] = ("parking",)) -> Bay | None:
    """The outermost strip of these kinds on a side; None where there is none, or no lane."""
    lanes = [s for s in segment.strips if s.kind == "travel_lane"]
    own = [s for s in segment.strips if s.kind in kinds and s.center_ft * side > 0]
    if not lanes or not own:
        return None
    strip = max(own, key=lambda s: s.center_ft * side)
    edges = (strip.left_ft, strip.right_ft)
    inner, curb = edges if side == 1 else edges[::-1]
    if any((s.center_ft - strip.center_ft) * side > 0 for s in lanes):
        return None
    lane = min(lanes, key=lambda s: abs(s.center_ft - strip.center_ft))
    beside = [s for s in segment.strips if inner in (s.left_ft, s.right_ft) and s is not strip]
    lined = any(s.kind in ("bike_lane", "buffer") for s in beside)
    return Bay(side, strip, inner, curb, lane.direction, lined)


@dataclass(frozen=True)
class Clear:
    """How far cars stand from what they must not hide or block (ft)."""

    signal_ft: float
    crosswalk_ft: float
    corner_ft: float
    hydrant_ft: float
    driveway_ft: float
    rail_ft: float


def free_spans(block: Block, bay: Bay, clear: Clear) -> list[Span]:
    """Segment stations of a bay that cars may stand in, each (from, to)."""
    segment = block.segment
    start, stop = _END_FT, segment.length_ft - _END_FT
    if block.start_leg is not None:
        start = _kept(block.start_leg, bay, clear, sign=1)
    if block.end_leg is not None:
        stop = segment.length_ft - _kept(block.end_leg, bay, clear, sign=-1)
    own = [z for z in segment.curb_zones if z.side == bay.side]
    taken = [(z.from_ft - _ZONE_FT, z.to_ft + _ZONE_FT) for z in own]
    taken += [around(c.station_ft, clear.crosswalk_ft + 5.0) for c in block.crossings]
    taken += [around(r.station_ft, clear.rail_ft) for r in segment.rail_crossings]
    for point in segment.curb_points:
        if point.side == bay.side:
            extra = clear.hydrant_ft if point.kind == "hydrant" else clear.driveway_ft
            taken.append(around(point.station_ft, (point.width_ft or 0.0) / 2 + extra))
    return without((start, stop), taken)


def zone_span(block: Block, zone: CurbZone, strip: Strip, way: int) -> Span | None:
    """Segment stations of a zone that may be painted in a strip: clear of intersections, stop
    lines and crosswalks; the longest piece, or None."""
    start, stop = 0.0, block.segment.length_ft
    if block.start_leg is not None:
        layout = block.start_leg.layout
        cut = layout.outbound_end if way == 1 else layout.inbound_end
        start = max(0.0, cut.farthest(strip.left_ft, strip.right_ft))
    if block.end_leg is not None:
        layout = block.end_leg.layout
        cut = layout.inbound_end if way == 1 else layout.outbound_end
        stop -= max(0.0, cut.farthest(-strip.right_ft, -strip.left_ft))
    span = max(zone.from_ft, start), min(zone.to_ft, stop)
    if span[0] >= span[1]:
        return None
    pieces = without(span, [around(c.station_ft, _WALK_FT) for c in block.crossings])
    return max(pieces, key=lambda s: s[1] - s[0], default=None)


def around(station_ft: float, reach_ft: float) -> Span:
    """The span so far to either side of a station."""
    return station_ft - reach_ft, station_ft + reach_ft


def without(span: Span, taken: Iterable[Span]) -> list[Span]:
    """What is left of a span between those that are taken."""
    out = []
    at = span[0]
    for low, high in sorted(taken):
        if low > at:
            out.append((at, min(low, span[1])))
        at = max(at, high)
    out.append((at, span[1]))
    return [(a, b) for a, b in out if b - a > 1e-6]


def _kept(leg: Leg, bay: Bay, clear: Clear, *, sign: int) -> float:
    """Leg station from which cars may stand: behind the crosswalk, the stop line, the corner.

    `sign` is +1 where leg stations run along the segment.
    """
    sides = sorted((bay.inner_ft * sign, bay.curb_ft * sign))
    inbound = bay.way * sign == -1
    layout = leg.layout
    base = layout.curb.farthest(*sides) + clear.corner_ft
    if layout.crosswalk:
        # a crosswalk askew is nearest where it comes toward the cars, not straight ahead of them
        walk = layout.crosswalk[1]
        base = max(base, *(walk.away(o, leg.edges_ft, clear.crosswalk_ft) for o in sides))
    if not inbound:
        return base
    if leg.control == "signal":
        base = max(base, layout.curb.farthest(*sides) + clear.signal_ft)
    return max(base, layout.inbound_end.farthest(*sides))

"""How far a bike lane is marked toward the intersections at its ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from layoutgen.markings.lanes import turns
from layoutgen.street.design import Block, Cut, Leg, Segment, Strip

#: a solid line shorter than this before a dotted one is not worth it (common practice)
_SHORTEST_FT = 20.0
#: usual width of the line of a bike lane (BIKE-25)
_LINE_FT = 0.5
_DRIVEN = ("travel_lane", "turn_lane", "center_turn_lane")


@dataclass(frozen=True)
class Gaps:
    """Distance that markings keep to the stop line beside a lane that must turn across them, and
    to a roundabout (BIKE-16, BIKE-17)."""

    turn_ft: float
    roundabout_ft: float


def bike_ends(
    block: Block, strip: Strip, part: tuple[float, float], gaps: Gaps
) -> tuple[float, float]:
    """Segment stations between which a part of a bike lane (offset, width) is marked."""
    offset_ft, width_ft = part
    start, stop = 0.0, block.segment.length_ft
    if block.start_leg is not None:
        cut = line_end(block.start_leg, strip.direction == -1, strip.center_ft, gaps)
        start = cut.clear(offset_ft, width_ft)
    if block.end_leg is not None:
        cut = line_end(block.end_leg, strip.direction == 1, -strip.center_ft, gaps)
        stop -= cut.clear(-offset_ft, width_ft)
    return start, stop


def line_end(leg: Leg, inbound: bool, lane_ft: float, gaps: Gaps) -> Cut:
    """Where the lane's markings end on a leg: cyclists join the traffic before a roundabout, and
    no lane stays beside one whose traffic must turn across it."""
    if inbound and leg.circular:
        return leg.layout.inbound_end.moved(gaps.roundabout_ft)
    if inbound and leg.inbound and is_crossed(leg, lane_ft):
        return leg.layout.inbound_end.moved(gaps.turn_ft)
    return leg.layout.inbound_end if inbound else leg.layout.outbound_end


def is_crossed(leg: Leg, lane_ft: float, words: tuple[str, ...] = ("must",)) -> bool:
    """Whether the traffic lane next to a bike lane must turn toward it (leg coordinates).

    With `words` = must and may: whether it may.
    """
    if len(leg.movements) != len(leg.inbound) or not leg.inbound:
        return False
    between = [s for s in leg.outbound if min(lane_ft, leg.inbound[0].center_ft) < s.center_ft]
    if any(s.center_ft < max(lane_ft, leg.inbound[0].center_ft) for s in between):
        return False  # a track on the other side of the street
    pairs = zip(leg.inbound, leg.movements, strict=True)
    lane, movements = min(pairs, key=lambda pair: abs(pair[0].center_ft - lane_ft))
    toward = "right" if lane_ft < lane.center_ft else "left"
    return turns(movements) in words and toward in movements


def bikes_beside(lanes: Sequence[Strip], strips: Sequence[Strip]) -> tuple[Strip, ...]:
    """Bike lanes that run with traffic lanes, right beside them or behind a buffer.

    Those behind parked cars, beyond a curb or against the traffic wait elsewhere.
    """
    ordered = sorted(strips, key=lambda s: s.center_ft)
    own = [k for k, s in enumerate(ordered) if s in lanes]
    out = []
    for step, edge in ((-1, own[0]), (1, own[-1])):
        beyond = ordered[edge + 1 :] if step == 1 else ordered[:edge][::-1]
        found = beyond[1:] if beyond and beyond[0].kind == "buffer" else beyond
        if found and found[0].kind == "bike_lane" and found[0].direction == lanes[0].direction:
            out.append(found[0])
    return tuple(out)


def waiting_bikes(leg: Leg) -> tuple[Strip, ...]:
    """Bike lanes whose cyclists wait at the stop line of an approach: not where they have a box
    ahead of it, nor where their lane has ended (`line_end`)."""
    if leg.layout.box_ft or leg.circular or not leg.inbound:
        return ()
    beside = bikes_beside(leg.inbound, leg.strips)
    return tuple(s for s in beside if not is_crossed(leg, s.center_ft))


def may_be_crossed(leg: Leg, lane_ft: float) -> bool:
    """Whether traffic beside a bike lane may turn across it (leg coordinates).

    As the lanes are told; where nothing is told, wherever a street leaves on that side.
    """
    if len(leg.movements) == len(leg.inbound):
        return is_crossed(leg, lane_ft, ("must", "may"))
    lane = min(leg.inbound, key=lambda s: abs(s.center_ft - lane_ft), default=None)
    if lane is None:
        return bool(leg.exits)
    return ("right" if lane_ft < lane.center_ft else "left") in leg.exits


def has_dotted_line(strips: Sequence[Strip], strip: Strip) -> bool:
    """Whether the line of a lane toward traffic may be dotted: white, traffic goes its way."""
    k = strips.index(strip)
    step = -1 if traffic_edge(strips, strip) == strip.left_ft else 1
    beside = [
        s.kind for s in (strips[k + step :] if step == 1 else strips[k - 1 :: -1] if k else [])
    ]
    if not beside or beside[0] not in ("buffer", *_DRIVEN):
        return False
    parked = beside[:2] == ["buffer", "parking"]
    return parked or traffic_way(strips, k) == strip.direction


def dotted_length(block: Block, strip: Strip, length_ft: float, dotted_ft: float) -> float:
    """Length of the end of a lane's line that is dotted, before an intersection where traffic may
    turn across it; a solid rest too short to be one is dotted too.

    Args:
        block: the street.
        strip: the bike lane.
        length_ft: of the whole line.
        dotted_ft: as it is wanted.
    """
    ahead = block.end_leg if strip.direction == 1 else block.start_leg
    if ahead is None or ahead.circular or not dotted_ft or length_ft <= 0:
        return 0.0
    offset = -strip.center_ft if ahead.at_end else strip.center_ft
    # beside a lane that must turn the line has ended, traffic joins before
    if is_crossed(ahead, offset) or not may_be_crossed(ahead, offset):
        return 0.0
    return length_ft if length_ft - dotted_ft < _SHORTEST_FT else dotted_ft


def crossed_end(
    block: Block, strip: Strip, gaps: Gaps, dotted_ft: float
) -> tuple[float, float] | None:
    """Stretch before an intersection over which a lane is marked as crossed, or None.

    It ends where the whole lane with its lines is clear of what lies ahead, so that on a skewed leg
    too all that is drawn over it keeps one cycle.
    """
    ends = bike_ends(block, strip, (strip.center_ft, strip.width_ft + _LINE_FT), gaps)
    dotted = dotted_length(block, strip, ends[1] - ends[0], dotted_ft)
    return parted(ends, strip.direction, dotted)[1] if dotted else None


def parted(span: tuple[float, float], way: int, last_ft: float) -> list[tuple[float, float]]:
    """A stretch of travel +1 or -1 as what comes before its last feet, and those."""
    start, stop = span
    if way == 1:
        return [(start, stop - last_ft), (stop - last_ft, stop)]
    return [(start + last_ft, stop), (start, start + last_ft)]


def traffic_edge(strips: Sequence[Strip], strip: Strip) -> float:
    """Offset of a lane's edge toward the traffic beside it."""
    lanes = [s.center_ft for s in strips if s.kind == "travel_lane"]
    nearest = min(lanes, key=lambda c: abs(c - strip.center_ft))
    return strip.left_ft if nearest < strip.center_ft else strip.right_ft


def traffic_way(strips: Sequence[Strip], k: int) -> int:
    """Direction of the travel lane nearest to a strip: the way a truck beside it drives."""
    lanes = [s for s in strips if s.kind == "travel_lane"]
    return min(lanes, key=lambda s: abs(s.center_ft - strips[k].center_ft)).direction


def is_between_lanes(strips: Sequence[Strip], strip: Strip) -> bool:
    """Whether general lanes of its direction lie on both sides of a bike lane."""
    lanes = [s for s in strips if s.kind in _DRIVEN and s.direction in (0, strip.direction)]
    return len({s.center_ft > strip.center_ft for s in lanes}) == 2


def needs_arrow(segment: Segment, strip: Strip) -> bool:
    """Whether an arrow must follow each symbol: separated lanes (BUFFER-11), lanes between
    general lanes (BIKE-20)."""
    facility = segment.bike[1 if strip.center_ft > 0 else 0]
    return facility in ("separated", "two_way") or is_between_lanes(segment.strips, strip)

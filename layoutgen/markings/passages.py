"""Ways through an intersection: which leg faces which, and where traffic that turns comes out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from layoutgen.street.design import Intersection, Leg

#: legs that part from a straight line by more do not face each other
_FACING_DEG = 40.0
#: a turn may differ so much from a right angle
_TURN_DEG = 50.0


@dataclass(frozen=True)
class Passage:
    """The way straight on from one leg to the leg that faces it.

    `bend_deg` is how far it turns, positive to the right of travel.
    """

    leg: Leg
    onward: Leg
    bend_deg: float


def bend_deg(leg: Leg, onward: Leg) -> float:
    """How far the way from a leg to another turns: -180 to 180, positive to the right."""
    return (onward.bearing_deg - leg.inbound_bearing_deg + 180.0) % 360.0 - 180.0


def passages(crossing: Intersection) -> Iterator[Passage]:
    """The straight ways, from every leg with an approach to the leg that faces it best."""
    for leg in crossing.legs:
        if not leg.inbound or leg.crossover:
            continue
        found = [
            Passage(leg, other, bend_deg(leg, other))
            for other in crossing.legs
            if other is not leg and other.outbound and not other.crossover
        ]
        best = min(found, key=lambda p: (round(abs(p.bend_deg), 6), _name(p.onward)), default=None)
        if best is not None and abs(best.bend_deg) <= _FACING_DEG:
            yield best


def main_passages(crossing: Intersection) -> tuple[Passage, ...]:
    """Both straight ways along the street that matters most; lines of one street alone go on.

    That street is the one whose traffic need not stop, else the one with most lanes.
    """
    all_ = tuple(passages(crossing))
    if not all_:
        return ()
    lead = min(all_, key=_rank)
    pair = {lead.leg.leg_id, lead.onward.leg_id}
    own = (p for p in all_ if {p.leg.leg_id, p.onward.leg_id} == pair)
    return tuple(sorted(own, key=lambda p: _name(p.leg)))


def _name(leg: Leg) -> tuple[str, str]:
    """What tells legs apart, whichever way they point and are digitised."""
    return leg.segment.segment_id, leg.leg_id


def _rank(passage: Passage) -> tuple[bool, int, float, tuple[str, str]]:
    leg, onward = passage.leg, passage.onward
    lanes = len(leg.inbound) + len(leg.outbound) + len(onward.inbound) + len(onward.outbound)
    width = leg.segment.width_ft + onward.segment.width_ft
    stops = leg.control in ("stop", "yield") or onward.control in ("stop", "yield")
    return stops, -lanes, -round(width, 3), min(_name(leg), _name(onward))


def turn_to(crossing: Intersection, leg: Leg, side: str) -> Leg | None:
    """The leg that traffic comes out on where it turns `left` or `right` from a leg."""
    wanted = -90.0 if side == "left" else 90.0
    found = [
        (round(abs(bend_deg(leg, other) - wanted), 6), _name(other), other)
        for other in crossing.legs
        if other is not leg and other.outbound and not other.crossover
    ]
    angle, _, best = min(found, default=(360.0, ("", ""), None), key=lambda f: f[:2])
    return best if angle <= _TURN_DEG else None


def is_open(crossing: Intersection, passage: Passage, side: str) -> bool:
    """Whether no leg lies on one side of a straight way: the far side of a T."""
    for other in crossing.legs:
        if other.leg_id in (passage.leg.leg_id, passage.onward.leg_id):
            continue
        on_left = bend_deg(passage.leg, other) < passage.bend_deg
        if on_left == (side == "left"):
            return False
    return True

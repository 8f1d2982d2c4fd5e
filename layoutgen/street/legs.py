"""Legs of intersections: found, told who controls them, and laid out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layoutgen.errors import Finding
from layoutgen.geometry.polyline import Polylines
from layoutgen.records import changed
from layoutgen.street.controls import Arm, Crossing, NodeControl, whole_control
from layoutgen.street.curbs import corner_stations
from layoutgen.street.design import Cut, Intersection, Leg, LegLayout, Side, Strip
from layoutgen.street.ends import End, left_neighbor, right_neighbor
from layoutgen.street.intersection import (
    IntersectionParams,
    LegNeeds,
    LegPolicy,
    Room,
    curb_cut,
    lay_out_leg,
    octant,
)
from layoutgen.street.junctions import Junction
from layoutgen.street.params import StreetParams
from layoutgen.street.segments import segment_attributes
from layoutgen.street.twins import parted

#: a street within this angle of straight on is no turn
_STRAIGHT_ON_DEG = 30.0


def leg_attributes(leg: Leg) -> dict[str, Any]:
    """What `where` may ask of a leg or an approach."""
    out = segment_attributes(leg.segment)
    out.update(
        leg_id=leg.leg_id,
        intersection_id=leg.intersection_id,
        control=leg.control,
        intersection_control=leg.intersection_control,
        legs=leg.legs,
        lanes_in=len(leg.inbound),
        lanes_out=len(leg.outbound),
        school=leg.school,
        circular=leg.circular,
        existing=leg.existing,
        district=leg.district,
        compass=octant(leg.bearing_deg),
        bike_lane_in=out["bike_lane"]
        and any(s.kind == "bike_lane" and s.direction == -1 for s in leg.strips),
    )
    return out


def intersection_attributes(crossing: Intersection) -> dict[str, Any]:
    """What `where` may ask of a whole intersection."""
    return {
        "intersection_id": crossing.intersection_id,
        "name": crossing.name,
        "intersection_control": crossing.control,
        "legs": len(crossing.legs),
        "school": any(leg.school for leg in crossing.legs),
        "circular": any(leg.circular for leg in crossing.legs),
        "district": crossing.district,
    }


def crossing_of(junction: Junction) -> Crossing:
    """What finding the controls of an intersection needs."""
    arms = tuple(
        Arm(e.bearing_deg, max(e.halves), e.segment.street_class, _has_approach(e), e.xy)
        for e in junction.ends
    )
    return Crossing(junction.nodes[0], junction.places, arms, junction.ring)


def _has_approach(end: End) -> bool:
    return end.inbound and not end.segment.roundabout


@dataclass(frozen=True)
class Node:
    """An intersection with all that is known before its legs are laid out.

    `district` is None outside all districts, and empty where there are none.
    """

    crossing: Crossing
    junction: Junction
    control: NodeControl
    node_id: str
    name: str
    school: bool
    district: str | None = ""

    @property
    def whole(self) -> str:
        """Control of the whole intersection."""
        return whole_control(self.crossing, self.control)


def draft_legs(node: Node, params: IntersectionParams) -> list[Leg]:
    """Legs of one intersection with their curb line; nothing is laid out yet."""
    ends = node.junction.ends
    whole = node.whole
    return [
        Leg(
            leg_id=leg_id,
            intersection_id=node.node_id,
            segment=end.segment,
            at_end=end.at_end,
            bearing_deg=end.bearing_deg,
            control=node.control.control.get(i, "none"),
            control_source=node.control.source.get(i, "none known"),
            intersection_control=whole,
            legs=len(ends) - len(node.junction.pairs),
            strips=_leg_strips(end),
            movements=end.segment.turn_lanes.get(1 if end.at_end else -1, ()),
            room_ft=0.0,
            pocket_ft=0.0,
            school=node.school,
            circular=node.junction.ring or node.control.mini,
            crossing=None,
            layout=_bare(_curb(i, node.junction, params)),
            crossover=end.segment.index in node.junction.crossovers,
            district=node.district or "",
            outside=node.district is None,
            exits=_exits(end, ends),
        )
        for i, (leg_id, end) in enumerate(zip(_leg_ids(node.node_id, ends), ends, strict=True))
    ]


def _exits(end: End, ends: Sequence[End]) -> frozenset[str]:
    """Sides on which streets that take traffic leave, as the approach of an end sees them."""
    turns = ((other.bearing_deg - end.bearing_deg - 180.0) % 360.0 for other in ends
             if other is not end and other.outbound)  # fmt: skip
    sides = {"right" if turn < 180.0 else "left" for turn in turns
             if min(turn, 360.0 - turn) > _STRAIGHT_ON_DEG}  # fmt: skip
    return frozenset(sides)


def _bare(curb: Cut) -> LegLayout:
    return LegLayout(curb, None, curb, curb, curb)


def _leg_ids(node_id: str, ends: Sequence[End]) -> list[str]:
    """Intersection id and compass octant; a running number where two legs share an octant."""
    seen: dict[str, int] = defaultdict(int)
    out = []
    for end in ends:
        name = octant(end.bearing_deg)
        seen[name] += 1
        out.append(f"{node_id}-{name}{seen[name] if seen[name] > 1 else ''}")
    return out


def _curb(i: int, junction: Junction, params: IntersectionParams) -> Cut:
    here = junction.ends[i]
    before, after = junction.neighbors(i)
    return curb_cut(here.halves, right_neighbor(here, after), left_neighbor(here, before), params)


def with_corners(
    drafts: Sequence[Sequence[Leg]],
    axes: Polylines,
    curbs: NDArray[np.object_],
    params: StreetParams,
) -> list[list[Leg]]:
    """Legs whose curb line runs where the curbs swing out into the corners, where that is seen."""
    flat = [leg for own in drafts for leg in own]
    if not flat:
        return [list(own) for own in drafts]
    index = np.array([leg.segment.index for leg in flat])
    at_end = np.array([leg.at_end for leg in flat])
    halves = np.array([(-leg.edges_ft[0], leg.edges_ft[1]) for leg in flat]).T
    left, right = corner_stations(
        axes, (index, at_end), (halves[0], halves[1]), curbs, params.curbs
    )
    moved = iter(
        _with_corner(leg, a, b, params)
        for leg, a, b in zip(flat, left.tolist(), right.tolist(), strict=True)
    )
    return [[next(moved) for _ in own] for own in drafts]


def _with_corner(leg: Leg, left: float, right: float, params: StreetParams) -> Leg:
    """The built curb line, moved half way to where the curbs are seen to swing out.

    Both err: widths vary toward the corner, and driveways and bays look like corners.
    """
    seen = [s for s in (left, right) if s == s and 0.0 < s <= params.intersection.corner_limit_ft]
    if leg.segment.width_source != "curbs" or not seen:
        return leg
    built = leg.layout.curb
    middle = sum(built.at(o) for o in leg.edges_ft) / 2
    back, out = -params.curbs.corner_back_ft, params.curbs.corner_out_ft
    moved = 0.5 * min(out, max(back, sum(seen) / len(seen) - middle))
    return changed(leg, layout=_bare(Cut(max(0.0, built.station_ft + moved), built.slope)))


def _leg_strips(end: End) -> tuple[Strip, ...]:
    if not end.at_end:
        return end.segment.strips
    return _walked_back(end.segment.strips)


@lru_cache(maxsize=4096)
def _walked_back(strips: tuple[Strip, ...]) -> tuple[Strip, ...]:
    return tuple(strip.reversed() for strip in reversed(strips))


def laid_out(
    drafts: Sequence[Sequence[Leg]], policy: LegPolicy, params: StreetParams
) -> tuple[list[list[Leg]], list[Finding]]:
    """Legs with room, turn pockets and stations."""
    curbs = {
        (leg.segment.index, leg.at_end): leg.layout.curb.farthest(*leg.edges_ft)
        for legs in drafts
        for leg in legs
    }
    findings: list[Finding] = []
    out = []
    for legs in drafts:
        done = []
        for leg in legs:
            roomy = changed(leg, room_ft=_room(leg, curbs))
            final, found = _lay_out(_with_pocket(roomy, params), policy, params)
            findings += found
            done.append(final)
        out.append(parted(done))
    return out, findings


def _room(leg: Leg, curbs: Mapping[tuple[int, bool], float]) -> float:
    """Length a leg may use: all of a dead end, half of what two curb lines leave between them."""
    own = curbs[(leg.segment.index, leg.at_end)]
    other = curbs.get((leg.segment.index, not leg.at_end))
    if other is None:
        return leg.segment.length_ft
    return own + (leg.segment.length_ft - own - other) / 2


def _with_pocket(leg: Leg, params: StreetParams) -> Leg:
    """The center lane of the street as turn lane of this approach, where that is wanted."""
    center = [s for s in leg.strips if s.kind == "center_turn_lane"]
    lanes = len(leg.inbound)
    told = len(leg.movements) == lanes + 1
    at = params.pocket.at
    wanted = (
        leg.control == "signal" if at == "signal" else at == "control" and leg.control != "none"
    )
    if not center or not lanes or not (told or wanted) or leg.room_ft < 60.0:
        return leg
    strips = tuple(
        Strip("turn_lane", -1, s.left_ft, s.right_ft) if s is center[0] else s for s in leg.strips
    )
    movements = leg.movements if told else _pocket_movements(leg, params.side)
    return changed(
        leg,
        strips=strips,
        movements=movements,
        pocket_ft=min(params.pocket.length_ft, leg.room_ft * 0.8),
    )


def _pocket_movements(leg: Leg, side: Side) -> tuple[tuple[str, ...], ...]:
    own = leg.movements or (("",),) * len(leg.inbound)
    return (("left",), *own) if side == "right" else (*own, ("right",))


def _lay_out(leg: Leg, policy: LegPolicy, params: StreetParams) -> tuple[Leg, list[Finding]]:
    needs = policy(leg_attributes(leg)) if leg.segment.paved else LegNeeds()
    if leg.crossover and not leg.existing:
        needs = changed(needs, crosswalk_ft=0.0)
    curb = leg.layout.curb
    if leg.crossing is not None and needs.crosswalk_ft:
        curb = leg.crossing.moved(-(needs.crosswalk_setback_ft + needs.crosswalk_ft / 2))
    room = Room(leg.edges_ft, leg.room_ft, leg.circular)
    layout, dropped = lay_out_leg(curb, needs, room, params.intersection.lines_gap_ft)
    if not dropped:
        return changed(leg, layout=layout), []
    text = f"the leg is too short for: {', '.join(dropped)}; left out"
    fix = "check for a duplicate node or a wrong width; else mark by hand"
    found = Finding("leg_too_short", "warning", "intersections", leg.leg_id, text, fix)
    return changed(leg, layout=layout), [found]


def leg_points(legs: Sequence[Leg], axes: Polylines, index: Any, station: Any, offset: Any) -> Any:
    """(n, 2) plane points of leg stations and offsets, one per leg."""
    at_end = np.array([leg.at_end for leg in legs])
    length_ft = axes.lengths[index]
    along = np.where(at_end, length_ft - station, station)
    across = np.where(at_end, -np.asarray(offset), offset)
    return axes.locate(index, along, across)

"""Dotted extension: lane, center and edge lines carried on through an intersection.

MUTCD 11th edition 3B.11. It guides drivers where the way is not plain: between lanes that turn side
by side, where lanes do not face those they lead to, or where the street bends. Pieces of 2 ft with
gaps of 2 to 6 ft (LINE-08, LINE-09), in the color and at least the width of the line they extend
(LINE-10, LINE-11); a double line goes on as one (LINE-12). Along the far side of a T an edge line
may stay solid (EDGE-03). Where it is wanted is left to a policy.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from layoutgen.config import choice, length, measure
from layoutgen.markings.checks.dotted_extension import CHECKS
from layoutgen.markings.edges import EdgePlace, edges_of, wants_edges
from layoutgen.markings.lanes import turns
from layoutgen.markings.marking import Color, Frame, LinkShape, Marking, Rule, RuleParams, Stroke
from layoutgen.markings.passages import Passage, is_open, main_passages, turn_to
from layoutgen.markings.pavement import pavement_of
from layoutgen.street.design import Intersection, Leg, Strip

Place = Literal["turn_lanes", "offset", "bend", "lane_line", "center_line", "edge_line", "far_side"]
_MARKED = ("bike_lane", "buffer", "parking")


class Params(RuleParams):
    at: tuple[Place, ...] = choice(
        ("turn_lanes", "offset"),
        source="LINE-11",
        text="between lanes that turn side by side; lane lines where they are offset, where the "
        "street bends, or everywhere; center line; edge lines; solid edge line on the far side of "
        "a T",
    )
    painted_ft: float = length(
        "2 ft", low="1 ft", high="4 ft", source="LINE-08", text="piece of the dotted line"
    )
    gap_ft: float = length("4 ft", low="2 ft", high="10 ft", source="LINE-09", text="its gap")
    line_width_ft: float = length(
        "4 in", low="4 in", high="8 in", source="LINE-10", text="no narrower than the line"
    )
    turn_line_width_ft: float = length(
        "8 in",
        low="4 in",
        high="12 in",
        source="LINE-10",
        text="where the line is the wide one beside a lane that must turn, as in lane_line",
    )
    offset_ft: float = length(
        "3 ft",
        low="1 ft",
        high="12 ft",
        source="common practice",
        text="lanes are offset from here on",
    )
    bend_deg: float = measure(
        "angle",
        "15 deg",
        low="5 deg",
        high="40 deg",
        source="common practice",
        text="a street bends from here on",
    )
    edge_at: tuple[EdgePlace, ...] = choice(
        ("required", "recommended"),
        source="EDGE-01, EDGE-02",
        text="streets that have edge lines, as `at` of edge_line",
    )
    inset_ft: float = length(
        "2 in",
        low="0 in",
        high="12 in",
        source="EDGE-05",
        text="from the edge of the traveled way to an edge line, as in edge_line",
    )


@dataclass(frozen=True)
class _Link:
    """One line through: from an offset of a leg to an offset of another; what it extends and why.

    `travel` as of `Marking`; `solid` = no gaps.
    """

    leg: Leg
    offset_ft: float
    to: Leg
    to_ft: float
    extends: str
    color: Color
    travel: int
    reason: str
    solid: bool = False
    wide: bool = False


def mark(crossing: Intersection, params: Params) -> Iterator[Marking]:
    if not params.at or any(leg.circular for leg in crossing.legs):
        return
    for link in _links(crossing, params):
        yield replace(_marking(link, params), within=pavement_of(crossing))


def _links(crossing: Intersection, params: Params) -> Iterator[_Link]:
    if "turn_lanes" in params.at:
        for leg in crossing.legs:
            for side in ("left", "right"):
                yield from _turning(crossing, leg, side)
    if not set(params.at) - {"turn_lanes"}:
        return
    ways = main_passages(crossing)
    for way in ways:
        yield from _lanes(way, params)
    for way in ways[:1]:
        if "center_line" in params.at:
            yield from _center(way)
        yield from _edges(crossing, way, params)


def _turning(crossing: Intersection, leg: Leg, side: str) -> Iterator[_Link]:
    """Lines between lanes of a leg that turn the same way, to those between the lanes they enter.

    The leftmost lane that turns left enters the leftmost lane, and so on; right turns mirrored.
    """
    if len(leg.movements) != len(leg.inbound):
        return
    told = zip(leg.inbound, leg.movements, strict=True)
    lanes = [(lane, turns(m) == "must") for lane, m in told if side in m]
    to = turn_to(crossing, leg, side) if len(lanes) > 1 else None
    if to is None or len(to.outbound) < len(lanes):
        return
    pairs = [(a.left_ft, must != other) for (a, must), (_, other) in pairwise(lanes)]
    onto = _lines(to.outbound, inbound=False)
    if side == "right":
        pairs, onto = pairs[::-1], onto[::-1]
    why = f"{len(lanes)} lanes turn {side} side by side"
    for (a, wide), b in zip(pairs, onto, strict=False):
        yield _Link(leg, a, to, b, "lane", "white", -1, why, wide=wide)


def _lines(lanes: list[Strip] | tuple[Strip, ...], *, inbound: bool) -> list[float]:
    """Offsets of the lines between lanes, from left to right as their driver sees them."""
    return [a.left_ft if inbound else a.right_ft for a, _ in pairwise(lanes)]


def _lanes(way: Passage, params: Params) -> Iterator[_Link]:
    """Lane lines of one direction, where as many lanes go on as come."""
    leg, to = way.leg, way.onward
    known = len(leg.movements) == len(leg.inbound)
    told = leg.movements if known else ((),) * len(leg.inbound)
    through = [s for s, m in zip(leg.inbound, told, strict=True) if turns(m) != "must"]
    through = [s for s in through if s.kind == "travel_lane"]
    if len(through) != len(to.outbound):
        return
    pairs = list(
        zip(_lines(through, inbound=True), _lines(to.outbound, inbound=False), strict=True)
    )
    shift = max((abs(a + b) for a, b in pairs), default=0.0)
    reasons = {
        "offset": (shift >= params.offset_ft, f"lanes lie {shift:.1f} ft beside those they enter"),
        "bend": (abs(way.bend_deg) >= params.bend_deg, f"bends by {abs(way.bend_deg):.0f} deg"),
        "lane_line": (True, "lane lines go on through the intersection"),
    }
    why = next((text for at, (holds, text) in reasons.items() if holds and at in params.at), "")
    for a, b in pairs if why else ():
        yield _Link(leg, a, to, b, "lane", "white", -1, why)


def _center(way: Passage) -> Iterator[_Link]:
    """The center line of the street that goes on, as a single line."""
    sides = [_middle(leg) for leg in (way.leg, way.onward)]
    if sides[0] is None or sides[1] is None:
        return
    why = "center line goes on through the intersection"
    yield _Link(way.leg, sides[0], way.onward, sides[1], "center", "yellow", 0, why)


def _middle(leg: Leg) -> float | None:
    """Offset of the center line of a leg; None where it has none, or more than one."""
    if leg.segment.center_line == "none" or leg.pocket_ft > 0:
        return None
    kinds = {s.kind for s in leg.strips}
    if not leg.inbound or not leg.outbound or kinds & {"median", "center_turn_lane"}:
        return None
    lanes = [s for s in leg.strips if s.kind == "travel_lane"]
    return max(s.right_ft for s in lanes if s.direction == lanes[0].direction)


def _edges(crossing: Intersection, way: Passage, params: Params) -> Iterator[_Link]:
    """Outer edge lines: dotted past a leg, solid along the far side of a T."""
    if not {"edge_line", "far_side"} & set(params.at):
        return
    if not all(wants_edges(leg.segment, params.edge_at) for leg in (way.leg, way.onward)):
        return
    for side in ("left", "right"):
        open_ = is_open(crossing, way, side)
        if ("far_side" if open_ else "edge_line") not in params.at:
            continue
        a, b = _outer(way.leg, side == "left", params), _outer(way.onward, side == "right", params)
        if a is None or b is None or a[1:] != b[1:]:
            continue
        color: Color = "white" if a[1] == "white" else "yellow"
        why = "far side of a T: the edge line goes on" if open_ else "edge line goes on past a leg"
        travel = -1 if way.leg.inbound and side == "right" else 1
        yield _Link(way.leg, a[0], way.onward, b[0], "edge", color, travel, why, open_)


def _outer(leg: Leg, on_right: bool, params: Params) -> tuple[float, str] | None:
    """(offset, color) of the outermost edge line on the right or left side of a leg."""
    edges = list(edges_of(leg.strips, leg.segment.driving_side))
    edge = edges[-1 if on_right else 0] if edges else None
    if edge is None or edge.beside in _MARKED:
        return None
    inset = params.inset_ft + params.line_width_ft / 2
    return edge.offset_ft + edge.inward * inset, edge.color


def _marking(link: _Link, params: Params) -> Marking:
    width = params.turn_line_width_ft if link.wide else params.line_width_ft
    near = link.leg.layout.curb.clear(link.offset_ft, width)
    far = link.to.layout.curb.clear(link.to_ft, width)
    stroke = (
        Stroke(0.0, width) if link.solid else Stroke(0.0, width, params.painted_ft, params.gap_ft)
    )
    rows = ("EDGE-03",) if link.solid else ("LINE-08", "LINE-09", "LINE-10", "LINE-11")
    more = {"center": ("LINE-12", "LINE-13"), "edge": ("EDGE-03",), "lane": ()}[link.extends]
    return Marking(
        kind="edge_line" if link.solid else "dotted_extension",
        frame=Frame.of_leg(link.leg),
        shape=LinkShape(near, link.offset_ft, Frame.of_leg(link.to), far, link.to_ft, (stroke,)),
        color=link.color,
        travel=link.travel,
        anchor=link.leg.leg_id,
        station_ft=near,
        offset_ft=link.offset_ft,
        width_ft=width,
        style=link.color if link.solid else f"{link.extends}_line",
        reason=link.reason,
        sources=tuple(dict.fromkeys((*rows, *more))),
        tag=link.extends,
        intersection_id=link.leg.intersection_id,
        priority=60,
    )


RULE = Rule(on="intersection", params=Params, mark=mark, checks=CHECKS, inside=True)

"""Edges of the traveled way: where they lie, what color marks them, and which streets need it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from layoutgen.street.design import Segment, Side, Strip

EdgePlace = Literal["required", "recommended", "ramps", "every_street"]
_RURAL = {"arterial": (6000, 3000), "collector": (None, 3000)}
_LEAST_FT = 20.0
_DRIVEN = ("travel_lane", "turn_lane", "center_turn_lane")


@dataclass(frozen=True)
class Edge:
    """One edge of the traveled way.

    Attributes:
        offset_ft: where the outer side of the outermost lane lies.
        inward: +1 where the lane lies right of it, -1 where it lies left.
        way: direction of that lane.
        beside: kind of the strip beyond it; empty = the end of the pavement or a curb.
        color: white on the side traffic keeps to, yellow on the other (LINE-15, LINE-16).
    """

    offset_ft: float
    inward: int
    way: int
    beside: str
    color: Literal["white", "yellow"]


def edges_of(strips: Sequence[Strip], side: Side) -> Iterator[Edge]:
    """Edges of a cross-section from left to right: outer ones, and those along a median.

    Args:
        strips: from left to right, of a segment or a leg.
        side: driving side.
    """
    for k, strip in enumerate(strips):
        if strip.kind != "travel_lane":
            continue
        for step, offset in ((-1, strip.left_ft), (1, strip.right_ft)):
            other = strips[k + step] if 0 <= k + step < len(strips) else None
            if other is None or other.kind not in _DRIVEN:
                beside = other.kind if other else ""
                kept = ((step > 0) == (strip.direction > 0)) == (side == "right")
                color: Literal["white", "yellow"] = "white" if kept else "yellow"
                yield Edge(offset, -step, strip.direction, beside, color)


def traveled_ft(segment: Segment) -> float:
    """Width of the lanes that traffic drives on, all together.

    Lanes are never drawn narrower than the least width; the pavement that the data tell counts.
    """
    lanes = sum(s.width_ft for s in segment.strips if s.kind in _DRIVEN)
    return max(0.0, lanes - segment.short_ft)


def moving_lanes(segment: Segment) -> int:
    """Number of lanes that traffic moves in."""
    return sum(s.kind in ("travel_lane", "center_turn_lane") for s in segment.strips)


def wants_edges(segment: Segment, at: Sequence[EdgePlace]) -> bool:
    """Whether a street gets edge lines: MUTCD 11th edition 3B.10 (EDGE-01, EDGE-02).

    What asks for a traffic volume is not met where none is known.
    """
    if "every_street" in at:
        return True
    if segment.street_class == "ramp" and "ramps" in at:
        return True
    if segment.street_class == "freeway":
        return "required" in at
    if segment.setting != "rural" or traveled_ft(segment) < _LEAST_FT - 1e-6:
        return False
    required, recommended = _RURAL.get(segment.street_class, (None, None))
    least = [required if "required" in at else None, recommended if "recommended" in at else None]
    return any(n is not None and (segment.adt or 0) >= n for n in least)

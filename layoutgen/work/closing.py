"""What a job takes from traffic: width, whether traffic must be held, and the kind of taper."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from layoutgen.street.design import Segment
from layoutgen.work.stands import Lane
from layoutgen.work.traffic_control import Taper

ONE_LEFT = "one lane left for both directions: hold traffic, let it take turns"
WHOLE = "whole roadway taken: hold traffic or close the street"
INSIDE = "inside the intersection: hold traffic"
_SAME_FT = 0.01


@dataclass(frozen=True)
class Closing:
    """Width taken from traffic (ft), why traffic must be held or empty, and the taper."""

    width_ft: float
    hold: str
    taper: Taper


def closing(
    segment: Segment, travel: int, taken: Collection[Lane], side_ft: float, inside: bool
) -> Closing:
    """What lanes of one direction, and strips beside them, mean for traffic.

    Lanes are closed together, as long as the job lasts. A two-way left-turn lane in the middle is
    room that traffic may be led through.

    Args:
        segment: the street.
        travel: direction of the truck.
        taken: (left, right) offsets of the lanes taken.
        side_ft: width taken beside them.
        inside: within an intersection, where all approaches meet the work.
    """
    lanes = set(taken)
    own = [s for s in segment.lanes(travel) if _is_taken((s.left_ft, s.right_ft), lanes)]
    room = len(segment.lanes(travel)) - len(own)
    middle = [s for s in segment.strips if s.kind == "center_turn_lane"]
    room += sum(not _is_taken((s.left_ft, s.right_ft), lanes) for s in middle)
    held = ""
    if lanes and room <= 0:
        held = WHOLE if segment.oneway != "both" else ONE_LEFT
    told = "; ".join(text for text in (INSIDE if inside else "", held) if text)
    width = sum(right - left for left, right in lanes) or side_ft
    return Closing(width, told, "one_lane" if held else "merging" if lanes else "shoulder")


def _is_taken(lane: Lane, taken: Collection[Lane]) -> bool:
    return any(abs(lane[0] - a) < _SAME_FT and abs(lane[1] - b) < _SAME_FT for a, b in taken)

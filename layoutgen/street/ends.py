"""Ends of segments at nodes: the raw material of intersections."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layoutgen.street.design import Segment
from layoutgen.street.intersection import IntersectionParams, Neighbor, bearing
from layoutgen.street.network import Network


@dataclass(frozen=True)
class End:
    """One end of a segment at a node: its place, and its bearing outward."""

    segment: Segment
    at_end: bool
    bearing_deg: float
    node: int
    xy: tuple[float, float]

    @property
    def key(self) -> tuple[int, bool]:
        """What tells an end from all others."""
        return self.segment.index, self.at_end

    @property
    def inbound(self) -> bool:
        """Whether anybody may drive toward the node here."""
        return bool(self.segment.lanes(1 if self.at_end else -1))

    @property
    def outbound(self) -> bool:
        """Whether anybody may drive away from the node here."""
        return bool(self.segment.lanes(-1 if self.at_end else 1))

    @property
    def other_node(self) -> int:
        """The node at the far end of the segment."""
        return int(self.segment.start if self.at_end else self.segment.end)

    @property
    def halves(self) -> tuple[float, float]:
        """Distance from the axis to the left and the right curb, seen outward."""
        left, right = self.segment.edges_ft
        return (right, -left) if self.at_end else (-left, right)

    @property
    def ahead(self) -> tuple[float, float]:
        """Unit vector outward."""
        angle = np.radians(self.bearing_deg)
        return float(np.sin(angle)), float(np.cos(angle))


def ends_by_node(
    segments: Sequence[Segment], network: Network, params: IntersectionParams
) -> dict[int, list[End]]:
    """Ends of all segments at each node, clockwise by bearing."""
    out: dict[int, list[End]] = defaultdict(list)
    if not segments:
        return out
    index = np.arange(len(segments))
    lengths = network.axes.lengths
    chord = np.minimum(params.heading_chord_ft, lengths / 2)
    for at_end in (False, True):
        start = network.axes.locate(index, lengths if at_end else np.zeros_like(lengths))
        target = network.axes.locate(index, lengths - chord if at_end else chord)
        for segment, (x, y), (dx, dy) in zip(
            segments, start.tolist(), (target - start).tolist(), strict=True
        ):
            node = int(segment.end if at_end else segment.start)
            out[node].append(End(segment, at_end, bearing(dx, dy), node, (x, y)))
    for ends in out.values():
        ends.sort(key=lambda e: (e.bearing_deg, e.segment.segment_id, e.at_end))
    return out


def turn_deg(first: End, second: End) -> float:
    """Angle from one end to another, clockwise, 0..360."""
    return (second.bearing_deg - first.bearing_deg) % 360.0


def right_neighbor(here: End, after: End) -> Neighbor:
    """The next end clockwise: its left curb faces us."""
    return Neighbor(turn_deg(here, after), after.halves[0] + offset_ft(here, after))


def left_neighbor(here: End, before: End) -> Neighbor:
    """The next end counterclockwise: its right curb faces us."""
    return Neighbor(turn_deg(before, here), before.halves[1] - offset_ft(here, before))


def offset_ft(here: End, other: End) -> float:
    """Offset of an end's node from the axis of another end, to the right of its direction."""
    if here.node == other.node:
        return 0.0
    x, y = other.ahead
    dx, dy = here.xy[0] - other.xy[0], here.xy[1] - other.xy[1]
    return dx * y - dy * x

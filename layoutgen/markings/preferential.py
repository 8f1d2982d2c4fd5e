"""Lanes that are kept for buses, carpools or taxis, and where their markings run."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from layoutgen.street.design import Block, Strip


@dataclass(frozen=True)
class OwnLane:
    """A lane kept for one use.

    Attributes:
        use: bus, hov or taxi.
        strip: the lane.
        side: +1 it is the rightmost of the street, -1 the leftmost.
        shared_ft: offset of the edge toward the next lane of its direction, or None.
        ends: segment stations between which it is marked.
    """

    use: str
    strip: Strip
    side: int
    shared_ft: float | None
    ends: tuple[float, float]

    @property
    def start_ft(self) -> float:
        """Station at which its traffic enters the block."""
        return self.ends[0] if self.strip.direction == 1 else self.ends[1]


def own_lanes(block: Block) -> Iterator[OwnLane]:
    """The lanes of a block that are not for everybody."""
    if not any(block.segment.lane_use):
        return
    lanes = sorted(
        (s for s in block.segment.strips if s.kind == "travel_lane"), key=lambda s: s.center_ft
    )
    if not lanes or block.segment.roundabout:
        return
    for side, use, k in ((-1, block.segment.lane_use[0], 0), (1, block.segment.lane_use[1], -1)):
        if use:
            strip = lanes[k]
            inward = strip.right_ft if side == -1 else strip.left_ft
            beside = [s for s in lanes if s is not strip and s.direction == strip.direction]
            shared = any(abs(s.left_ft - inward) < 1e-6 or abs(s.right_ft - inward) < 1e-6
                         for s in beside)  # fmt: skip
            yield OwnLane(use, strip, side, inward if shared else None, lane_ends(block, strip))


def lane_ends(block: Block, strip: Strip) -> tuple[float, float]:
    """Segment stations between which a lane is marked: from curb line or crosswalk to stop line."""
    start, stop = 0.0, block.segment.length_ft
    if block.start_leg is not None:
        layout = block.start_leg.layout
        cut = layout.outbound_end if strip.direction == 1 else layout.inbound_end
        start = max(0.0, cut.farthest(strip.left_ft, strip.right_ft))
    if block.end_leg is not None:
        layout = block.end_leg.layout
        cut = layout.inbound_end if strip.direction == 1 else layout.outbound_end
        stop -= max(0.0, cut.farthest(-strip.right_ft, -strip.left_ft))
    return start, stop

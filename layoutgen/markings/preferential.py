"""Lanes that are kept for buses, carpools or taxis, and where their markings run."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from layoutgen.street.design import Block, Strip


@dataclass(frozen=True)
class OwnLane:
    """A lane kept for one use.

    Attributes:
        use: bus, hov, taxi or bike_bus.
        strip: the lane.
        side: +1 it is the rightmost of the street, -1 the leftmost.
        shared_ft: offset of the edge toward the next lane of its direction, or None.
        ends: segment stations between which it is marked.
        paired: the next lane of its direction is kept for one use too.
    """

    use: str
    strip: Strip
    side: int
    shared_ft: float | None
    ends: tuple[float, float]
    paired: bool = False

    @property
    def start_ft(self) -> float:
        """Station at which its traffic enters the block."""
        return self.ends[0] if self.strip.direction == 1 else self.ends[1]


def own_lanes(block: Block) -> Iterator[OwnLane]:
    """The lanes of a block that are not for everybody.

    Two of them side by side are parted by an ordinary lane line (MUTCD 11th edition 3E.02), so
    neither has a shared edge.
    """
    if not any(block.segment.lane_use) or block.segment.roundabout:
        return
    lanes = sorted(
        (s for s in block.segment.strips if s.kind == "travel_lane"), key=lambda s: s.center_ft
    )
    left, right = block.segment.lane_use
    kept = {k: use for k, use in ((0, left), (len(lanes) - 1, right)) if use and lanes}
    for k, use in kept.items():
        side = 1 if k == len(lanes) - 1 and (right or k) else -1
        inward = k - side
        edge = lanes[k].right_ft if side == -1 else lanes[k].left_ft
        touch = 0 <= inward < len(lanes) and _touch(lanes[k], lanes[inward])
        shared = edge if touch and inward not in kept else None
        ends = lane_ends(block, lanes[k])
        yield OwnLane(use, lanes[k], side, shared, ends, touch and inward in kept)


def _touch(a: Strip, b: Strip) -> bool:
    """Whether two lanes of one direction lie side by side."""
    near = min(abs(a.left_ft - b.right_ft), abs(a.right_ft - b.left_ft)) < 1e-6
    return near and a.direction == b.direction


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

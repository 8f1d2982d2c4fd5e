"""Where lines along the street begin and end in a block, for all rules that paint them."""

from __future__ import annotations

from layoutgen.street.design import Block, Leg


def way_ends(block: Block, way: int, offset_ft: float, width_ft: float) -> tuple[float, float]:
    """Segment stations between which a line among lanes of one direction runs."""
    start, stop = 0.0, block.segment.length_ft
    if block.start_leg is not None:
        layout = block.start_leg.layout
        cut = layout.outbound_end if way == 1 else layout.inbound_end
        start = cut.clear(offset_ft, width_ft)
    if block.end_leg is not None:
        layout = block.end_leg.layout
        cut = layout.inbound_end if way == 1 else layout.outbound_end
        stop -= cut.clear(-offset_ft, width_ft)
    return start, stop


def middle_ends(block: Block, offset_ft: float, width_ft: float) -> tuple[float, float]:
    """Segment stations between which a line between the two directions runs."""
    start, stop = 0.0, block.segment.length_ft
    if block.start_leg is not None:
        start = both_ends(block.start_leg, offset_ft, width_ft)
    if block.end_leg is not None:
        stop -= both_ends(block.end_leg, -offset_ft, width_ft)
    return start, stop


def pocket_ft(leg: Leg | None) -> float:
    """Leg station where the turn pocket of a center lane begins, upstream; 0 without a pocket."""
    if leg is None or leg.pocket_ft <= 0:
        return 0.0
    return min(leg.layout.inbound_end.station_ft + leg.pocket_ft, leg.room_ft)


def shared_run(block: Block, offset_ft: float, width_ft: float) -> tuple[float, float]:
    """Segment stations between which a center lane serves the left turns of both directions."""
    start, stop = middle_ends(block, offset_ft, width_ft)
    start = max(start, pocket_ft(block.start_leg))
    return start, min(stop, block.segment.length_ft - pocket_ft(block.end_leg))


def center_lane_ends(block: Block, *, at_end: bool) -> bool:
    """Whether a center lane ends at a joint: both directions go on, with nothing between them."""
    leg, beyond = (block.end_leg, block.after) if at_end else (block.start_leg, block.before)
    kinds = {s.kind for s in beyond}
    ways = {s.direction for s in beyond if s.kind == "travel_lane"}
    return leg is None and ways == {1, -1} and not kinds & {"center_turn_lane", "median"}


def both_ends(leg: Leg, offset_ft: float, width_ft: float) -> float:
    """Leg station behind both the approach's and the departure's line end."""
    ends = (leg.layout.inbound_end, leg.layout.outbound_end)
    return max(cut.clear(offset_ft, width_ft) for cut in ends)

"""Center line: yellow, between the two directions of a street.

MUTCD 11th edition 3B.01, 3B.02, 3B.05. Never a single solid line (CENTER-01); four and more lanes
get a double solid one (CENTER-02); a two-way left-turn lane gets a solid line outside and a broken
one inside on either edge (TWLTL-01), up to where it becomes a turn lane of one approach. A raised
median takes the place of the line.
"""

from __future__ import annotations

from collections.abc import Iterator

from layoutgen.config import length
from layoutgen.markings.checks.lines import CENTER_CHECKS
from layoutgen.markings.marking import (
    Frame,
    LineParams,
    LineShape,
    Marking,
    Rule,
    Stroke,
)
from layoutgen.markings.runs import both_ends, middle_ends
from layoutgen.street.design import Block, Strip


class Params(LineParams):
    double_gap_ft: float = length(
        "4 in", low="2 in", high="12 in", source="LINE-03", text="between the lines of a double"
    )


def mark(block: Block, params: Params) -> Iterator[Marking]:
    segment = block.segment
    if segment.oneway != "both" or segment.center_line == "none" or segment.roundabout:
        return
    if segment.has("median"):
        return
    center = next((s for s in segment.strips if s.kind == "center_turn_lane"), None)
    if center is not None:
        yield from _turn_lane(block, center, params)
        return
    offset = _middle(segment.strips)
    start, stop = middle_ends(block, offset, _over_all_ft(params))
    if stop - start < params.shortest_ft:
        return
    style = segment.center_line
    strokes = _double(offset, params) if style == "double_solid" else (_broken(offset, params),)
    yield _marking(block, LineShape(start, stop, strokes), offset, style, params)


def _over_all_ft(params: Params) -> float:
    """Width of a double line, gap and all."""
    return 2 * params.line_width_ft + params.double_gap_ft


def _middle(strips: tuple[Strip, ...]) -> float:
    """Offset of the boundary between the two directions."""
    lanes = [s for s in strips if s.kind == "travel_lane"]
    first = lanes[0].direction
    return max(s.right_ft for s in lanes if s.direction == first)


def _double(offset_ft: float, params: Params) -> tuple[Stroke, ...]:
    shift = (params.line_width_ft + params.double_gap_ft) / 2
    return tuple(Stroke(offset_ft + d, params.line_width_ft) for d in (-shift, shift))


def _broken(offset_ft: float, params: Params) -> Stroke:
    return Stroke(offset_ft, params.line_width_ft, params.painted_ft, params.gap_ft)


def _turn_lane(block: Block, center: Strip, params: Params) -> Iterator[Marking]:
    """Edges of a two-way left-turn lane, and a double line beside each turn pocket."""
    pockets = [_pocket(block, end) for end in (False, True)]
    for edge in (center.left_ft, center.right_ft):
        start, stop = middle_ends(block, edge, _over_all_ft(params))
        start = max(start, pockets[0] or 0.0)
        stop = min(stop, block.segment.length_ft - (pockets[1] or 0.0))
        if stop - start >= params.shortest_ft:
            strokes = _edge(center, edge, params)
            yield _marking(
                block, LineShape(start, stop, strokes), edge, "two_way_left_turn", params
            )
        for at_end in (False, True):
            yield from _beside_pocket(block, edge, at_end, pockets[int(at_end)], params)


def _edge(center: Strip, edge: float, params: Params) -> tuple[Stroke, ...]:
    """Solid toward the through lane, broken toward the turn lane."""
    outward = -1 if edge == center.left_ft else 1
    shift = outward * (params.line_width_ft + params.double_gap_ft) / 2
    solid = Stroke(edge + shift, params.line_width_ft)
    return solid, _broken(edge - shift, params)


def _pocket(block: Block, at_end: bool) -> float | None:
    """Leg station where the pocket at one end begins, upstream; None without a pocket."""
    leg = block.end_leg if at_end else block.start_leg
    if leg is None or leg.pocket_ft <= 0:
        return None
    return min(leg.layout.inbound_end.station_ft + leg.pocket_ft, leg.room_ft)


def _beside_pocket(
    block: Block, edge_ft: float, at_end: bool, reach: float | None, params: Params
) -> Iterator[Marking]:
    """Double solid line between a turn pocket and the departing lanes."""
    leg = block.end_leg if at_end else block.start_leg
    if reach is None or leg is None:
        return
    pocket = next(s for s in leg.strips if s.kind == "turn_lane")
    away = next((s for s in leg.outbound), None)
    edge = pocket.right_ft if away is not None and away.left_ft > pocket.left_ft else pocket.left_ft
    own = edge if not at_end else -edge
    if abs(own - edge_ft) > 1e-6:
        return
    near = both_ends(leg, edge, _over_all_ft(params))
    stations = (near, reach)
    start, stop = (
        stations if not at_end else tuple(block.segment.length_ft - s for s in stations[::-1])
    )
    if stop - start >= params.shortest_ft:
        yield _marking(
            block, LineShape(start, stop, _double(own, params)), own, "double_solid", params
        )


def _marking(block: Block, shape: LineShape, offset: float, style: str, params: Params) -> Marking:
    segment = block.segment
    rows = {
        "double_solid": ("LINE-01", "LINE-03", "CENTER-02"),
        "broken": ("LINE-01", "LINE-04", "LINE-05"),
        "two_way_left_turn": ("LINE-01", "TWLTL-01", "TWLTL-04"),
    }[style]
    lanes = len(segment.lanes(1)) + len(segment.lanes(-1))
    return Marking(
        kind="center_line",
        frame=Frame(segment),
        shape=shape,
        color="yellow",
        travel=0,
        anchor=segment.segment_id,
        station_ft=(shape.start_ft + shape.stop_ft) / 2,
        offset_ft=offset,
        width_ft=params.line_width_ft,
        style=style,
        reason=f"two-way {segment.street_class} of {lanes} lanes ({segment.lanes_source})",
        sources=rows,
        priority=80,
    )


RULE = Rule(on="block", params=Params, mark=mark, checks=CENTER_CHECKS)

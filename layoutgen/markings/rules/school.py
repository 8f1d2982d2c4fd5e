"""School: the word SCHOOL where traffic enters the zone of a school.

MUTCD 11th edition 7C.02. In one lane the letters fit the lane; where an approach has two lanes the
word may span both (SCHOOL-01), with letters of 10 ft and more (WORD-16). Some states allow the
one-lane form only (SCHOOL-02): set `two_lane = false`.
"""

from __future__ import annotations

from collections.abc import Iterator

from layoutgen.config import choice, length
from layoutgen.markings.marking import FigureShape, Frame, Marking, Rule, RuleParams
from layoutgen.street.design import Block, Leg, Strip

_TWO_LANE_WIDTH_FT = 19.3  # WORD-17


class Params(RuleParams):
    one_lane_height_ft: float = length(
        "8 ft", low="6 ft", high="12 ft", source="WORD-01", text="letters of the one-lane form"
    )
    two_lane: bool = choice(
        True, source="SCHOOL-01", text="use the two-lane form on approaches of two lanes"
    )
    two_lane_height_ft: float = length(
        "10 ft", low="10 ft", high="16 ft", source="WORD-16", text="letters of the two-lane form"
    )
    margin_ft: float = length(
        "1 ft",
        low="6 in",
        high="3 ft",
        source="common practice",
        text="least distance to the edges of the lanes",
    )
    end_gap_ft: float = length(
        "40 ft",
        low="0 ft",
        high="300 ft",
        source="common practice",
        text="least distance to the stop line or line end ahead",
    )


def mark(block: Block, params: Params) -> Iterator[Marking]:
    if block.segment.roundabout or block.segment.street_class in ("alley", "freeway"):
        return
    for school, first, last in block.schools:
        for way in (1, -1):
            lanes = block.segment.lanes(way)
            edge = first if way == 1 else last
            enters = edge > 1.0 if way == 1 else edge < block.segment.length_ft - 1.0
            if lanes and enters:
                yield from _words(block, way, lanes, (school, edge), params)


def _words(
    block: Block, way: int, lanes: tuple[Strip, ...], zone: tuple[str, float], params: Params
) -> Iterator[Marking]:
    """One word per lane, or one over two lanes."""
    if params.two_lane and len(lanes) == 2:
        widest = lanes[-1].right_ft - lanes[0].left_ft - 2 * params.margin_ft
        if widest >= _TWO_LANE_WIDTH_FT - 1e-9:
            size = (params.two_lane_height_ft, _TWO_LANE_WIDTH_FT)
            center = (lanes[0].left_ft + lanes[-1].right_ft) / 2
            yield from _word(block, way, (center, *size), zone, params)
            return
    for lane in lanes:
        width = min(lane.width_ft - 2 * params.margin_ft, 10.0)
        yield from _word(
            block, way, (lane.center_ft, params.one_lane_height_ft, width), zone, params
        )


def _word(
    block: Block,
    way: int,
    place: tuple[float, float, float],
    zone: tuple[str, float],
    params: Params,
) -> Iterator[Marking]:
    offset, height, width = place
    school, edge = zone
    if not _has_room(block, way, edge, height, params):
        return
    two_lane = width >= _TWO_LANE_WIDTH_FT - 1e-9
    yield Marking(
        kind="word",
        frame=Frame(block.segment),
        shape=FigureShape("", edge, offset, way, "SCHOOL", height, width),
        color="white",
        travel=way,
        anchor=block.segment.segment_id,
        station_ft=edge,
        offset_ft=offset,
        width_ft=width,
        style="SCHOOL two-lane" if two_lane else "SCHOOL",
        reason=f"traffic enters the zone of {school} here",
        sources=("SCHOOL-01", "WORD-16", "WORD-17") if two_lane else ("SCHOOL-01", "WORD-01"),
        tag="school",
        priority=65,
    )


def _has_room(block: Block, way: int, edge: float, height: float, params: Params) -> bool:
    """Whether the word stands between the line ends, clear of the stop line ahead."""
    ahead = _reach(block.end_leg if way == 1 else block.start_leg, True) + params.end_gap_ft
    behind = _reach(block.start_leg if way == 1 else block.end_leg, False)
    total = block.segment.length_ft
    travelled = edge if way == 1 else total - edge
    return behind <= travelled and travelled + height <= total - ahead


def _reach(leg: Leg | None, inbound: bool) -> float:
    if leg is None:
        return 0.0
    cut = leg.layout.inbound_end if inbound else leg.layout.outbound_end
    return max(0.0, cut.farthest(*leg.edges_ft))


RULE = Rule(on="block", params=Params, mark=mark)

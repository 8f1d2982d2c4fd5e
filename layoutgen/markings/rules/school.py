"""School: the word SCHOOL where traffic enters the zone of a school.

MUTCD 11th edition 7C.02. In one lane the letters fit the lane; where an approach has two lanes the
word may span both (SCHOOL-01), with letters of 10 ft and more (WORD-16). Some states allow the
one-lane form only (SCHOOL-02): set `two_lane = false`. California's SLOW SCHOOL XING stands at
least 100 ft before school crosswalks that no signal and no sign controls (SCHOOL-07), if asked for.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from layoutgen.config import choice, length
from layoutgen.markings.approaches import Approach, approaches, reach_ft
from layoutgen.markings.checks.school import CHECKS
from layoutgen.markings.marking import FigureShape, Frame, Marking, Rule, RuleParams
from layoutgen.street.design import Block, Strip

_TWO_LANE_WIDTH_FT = 19.3  # WORD-17
#: half of the widest usual crosswalk inside a block (common practice)
_HALF_WALK_FT = 10.0
_XING = ("XING", "SCHOOL", "SLOW")  # the first word is nearest the driver (WORD-06)


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
    slow_school_xing: bool = choice(
        False, source="SCHOOL-07", text="the words SLOW SCHOOL XING before school crosswalks"
    )
    xing_gap_ft: float = length(
        "100 ft",
        low="100 ft",
        high="500 ft",
        source="SCHOOL-07",
        text="from the word XING to the crosswalk",
    )
    word_gap_ft: float = length(
        "32 ft",
        low="8 ft",
        high="80 ft",
        source="WORD-03",
        text="between its words: 4 times the height of the letters, at most 10 (WORD-04)",
    )
    xing_color: Literal["white", "yellow"] = choice(
        "white",
        source="WORD-09",
        text="color of SLOW SCHOOL XING; yellow before yellow crosswalks is from memory",
    )


def mark(block: Block, params: Params) -> Iterator[Marking]:
    if block.segment.roundabout or block.segment.street_class in ("alley", "freeway"):
        return
    sets = list(_xings(block, params)) if params.slow_school_xing else []
    yield from sets
    told = {m.travel * m.frame.sign() for m in sets}
    for school, first, last in block.schools:
        for way in (w for w in (1, -1) if w not in told):
            lanes = block.segment.lanes(way)
            edge = first if way == 1 else last
            enters = edge > 1.0 if way == 1 else edge < block.segment.length_ft - 1.0
            if lanes and enters:
                yield from _words(block, way, lanes, (school, edge), params)


def _xings(block: Block, params: Params) -> Iterator[Marking]:
    """SLOW SCHOOL XING on every approach to a school crosswalk; SCHOOL alone would repeat it."""
    for approach in approaches(block):
        for station in _crossings(approach):
            yield from _xing(approach, station, params)


def _crossings(approach: Approach) -> Iterator[float]:
    """Frame stations of the near edges of school crosswalks that no signal or sign controls."""
    block, leg = approach.block, approach.leg
    for point in block.crossings:
        marked = point.markings not in ("", "unmarked")
        inside = any(first <= point.station_ft <= last for _, first, last in block.schools)
        if marked and inside and point.control in ("", "none"):
            yield approach.at(point.station_ft) + _HALF_WALK_FT
    if leg is not None and leg.school and leg.layout.crosswalk and leg.control == "none":
        yield leg.layout.crosswalk[1].farthest(*leg.edges_ft)


def _xing(approach: Approach, crosswalk_ft: float, params: Params) -> Iterator[Marking]:
    height = params.one_lane_height_ft
    step = height + params.word_gap_ft
    first = crosswalk_ft + params.xing_gap_ft + height
    if not approach.holds(first - height, first + 2 * step):
        return
    for lane in approach.lanes:
        width = min(lane.width_ft - 2 * params.margin_ft, 10.0)
        for k, text in enumerate(_XING):
            yield Marking(
                kind="word",
                frame=approach.frame,
                shape=FigureShape("", first + k * step, lane.center_ft, -1, text, height, width),
                color=params.xing_color,
                travel=-1,
                anchor=approach.block.segment.segment_id,
                station_ft=first + k * step,
                offset_ft=lane.center_ft,
                width_ft=width,
                style=text,
                reason=f"SLOW SCHOOL XING, {params.xing_gap_ft:g} ft before a school crosswalk "
                "that nothing controls",
                sources=("SCHOOL-07", "WORD-01", "WORD-03", "WORD-06"),
                tag="school_xing",
                priority=64,
                group=f"school_xing/{approach.block.segment.segment_id}/{approach.way}/{first:.1f}",
            )


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
    here = Approach(block, way)
    ahead = reach_ft(here.leg, inbound=True) + params.end_gap_ft
    total = block.segment.length_ft
    travelled = edge if way == 1 else total - edge
    return total - here.begin_ft <= travelled and travelled + height <= total - ahead


RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

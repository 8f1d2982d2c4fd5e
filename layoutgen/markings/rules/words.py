"""Words: STOP, YIELD, their AHEAD forms, and words before crosswalks, where a policy asks for them.

MUTCD 11th edition 3B.21. Off by default: which words are wanted where is engineering judgment.
STOP stands only where all traffic must always stop (WORD-10), so never at a signal. The AHEAD forms
stand where a driver must be told to stop in time (ADV-01 to ADV-14); PED XING before marked
crosswalks that nothing controls (WORD-14), SLOW SCHOOL XING before those of schools (SCHOOL-07).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from layoutgen.config import choice, length
from layoutgen.markings.advance import stop_distance_ft
from layoutgen.markings.checks.words import CHECKS
from layoutgen.markings.marking import Frame, Marking, Rule
from layoutgen.markings.messages import (
    Label,
    Message,
    MessageParams,
    letter_height,
    line_gap,
    message_length,
    message_markings,
)
from layoutgen.street.design import Block, Leg, Strip

Place = Literal[
    "stop", "yield", "stop_ahead", "yield_ahead", "signal_ahead", "ped_xing", "slow_school_xing"
]
#: half the width of a midblock crosswalk that is given as a point (common practice)
_HALF_CROSSWALK_FT = 5.0
#: two AHEAD words mean nothing on a street that is no longer than this beyond them
_UPSTREAM_FT = 20.0
_AHEAD = {"stop_ahead": "STOP", "yield_ahead": "YIELD", "signal_ahead": "SIGNAL"}
_SOURCES = {
    "stop": ("WORD-01", "WORD-10"),
    "yield": ("WORD-01",),
    "ped_xing": ("WORD-01", "WORD-06", "WORD-14"),
    "slow_school_xing": ("WORD-01", "WORD-06", "SCHOOL-07"),
}


class Params(MessageParams):
    at: tuple[Place, ...] = choice(
        (),
        source="WORD-10",
        text="words that are wanted: stop and yield before such lines; stop_ahead, yield_ahead, "
        "signal_ahead; ped_xing and slow_school_xing before crosswalks that nothing controls",
    )
    line_gap_ft: float = length(
        "8 ft",
        low="2 ft",
        high="50 ft",
        source="common practice",
        text="from the stop or yield line to STOP or YIELD",
    )
    ahead_ft: float = length(
        "0 ft",
        low="0 ft",
        high="1500 ft",
        source="ADV-01..14",
        text="from the line to the AHEAD words; 0 = stopping distance of the speed",
    )
    xing_gap_ft: float = length(
        "100 ft",
        low="20 ft",
        high="500 ft",
        source="SCHOOL-07",
        text="from a crosswalk to the words before it",
    )


@dataclass(frozen=True)
class _Approach:
    """Lanes of one direction of a block.

    `facing` is the travel in the frame, `behind_ft` the frame station that a message may not reach
    on its upstream side.
    """

    frame: Frame
    lanes: tuple[Strip, ...]
    facing: int
    behind_ft: float


def mark(block: Block, params: Params) -> Iterator[Marking]:
    if not params.at or block.segment.roundabout:
        return
    for leg, other in ((block.start_leg, block.end_leg), (block.end_leg, block.start_leg)):
        if leg is not None and leg.inbound:
            yield from _before_leg(block, leg, other, params)
    for crossing in block.crossings:
        if crossing.markings != "unmarked" and crossing.control in ("", "none"):
            yield from _midblock(block, crossing.station_ft, params)


def _before_leg(block: Block, leg: Leg, other: Leg | None, params: Params) -> Iterator[Marking]:
    lanes = tuple(s for s in leg.inbound if s.kind == "travel_lane")
    behind = block.segment.length_ft - _reach(other)
    approach = _Approach(Frame.of_leg(leg), lanes, -1, behind)
    line = max(leg.layout.inbound_end.at(s.center_ft) for s in leg.inbound)
    if leg.control in ("stop", "yield") and leg.control in params.at:
        at = line + params.line_gap_ft
        why = f"all traffic must {leg.control} here ({leg.control_source})"
        yield from _message(approach, leg, (leg.control, (leg.control.upper(),), at, why), params)
    name = f"{leg.control}_ahead"
    if name in params.at and name in _AHEAD:
        at = line + (params.ahead_ft or stop_distance_ft(leg.segment.speed_mph))
        why = f"{leg.control} ahead, at {leg.segment.speed_mph:g} mph"
        yield from _message(approach, leg, (name, (_AHEAD[name], "AHEAD"), at, why), params)
    if leg.layout.crosswalk and leg.control == "none":
        at = leg.layout.crosswalk[1].farthest(*leg.edges_ft) + params.xing_gap_ft
        yield from _crossing(approach, leg, leg.school, at, params)


def _midblock(block: Block, station_ft: float, params: Params) -> Iterator[Marking]:
    """Both directions toward a crosswalk between intersections."""
    school = any(first <= station_ft <= last for _, first, last in block.schools)
    away = _HALF_CROSSWALK_FT + params.xing_gap_ft
    frame, total = Frame(block.segment), block.segment.length_ft
    for way, behind in (
        (1, _reach(block.start_leg)),
        (-1, total - _reach(block.end_leg)),
    ):
        approach = _Approach(frame, block.segment.lanes(way), way, behind)
        yield from _crossing(approach, block, school, station_ft - way * away, params)


def _crossing(
    approach: _Approach, site: Leg | Block, school: bool, at_ft: float, params: Params
) -> Iterator[Marking]:
    what: tuple[str, tuple[str, ...]]
    if school and "slow_school_xing" in params.at:
        what = ("slow_school_xing", ("SLOW", "SCHOOL", "XING"))
        why = "marked school crosswalk without control ahead"
    elif "ped_xing" in params.at:
        what = ("ped_xing", ("PED", "XING"))
        why = "marked crosswalk without control ahead"
    else:
        return
    yield from _message(approach, site, (*what, at_ft, why), params)


def _message(
    approach: _Approach,
    site: Leg | Block,
    what: tuple[str, tuple[str, ...], float, str],
    params: Params,
) -> Iterator[Marking]:
    """The words in every lane, their last line's far edge at a station; nothing without room."""
    name, lines, far_ft, why = what
    speed = approach.frame.segment.speed_mph
    height = letter_height(params, speed)
    long = message_length(lines, height, line_gap(params, speed, height))
    facing = approach.facing
    upstream = far_ft - facing * long
    beyond = _UPSTREAM_FT if len(lines) > 1 else 0.0
    if facing * (upstream - approach.behind_ft) < beyond - 1e-6:
        return
    sources = _SOURCES.get(name, ("WORD-01", "WORD-06", "ADV-01"))
    for number, lane in enumerate(
        sorted(approach.lanes, key=lambda s: s.center_ft * facing), start=1
    ):
        label = Label(
            anchor=site.leg_id if isinstance(site, Leg) else site.segment.segment_id,
            tag=f"{name}.lane{number}",
            reason=why,
            sources=sources,
            intersection_id=site.intersection_id if isinstance(site, Leg) else "",
        )
        message = Message(approach.frame, lane, facing, upstream, lines)
        yield from message_markings(message, label, params)


def _reach(leg: Leg | None) -> float:
    """Length of a street's far end that a message of outbound traffic stays clear of."""
    return 0.0 if leg is None else max(0.0, leg.layout.outbound_end.farthest(*leg.edges_ft))


RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

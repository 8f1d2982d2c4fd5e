"""Turn arrows: what a lane is for, with ONLY where it serves one movement.

MUTCD 11th edition 3B.23: at least two arrows in a turn lane, one near its upstream end and one near
the stop line (ARROW-01); the downstream one may go in a short lane (ARROW-02). ONLY never stands in
a lane of more than one movement (WORD-12).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Literal

from layoutgen.config import choice, length
from layoutgen.markings.lanes import arrow_name, turns
from layoutgen.markings.marking import FigureShape, Frame, Marking, Rule, RuleParams
from layoutgen.markings.symbols import figure
from layoutgen.street.design import Leg, Strip

#: the last arrow keeps this distance to the upstream end of its lane (common practice)
_END_GAP_FT = 10.0


class Params(RuleParams):
    lanes: Literal["must_turn", "any_turn", "all"] = choice(
        "must_turn",
        source="ARROW-03",
        text="lanes that get arrows: must turn, may turn, or all lanes of such an approach",
    )
    only: bool = choice(True, source="WORD-11", text="the word ONLY in lanes that must turn")
    first_gap_ft: float = length(
        "30 ft",
        low="4 ft",
        high="100 ft",
        source="ARROW-15",
        text="from the stop line to the tip of the nearest arrow",
    )
    word_gap_ft: float = length(
        "32 ft",
        low="10 ft",
        high="100 ft",
        source="ARROW-16",
        text="between arrow and ONLY",
    )
    word_height_ft: float = length(
        "8 ft", low="6 ft", high="12 ft", source="WORD-01", text="letters of ONLY"
    )
    word_margin_ft: float = length(
        "1 ft",
        low="6 in",
        high="3 ft",
        source="common practice",
        text="least distance of a word to the edges of its lane",
    )
    lane_length_ft: float = length(
        "150 ft",
        low="50 ft",
        high="600 ft",
        source="common practice",
        text="stretch before the stop line that arrows may use, where no turn pocket says more",
    )


def mark(leg: Leg, params: Params) -> Iterator[Marking]:
    lanes = leg.inbound
    if len(leg.movements) != len(lanes) or not any(turns(m) for m in leg.movements):
        return
    for number, (lane, movements) in enumerate(zip(lanes, leg.movements, strict=True), start=1):
        wanted = {"must_turn": turns(movements) == "must", "all": True}
        if wanted.get(params.lanes, turns(movements) != ""):
            yield from _lane(leg, lane, movements, number, params)


def _lane(
    leg: Leg, lane: Strip, movements: tuple[str, ...], number: int, params: Params
) -> Iterator[Marking]:
    """Arrow, ONLY and arrow, from the stop line upstream, as far as the lane has room."""
    name = arrow_name(movements)
    if name is None:
        return
    arrow_ft = figure(name).length_ft
    only = params.only and turns(movements) == "must" and len(movements) == 1
    room = min(leg.pocket_ft or params.lane_length_ft, leg.room_ft - leg.layout.stop.station_ft)
    at = leg.layout.inbound_end.at(lane.center_ft) + params.first_gap_ft
    end = leg.layout.stop.station_ft + room
    placed = 0
    sequence = _sequence(arrow_ft, only, params)
    if _length(sequence, params) > end - at:
        sequence = _sequence(arrow_ft, False, params)  # two arrows before ONLY (ARROW-01)
    for k, (what, size) in enumerate(sequence):
        if at + size > end:
            break
        # the last arrow goes near the upstream end of the lane (ARROW-01)
        is_last = k == len(sequence) - 1
        upstream = max(at + size, end - _END_GAP_FT) if is_last else at + size
        yield _figure(leg, lane, (name, what, f"lane{number}"), upstream, params)
        placed += 1
        at += size + params.word_gap_ft
    if not placed and arrow_ft + 8.0 < room:
        # a short lane keeps one arrow, in the middle of what there is (ARROW-02)
        middle = leg.layout.inbound_end.at(lane.center_ft) + room / 2
        yield _figure(leg, lane, (name, "arrow", f"lane{number}"), middle + arrow_ft / 2, params)


def _sequence(arrow_ft: float, only: bool, params: Params) -> list[tuple[str, float]]:
    word = [("word", params.word_height_ft)] if only else []
    return [("arrow", arrow_ft), *word, ("arrow", arrow_ft)]


def _length(sequence: Sequence[tuple[str, float]], params: Params) -> float:
    """Length of lane that arrows and word take, with the gaps between them."""
    return sum(size for _, size in sequence) + params.word_gap_ft * (len(sequence) - 1)


def _figure(
    leg: Leg, lane: Strip, what: tuple[str, str, str], upstream_ft: float, params: Params
) -> Marking:
    name, part, tag = what
    is_word = part == "word"
    widest = lane.width_ft - 2 * params.word_margin_ft
    shape = FigureShape(
        name,
        upstream_ft,
        lane.center_ft,
        -1,
        text="ONLY" if is_word else "",
        height_ft=params.word_height_ft if is_word else 0.0,
        width_ft=min(7.5, widest) if is_word else 0.0,
    )
    return Marking(
        kind="word" if is_word else "turn_arrow",
        frame=Frame.of_leg(leg),
        shape=shape,
        color="white",
        travel=-1,
        anchor=leg.leg_id,
        station_ft=upstream_ft,
        offset_ft=lane.center_ft,
        width_ft=shape.width_ft if is_word else figure(name).width_ft,
        style="ONLY" if is_word else name.removeprefix("arrow_"),
        reason=f"lane for {name.removeprefix('arrow_').replace('_', ' and ')} traffic",
        sources=("WORD-01", "WORD-11", "WORD-12") if is_word else ("ARROW-01", "ARROW-15"),
        tag=tag,
        intersection_id=leg.intersection_id,
        priority=60,
    )


RULE = Rule(on="approach", params=Params, mark=mark)

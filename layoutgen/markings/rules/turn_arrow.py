"""Turn arrows: what a lane is for, with ONLY where it serves one movement.

MUTCD 11th edition 3B.23: at least two arrows in a turn lane, one near its upstream end and one near
the stop line (ARROW-01); the downstream one may go in a short lane (ARROW-02). ONLY never stands in
a lane of more than one movement (WORD-12). No arrows on single-lane approaches of roundabouts
(ARROW-12), between their crosswalk and the circle (ARROW-11), or near tracks (ARROW-13, ARROW-14).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from layoutgen.config import choice, length
from layoutgen.markings.checks.turn_arrow import CHECKS
from layoutgen.markings.lanes import arrow_name, turns
from layoutgen.markings.marking import FigureShape, Frame, Marking, Rule, RuleParams
from layoutgen.markings.symbols import Figure
from layoutgen.street.design import Leg, RailCrossing, Strip

#: the last arrow keeps this distance to the upstream end of its lane (common practice)
_END_GAP_FT = 10.0
_WORD_WIDTH_FT = 7.5
#: from the nearest rail to the stop line before the tracks, and half the space between tracks
_RAIL_STOP_FT = 15.0
_TRACK_FT = 15.0
_HALF_GAUGE_FT = 2.5


class Params(RuleParams):
    lanes: Literal["must_turn", "any_turn", "all"] = choice(
        "must_turn",
        source="ARROW-03",
        text="lanes that get arrows: must turn, may turn, or all lanes of such an approach",
    )
    only: bool = choice(True, source="WORD-11", text="the word ONLY in lanes that must turn")
    word_at: Literal["next", "midway"] = choice(
        "next",
        source="ARROW-21",
        text="ONLY after the arrow nearest the line, or midway between first and last arrow",
    )
    roundabout: Literal["fish_hook", "normal", "none"] = choice(
        "normal",
        source="ARROW-12",
        text="arrows on roundabout approaches of two and more lanes",
    )
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
    repeat_ft: float = length(
        "0 ft",
        low="0 ft",
        high="400 ft",
        source="common practice",
        text="largest distance between arrows of a long lane, 100 to 200 ft in Alabama (ARROW-17); "
        "0 = no more than the two",
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
    rail_gap_ft: float = length(
        "100 ft",
        low="0 ft",
        high="300 ft",
        source="ARROW-13",
        text="arrows keep this distance upstream of the stop line of a rail crossing",
    )
    rail_beyond_ft: float = length(
        "20 ft",
        low="0 ft",
        high="100 ft",
        source="ARROW-14",
        text="arrows keep this distance beyond the farthest rail",
    )


@dataclass(frozen=True)
class _Lane:
    """One lane of an approach: its strip, number from the left, figure, and room for arrows."""

    leg: Leg
    strip: Strip
    number: int
    arrow: Figure
    only: bool
    first_ft: float
    end_ft: float


def mark(leg: Leg, params: Params) -> Iterator[Marking]:
    lanes = leg.inbound
    if len(leg.movements) != len(lanes) or not any(turns(m) for m in leg.movements):
        return
    if leg.circular and (len(lanes) < 2 or params.roundabout == "none"):
        return
    for number, (strip, movements) in enumerate(zip(lanes, leg.movements, strict=True), start=1):
        wanted = {"must_turn": turns(movements) == "must", "all": True}
        if wanted.get(params.lanes, turns(movements) != ""):
            lane = _lane(leg, strip, movements, number, params)
            if lane is not None:
                yield from (m for m in _marks(lane, params) if _off_rails(leg, m, params))


def _lane(
    leg: Leg, strip: Strip, movements: tuple[str, ...], number: int, params: Params
) -> _Lane | None:
    fish_hook = leg.circular and params.roundabout == "fish_hook"
    name = arrow_name(movements, left_round=_left_round(leg, strip), fish_hook=fish_hook)
    if name is None:
        return None
    room = min(leg.pocket_ft or params.lane_length_ft, leg.room_ft - leg.layout.stop.station_ft)
    line = leg.layout.inbound_end.at(strip.center_ft)
    if leg.circular and leg.layout.crosswalk:
        line = max(line, leg.layout.crosswalk[1].farthest(strip.left_ft, strip.right_ft))
    only = params.only and turns(movements) == "must" and len(movements) == 1
    end = leg.layout.stop.station_ft + room
    return _Lane(leg, strip, number, params.figure(name), only, line + params.first_gap_ft, end)


def _left_round(leg: Leg, strip: Strip) -> bool:
    """Whether traffic turns round to its left: toward the lanes that lead away."""
    if leg.outbound:
        away = [s.center_ft for s in leg.outbound]
        return sum(away) / len(away) > strip.center_ft
    return strip is leg.inbound[0] or strip is not leg.inbound[-1]


def _marks(lane: _Lane, params: Params) -> Iterator[Marking]:
    """Arrow, ONLY and arrow, from the stop line upstream, as far as the lane has room."""
    arrow_ft = lane.arrow.length_ft
    at, end, placed = lane.first_ft, lane.end_ft, 0
    sequence = _sequence(arrow_ft, lane.only, params)
    if _length(sequence, params) > end - at:
        sequence = _sequence(arrow_ft, False, params)  # two arrows before ONLY (ARROW-01)
    stations: list[float] = []
    for k, (what, size) in enumerate(sequence):
        if at + size > end:
            break
        # the last arrow goes near the upstream end of the lane (ARROW-01)
        is_last = k == len(sequence) - 1
        upstream = max(at + size, end - _END_GAP_FT) if is_last else at + size
        if what == "word" and params.word_at == "midway":
            first, last = at - params.word_gap_ft - arrow_ft, end - _END_GAP_FT
            upstream = max(upstream, (first + last + size) / 2)
        yield _figure(lane, what, upstream, params)
        stations += [upstream] if what == "arrow" else []
        placed += 1
        at = (upstream if what == "word" else at + size) + params.word_gap_ft
    yield from _more(lane, stations, params)
    middle = lane.leg.layout.inbound_end.at(lane.strip.center_ft)
    room = end - lane.leg.layout.stop.station_ft
    if not placed and arrow_ft + 8.0 < room and middle + room / 2 + arrow_ft / 2 <= end:
        # a short lane keeps one arrow, in the middle of what there is (ARROW-02)
        yield _figure(lane, "arrow", middle + room / 2 + arrow_ft / 2, params)


def _more(lane: _Lane, stations: Sequence[float], params: Params) -> Iterator[Marking]:
    """Further arrows of a long lane, evenly between the first and the last, clear of ONLY."""
    if not params.repeat_ft or len(stations) < 2:
        return
    first, last = stations[0], stations[-1]
    if lane.only:
        first += 2 * params.word_gap_ft + params.word_height_ft + lane.arrow.length_ft
        yield from [_figure(lane, "arrow", first, params)] if last - first > 60.0 else []
    count = int((last - first) // params.repeat_ft)
    for k in range(1, count + 1):
        yield _figure(lane, "arrow", first + (last - first) * k / (count + 1), params)


def _sequence(arrow_ft: float, only: bool, params: Params) -> list[tuple[str, float]]:
    word = [("word", params.word_height_ft)] if only else []
    return [("arrow", arrow_ft), *word, ("arrow", arrow_ft)]


def _length(sequence: Sequence[tuple[str, float]], params: Params) -> float:
    """Length of lane that arrows and word take, with the gaps between them."""
    return sum(size for _, size in sequence) + params.word_gap_ft * (len(sequence) - 1)


def _off_rails(leg: Leg, marking: Marking, params: Params) -> bool:
    """Whether an arrow or ONLY is clear of every rail crossing of its street."""
    segment, shape = leg.segment, marking.shape
    if not isinstance(shape, FigureShape) or not segment.rail_crossings:
        return True
    upstream = shape.upstream_ft
    tip = upstream - (shape.drawing.length_ft if shape.drawing else shape.height_ft)
    for rail in segment.rail_crossings:
        at = segment.length_ft - rail.station_ft if leg.at_end else rail.station_ft
        half = _half_tracks(rail)
        low = at - half - params.rail_beyond_ft
        high = at + half + _RAIL_STOP_FT + params.rail_gap_ft
        if upstream > low and tip < high:
            return False
    return True


def _half_tracks(rail: RailCrossing) -> float:
    """Half the distance between the outermost rails."""
    return _HALF_GAUGE_FT + ((rail.tracks or 1) - 1) * _TRACK_FT / 2


def _figure(lane: _Lane, part: str, upstream_ft: float, params: Params) -> Marking:
    is_word, strip, name = part == "word", lane.strip, lane.arrow.name
    if is_word:
        width = min(_WORD_WIDTH_FT, strip.width_ft - 2 * params.word_margin_ft)
        shape = FigureShape(
            "", upstream_ft, strip.center_ft, -1, "ONLY", params.word_height_ft, width
        )
    else:
        shape = FigureShape(name, upstream_ft, strip.center_ft, -1, drawing=lane.arrow)
    return Marking(
        kind="word" if is_word else "turn_arrow",
        frame=Frame.of_leg(lane.leg),
        shape=shape,
        color="white",
        travel=-1,
        anchor=lane.leg.leg_id,
        station_ft=upstream_ft,
        offset_ft=strip.center_ft,
        width_ft=shape.width_ft if is_word else lane.arrow.width_ft,
        style="ONLY" if is_word else name.removeprefix("arrow_"),
        reason=f"lane for {name.removeprefix('arrow_').replace('_', ' and ')} traffic",
        sources=("WORD-01", "WORD-11", "WORD-12") if is_word else ("ARROW-01", "ARROW-15"),
        tag=f"lane{lane.number}",
        intersection_id=lane.leg.intersection_id,
        priority=60,
    )


RULE = Rule(on="approach", params=Params, mark=mark, checks=CHECKS)

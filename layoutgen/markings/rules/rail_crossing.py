"""Rail crossing ahead: an X with two R between two transverse lines in every approach lane, the
stop line before the rails, and, if asked for, the lines of the dynamic envelope.

MUTCD 11th edition 8C.02, 8C.03, 8C.06. Required where trains are announced by signals or gates, and
from 40 mph on (RAIL-02). The X stands as far before the nearest rail as the advance warning sign
(RAIL-18), by speed (Table 2C-3, ADV-01 to ADV-14). Tracks are taken to cross at right angles, and
the no-passing line (RAIL-10) belongs to the center line.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from layoutgen.config import choice, length
from layoutgen.markings.approaches import (
    Approach,
    approaches,
    seen_along,
    stopping_ft,
    to_rail_ft,
)
from layoutgen.markings.checks.rail import CHECKS
from layoutgen.markings.marking import (
    Bar,
    BarsShape,
    FigureShape,
    Frame,
    Marking,
    Patch,
    PatchesShape,
    Rule,
    RuleParams,
)
from layoutgen.street.design import Block, Cut, RailCrossing, Strip

_FAST_MPH = 40.0  # RAIL-02
_ACTIVE = ("signal", "gates")
_OVERALL_FT = 50.0  # RAIL-04
_LINE_FT = 2.0  # RAIL-03
_CLEAR_FT = 15.0  # RAIL-06, from the outer edge of a line to the X: 50 - 2 x 15 = RAIL-07
_PIECE_FT = 5.0


class Params(RuleParams):
    at: tuple[Literal["active", "fast", "passive"], ...] = choice(
        ("active", "fast"),
        source="RAIL-02",
        text="crossings marked: with signals or gates, where traffic drives 40 mph or more, or "
        "with signs only; exempt single ones with cases",
    )
    distance_ft: float = length(
        "0 ft",
        low="0 ft",
        high="1500 ft",
        source="ADV-01",
        text="from the nearest rail to the middle of the X; 0 = by speed (ADV-01 to ADV-14)",
    )
    least_ft: float = length(
        "50 ft",
        low="20 ft",
        high="300 ft",
        source="RAIL-11",
        text="in a block too short for that the X moves nearer, down to this far from the stop "
        "line",
    )
    margin_ft: float = length(
        "6 in",
        low="0 in",
        high="3 ft",
        source="common practice",
        text="least distance of the X to the edges of its lane; the narrow X where it must be",
    )
    stop_line: bool = choice(True, source="RAIL-12", text="a stop line before the rails")
    stop_width_ft: float = length(
        "24 in", low="12 in", high="24 in", source="RAIL-14", text="stop line"
    )
    stop_gap_ft: float = length(
        "15 ft",
        low="15 ft",
        high="60 ft",
        source="RAIL-12",
        text="least distance of the stop line to the nearest rail",
    )
    gate_ft: float = length(
        "15 ft",
        low="8 ft",
        high="60 ft",
        source="common practice",
        text="from the nearest rail to the gate, where there are gates; look it up on the spot",
    )
    gate_gap_ft: float = length(
        "8 ft", low="4 ft", high="30 ft", source="RAIL-13", text="from the gate to the stop line"
    )
    track_spacing_ft: float = length(
        "14 ft",
        low="11 ft",
        high="60 ft",
        source="common practice",
        text="between the middles of two tracks",
    )
    envelope: bool = choice(
        False, source="RAIL-17", text="lines where trains begin to need their room"
    )
    envelope_away_ft: float = length(
        "6 ft",
        low="4 ft",
        high="15 ft",
        source="from memory",
        text="from the outermost rail to those lines: 6 ft unless the railroad says otherwise",
    )
    envelope_width_ft: float = length(
        "12 in", low="4 in", high="24 in", source="RAIL-17", text="width of those lines"
    )
    clear_zone_ft: float = length(
        "0 ft",
        low="0 ft",
        high="100 ft",
        source="DNB-01",
        text="length of a box to be kept clear beyond the tracks, where queues reach back over "
        "them; 0 = none",
    )
    zone_line_ft: float = length(
        "8 in", low="8 in", high="24 in", source="LINE-02", text="outline of that box, a wide line"
    )


def mark(block: Block, params: Params) -> Iterator[Marking]:
    for crossing in block.rail_crossings:
        if not _required(block, crossing, params):
            continue
        for approach in approaches(block):
            yield from _approach(approach, crossing, params)
            if params.clear_zone_ft:
                yield from _clear_zone(approach, crossing, params)
        if params.envelope:
            yield from _envelope(block, crossing, params)


def _required(block: Block, crossing: RailCrossing, params: Params) -> bool:
    """RAIL-02, or what is asked for instead; alleys and paths are no highways."""
    if block.segment.street_class in ("alley", "path") or block.segment.roundabout:
        return False
    if crossing.control in _ACTIVE and "active" in params.at:
        return True
    if block.segment.speed_mph >= _FAST_MPH and "fast" in params.at:
        return True
    return crossing.control not in _ACTIVE and "passive" in params.at


def _approach(approach: Approach, crossing: RailCrossing, params: Params) -> Iterator[Marking]:
    """Stop line, and the X with its lines in each lane, of one direction."""
    rail = approach.at(crossing.station_ft) + to_rail_ft(crossing, params.track_spacing_ft)
    stop = rail + params.stop_gap_ft
    if crossing.control == "gates":
        stop = max(stop, rail + params.gate_ft + params.gate_gap_ft)
    far = stop + params.stop_width_ft
    if params.stop_line and approach.holds(stop, far):
        yield _stop(approach, crossing, (stop, rail), params)
    speed = approach.block.segment.speed_mph
    wanted = params.distance_ft or stopping_ft(speed)
    near = min(rail + wanted - _OVERALL_FT / 2, approach.begin_ft - _OVERALL_FT)
    if near < far + params.least_ft or near < approach.end_ft:
        return
    moved = rail + wanted - _OVERALL_FT / 2 - near
    why = f"rail crossing {crossing.crossing_id} ahead ({crossing.control or 'control unknown'})"
    at = f"{near + _OVERALL_FT / 2 - rail:.0f} ft before the nearest rail"
    why += f"; {at}, by {speed:g} mph" + (
        f", {moved:.0f} ft nearer than wanted" if moved > 1 else ""
    )
    yield _lines(approach, near, crossing.crossing_id, why)
    for lane in approach.lanes:
        yield _symbol(approach, lane, (near, crossing.crossing_id, why), params)


def _stop(
    approach: Approach, crossing: RailCrossing, at: tuple[float, float], params: Params
) -> Marking:
    near, rail = at
    left, right = approach.waiting_ft
    gates = crossing.control == "gates"
    return Marking(
        kind="stop_line",
        frame=approach.frame,
        shape=BarsShape(near, (Bar(Cut(near), Cut(near + params.stop_width_ft), left, right),)),
        color="white",
        travel=-1,
        anchor=approach.block.segment.segment_id,
        station_ft=near,
        offset_ft=(left + right) / 2,
        width_ft=params.stop_width_ft,
        style="solid",
        reason=f"rail crossing {crossing.crossing_id}; {near - rail:.1f} ft before the nearest rail"
        + (f", {params.gate_gap_ft:g} ft before the gate" if gates else ""),
        sources=("STOP-01", "RAIL-12", *(("RAIL-13",) if gates else ())),
        tag="rail",
        priority=90,
    )


def _lines(approach: Approach, near: float, crossing_id: str, why: str) -> Marking:
    """The two transverse lines, from edge to edge of the approach lanes."""
    left, right = approach.sides_ft
    patches = tuple(
        Patch(at, ((at, left), (at + _LINE_FT, left), (at + _LINE_FT, right), (at, right)))
        for at in (near, near + _OVERALL_FT - _LINE_FT)
    )
    return Marking(
        kind="rail_crossing",
        frame=approach.frame,
        shape=PatchesShape(patches),
        color="white",
        travel=-1,
        anchor=approach.block.segment.segment_id,
        station_ft=near + _OVERALL_FT / 2,
        offset_ft=(left + right) / 2,
        width_ft=_LINE_FT,
        style="transverse_lines",
        reason=why,
        sources=("RAIL-01", "RAIL-02", "RAIL-03", "RAIL-04"),
        tag="lines",
        priority=85,
        group=f"rail/{crossing_id}/{approach.way}",
    )


def _symbol(
    approach: Approach, lane: Strip, place: tuple[float, str, str], params: Params
) -> Marking:
    near, crossing_id, why = place
    room = lane.width_ft - 2 * params.margin_ft
    wide = params.figure("rail_x")
    drawing = wide if wide.width_ft <= room + 1e-9 else params.figure("rail_x_narrow")
    upstream = near + _OVERALL_FT / 2 + drawing.length_ft / 2
    return Marking(
        kind="rail_crossing",
        frame=approach.frame,
        shape=FigureShape(drawing.name, upstream, lane.center_ft, -1, drawing=drawing),
        color="white",
        travel=-1,
        anchor=approach.block.segment.segment_id,
        station_ft=near + _OVERALL_FT / 2,
        offset_ft=lane.center_ft,
        width_ft=drawing.width_ft,
        style=drawing.name,
        reason=why,
        sources=("RAIL-01", "RAIL-05", "RAIL-06", "RAIL-07", "RAIL-08", "RAIL-09", "RAIL-18"),
        tag="symbol",
        priority=84,
        group=f"rail/{crossing_id}/{approach.way}",
    )


def _clear_zone(approach: Approach, crossing: RailCrossing, params: Params) -> Iterator[Marking]:
    """A box on the lanes that lead away from the tracks."""
    away = to_rail_ft(crossing, params.track_spacing_ft) + params.envelope_away_ft
    away += params.envelope_width_ft if params.envelope else 0.0
    near = approach.at(crossing.station_ft) - away
    far = near - params.clear_zone_ft
    if not approach.holds(far, near):
        return
    (left, right), line = approach.sides_ft, params.zone_line_ft
    sides = (
        (near, near - line, left, right),
        (far + line, far, left, right),
        *((*part, left, left + line) for part in _pieces(near, far)),
        *((*part, right - line, right) for part in _pieces(near, far)),
    )
    patches = tuple(
        Patch((first + last) / 2, ((first, a), (last, a), (last, b), (first, b)))
        for first, last, a, b in sides
    )
    yield Marking(
        kind="keep_clear",
        frame=approach.frame,
        shape=PatchesShape(patches),
        color="white",
        travel=-1,
        anchor=approach.block.segment.segment_id,
        station_ft=(near + far) / 2,
        offset_ft=(left + right) / 2,
        width_ft=line,
        style="outline",
        reason=f"to be kept clear, so that no queue stands on rail crossing "
        f"{crossing.crossing_id}; with the signs that say so",
        sources=("DNB-01", "LINE-02"),
        tag="rail",
        priority=75,
    )


def _pieces(near: float, far: float) -> list[tuple[float, float]]:
    """Short parts of a stretch, each of which can follow a bend; they overlap a hair's breadth."""
    count = max(1, round((near - far) / _PIECE_FT))
    step = (near - far) / count
    ends = [(near - k * step + 0.01, near - (k + 1) * step - 0.01) for k in range(count)]
    return [(min(first, near), max(last, far)) for first, last in ends]


def _envelope(block: Block, crossing: RailCrossing, params: Params) -> Iterator[Marking]:
    """A line across the whole roadway on either side of the tracks."""
    segment = block.segment
    left, right = segment.edges_ft
    away = to_rail_ft(crossing, params.track_spacing_ft) + params.envelope_away_ft
    width = params.envelope_width_ft
    for sign in (-1, 1):
        near = crossing.station_ft + sign * away - (width if sign < 0 else 0.0)
        along = Approach(block, -1)
        if not along.holds(near, near + width):
            continue
        yield Marking(
            kind="rail_crossing",
            frame=Frame(segment),
            shape=BarsShape(near, (Bar(Cut(near), Cut(near + width), left, right),)),
            color="white",
            travel=seen_along(block),
            anchor=segment.segment_id,
            station_ft=near + width / 2,
            offset_ft=(left + right) / 2,
            width_ft=width,
            style="envelope",
            reason=f"dynamic envelope of rail crossing {crossing.crossing_id}; "
            f"{params.envelope_away_ft:g} ft from its outermost rail",
            sources=("RAIL-17",),
            tag="envelope",
            priority=85,
        )


RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

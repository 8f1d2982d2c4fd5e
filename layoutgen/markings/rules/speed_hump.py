"""Speed hump: marks on its ramps, and, if asked for, the series of lines that announces it.

MUTCD 11th edition 3B.29 and 3B.30. The published patterns (HUMP-11) were not readable in the
sources of this program: the arrowheads and triangles on the ramps are drawn as is common practice,
and an agency that has its own plan must compare them. The advance series is eight lines of growing
length (HUMP-01 to HUMP-09).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Literal

from layoutgen.config import choice, length
from layoutgen.markings.approaches import Approach, approaches
from layoutgen.markings.checks.hump import CHECKS
from layoutgen.markings.marking import Marking, Patch, PatchesShape, Rule, RuleParams
from layoutgen.street.design import Block, SpeedHump, Strip

#: length of a hump whose length the data does not give (common practice)
_LENGTH_FT = {"table": 22.0, "cushion": 7.0}
_USUAL_FT = 12.0
#: HUMP-03 to HUMP-09: length of a line -> its distance before the hump
SERIES_FT = {1: 100.0, 2: 80.0, 3: 62.0, 4: 46.0, 5: 32.0, 6: 20.0, 7: 10.0, 8: 2.0}
_LINE_FT = 1.0  # HUMP-02
#: a lane that holds the longest line clear of its lane lines
_LEAST_LANE_FT = 9.0
#: from the middle of a crosswalk to the line where traffic waits (common practice)
_WALK_FT = 40.0

Corners = tuple[tuple[float, float], ...]


class Params(RuleParams):
    at: tuple[Literal["hump", "table", "cushion"], ...] = choice(
        ("hump", "table", "cushion"), source="HUMP-11", text="forms that get marks"
    )
    style: Literal["chevrons", "triangles", "none"] = choice(
        "chevrons",
        source="common practice",
        text="marks on the ramp that each lane drives up (HUMP-11 gives no sizes)",
    )
    ramp_ft: float = length(
        "6 ft",
        low="2 ft",
        high="15 ft",
        source="common practice",
        text="length of a ramp; at most half of the hump",
    )
    stroke_ft: float = length(
        "12 in", low="4 in", high="24 in", source="common practice", text="stroke of a chevron"
    )
    base_ft: float = length(
        "24 in", low="12 in", high="4 ft", source="common practice", text="base of a triangle"
    )
    margin_ft: float = length(
        "1 ft",
        low="0 ft",
        high="4 ft",
        source="common practice",
        text="least distance of a mark to the edges of its lane",
    )
    advance: bool = choice(
        False, source="HUMP-01", text="the series of eight lines before the hump"
    )


def mark(block: Block, params: Params) -> Iterator[Marking]:
    for hump in block.speed_humps:
        if (hump.kind or "hump") not in params.at:
            continue
        long = hump.length_ft or _LENGTH_FT.get(hump.kind, _USUAL_FT)
        for approach in approaches(block):
            edge = approach.at(hump.station_ft) + long / 2
            for lane in approach.lanes:
                yield from _ramp(approach, lane, (hump, edge, long), params)
                if params.advance:
                    yield from _series(approach, lane, (hump, edge))


def _ramp(
    approach: Approach, lane: Strip, place: tuple[SpeedHump, float, float], params: Params
) -> Iterator[Marking]:
    """Marks between the foot of the ramp and its head, `ramp` farther on."""
    hump, foot, long = place
    ramp = min(params.ramp_ft, long / 2)
    half = lane.width_ft / 2 - params.margin_ft
    if params.style == "none" or half <= params.stroke_ft or not approach.holds(foot - ramp, foot):
        return
    if params.style == "chevrons":
        shapes = _chevrons(foot, ramp, (lane.center_ft, half), params.stroke_ft)
    else:
        shapes = _triangles(foot, ramp, (lane.center_ft, half), params.base_ft)
    if shapes:
        source = f"speed {hump.kind or 'hump'} {hump.hump_id}"
        reason = f"{source}; marks on the ramp that this lane drives up"
        yield _marking(approach, lane, (foot - ramp / 2, "", shapes), params.style, reason)


def _marking(
    approach: Approach,
    lane: Strip,
    part: tuple[float, str, list[Corners]],
    style: str,
    reason: str,
) -> Marking:
    """White patches in one lane, read by its traffic."""
    station, tag, shapes = part
    return Marking(
        kind="speed_hump",
        frame=approach.frame,
        shape=PatchesShape(tuple(Patch(station, corners) for corners in shapes)),
        color="white",
        travel=-1,
        anchor=approach.block.segment.segment_id,
        station_ft=station,
        offset_ft=lane.center_ft,
        width_ft=lane.width_ft,
        style=style,
        reason=reason,
        sources=("HUMP-11",) if tag == "" else ("HUMP-01", "HUMP-02", "HUMP-03", "HUMP-09"),
        tag=tag,
        priority=75,
    )


def _chevrons(foot: float, ramp: float, lane: tuple[float, float], stroke: float) -> list[Corners]:
    """One arrowhead over the whole ramp, its tip at the head; frame stations fall with travel."""
    middle, half = lane
    # thickness along travel that gives the stroke across its arms: the arms rise by `ramp - thick`
    thick = stroke
    for _ in range(20):
        thick = stroke * math.hypot(max(ramp - thick, 0.0), half) / half
    rise = ramp - thick
    if rise <= 0:
        return []
    tail, tip = foot, foot - ramp
    return [
        (
            (tail, middle - half),
            (tail - rise, middle),
            (tail, middle + half),
            (tail - thick, middle + half),
            (tip, middle),
            (tail - thick, middle - half),
        )
    ]


def _triangles(foot: float, ramp: float, lane: tuple[float, float], base: float) -> list[Corners]:
    """A row of triangles side by side, bases at the foot, tips up the ramp."""
    middle, half = lane
    count = math.floor(2 * half / base + 1e-9)
    first = middle - count * base / 2
    return [
        (
            (foot, first + base * k),
            (foot - ramp, first + base * (k + 0.5)),
            (foot, first + base * (k + 1)),
        )
        for k in range(count)
    ]


def _series(approach: Approach, lane: Strip, place: tuple[SpeedHump, float]) -> Iterator[Marking]:
    """Eight lines across the lane, each longer and nearer; what does not fit is left out whole."""
    hump, foot = place
    if not approach.holds(foot, foot + SERIES_FT[1] + _LINE_FT) or lane.width_ft < _LEAST_LANE_FT:
        return
    if _meets_another(approach, foot, hump):
        return
    middle = lane.center_ft
    for long, away in SERIES_FT.items():
        near, far = foot + away, foot + away + _LINE_FT
        corners = (
            (near, middle - long / 2),
            (far, middle - long / 2),
            (far, middle + long / 2),
            (near, middle + long / 2),
        )
        reason = f"line {long} of 8 before speed hump {hump.hump_id}, {away:g} ft ahead of it"
        yield _marking(approach, lane, (near, "advance", [corners]), "advance", reason)


def _meets_another(approach: Approach, foot: float, hump: SpeedHump) -> bool:
    """Whether another hump or a crosswalk with its lines lies where the series would stand."""
    block = approach.block
    others = [approach.at(h.station_ft) for h in block.speed_humps if h is not hump]
    others += [approach.at(c.station_ft) + _WALK_FT for c in block.crossings]
    return any(foot <= at <= foot + SERIES_FT[1] + _USUAL_FT for at in others)


RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

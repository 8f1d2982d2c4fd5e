"""Crosswalk: where people cross a leg, in one of the styles of MUTCD 11th edition chapter 3C.

Bars are parallel to travel, also where the crossing is skewed, and stand on lane lines and in lane
centers, where wheels miss them (3C.05).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import pairwise
from typing import Any, Literal

from layoutgen.config import choice, length
from layoutgen.markings.marking import Bar, BarRow, BarsShape, Frame, Marking, Rule, RuleParams
from layoutgen.street.design import Cut, Leg, Strip

Style = Literal["transverse_lines", "longitudinal_bars", "ladder", "bar_pairs"]
Place = Literal[
    "signal", "all_way_stop", "stop", "yield", "school", "roundabout", "existing", "every_leg"
]
_MAX_GAP_PER_BAR = 2.5  # XWALK-13, XWALK-16, XWALK-20
#: strips that lanes are made of
_DRIVEN = ("travel_lane", "turn_lane", "center_turn_lane")
#: least distance of a bar to the curb, where the gutter is
_CURB_MARGIN_FT = 0.5
_ROWS: dict[str, tuple[str, ...]] = {
    "transverse_lines": ("XWALK-02", "XWALK-03"),
    "longitudinal_bars": ("XWALK-03", "XWALK-07", "XWALK-08", "XWALK-11", "XWALK-12", "XWALK-13"),
    "ladder": ("XWALK-03", "XWALK-07", "XWALK-14", "XWALK-15", "XWALK-16"),
    "bar_pairs": ("XWALK-03", "XWALK-07", "XWALK-18", "XWALK-19", "XWALK-20", "XWALK-21"),
}


class Params(RuleParams):
    style: Style = choice("longitudinal_bars", source="XWALK-06", text="pattern")
    at: tuple[Place, ...] = choice(
        ("signal", "all_way_stop", "school", "roundabout", "existing"),
        source="XWALK-27",
        text="legs that get one: by control of the intersection (signal, all_way_stop), "
        "by control of the approach (stop, yield), in a school zone, at a roundabout, where one "
        "exists, or every leg",
    )
    width_ft: float = length(
        "10 ft", low="6 ft", high="30 ft", source="XWALK-03", text="along travel, over all"
    )
    setback_ft: float = length(
        "2 ft",
        low="0 ft",
        high="30 ft",
        source="common practice",
        text="from the crossing curb line to the crosswalk",
    )
    ring_setback_ft: float = length(
        "20 ft",
        low="20 ft",
        high="60 ft",
        source="ROUND-03",
        text="from the edge of a roundabout to the crosswalk",
    )
    bar_width_ft: float = length(
        "24 in", low="12 in", high="24 in", source="XWALK-11", text="bar of bars and ladder"
    )
    pair_bar_width_ft: float = length(
        "8 in", low="8 in", high="12 in", source="XWALK-18", text="one bar of a bar pair"
    )
    gap_min_ft: float = length(
        "12 in", low="12 in", high="60 in", source="XWALK-12", text="least clear gap of bars"
    )
    gap_max_ft: float = length(
        "60 in", low="12 in", high="60 in", source="XWALK-12", text="largest clear gap of bars"
    )
    line_width_ft: float = length(
        "12 in", low="6 in", high="24 in", source="XWALK-02", text="transverse line"
    )


def wanted(params: Params, leg: Mapping[str, Any]) -> bool:
    """Whether a leg gets a crosswalk."""
    if leg["roundabout"] or "every_leg" in params.at:
        return not leg["roundabout"]
    by_control = leg["intersection_control"] in params.at and leg["intersection_control"] in (
        "signal",
        "all_way_stop",
    )
    if leg["existing"] and "existing" in params.at:
        return True
    if leg["circular"] and "roundabout" in params.at:
        return True
    by_approach = leg["control"] in params.at and leg["control"] in ("stop", "yield")
    return by_control or by_approach or (leg["school"] and "school" in params.at)


def needs(params: Params, leg: Mapping[str, Any]) -> dict[str, float]:
    if not wanted(params, leg):
        return {}
    return {"crosswalk_ft": params.width_ft, "crosswalk_setback_ft": _setback(params, leg)}


def _setback(params: Params, leg: Mapping[str, Any]) -> float:
    return params.ring_setback_ft if leg["circular"] else params.setback_ft


def mark(leg: Leg, params: Params) -> Iterator[Marking]:
    if leg.layout.crosswalk is None or (leg.twin and not leg.twin.leads):
        return
    near, far = leg.layout.crosswalk
    carriageways = _carriageways(leg)
    left = min(strips[0].left_ft for strips in carriageways)
    right = max(strips[-1].right_ft for strips in carriageways)
    bars = tuple(bar for strips in carriageways for bar in _bars(near, far, strips, params))
    if not bars:
        return
    yield Marking(
        kind="crosswalk",
        frame=Frame.of_leg(leg),
        shape=BarsShape(leg.base_ft, bars),
        color="white",
        travel=-1 if leg.inbound else 1,
        anchor=leg.leg_id,
        station_ft=(near.station_ft + far.station_ft) / 2,
        offset_ft=(left + right) / 2,
        width_ft=params.width_ft,
        style=params.style,
        reason=_reason(leg, params),
        sources=_ROWS[params.style],
        intersection_id=leg.intersection_id,
        priority=100,
    )


def _carriageways(leg: Leg) -> list[Sequence[Strip]]:
    """Strips on either side of a median, and those of the other carriageway drawn on its own."""
    if leg.twin is None and not leg.segment.has("median"):
        return [leg.strips]
    out: list[Sequence[Strip]] = []
    for strips in (leg.strips, *([leg.twin.strips] if leg.twin else [])):
        k = next((i for i, s in enumerate(strips) if s.kind == "median"), None)
        out += [strips] if k is None else [strips[:k], strips[k + 1 :]]
    return out


def bar_centers(
    strips: Sequence[Strip], element_ft: float, gap_min_ft: float, gap_max_ft: float
) -> list[float]:
    """Offsets of the middle of every bar: lane lines and lane centers where the gaps allow it.

    Beside the travel lanes (parking, bike lane, shoulder) the spacing of the outermost lane goes
    on toward the curb, so that the spacing stays even (XWALK-10); a wide lane at the curb gets a
    bar beside the curb. Where lanes cannot give three
    bars with allowed gaps, bars are spread evenly from curb to curb.
    """
    left, right = strips[0].left_ft, strips[-1].right_ft
    cells = _cells([s for s in strips if s.kind in _DRIVEN], element_ft + gap_min_ft)
    centers = [edge for edge, _ in cells[1:]]
    pitches = [_pitch(b - a, element_ft, gap_min_ft, gap_max_ft) for a, b in cells]
    for (a, b), pitch in zip(cells, pitches, strict=True):
        centers += [a + pitch * k for k in range(1, round((b - a) / pitch))]
    room = element_ft / 2 + _CURB_MARGIN_FT
    centers += _outward(cells[0][0], -pitches[0], left + room)
    centers += _outward(cells[-1][1], pitches[-1], right - room)
    if centers:
        limits = (left + room, right - room)
        centers += _curb_bars(centers, limits, element_ft, (gap_min_ft, gap_max_ft))
    if _fits(centers, element_ft, gap_min_ft, gap_max_ft):
        return sorted(centers)
    count = max(3, math.ceil((right - left) / (element_ft + gap_max_ft) - 1e-9))
    return [left + (right - left) * (k + 0.5) / count for k in range(count)]


def _curb_bars(
    centers: Sequence[float],
    outermost: tuple[float, float],
    element_ft: float,
    gaps_ft: tuple[float, float],
) -> list[float]:
    """A bar at each curb where much more than half a gap would stay open there.

    People must see where the crossing begins; half a lane of bare pavement does not show it.
    """
    low, high = gaps_ft
    out = []
    for limit, nearest_bar in zip(outermost, (min(centers), max(centers)), strict=True):
        gap = abs(nearest_bar - limit) - element_ft
        if abs(nearest_bar - limit) > 0.6 * high and gap >= low:
            out.append(limit)
    return out


def _fits(centers: Sequence[float], element_ft: float, low_ft: float, high_ft: float) -> bool:
    """At least three bars (XWALK-07) whose gaps all lie in the allowed range."""
    gaps = [b - a - element_ft for a, b in pairwise(sorted(centers))]
    return len(gaps) > 1 and all(low_ft - 1e-6 <= gap <= high_ft + 1e-6 for gap in gaps)


def _outward(edge: float, step: float, limit: float) -> list[float]:
    """Bars from the edge of the travel lanes toward the curb; none where they end at the curb."""
    sign = 1.0 if step > 0 else -1.0
    out = []
    at = edge
    while (limit - at) * sign >= -1e-9:
        out.append(at)
        at += step
    return out


def _cells(strips: Sequence[Strip], least: float) -> list[tuple[float, float]]:
    """Lanes as (left, right), those too narrow for one bar pitch merged toward the middle."""
    cells = [(s.left_ft, s.right_ft) for s in strips]
    while len(cells) > 1:
        k = min(range(len(cells)), key=lambda i: cells[i][1] - cells[i][0])
        if cells[k][1] - cells[k][0] >= least - 1e-9:
            break
        middle = (cells[0][0] + cells[-1][1]) / 2
        toward = 1 if (cells[k][0] + cells[k][1]) / 2 < middle else -1
        j = min(max(k + toward, 0), len(cells) - 1)
        j = j if j != k else k - toward
        a, b = min(j, k), max(j, k)
        cells[a : b + 1] = [(cells[a][0], cells[b][1])]
    return cells


def _pitch(width_ft: float, element_ft: float, gap_min_ft: float, gap_max_ft: float) -> float:
    """Spacing in a lane whose sides carry bars: as wide as the largest gap allows.

    Even numbers of parts come first, because they put a bar on the middle of the lane.
    """
    for parts in (2, 4, 6, 8, 3, 5, 7, 1):
        if gap_min_ft - 1e-9 <= width_ft / parts - element_ft <= gap_max_ft + 1e-9:
            return width_ft / parts
    return width_ft


def _bars(near: Cut, far: Cut, strips: Sequence[Strip], params: Params) -> Iterator[Bar]:
    left, right = strips[0].left_ft, strips[-1].right_ft
    if params.style in ("transverse_lines", "ladder"):
        yield Bar(near, near.moved(params.line_width_ft), left, right)
        yield Bar(far.moved(-params.line_width_ft), far, left, right)
    if params.style == "transverse_lines":
        return
    pair = params.style == "bar_pairs"
    bar = params.pair_bar_width_ft if pair else params.bar_width_ft
    element = 3 * bar if pair else bar
    low = max(params.gap_min_ft, 2.0) if pair else params.gap_min_ft
    high = min(params.gap_max_ft, _MAX_GAP_PER_BAR * element)
    sides = _sides(tuple(strips), (-bar, bar) if pair else (0.0,), bar, (element, low, high))
    yield BarRow(near, far, sides[0][0], sides[-1][1], sides)


@lru_cache(maxsize=4096)
def _sides(
    strips: tuple[Strip, ...],
    shifts: tuple[float, ...],
    bar_ft: float,
    spacing_ft: tuple[float, float, float],
) -> tuple[tuple[float, float], ...]:
    """Offsets of both sides of every bar; most legs of a city share a few cross-sections."""
    left, right = strips[0].left_ft, strips[-1].right_ft
    middles = [center + shift for center in bar_centers(strips, *spacing_ft) for shift in shifts]
    return tuple((max(left, m - bar_ft / 2), min(right, m + bar_ft / 2)) for m in middles)


def _reason(leg: Leg, params: Params) -> str:
    if leg.existing:
        return "a crosswalk exists here (input crosswalks); on its axis"
    if "every_leg" in params.at:
        why = "every leg is asked for"
    elif leg.circular and "roundabout" in params.at:
        why = "it leads into a roundabout"
    elif leg.intersection_control in params.at:
        why = f"the intersection is controlled by {leg.intersection_control}"
    elif leg.control in params.at:
        why = f"the approach is controlled by {leg.control}"
    else:
        why = "the intersection lies in a school zone"
    if leg.circular:
        return f"{why}; {params.ring_setback_ft:g} ft from the edge of the roundabout"
    return f"{why}; {params.setback_ft:g} ft behind the crossing curb line"


RULE = Rule(on="leg", params=Params, mark=mark, needs=needs)

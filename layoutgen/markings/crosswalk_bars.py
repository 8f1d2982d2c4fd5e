"""Crosswalk patterns: where bars and lines stand between two cuts, in every style there is.

Longitudinal elements stand on lane lines and in lane centers, where wheels miss them (MUTCD 11th
edition 3C.05, XWALK-09). The diagonal pattern is an older one, kept by California for schools
(XWALK-26); it is no high-visibility pattern of the 11th edition.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import pairwise
from typing import Literal

import shapely

from layoutgen.config import choice, length
from layoutgen.markings.marking import (
    Bar,
    BarRow,
    BarsShape,
    Patch,
    PatchesShape,
    RuleParams,
)
from layoutgen.street.design import Cut, Strip

WalkStyle = Literal["transverse_lines", "longitudinal_bars", "ladder", "bar_pairs", "diagonal"]
#: rows behind each style
WALK_ROWS: Mapping[str, tuple[str, ...]] = {
    "transverse_lines": ("XWALK-02", "XWALK-03"),
    "longitudinal_bars": ("XWALK-03", "XWALK-07", "XWALK-08", "XWALK-11", "XWALK-12", "XWALK-13"),
    "ladder": ("XWALK-03", "XWALK-07", "XWALK-14", "XWALK-15", "XWALK-16"),
    "bar_pairs": ("XWALK-03", "XWALK-07", "XWALK-18", "XWALK-19", "XWALK-20", "XWALK-21"),
    "diagonal": ("XWALK-02", "XWALK-03", "XWALK-26", "SCHOOL-04"),
}
_MAX_GAP_PER_BAR = 2.5  # XWALK-13, XWALK-16, XWALK-20
#: strips that lanes are made of
_DRIVEN = ("travel_lane", "turn_lane", "center_turn_lane")
#: least distance of a bar to the curb, where the gutter is
_CURB_MARGIN_FT = 0.5
#: XWALK-31: lane width -> width of bars and of gaps
_BY_LANE_FT = {10.0: 30.0 / 12.0, 11.0: 33.0 / 12.0, 12.0: 36.0 / 12.0}
#: corner pieces of diagonals smaller than this are not worth a stencil (sq ft)
_SLIVER_SQFT = 0.25


class WalkParams(RuleParams):
    """Settings of every rule that paints crosswalks."""

    style: WalkStyle = choice("longitudinal_bars", source="XWALK-06", text="pattern")
    bars: Literal["fixed", "by_lane"] = choice(
        "fixed",
        source="XWALK-31",
        text="by_lane = bars and gaps of 30, 33 or 36 in on lanes of 10, 11 or 12 ft, as one state "
        "has them; wider than the 24 in of XWALK-11",
    )
    bar_width_ft: float = length(
        "24 in", low="12 in", high="24 in", source="XWALK-11", text="bar of bars, ladder, diagonal"
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


def walk_shape(
    cuts: tuple[Cut, Cut],
    carriageways: Sequence[Sequence[Strip]],
    base_ft: float,
    params: WalkParams,
) -> BarsShape | PatchesShape | None:
    """The pattern between two cuts over the strips of each carriageway; None where none fits."""
    if params.style == "diagonal":
        patches = [p for strips in carriageways for p in _diagonals(cuts, strips, base_ft, params)]
        return PatchesShape(tuple(patches)) if patches else None
    bars = [bar for strips in carriageways for bar in _bars(*cuts, strips, params)]
    return BarsShape(base_ft, tuple(bars)) if bars else None


def parted_strips(strips: Sequence[Strip]) -> list[Sequence[Strip]]:
    """Strips on either side of a median."""
    k = next((i for i, s in enumerate(strips) if s.kind == "median"), None)
    return [strips] if k is None else [strips[:k], strips[k + 1 :]]


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

    People must see where the crossing begins; half a lane of bare pavement does not show it. A bar
    nearer to the next than half the usual gap would read as a double bar (XWALK-10): none then, as
    long as what stays open is no wider than the largest gap.
    """
    low, high = gaps_ft
    usual = [b - a - element_ft for a, b in pairwise(sorted(centers))]
    half = min(usual, default=0.0) / 2 - 1e-9
    out = []
    for limit, nearest_bar in zip(outermost, (min(centers), max(centers)), strict=True):
        away = abs(nearest_bar - limit)
        gap = away - element_ft
        reads = gap >= half or away + _CURB_MARGIN_FT > high
        if away > 0.6 * high and gap >= low and reads:
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


def _bars(near: Cut, far: Cut, strips: Sequence[Strip], params: WalkParams) -> Iterator[Bar]:
    left, right = strips[0].left_ft, strips[-1].right_ft
    if params.style in ("transverse_lines", "ladder"):
        yield Bar(near, near.moved(params.line_width_ft), left, right)
        yield Bar(far.moved(-params.line_width_ft), far, left, right)
    if params.style == "transverse_lines":
        return
    pair = params.style == "bar_pairs"
    bar = params.pair_bar_width_ft if pair else _bar_width(strips, params)
    element = 3 * bar if pair else bar
    low = max(params.gap_min_ft, 2.0) if pair else params.gap_min_ft
    high = min(params.gap_max_ft, _MAX_GAP_PER_BAR * element)
    sides = _sides(tuple(strips), (-bar, bar) if pair else (0.0,), bar, (element, low, high))
    yield BarRow(near, far, sides[0][0], sides[-1][1], sides)


def _bar_width(strips: Sequence[Strip], params: WalkParams) -> float:
    """Width of one bar: the setting, or that of the nearest lane width of XWALK-31."""
    lanes = [s.width_ft for s in strips if s.kind in _DRIVEN]
    if params.bars == "fixed" or not lanes:
        return params.bar_width_ft
    mean = sum(lanes) / len(lanes)
    return _BY_LANE_FT[min(_BY_LANE_FT, key=lambda width: abs(width - mean))]


def _diagonals(
    cuts: tuple[Cut, Cut], strips: Sequence[Strip], base_ft: float, params: WalkParams
) -> Iterator[Patch]:
    """Two transverse lines and bars at 45 degrees between them (XWALK-26), laid from the middle.

    `u` runs along the crosswalk, `v` across it; half a turn leaves the pattern as it is, so that
    it does not tell in which direction a street was drawn.
    """
    near, far = cuts
    left, right = strips[0].left_ft, strips[-1].right_ft
    line = params.line_width_ft
    for a, b in ((near, near.moved(line)), (far.moved(-line), far)):
        yield Patch(base_ft, tuple(_quad(a, b, left, right)))
    inner = shapely.Polygon(_quad(near.moved(line), far.moved(-line), left, right))
    tilt = math.hypot(1.0, near.slope)
    along, up = (near.slope / tilt, 1.0 / tilt), (1.0 / tilt, -near.slope / tilt)
    middle = (inner.centroid.x, inner.centroid.y)
    depth = (far.station_ft - near.station_ft) / tilt
    bar = params.bar_width_ft * math.sqrt(2.0)
    pitch = bar + min(params.gap_max_ft, _MAX_GAP_PER_BAR * params.bar_width_ft) * math.sqrt(2.0)
    count = math.ceil(((right - left) * tilt / 2 + depth) / pitch)
    for k in range(-count, count + 1):
        ends = [(pitch * k + side * bar / 2 + v, v) for side, v in
                ((-1, -depth), (1, -depth), (1, depth), (-1, depth))]  # fmt: skip
        corners = [
            (middle[0] + u * along[0] + v * up[0], middle[1] + u * along[1] + v * up[1])
            for u, v in ends
        ]
        piece = shapely.intersection(shapely.Polygon(corners), inner)
        if piece.geom_type == "Polygon" and piece.area > _SLIVER_SQFT:
            yield Patch(base_ft, tuple((x, y) for x, y in piece.exterior.coords[:-1]))


def _quad(near: Cut, far: Cut, left: float, right: float) -> list[tuple[float, float]]:
    """Corners (station, offset) between two cuts and two offsets."""
    return [
        (near.at(left), left), (far.at(left), left), (far.at(right), right), (near.at(right), right)
    ]  # fmt: skip


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

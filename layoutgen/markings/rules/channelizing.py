"""Channelizing lines and chevrons: the neutral area where roadways of one direction part or meet.

MUTCD 11th edition 3B.08, 3B.25. A wide or double solid white line runs along either side of the
neutral area (CHAN-01); chevrons between them point toward approaching traffic (CHEV-07), broader on
fast roads (CHEV-01, CHEV-02), their distance is a matter of judgment (CHEV-05). The area is taken
to be paved until it is some feet wide: an engineer has to check where the pavement ends.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Literal

import numpy as np

from layoutgen.config import choice, length, measure
from layoutgen.markings.checks.channelizing import CHECKS
from layoutgen.markings.marking import (
    Frame,
    LineShape,
    Marking,
    Patch,
    PatchesShape,
    Rule,
    RuleParams,
    Stroke,
)
from layoutgen.street.design import Block, Gore, Strip

_DRIVEN = ("travel_lane", "turn_lane", "center_turn_lane")
#: from 45 mph on chevrons are at least so wide, else so (CHEV-01, CHEV-02)
_WIDTHS_FT = (1.0, 8.0 / 12.0)
#: a chevron whose arms are shorter across than this says nothing (common practice)
_LEAST_ARM_FT = 1.0


class Params(RuleParams):
    at: tuple[str, ...] = choice(
        ("ramp",),
        source="CHAN-01",
        text="forks and merges of one-way roadways where a street of one of these classes meets",
    )
    form: Literal["wide", "double"] = choice(
        "wide", source="CHAN-01", text="channelizing line: a wide solid line, or a double one"
    )
    line_width_ft: float = length(
        "8 in", low="8 in", high="12 in", source="LINE-02", text="a wide line"
    )
    double_width_ft: float = length(
        "4 in", low="4 in", high="6 in", source="LINE-01", text="each line of a double, and its gap"
    )
    nose_ft: float = length(
        "8 ft",
        low="3 ft",
        high="12 ft",
        source="common practice",
        text="the area is marked until it is this wide, at most 12 ft",
    )
    chevrons: bool = choice(True, source="CHEV-05", text="chevrons in the neutral area")
    spacing_ft: float = length(
        "25 ft",
        low="4 ft",
        high="200 ft",
        source="CHEV-10",
        text="from chevron to chevron, by engineering judgment (CHEV-05)",
    )
    angle_deg: float = measure(
        "angle",
        "45 deg",
        low="30 deg",
        high="45 deg",
        source="CHEV-03",
        text="between an arm and the travel",
    )
    chevron_width_ft: float = length(
        "0 in",
        low="0 in",
        high="24 in",
        source="CHEV-01, CHEV-02",
        text="width of an arm; 0 = 12 in from 45 mph on, else 8 in",
    )
    shortest_ft: float = length(
        "20 ft",
        low="0 ft",
        high="200 ft",
        source="common practice",
        text="shorter neutral areas are left unmarked",
    )


def mark(block: Block, params: Params) -> Iterator[Marking]:
    for gore in block.gores:
        run = _run(gore, params) if set(gore.classes) & set(params.at) else None
        if run is None:
            continue
        yield _line(block, gore, run, params)
        if gore.leads and params.chevrons:
            yield from _chevrons(block, gore, run, params)


def _run(gore: Gore, params: Params) -> tuple[float, float] | None:
    """Outward stations of the neutral area, as far as it is marked."""
    inside = [s for s, gap in gore.profile if gap <= params.nose_ft]
    if not inside or inside[-1] - inside[0] < params.shortest_ft:
        return None
    return inside[0], inside[-1]


def _edge(block: Block, gore: Gore) -> float:
    """Offset of the edge of the lanes toward the neutral area, outward."""
    own = block.segment.strips
    strips: list[Strip] = [s.reversed() for s in own] if gore.at_end else list(own)
    lanes = [s for s in strips if s.kind in _DRIVEN]
    return max(s.right_ft for s in lanes) if gore.side > 0 else min(s.left_ft for s in lanes)


def _line(block: Block, gore: Gore, run: tuple[float, float], params: Params) -> Marking:
    """The line on the side of one roadway, inside its lane, so that both may meet at the point."""
    edge = _edge(block, gore)
    double = params.double_width_ft
    lines = [(0.0, params.line_width_ft)]
    if params.form == "double":
        lines = [(0.0, double), (2 * double, double)]
    strokes = tuple(Stroke(edge - gore.side * (at + w / 2), w) for at, w in lines)
    offset = sum(s.offset_ft for s in strokes) / len(strokes)
    what = "part" if gore.diverges else "meet"
    return Marking(
        kind="channelizing_line",
        frame=Frame(block.segment, gore.at_end),
        shape=LineShape(*run, strokes),
        color="white",
        travel=1 if gore.diverges else -1,
        anchor=block.segment.segment_id,
        station_ft=sum(run) / 2,
        offset_ft=offset,
        width_ft=lines[0][1],
        style="wide_solid" if params.form == "wide" else "double_solid",
        reason=f"roadways of one direction {what} here; along the neutral area",
        sources=("CHAN-01", "LINE-02" if params.form == "wide" else "LINE-01"),
        tag="diverge" if gore.diverges else "merge",
        priority=72,
    )


def _chevrons(
    block: Block, gore: Gore, run: tuple[float, float], params: Params
) -> Iterator[Marking]:
    """Chevrons over the neutral area, counted from its wide end."""
    segment = block.segment
    width = params.chevron_width_ft or _WIDTHS_FT[0 if segment.speed_mph >= 45.0 else 1]
    places, number = [], 0
    while run[1] - number * params.spacing_ft > run[0]:
        corners = _chevron(block, gore, run[1] - number * params.spacing_ft, (run, width, params))
        if corners is not None:
            places.append(corners)
        number += 1
    if not places:
        return
    patches = tuple(Patch(sum(s for s, _ in own) / len(own), own) for own in places)
    middle = sum(p.base_ft for p in patches) / len(patches)
    what = "between diverging roadways" if gore.diverges else "between merging roadways"
    yield Marking(
        kind="chevrons",
        frame=Frame(segment, gore.at_end),
        shape=PatchesShape(patches),
        color="white",
        travel=1 if gore.diverges else -1,
        anchor=segment.segment_id,
        station_ft=middle,
        offset_ft=_edge(block, gore),
        width_ft=width,
        style="diverge" if gore.diverges else "merge",
        reason=f"neutral area {what}, {segment.speed_mph:g} mph",
        sources=("CHEV-01" if segment.speed_mph >= 45.0 else "CHEV-02", "CHEV-03", "CHEV-07"),
        priority=55,
    )


def _chevron(
    block: Block, gore: Gore, wide_ft: float, how: tuple[tuple[float, float], float, Params]
) -> tuple[tuple[float, float], ...] | None:
    """Corners of the chevron whose arms end at an outward station; None where none fits.

    Its point lies toward the fork where traffic comes from there, away from it where traffic
    comes from the branches.
    """
    run, width, params = how
    slant = 1.0 / math.tan(math.radians(params.angle_deg))
    thick = width / math.sin(math.radians(params.angle_deg))
    edge, side = _edge(block, gore), gore.side
    stations, gaps = (np.array(v) for v in zip(*gore.profile, strict=True))
    ahead = -1.0 if gore.diverges else 1.0
    back = -ahead * thick
    # arms end between the lines; the point lies half way across, at the gap where they end
    reach = 0.0 if gore.diverges else slant * float(np.interp(wide_ft, stations, gaps)) / 2
    ends = wide_ft - (thick if gore.diverges else reach)
    half = float(np.interp(min(ends, ends + back), stations, gaps)) / 2
    if half < _LEAST_ARM_FT:
        return None
    tip = ends + ahead * slant * half
    inner = (edge, edge + side * 2 * half)
    middle = edge + side * half
    corners = (
        (tip, middle),
        (ends, inner[1]),
        (ends + back, inner[1]),
        (tip + back, middle),
        (ends + back, inner[0]),
        (ends, inner[0]),
    )
    low, high = min(s for s, _ in corners), max(s for s, _ in corners)
    return corners if run[0] <= low and high <= run[1] + 1e-6 else None


RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

"""Flush median: a painted island where a two-way left-turn lane ends before the street does.

MUTCD 11th edition 3B.25, 3J.03. Two sets of double solid yellow lines (CHAN-02) with yellow
diagonals between that slant away from the traffic on either side (CHEV-08). It takes the place of
the lines of the turn lane over its last stretch. Left to a policy: off by default.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Literal

from layoutgen.config import choice, length, measure
from layoutgen.markings.checks.flush_median import CHECKS
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
from layoutgen.markings.runs import center_lane_ends, shared_run
from layoutgen.street.design import Block, Strip

#: diagonals from 45 mph on are at least so wide, else so (CHEV-01, CHEV-02)
_WIDTHS_FT = (1.0, 8.0 / 12.0)
#: a shorter island says nothing (CHAN-04)
_LEAST_FT = 50.0


class Params(RuleParams):
    at: tuple[Literal["turn_lane_end"], ...] = choice(
        (),
        source="CHAN-02",
        text="where: the end of a two-way left-turn lane that the street does not carry on; "
        "needs engineering judgment",
    )
    length_ft: float = length(
        "100 ft", low="50 ft", high="600 ft", source="CHAN-04", text="length of the island"
    )
    line_width_ft: float = length(
        "4 in", low="4 in", high="6 in", source="LINE-01", text="each line of a double"
    )
    double_gap_ft: float = length(
        "4 in", low="2 in", high="12 in", source="LINE-03", text="between the lines of a double"
    )
    least_width_ft: float = length(
        "2 ft",
        low="2 ft",
        high="12 ft",
        source="CHAN-03",
        text="where less is left between the double lines, there is no island",
    )
    spacing_ft: float = length(
        "25 ft",
        low="4 ft",
        high="200 ft",
        source="CHEV-10",
        text="from diagonal to diagonal, by engineering judgment (CHEV-05)",
    )
    angle_deg: float = measure(
        "angle",
        "45 deg",
        low="30 deg",
        high="45 deg",
        source="CHEV-03",
        text="between a diagonal and the travel",
    )
    diagonal_width_ft: float = length(
        "0 in",
        low="0 in",
        high="24 in",
        source="CHEV-01, CHEV-02",
        text="width of a diagonal; 0 = 12 in from 45 mph on, else 8 in",
    )


def mark(block: Block, params: Params) -> Iterator[Marking]:
    if not params.at or block.segment.oneway != "both":
        return
    center = next((s for s in block.segment.strips if s.kind == "center_turn_lane"), None)
    if center is None:
        return
    over_all = 2 * params.line_width_ft + params.double_gap_ft
    start, stop = shared_run(block, center.center_ft, center.width_ft)
    size = min(params.length_ft, (stop - start) / 2)
    if center.width_ft - over_all < params.least_width_ft or size < _LEAST_FT:
        return
    for at_end in (False, True):
        if center_lane_ends(block, at_end=at_end):
            run = (stop - size, stop) if at_end else (start, start + size)
            yield from _island(block, center, run, params)


def _island(
    block: Block, center: Strip, run: tuple[float, float], params: Params
) -> Iterator[Marking]:
    shift = (params.line_width_ft + params.double_gap_ft) / 2
    for edge in (center.left_ft, center.right_ft):
        strokes = tuple(Stroke(edge + d, params.line_width_ft) for d in (-shift, shift))
        yield _marking(block, LineShape(*run, strokes), ("double_solid", edge), params)
    half = shift + params.line_width_ft / 2
    sides = (center.left_ft + half, center.right_ft - half)
    patches = tuple(_diagonals(block, run, sides, params))
    if patches:
        yield _marking(block, PatchesShape(patches), ("diagonals", center.center_ft), params)


def _diagonals(
    block: Block, run: tuple[float, float], sides: tuple[float, float], params: Params
) -> Iterator[Patch]:
    """Diagonals spread evenly from end to end; ahead of a driver they lead away from him."""
    t = math.radians(params.angle_deg)
    thick = _width(block, params) / math.sin(t)
    across = (sides[1] - sides[0]) / math.tan(t)
    near, far = sides[::-1] if block.segment.driving_side == "right" else sides
    room = run[1] - run[0] - across - thick
    count = int(room // params.spacing_ft) + 1 if room > 0 else 0
    first = run[0] + (room - (count - 1) * params.spacing_ft) / 2
    for k in range(count):
        s = first + k * params.spacing_ft
        corners = ((s, near), (s + across, far), (s + across + thick, far), (s + thick, near))
        yield Patch(s + (across + thick) / 2, corners)


def _width(block: Block, params: Params) -> float:
    fast = block.segment.speed_mph >= 45.0
    return params.diagonal_width_ft or _WIDTHS_FT[0 if fast else 1]


def _marking(
    block: Block, shape: LineShape | PatchesShape, what: tuple[str, float], params: Params
) -> Marking:
    style, offset = what
    is_line = isinstance(shape, LineShape)
    middle = (
        (shape.start_ft + shape.stop_ft) / 2
        if isinstance(shape, LineShape)
        else sum(p.base_ft for p in shape.patches) / len(shape.patches)
    )
    return Marking(
        kind="flush_median",
        frame=Frame(block.segment),
        shape=shape,
        color="yellow",
        travel=0,
        anchor=block.segment.segment_id,
        station_ft=middle,
        offset_ft=offset,
        width_ft=params.line_width_ft if is_line else _width(block, params),
        style=style,
        reason="the two-way left-turn lane ends here and the street goes on without it",
        sources=("CHAN-02", "LINE-15") if is_line else ("CHEV-08", "CHEV-03"),
        tag="line" if is_line else "diagonals",
        priority=82 if is_line else 62,
    )


RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

"""Parking stalls: marks between parked cars, as T and L marks along the curb or as angled lines.

MUTCD 11th edition 3B.27: white (PARK-01). Stalls keep clear of crosswalks (PARK-11), signals
(PARK-04), driveways, hydrants, rail crossings, and stretches of curb with another use. Off unless
asked for: which streets get stalls is the agency's choice.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Literal

from layoutgen.config import choice, length, measure
from layoutgen.markings.checks.parking_stalls import CHECKS
from layoutgen.markings.curbside import ANGLE_FT, Bay, Clear, Span, bay_of, free_spans
from layoutgen.markings.marking import Frame, Marking, Patch, PatchesShape, Rule, RuleParams
from layoutgen.street.design import Block

Corners = tuple[tuple[float, float], ...]


class Params(RuleParams):
    at: tuple[Literal["parallel", "angle"], ...] = choice(
        (), source="common practice", text="kinds of parking that get stalls; none = no stalls"
    )
    line_width_ft: float = length(
        "4 in", low="4 in", high="6 in", source="PARK-02", text="every mark"
    )
    arm_ft: float = length(
        "12 in", low="6 in", high="24 in", source="PARK-03", text="arm of a T or L mark"
    )
    stall_ft: float = length(
        "22 ft", low="22 ft", high="26 ft", source="PARK-07", text="least inner parallel stall"
    )
    stall_most_ft: float = length(
        "26 ft", low="22 ft", high="30 ft", source="PARK-07", text="longest inner parallel stall"
    )
    end_stall_ft: float = length(
        "20 ft", low="18 ft", high="26 ft", source="PARK-08", text="first and last parallel stall"
    )
    angle_deg: float = measure(
        "angle",
        "60 deg",
        low="30 deg",
        high="90 deg",
        source="common practice",
        text="between curb and lines of angle parking",
    )
    angle_width_ft: float = length(
        "9 ft",
        low="8 ft",
        high="12 ft",
        source="common practice",
        text="width of an angled stall, at right angles to its lines",
    )
    signal_clear_ft: float = length(
        "30 ft", low="30 ft", high="100 ft", source="PARK-04", text="before a signal"
    )
    crosswalk_clear_ft: float = length(
        "20 ft", low="0 ft", high="50 ft", source="PARK-11", text="from a crosswalk"
    )
    corner_clear_ft: float = length(
        "20 ft", low="0 ft", high="60 ft", source="common practice", text="from a curb line ahead"
    )
    hydrant_clear_ft: float = length(
        "15 ft", low="0 ft", high="30 ft", source="common practice", text="from a hydrant"
    )
    driveway_clear_ft: float = length(
        "3 ft", low="0 ft", high="20 ft", source="common practice", text="from a driveway"
    )
    rail_clear_ft: float = length(
        "50 ft", low="15 ft", high="100 ft", source="common practice", text="from a rail crossing"
    )


def mark(block: Block, params: Params) -> Iterator[Marking]:
    if not params.at or block.segment.roundabout or not block.segment.has("parking"):
        return
    clear = Clear(
        params.signal_clear_ft,
        params.crosswalk_clear_ft,
        params.corner_clear_ft,
        params.hydrant_clear_ft,
        params.driveway_clear_ft,
        params.rail_clear_ft,
    )
    for side in (1, -1):
        bay = bay_of(block.segment, side)
        style = "angle" if bay and bay.depth_ft >= ANGLE_FT else "parallel"
        if bay is None or style not in params.at:
            continue
        for span in free_spans(block, bay, clear):
            marks = _angle(bay, span, params) if style == "angle" else _parallel(bay, span, params)
            if marks:
                yield _marking(block, bay, marks, style, params)


def stall_bounds(span: Span, params: Params) -> list[float]:
    """Stations between parallel stalls, in the middle of a span; empty where none fits."""
    room, end = span[1] - span[0], params.end_stall_ft
    if room < end - 1e-6:
        return []
    inner = int((room - 2 * end) / params.stall_ft + 1e-6) if room >= 2 * end - 1e-6 else -1
    if inner < 0:
        sizes = [end]
    else:
        each = min(params.stall_most_ft, (room - 2 * end) / inner) if inner else 0.0
        sizes = [end, *[each] * inner, end]
    at = span[0] + (room - sum(sizes)) / 2
    out = [at]
    for size in sizes:
        at += size
        out.append(at)
    return out


def _parallel(bay: Bay, span: Span, params: Params) -> list[Patch]:
    """T marks between stalls, L marks at both ends; a stem alone where a line is the edge."""
    bounds = stall_bounds(span, params)
    out = []
    for k, at in enumerate(bounds):
        arms = (float(k > 0), float(k < len(bounds) - 1))
        out += [Patch(at, corners) for corners in _tee(bay, at, arms, params)]
    return out


def _tee(bay: Bay, at: float, arms: tuple[float, float], params: Params) -> list[Corners]:
    """Corners of the stem and, unless a line is there, of the arms along the bay's edge."""
    half, width = params.line_width_ft / 2, params.line_width_ft
    first = width if bay.lined else 0.0
    stem = _box((at - half, at + half), (bay.at(first), bay.at(params.arm_ft + first)))
    if bay.lined:
        return [stem]
    reach = (at - half - arms[0] * params.arm_ft, at + half + arms[1] * params.arm_ft)
    return [stem, _box(reach, (bay.at(0.0), bay.at(width)))]


def _angle(bay: Bay, span: Span, params: Params) -> list[Patch]:
    """Lines from the traffic side forward to the curb, evenly spaced."""
    t = math.radians(params.angle_deg)
    lean = bay.depth_ft / math.tan(t) if params.angle_deg < 90.0 - 1e-9 else 0.0
    pitch, thick = params.angle_width_ft / math.sin(t), params.line_width_ft / math.sin(t)
    room = span[1] - span[0] - lean - thick
    stalls = int(room / pitch + 1e-6)
    if stalls < 1:
        return []
    first = (span[0] + span[1] - bay.way * lean - thick - stalls * pitch) / 2
    out = []
    for k in range(stalls + 1):
        at = first + k * pitch
        near, far = at, at + bay.way * lean
        a, b = bay.at(0.0), bay.at(bay.depth_ft)
        corners = ((near, a), (near + thick, a), (far + thick, b), (far, b))
        out.append(Patch(at, corners))
    return out


def _box(stations: tuple[float, float], offsets: tuple[float, float]) -> Corners:
    (s, t), (a, b) = stations, offsets
    return ((s, a), (t, a), (t, b), (s, b))


def _marking(block: Block, bay: Bay, marks: list[Patch], style: str, params: Params) -> Marking:
    bases = [patch.base_ft for patch in marks]
    count = len(set(bases)) - 1
    size = "parallel, 8 ft" if style == "parallel" else f"at {params.angle_deg:g} degrees"
    return Marking(
        kind="parking_stall",
        frame=Frame(block.segment),
        shape=PatchesShape(tuple(marks)),
        color="white",
        travel=bay.way,
        anchor=block.segment.segment_id,
        station_ft=(min(bases) + max(bases)) / 2,
        offset_ft=bay.at(bay.depth_ft / 2),
        width_ft=params.line_width_ft,
        style=style,
        reason=f"{count} stalls {size}, clear of corners, crosswalks, driveways and hydrants",
        sources=("PARK-01", "PARK-02", "PARK-03", "PARK-07")
        if style == "parallel"
        else ("PARK-01", "PARK-02"),
        tag="parking",
        priority=45,
    )


RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

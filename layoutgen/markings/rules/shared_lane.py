"""Shared-lane marking: a bicycle and two chevrons, where cyclists share the lane with traffic.

MUTCD 11th edition 9E.09: 50 to 250 ft apart (SLM-01), the first within 50 ft after an intersection
(SLM-02), not at 40 mph and more (SLM-03), never in a bike lane (SLM-08) or on green (SLM-09).
Beside parked cars it stands clear of their doors; elsewhere in the middle of a narrow lane
(SLM-06), or at least 4 ft off the curb in a wide one (SLM-07).
"""

from __future__ import annotations

from collections.abc import Iterator

from layoutgen.config import length, measure
from layoutgen.markings.conformity import Check, LaidOut, Paint, color_check
from layoutgen.markings.marking import FigureShape, Frame, Marking, Rule, RuleParams
from layoutgen.markings.preferential import lane_ends
from layoutgen.markings.spacing import Spacing, spread
from layoutgen.street.design import Block, Segment, Strip

_FIGURE = "shared_lane"
#: nearest that two may stand (SLM-01)
_LEAST_FT = 50.0


class Params(RuleParams):
    first_ft: float = length(
        "30 ft",
        low="5 ft",
        high="50 ft",
        source="SLM-02",
        text="from the beginning of the lane to the first marking",
    )
    spacing_ft: float = length(
        "250 ft", low="50 ft", high="250 ft", source="SLM-01", text="largest distance between two"
    )
    last_gap_ft: float = length(
        "30 ft",
        low="0 ft",
        high="300 ft",
        source="common practice",
        text="none nearer than this to the end of the lane",
    )
    below_mph: float = measure(
        "speed", "40 mph", low="20 mph", high="40 mph", source="SLM-03", text="only below this"
    )
    parked_curb_ft: float = length(
        "12.5 ft",
        low="11 ft",
        high="16 ft",
        source="SLM-05",
        text="from the curb face to its middle, beside parallel parking",
    )
    open_curb_ft: float = length(
        "4 ft",
        low="4 ft",
        high="10 ft",
        source="SLM-07",
        text="from the curb face to its middle, in a wide lane without parking",
    )
    wide_ft: float = length(
        "14 ft",
        low="12 ft",
        high="16 ft",
        source="SLM-06",
        text="in narrower lanes it stands in the middle",
    )


def mark(block: Block, params: Params) -> Iterator[Marking]:
    segment = block.segment
    if "shared" not in segment.bike or segment.roundabout or segment.speed_mph >= params.below_mph:
        return
    for side, facility in ((-1, segment.bike[0]), (1, segment.bike[1])):
        lane = _outer_lane(segment, side)
        if facility != "shared" or lane is None:
            continue
        figure = params.figure(_FIGURE)
        start, stop = lane_ends(block, lane)
        rule = Spacing(
            params.first_ft, params.spacing_ft, params.last_gap_ft, figure.length_ft,
            least_ft=_LEAST_FT,
        )  # fmt: skip
        offset = _offset(segment, lane, side, params)
        half = figure.width_ft / 2
        if not lane.left_ft + half <= offset <= lane.right_ft - half:
            offset = lane.center_ft
        origin = start if lane.direction == 1 else stop
        for number, place in enumerate(spread(stop - start, rule)):
            at = origin + lane.direction * place
            yield Marking(
                kind="shared_lane",
                frame=Frame(segment),
                shape=FigureShape(_FIGURE, at, offset, lane.direction, drawing=figure),
                color="white",
                travel=lane.direction,
                anchor=segment.segment_id,
                station_ft=at,
                offset_ft=offset,
                width_ft=figure.width_ft,
                style="symbol",
                reason="cyclists share this lane; "
                + ("first of the lane" if number == 0 else "repeated by spacing"),
                sources=("SLM-01", "SLM-02", "SLM-03"),
                priority=40,
                shift_ft=15.0,
                clear_ft=6.0,
            )


def _outer_lane(segment: Segment, side: int) -> Strip | None:
    """The lane next to the curb on a side, if no bike lane lies between."""
    lanes = [s for s in segment.strips if s.kind == "travel_lane"]
    lane = max(lanes, key=lambda s: s.center_ft * side, default=None)
    if lane is None or (segment.oneway == "both" and lane.center_ft * side <= 0):
        return None
    beyond = [s for s in segment.strips if (s.center_ft - lane.center_ft) * side > 0]
    return None if any(s.kind == "bike_lane" for s in beyond) else lane


def _offset(segment: Segment, lane: Strip, side: int, params: Params) -> float:
    """Where across the street its middle stands."""
    curb = segment.edges_ft[1 if side == 1 else 0]
    parked = any(
        s.kind == "parking" and (s.center_ft - lane.center_ft) * side > 0 for s in segment.strips
    )
    if lane.width_ft < params.wide_ft:
        return lane.center_ft
    return curb - side * (params.parked_curb_ft if parked else params.open_curb_ft)


def _fast(paint: Paint, _: LaidOut) -> str | None:
    if paint.segment is None or paint.segment.speed_mph < 40.0:
        return None
    return f"the limit is {paint.segment.speed_mph:.0f} mph"


def _in_bike_lane(paint: Paint, _: LaidOut) -> str | None:
    if paint.segment is None:
        return None
    where = [s.kind for s in paint.segment.strips if s.left_ft < paint.offset_ft < s.right_ft]
    return f"in a {where[0]}" if where and where[0] in ("bike_lane", "shoulder") else None


def _on_green(paint: Paint, laid: LaidOut) -> str | None:
    below = [p for p in laid.near(paint.shape, 0.0) if p.color == "green"]
    shared = sum(p.shape.intersection(paint.shape).area for p in below)
    return f"{shared:.1f} sq ft of green under it" if shared > 0.1 else None


def _apart(paint: Paint, laid: LaidOut) -> str | None:
    """Distance to the next of the same travel on the same street."""
    if paint.segment is None:
        return None
    others = [
        abs(p.station_ft - paint.station_ft)
        for p in laid.on_segment(paint.segment, "shared_lane")
        if p is not paint and abs(p.offset_ft - paint.offset_ft) < 6.0
    ]
    if not others:
        return None
    least = min(others)
    return f"{least:.0f} ft to the next" if not 49.0 <= least <= 267.0 else None


_KINDS = ("shared_lane",)
CHECKS = (
    Check("SLM-01", "50 to 250 ft apart", _apart, _KINDS),
    Check("SLM-03", "only below 40 mph", _fast, _KINDS),
    Check("SLM-08", "not in bike lanes or shoulders", _in_bike_lane, _KINDS),
    Check("SLM-09", "no green under it", _on_green, _KINDS),
    color_check("LINE-14", _KINDS, ["white"]),
)
RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

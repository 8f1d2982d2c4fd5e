"""Shared-lane marking: a bicycle and two chevrons, where cyclists share the lane with traffic.

MUTCD 11th edition 9E.09: 50 to 250 ft apart (SLM-01), the first within 50 ft after an intersection
(SLM-02), not at 40 mph and more (SLM-03), never in a bike lane (SLM-08) or on green (SLM-09).
Beside parked cars it stands clear of their doors; elsewhere in the middle of a narrow lane
(SLM-06), or at least 4 ft off the curb in a wide one (SLM-07).
"""

from __future__ import annotations

from collections.abc import Iterator

from layoutgen.config import length, measure
from layoutgen.markings.conformity import (
    INCH,
    Check,
    LaidOut,
    Paint,
    Test,
    color_check,
    size_check,
    within,
)
from layoutgen.markings.marking import FigureShape, Frame, Marking, Rule, RuleParams
from layoutgen.markings.preferential import lane_ends
from layoutgen.markings.spacing import Spacing, spread
from layoutgen.street.design import Block, Segment, Strip

_FIGURE = "shared_lane"
#: nearest that two may stand (SLM-01)
_LEAST_FT = 50.0
#: in narrower lanes it stands in the middle (SLM-06); the first is so far in (SLM-02)
_WIDE_FT, _FIRST_FT = 14.0, 50.0
#: how far one may be moved that meets other paint; what a skewed end is off by
_SHIFT_FT, _SKEW_FT = 15.0, 6.0


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
                shift_ft=_SHIFT_FT,
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


def _below(limit_mph: float) -> Test:
    """Not on streets with such a limit or a higher one."""

    def test(paint: Paint, _: LaidOut) -> str | None:
        if paint.segment is None or paint.segment.speed_mph < limit_mph:
            return None
        return f"the limit is {paint.segment.speed_mph:.0f} mph"

    return test


def _in_bike_lane(paint: Paint, _: LaidOut) -> str | None:
    if paint.segment is None:
        return None
    where = [s.kind for s in paint.segment.strips if s.left_ft < paint.offset_ft < s.right_ft]
    return f"in a {where[0]}" if where and where[0] in ("bike_lane", "shoulder") else None


def _on_green(paint: Paint, laid: LaidOut) -> str | None:
    below = [p for p in laid.near(paint.shape, 0.0) if p.color == "green"]
    shared = sum(p.shape.intersection(paint.shape).area for p in below)
    return f"{shared:.1f} sq ft of green under it" if shared > 0.1 else None


def _next_ft(paint: Paint, laid: LaidOut) -> float | None:
    """Distance to the nearest of the same lane, from near edge to near edge."""
    if paint.segment is None:
        return None
    others = [
        abs(p.station_ft - paint.station_ft)
        for p in laid.on_segment(paint.segment, "shared_lane")
        if p is not paint and abs(p.offset_ft - paint.offset_ft) < 6.0
    ]
    return min(others, default=None)


def _apart(paint: Paint, laid: LaidOut) -> str | None:
    least = _next_ft(paint, laid)
    # one that met other paint was moved a little
    good = least is None or 49.0 <= least <= 250.0 + 2 * _SHIFT_FT
    return None if good else f"{least:.0f} ft to the next"


def _far_apart(paint: Paint, laid: LaidOut) -> str | None:
    least = _next_ft(paint, laid)
    good = least is None or least <= 250.0 + 2 * _SHIFT_FT
    return None if good else f"{least:.0f} ft to the next"


def _across(paint: Paint) -> tuple[Strip, bool, float] | None:
    """(its lane, whether cars park beside it, distance of its middle to the nearer curb)."""
    if paint.segment is None:
        return None
    at, strips = paint.offset_ft, paint.segment.strips
    lane = next((s for s in strips if s.kind == "travel_lane" and s.left_ft <= at <= s.right_ft),
                None)  # fmt: skip
    if lane is None:
        return None
    left, right = (abs(at - edge) for edge in paint.segment.edges_ft)
    side = -1 if left < right else 1
    parked = any(s.kind == "parking" and (s.center_ft - at) * side > 0 for s in strips)
    return lane, parked, min(left, right)


def _curb(low_ft: float, high_ft: float, *, parked: bool, wide: bool | None) -> Test:
    """Distance to the curb face, beside parked cars or not, in wide or narrow lanes or in all."""

    def test(paint: Paint, _: LaidOut) -> str | None:
        found = _across(paint)
        if found is None or found[1] != parked:
            return None
        if wide is not None and (found[0].width_ft >= _WIDE_FT) != wide:
            return None
        return None if within(found[2], low_ft - 0.1, high_ft + 0.1) else (
            f"{found[2]:.1f} ft from the curb"
        )  # fmt: skip

    return test


def _centered(paint: Paint, _: LaidOut) -> str | None:
    found = _across(paint)
    if found is None or found[0].width_ft >= _WIDE_FT:
        return None
    off = abs(paint.offset_ft - found[0].center_ft)
    return None if off <= 0.5 else f"{off:.1f} ft off the middle of its lane"


def _first(block: Block, laid: LaidOut) -> str | None:
    """Distance of the first marking from the intersection behind, for each direction."""
    paints = laid.on_segment(block.segment, "shared_lane")
    for lane in (s for s in block.segment.strips if s.kind == "travel_lane"):
        own = [p for p in paints if lane.left_ft <= p.offset_ft <= lane.right_ft]
        behind = block.start_leg if lane.direction == 1 else block.end_leg
        if not own or behind is None:
            continue
        offset = -lane.center_ft if behind.at_end else lane.center_ft
        at = behind.layout.outbound_end.clear(offset, lane.width_ft)
        total = block.segment.length_ft
        ways = [(p.from_ft if lane.direction == 1 else total - p.to_ft) - at for p in own]
        if min(ways) > _FIRST_FT + _SKEW_FT:
            return f"the first marking is {min(ways):.0f} ft beyond the intersection"
    return None


_KINDS = ("shared_lane",)
CHECKS = (
    Check("SLM-01", "50 to 250 ft apart", _apart, _KINDS),
    Check("SLM-02", "the first within 50 ft beyond an intersection", _first, on="block"),
    Check("SLM-03", "only below 40 mph", _below(40.0), _KINDS),
    Check("SLM-04", "only up to 30 mph", _below(30.1), _KINDS),
    Check("SLM-05", "12 to 13 ft from the curb beside parked cars in a wide lane",
          _curb(12.0, 13.0, parked=True, wide=True), _KINDS),
    Check("SLM-06", "in the middle of a lane below 14 ft", _centered, _KINDS),
    Check("SLM-07", "4 ft from the curb in a wide lane",
          _curb(4.0, 99.0, parked=False, wide=True), _KINDS),
    Check("SLM-08", "not in bike lanes or shoulders", _in_bike_lane, _KINDS),
    Check("SLM-09", "no green under it", _on_green, _KINDS),
    Check("SLM-11", "11 ft from the curb beside parked cars",
          _curb(11.0, 99.0, parked=True, wide=None), _KINDS),
    Check("SLM-12", "4 ft from the curb in a narrow lane",
          _curb(4.0, 99.0, parked=False, wide=False), _KINDS),
    Check("SLM-13", "no more than 250 ft apart", _far_apart, _KINDS),
    Check("SLM-14", "only up to 35 mph", _below(35.1), _KINDS),
    size_check("SLM-17", _KINDS, 112 * INCH, 112 * INCH),
    color_check("LINE-14", _KINDS, ["white"]),
)  # fmt: skip
RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

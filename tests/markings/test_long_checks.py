"""Checks of lines along the street: they fire on paint made wrong and keep still on cut paint."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

import numpy as np
import pytest
import shapely
from scenes import Scene, layout_of
from scenes_long import fork, lane_ends, lane_into_nothing, shared_lane, winding
from test_long import INCH, breaches, narrower, of, replaced, vars_of
from test_long import paints as paints_on

from layoutgen.markings.conformity import Paint
from layoutgen.markings.paints import paints_of
from layoutgen.street.design import Design

_URBAN = {"street_class": "arterial", "lanes": 2, "width_ft": 30.0, "parking": "none"}
_BEND = [(-410.0, 37.0), (-200.0, 52.0), (60.0, 118.0), (330.0, 240.0)]


def laid(scene: Scene) -> tuple[list[Paint], Design]:
    markings, design, _ = layout_of(scene)
    table = markings[["marking_id", "kind", "style", "color", "bearing_deg", "geometry"]]
    own, _ = paints_of(table.assign(width_ft=None), design, 60.0)
    return own, design


def street(rules: Mapping[str, Any] | None = None, **row: Any) -> Scene:
    """One street with bends."""
    at = shapely.LineString(_BEND)
    own = {"segment_id": "b", "name": "Weir Road", **_URBAN, **row, "at": at}
    return Scene([own], settings={"rules": rules or {}})


def tee_at(skew_x: float) -> Scene:
    """A rural T whose stem leaves to the south; far side solid. A small skew_x = a sharp T."""
    main = {"name": "Heath Road", "street_class": "arterial", "lanes": 2, "width_ft": 24.0,
            "setting": "rural", "adt": 7000, "parking": "none"}  # fmt: skip
    x = (40.0, -12.0)
    rules = {"dotted_extension": {"at": ["far_side"], "edge_at": ["every_street"]}}
    return Scene(
        [
            {"segment_id": "w", **main, "at": shapely.LineString([(-400.0, -60.0), x])},
            {"segment_id": "e", **main, "at": shapely.LineString([x, (430.0, 31.0)])},
            {"segment_id": "s", "name": "Gorse Lane", "street_class": "local", "width_ft": 20.0,
             "at": shapely.LineString([x, (x[0] + skew_x, -330.0)])},
        ],
        settings={"rules": rules},
    )  # fmt: skip


def without(p: Paint, stretches: Iterable[tuple[float, float]]) -> Paint:
    """Paint without stretches of its street."""
    assert p.segment is not None
    axis = p.segment.axis
    bites = [shapely.ops.substring(axis, a, b).buffer(40.0, cap_style="flat") for a, b in stretches]
    return replaced(p, p.shape.difference(shapely.union_all(bites)))


def cut(p: Paint, at: tuple[float, ...]) -> Paint:
    """A line with gaps and a sliver where other paint crossed it."""
    return without(p, [(s + k, s + k + 1.0) for s in at for k in (0.0, 3.0)])


def broken(p: Paint) -> Paint:
    """Pieces of 10 ft with gaps of 10 ft."""
    assert p.segment is not None
    return without(p, [(s, s + 10.0) for s in np.arange(5.0, p.segment.length_ft, 20.0)])


def widened(p: Paint, by_ft: float) -> Paint:
    """The two lines of a double moved apart."""
    assert p.segment is not None
    axis = p.segment.axis
    middle = (p.left_ft + p.right_ft) / 2
    lines = [shapely.offset_curve(axis, -(middle + d)) for d in (-by_ft, by_ft)]
    return replaced(p, shapely.union_all(shapely.buffer(lines, 2 * INCH, cap_style="flat")))


def across(p: Paint, design: Design) -> Paint:
    """A solid edge line carried on past the side street."""
    area = design.intersections[0].area
    south = shapely.box(-500.0, -40.0, 500.0, -21.0).intersection(area)
    return replaced(p, p.shape.union(shapely.box(*south.bounds).intersection(area)))


DOUBLE = {"lane_line": {"crossing": "prohibited"}}
FOUR = {"lanes": 4, "width_ft": 48.0}


@pytest.mark.parametrize(
    ("row", "spoil"),
    [("LANE-02", broken), ("LINE-03", lambda p: widened(p, 1.0))],
)
def test_double_lane_lines(row: str, spoil: Callable[[Paint], Paint]) -> None:
    own, design = laid(street(DOUBLE, **FOUR))
    lines = of(own, "lane_line", "double_solid")
    assert len(lines) == 2
    assert breaches(own, design, "LANE-02", "LINE-03") == []
    clipped = [cut(p, (90.0, 300.0)) if p in lines else p for p in own]
    assert min(q.long_ft for p in clipped if p.kind == "lane_line" for q in p.parts) < 5.0
    assert breaches(clipped, design, "LANE-02", "LINE-03") == []
    assert row in breaches([spoil(p) if p in lines else p for p in own], design, row)


def test_a_solid_edge_line_that_other_paint_crosses_is_still_solid() -> None:
    own, design = laid(street({"edge_line": {"at": ["every_street"]}}))
    lines = of(own, "edge_line")
    assert len(lines) == 2
    clipped = [cut(p, (90.0, 300.0)) if p in lines else p for p in own]
    assert max(len(p.parts) for p in clipped if p.kind == "edge_line") > 3
    assert breaches(clipped, design, "EDGE-04") == []
    assert "EDGE-04" in breaches([broken(p) if p in lines else p for p in own], design)


def test_the_lane_line_ends_before_the_taper() -> None:
    own, design = laid(lane_ends())
    assert breaches(own, design, "LANE-06") == []
    lines = [p for p in of(own, "lane_line") if p.segment and p.segment.segment_id == "w1"]
    end = lines[0].segment.length_ft if lines[0].segment else 0.0
    bad = [Paint(**{**vars_of(p), "to_ft": end}) if p in lines else p for p in own]
    assert "LANE-06" in breaches(bad, design)


def test_the_line_along_a_taper_is_an_edge_line() -> None:
    """A road so short that the taper takes all of it has no other line on that side."""
    main = {"name": "Ness Road", "street_class": "freeway", "oneway": "forward",
            "speed_mph": 65.0, "parking": "none"}  # fmt: skip
    rows = [
        {"segment_id": "a", **main, "lanes": 3, "width_ft": 36.0,
         "at": shapely.LineString([(-300.0, 20.0), (10.0, 70.0)])},
        {"segment_id": "b", **main, "lanes": 2, "width_ft": 24.0,
         "at": shapely.LineString([(10.0, 70.0), (700.0, 190.0)])},
    ]  # fmt: skip
    own, design = laid(Scene(rows))
    assert of(own, "lane_reduction", "taper_line")
    assert breaches(own, design, "EDGE-01") == []
    bare = [p for p in own if p.kind != "lane_reduction"]
    assert breaches(bare, design, "EDGE-01") == ["EDGE-01"]


@pytest.mark.parametrize("skew_x", [20.0, 210.0, 480.0])
def test_a_solid_line_along_the_far_side_of_a_t_only(skew_x: float) -> None:
    own, design = laid(tee_at(skew_x))
    along = [p for p in of(own, "edge_line") if p.shape.intersects(design.intersections[0].area)]
    assert along, "no solid line along the far side"
    assert breaches(own, design, "EDGE-03") == []
    bad = [across(p, design) if p in along[:1] else p for p in own]
    assert breaches(bad, design, "EDGE-03") == ["EDGE-03"]


@pytest.mark.parametrize(
    ("row", "adt", "setting"),
    [("CENTER-03", 6500, "urban"), ("CENTER-04", 4500, "urban"), ("CENTER-05", 3100, "rural")],
)
def test_busy_streets_without_a_center_line(row: str, adt: int, setting: str) -> None:
    own, design = laid(street({"edge_line": {"at": ["every_street"]}}, adt=adt, setting=setting))
    assert breaches(own, design, row) == []
    assert breaches([p for p in own if p.kind != "center_line"], design, row) == [row]
    quiet, there = laid(street(adt=900, setting=setting))
    assert breaches([p for p in quiet if p.kind != "center_line"], there, row) == []


def test_a_center_line_on_a_narrow_street() -> None:
    own, design = laid(street({"center_line": {"least_width": "0 ft"}}, width_ft=15.0))
    assert of(own, "center_line")
    assert breaches(own, design, "CENTER-06") == ["CENTER-06"]
    wide, there = laid(street(width_ft=17.0))
    assert breaches(wide, there, "CENTER-06") == []


@pytest.mark.parametrize(
    ("width", "lines"), [(10.0, 0), (15.0, 0), (15.9, 0), (16.0, 1), (17.0, 1), (24.0, 1)]
)
def test_no_center_line_below_16_ft_of_pavement(width: float, lines: int) -> None:
    """CENTER-06. Two lanes of the least width, 8 ft each, are drawn on any narrower street."""
    own, design = laid(street(width_ft=width))
    assert len(of(own, "center_line")) == lines
    assert design.segments[0].short_ft == pytest.approx(max(0.0, 16.0 - width))


def test_a_street_too_narrow_for_its_many_lanes_keeps_its_center_line() -> None:
    """CENTER-02 is a standard; a finding tells that width and lanes contradict each other."""
    own, design = laid(street(width_ft=14.0, lanes=4))
    assert [p.style for p in of(own, "center_line")] == ["double_solid"]
    assert breaches(own, design, "CENTER-02", "CENTER-06") == []


def test_zones_that_ought_to_be_one() -> None:
    """Of three stretches the middle one, solid and short, loses its solid line."""
    own, design = laid(winding(rules={"center_line": {"no_passing": "curves"}}))
    assert breaches(own, design, "CENTER-08") == []
    lines = [p for p in of(own, "center_line") if p.segment and p.segment.segment_id == "v1"]
    both = max(lines, key=lambda p: (p.style == "double_solid", p.to_ft - p.from_ft))
    assert both.segment is not None
    assert both.to_ft - both.from_ft > 260.0
    middle = both.segment.axis.interpolate((both.from_ft + both.to_ft) / 2)
    bad = [replaced(p, p.shape.difference(middle.buffer(90.0))) if p is both else p for p in own]
    assert breaches(bad, design, "CENTER-08") == ["CENTER-08"]


def test_arrows_of_a_shared_lane_stand_in_pairs() -> None:
    own, design = laid(shared_lane())
    arrows = of(own, "turn_lane_arrow")
    assert len(arrows) > 3
    assert breaches(own, design, "TWLTL-03") == []
    alone = [p for p in own if p not in arrows[1:]]
    assert "TWLTL-03" in breaches(alone, design)


def test_lines_of_a_shared_lane_end_before_the_intersection() -> None:
    own, design = paints_on("five_lane")
    lines = [p for p in of(own, "center_line", "two_way_left_turn") if p.leg is not None]
    for p in lines[:1]:
        assert p.leg is not None
        length = p.leg.segment.length_ft
        ends = {"to_ft": length} if p.leg.at_end else {"from_ft": 0.0}
        bad = [Paint(**{**vars_of(q), **ends}) if q is p else q for q in own]
        assert breaches(bad, design, "TWLTL-04") == ["TWLTL-04"]
    assert lines
    assert breaches(own, design, "TWLTL-04") == []


ISLAND = {"rules": {"flush_median": {"at": ["turn_lane_end"]}, "center_line": {"median": "100 ft"},
                    "turn_lane_arrows": {"median": "100 ft"}}}  # fmt: skip


@pytest.mark.parametrize("bend", [-1.0, 1.0])
def test_diagonals_are_measured_where_they_lie(bend: float) -> None:
    """On a curve of 260 ft radius an island of 100 ft turns by more than 20 degrees."""
    t = np.radians(np.arange(0.0, 100.0, 4.0))
    arc = np.column_stack([30.0 + 260.0 * np.sin(t), bend * 260.0 * (1.0 - np.cos(t)) - 11.0])
    base = {"name": "Ferry Road", "street_class": "arterial", "parking": "none",
            "speed_mph": 45.0}  # fmt: skip
    rows = [
        {"segment_id": "c", **base, "lanes": 5, "width_ft": 60.0, "center_turn_lane": True,
         "at": shapely.LineString(arc)},
        {"segment_id": "d", **base, "lanes": 4, "width_ft": 50.0,
         "at": shapely.LineString([arc[0], (-310.0, -11.0)])},
    ]  # fmt: skip
    own, design = laid(Scene(rows, settings=ISLAND))
    (marks,) = of(own, "flush_median", "diagonals")
    assert np.ptp([q.turn_deg for q in marks.parts]) > 10.0
    assert breaches(own, design, "CHEV-01", "CHEV-03", "CHEV-08", "TWLTL-02") == []
    tip = marks.parts[0].shape
    sliver = tip.difference(shapely.affinity.translate(tip, 0.3, 0.1))
    rest = [q.shape for q in marks.parts[1:]]
    left = replaced(marks, shapely.MultiPolygon([*shapely.get_parts(sliver), *rest]))
    assert breaches([left if p is marks else p for p in own], design, "CHEV-01", "CHEV-03") == []
    thin = narrower(marks, 0.6)
    assert "CHEV-01" in breaches([thin if p is marks else p for p in own], design)
    turned = [shapely.affinity.rotate(q.shape, 30.0) for q in marks.parts]
    wrong = replaced(marks, shapely.MultiPolygon(turned))
    assert "CHEV-03" in breaches([wrong if p is marks else p for p in own], design)


def test_an_island_of_no_width() -> None:
    own, design = laid(lane_into_nothing(**ISLAND))
    lines = of(own, "flush_median", "double_solid")
    assert breaches(own, design, "CHAN-03") == []
    a, b = sorted(lines, key=lambda p: p.left_ft)
    room = b.left_ft - a.right_ft
    near = Paint(**{**vars_of(b), "left_ft": a.right_ft + 1.0, "right_ft": b.right_ft - room + 1.0})
    assert breaches([near if p is b else p for p in own], design, "CHAN-03") == ["CHAN-03"]


def test_chevrons_of_slow_roads() -> None:
    """CHEV-02: 8 in below 45 mph; CHEV-04 (California): 45 deg; CHEV-05: 200 ft apart at most."""
    scene = fork(rules={"channelizing": {"angle": "35 deg"}})
    slow = [{**row, "speed_mph": 35.0} for row in scene.streets]
    own, design = laid(Scene(slow, settings=scene.settings))
    marks = of(own, "chevrons")
    assert breaches(own, design, "CHEV-01", "CHEV-02", "CHEV-03", "CHEV-05") == []
    assert breaches(own, design, "CHEV-04") == ["CHEV-04"]
    thin = [replaced(p, p.shape.buffer(-0.12, join_style="mitre")) if p in marks else p
            for p in own]  # fmt: skip
    assert breaches(thin, design, "CHEV-02") == ["CHEV-02"]
    far = marks[0]
    first = far.parts[0].shape
    apart = shapely.MultiPolygon([first, shapely.affinity.translate(first, 190.0, 90.0)])
    bad = [replaced(p, apart) if p is far else p for p in own]
    assert breaches(bad, design, "CHEV-05") == ["CHEV-05"]


# ---- lanes that end ---------------------------------------------------------------------------


def narrowing(before: tuple[int, float], after: tuple[int, float], **more: Any) -> Scene:
    """A long curved road of so many lanes and feet, and what it goes on with, at 45 mph."""
    arc = [(-1500.0 + 50.0 * k, 40.0 + 0.00008 * (50.0 * k) ** 2) for k in range(31)]
    main = {"name": "Ness Road", "street_class": "arterial", "speed_mph": 45.0,
            "parking": "none", **more.pop("row", {})}  # fmt: skip
    line = shapely.LineString(arc)
    return Scene(
        [
            {"segment_id": "a", **main, "lanes": before[0], "width_ft": before[1],
             "at": shapely.reverse(line) if main.get("oneway") == "backward" else line},
            {"segment_id": "b", **main, "lanes": after[0], "width_ft": after[1],
             "at": shapely.LineString([arc[-1], (700.0, 330.0)][::
                                      -1 if main.get("oneway") == "backward" else 1])},
        ],
        settings=more,
    )  # fmt: skip


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("oneway", ["forward", "backward"])
def test_lanes_that_end_on_both_sides(side: str, oneway: str) -> None:
    """Four lanes become two in the middle: two tapers of 12 x 45 ft (TAPER-01), each its color."""
    row = {"oneway": oneway}
    scene = narrowing((4, 48.0), (2, 24.0), row=row, project={"driving_side": side})
    own, design = laid(scene)
    tapers = of(own, "lane_reduction", "taper_line")
    assert sorted(p.color for p in tapers) == ["white", "yellow"]
    assert [p.to_ft - p.from_ft for p in tapers] == pytest.approx([540.0, 540.0], abs=0.5)
    white = next(p for p in tapers if p.color == "white")
    axis = white.segment.axis if white.segment else None
    a, b = (axis.interpolate(white.station_ft + d) for d in (-1.0, 1.0))
    way = 1 if oneway == "forward" else -1
    spot = white.shape.centroid
    on_right = ((spot.x - a.x) * (b.y - a.y) - (spot.y - a.y) * (b.x - a.x)) * way > 0
    assert on_right == (side == "right")
    arrows = of(own, "lane_reduction", "arrow")
    assert sorted(round(p.offset_ft) for p in arrows) == [-18, -18, 18, 18]
    lines = [p for p in of(own, "lane_line") if p.segment and p.segment.segment_id == "a"]
    total = design.segments[0].length_ft
    before = {round(p.offset_ft): total - p.to_ft if way == 1 else p.from_ft for p in lines}
    assert sorted(before) == [-12, 0, 12]
    # 3/4 of the 775 ft of the Lane Ends sign at 45 mph, and the taper (LANE-06); then half a gap
    wanted = 540 + 0.75 * 775
    assert before[0] < 16.0
    assert all(wanted - 1.0 < before[k] < wanted + 16.0 for k in (-12, 12))
    bare = [p for p in own if p not in arrows or p.offset_ft > 0.0]
    assert breaches(bare, design, "ARROW-10") == ["ARROW-10"]
    assert breaches(own, design, "LANE-06", "TAPER-01", "ARROW-10") == []


def test_two_lanes_that_end_side_by_side() -> None:
    """Six lanes become two: no line between the lanes that end, none beside the one that stays."""
    own, design = laid(narrowing((6, 72.0), (2, 26.0)))
    (taper,) = of(own, "lane_reduction", "taper_line")
    assert taper.to_ft - taper.from_ft == pytest.approx((36 - 13) * 45, abs=0.5)
    assert "2 lanes end" in layout_of(narrowing((6, 72.0), (2, 26.0)))[0]["reason"].str.cat()
    lines = [p for p in of(own, "lane_line") if p.offset_ft > 0]
    assert all(not p.shape.intersects(taper.shape.buffer(200.0)) for p in lines)
    assert breaches(own, design, "LANE-06", "TAPER-01", "ARROW-10") == []
    arrows = of(own, "lane_reduction", "arrow")
    assert sorted(round(p.offset_ft) for p in arrows) == [18, 30]

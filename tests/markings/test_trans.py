"""Transverse markings measured on the finished polygons, and their checks on good and bad paint."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from scenes import SCENES, Scene, design_of, layout_of, project
from shapely import affinity

from layoutgen.markings.catalog import rule_catalog, standard_rows
from layoutgen.markings.conformity import Check, LaidOut, Paint
from layoutgen.markings.engine import ask_rules
from layoutgen.markings.marking import Marking
from layoutgen.markings.measuring import extents
from layoutgen.markings.rail_zone import off_rails, rail_zones
from layoutgen.street.design import Design

INCH = 1 / 12
LEFT = {"driving_side": "left"}
OWN = ("crosswalk", "midblock_crosswalk", "stop_line", "yield_line", "school", "rail_crossing",
       "speed_hump", "yield_ahead", "keep_clear", "roundabout_entry")  # fmt: skip
ON: Mapping[str, Any] = {
    "speed_hump": {"advance": True},
    "rail_crossing": {"envelope": True, "clear_zone": "20 ft"},
    "yield_ahead": {"enabled": True},
    "keep_clear": {"enabled": True, "inside": "crosshatch"},
}


@cache
def place(scene: str, left: bool = False) -> tuple[gpd.GeoDataFrame, Design]:
    """A scene with every option of these families."""
    settings: dict[str, Any] = {"rules": ON}
    if left:
        settings["project"] = LEFT
    markings, design, _ = layout_of(SCENES[scene](**settings))
    return markings, design


def laid_out(markings: gpd.GeoDataFrame, design: Design) -> LaidOut:
    """The layout as the checks see it."""
    legs = {leg.leg_id: leg for leg in design.legs()}
    paints = []
    for row in markings.to_dict("records"):
        segment = design.segments[row["segment_index"]]
        wide = extents(np.array([row["geometry"]]), np.array([row["bearing_deg"]]))[1][0]
        paints.append(
            Paint(
                row["marking_id"],
                row["kind"],
                row["style"],
                row["color"],
                row["geometry"],
                row["bearing_deg"],
                segment,
                (row["from_ft"] + row["to_ft"]) / 2,
                row["offset_ft"],
                legs.get(row["anchor"]),
                row["from_ft"],
                row["to_ft"],
                row["offset_ft"] - wide / 2,
                row["offset_ft"] + wide / 2,
            )
        )
    return LaidOut(tuple(paints), design)


def checks() -> list[Check]:
    found = {id(c): c for rule in OWN for c in rule_catalog()[rule].checks}
    return list(found.values())


def breaches(laid: LaidOut, row: str = "") -> list[tuple[str, str]]:
    """(row, what is wrong) of all own checks that concern the federal rows."""
    out = []
    for check in checks():
        if row and check.row != row:
            continue
        if check.on:
            sites = {
                "block": laid.design.blocks,
                "approach": [leg for leg in laid.design.legs() if leg.inbound],
            }[check.on]
            found = [check.test(site, laid) for site in sites]
        else:
            found = [check.test(p, laid) for p in laid.paints if check.asks(p)]
        out += [(check.row, text) for text in found if text]
    return out


#: rows of states, and those that a scene breaks on purpose
STATES = {"SCHOOL-02", "SCHOOL-03", "SCHOOL-04", "SCHOOL-05", "STOP-11", "RAIL-14"}


@pytest.mark.parametrize("left", [False, True])
@pytest.mark.parametrize("scene", SCENES)
def test_own_layouts_satisfy_the_federal_rows(scene: str, left: bool) -> None:
    found = breaches(laid_out(*place(scene, left)))
    kept = [b for b in found if b[0] not in STATES and not known(scene, b)]
    assert not kept


def known(scene: str, breach: tuple[str, str]) -> bool:
    """Breaches that are the street's: a block shorter than the advance distance."""
    return scene == "rails" and breach[0] == "ADV-04"


def test_every_check_names_a_row_of_the_standard() -> None:
    for check in checks():
        assert check.row in standard_rows(), check.row


# ---- numbers of the standard on the finished polygons ---------------------------------------


def of(markings: gpd.GeoDataFrame, kind: str, anchor: str) -> list[dict[str, Any]]:
    own = markings[(markings["kind"] == kind) & (markings["anchor"] == anchor)]
    return list(own.to_dict("records"))


def along(row: Mapping[str, Any]) -> np.ndarray[Any, Any]:
    """Extent (first, last) of every piece along the travel that reads the marking."""
    t = math.radians(row["bearing_deg"])
    ahead = np.array([math.sin(t), math.cos(t)])
    pieces = (shapely.get_coordinates(p) @ ahead for p in shapely.get_parts(row["geometry"]))
    return np.array([(p.min(), p.max()) for p in pieces])


@pytest.mark.parametrize("left", [False, True])
def test_rail_marking_by_hand(left: bool) -> None:
    """RAIL-03, 04, 06, 07, 12, 13 and ADV-03 at gates with two tracks."""
    markings, _ = place("rails", left)
    rows = of(markings, "rail_crossing", "g")
    lines = [r for r in rows if r["style"] == "transverse_lines"]
    xs = [r for r in rows if r["style"] == "rail_x"]
    assert (len(lines), len(xs)) == (2, 4)
    rail = 7.0 + 4.7083 / 2
    for line in lines:
        spans = along(line)
        assert np.ptp(spans) == pytest.approx(50.0)
        assert spans[:, 1] - spans[:, 0] == pytest.approx(2.0)
        assert abs(line["station_ft"] - 380.0) - rail == pytest.approx(200.0, abs=1e-3)
        beside = [x for x in xs if x["bearing_deg"] == pytest.approx(line["bearing_deg"])]
        assert len(beside) == 2
        for x in beside:
            own = along(x)
            assert own.min() - spans.min() == pytest.approx(15.0)
            assert np.ptp(own) == pytest.approx(20.0)
    stops = of(markings, "stop_line", "g")
    assert len(stops) == 2
    for stop in stops:
        # 15 ft to the gate, 8 ft more to the line
        away = abs((stop["from_ft"] + stop["to_ft"]) / 2 - 380.0) - 1.0 - rail
        assert away == pytest.approx(23.0, abs=1e-3)


def test_no_figure_stands_between_the_stop_lines_of_rails() -> None:
    """Symbols of bike lanes and their arrows move out together; what may not move is left out."""
    markings, _, findings = layout_of(SCENES["rail_lanes"]())
    stops = markings[markings["kind"] == "stop_line"]
    near, far = stops["from_ft"].min(), stops["to_ft"].max()
    assert far - near > 60.0
    figures = markings[(markings["kind"] == "bike_lane") & (markings["gives"] == "whole")]
    assert not ((figures["from_ft"] < far) & (figures["to_ft"] > near)).any()
    symbols, arrows = (figures[figures["style"] == s] for s in ("symbol", "arrow"))
    ahead = (arrows["station_ft"].to_numpy() - symbols["station_ft"].to_numpy()) * np.sign(
        symbols["offset_ft"].to_numpy()
    )
    assert len(symbols) == 6
    assert ahead == pytest.approx(12.0)
    assert sum(f.code == "moved" for f in findings) == 2
    (symbol,) = [m for _, m in asked_of("rail_lanes") if m.tag == "symbol" and m.offset_ft == 14.5
                 and 240.0 < m.station_ft < 260.0 and m.kind == "bike_lane"]  # fmt: skip
    fixed = [("words", replace(symbol, shift_ft=0.0, group=""))]
    kept, told = off_rails(fixed, rail_zones([*asked_of("rail_lanes"), *fixed]))
    assert not kept
    assert [f.code for f in told] == ["on_rails"]


@pytest.mark.parametrize("along", [30.0, 95.0, 300.0, 660.0])
def test_figures_that_leave_the_rails_stay_on_their_street(along: float) -> None:
    base = SCENES["rail_lanes"]()
    at = base.streets[0]["at"].interpolate(along)
    rail = [{**base.more["rail_crossings"][0], "at": at}]
    markings, _, _ = layout_of(replace(base, more={"rail_crossings": rail}))
    figures = markings[(markings["kind"] == "bike_lane") & (markings["gives"] == "whole")]
    assert len(figures) >= 8
    assert figures["from_ft"].min() >= 0.0
    assert figures["to_ft"].max() <= 700.0
    # two tracks 14 ft apart, 15 ft from the outer rails to where stop lines are at least
    half = 7.0 + 4.7083 / 2 + 15.0
    free = (figures["to_ft"] <= along - half + 1e-6) | (figures["from_ft"] >= along + half - 1e-6)
    assert free.all()


def asked_of(scene: str) -> list[tuple[str, Marking]]:
    own = project()
    design, _ = design_of(SCENES[scene]())
    return ask_rules(design, own.rules)


def test_stop_lines_reach_over_the_bike_lane_of_the_approach() -> None:
    """3B.19 P2 (note of STOP-01): at rails, at a crosswalk in a block, and not over the others'."""
    base = SCENES["rail_lanes"]()
    crossing = {
        "crossing_id": "w",
        "markings": "marked",
        "control": "signal",
        "at": base.streets[0]["at"].interpolate(500.0),
    }
    scene = replace(base, crossing_points=[crossing])
    markings, design, _ = layout_of(scene)
    lines = markings[markings["kind"] == "stop_line"]
    assert len(lines) == 4
    for row in lines.to_dict("records"):
        # from the center line, 0.75 ft clear of its middle, over 12 ft of lane and 5 of bike lane
        assert abs(row["offset_ft"]) == pytest.approx(0.75 + 16.25 / 2)
        assert row["area_sqft"] == pytest.approx(2.0 * 16.25)
    assert not breaches(laid_out(markings, design), "STOP-01")
    cut = markings.copy()
    # what is left lies over the lane alone
    shorter = [shapely.intersection(g, g.centroid.buffer(5.0)) for g in lines.geometry]
    cut.loc[lines.index, "geometry"] = shorter
    told = breaches(laid_out(cut, design), "STOP-01")
    assert sum("bike lane" in text for _, text in told) == 4


def test_figures_face_the_traffic_of_their_lane() -> None:
    for left in (False, True):
        for scene, kind in (("rails", "rail_crossing"), ("fast_yield", "yield_ahead")):
            markings, design = place(scene, left)
            own = markings[(markings["kind"] == kind) & (markings["gives"] == "whole")]
            assert len(own)
            for row in own.to_dict("records"):
                segment = design.segments[row["segment_index"]]
                lane = next(s for s in segment.strips
                            if s.left_ft < row["offset_ft"] < s.right_ft)  # fmt: skip
                at = np.array([row["station_ft"]])
                ahead = design.axes.directions(np.array([segment.index]), at)[0] * lane.direction
                heading = math.degrees(math.atan2(ahead[0], ahead[1]))
                assert math.cos(math.radians(heading - row["bearing_deg"])) > 0.999


def test_advance_lines_before_a_hump() -> None:
    """HUMP-01 to HUMP-08: eight lines of 12 in, 1 to 8 ft long, 100 to 2 ft ahead."""
    markings, _ = place("humps")
    rows = [r for r in of(markings, "speed_hump", "a") if r["style"] == "advance"]
    ahead = [r for r in rows if r["offset_ft"] > 0 and r["station_ft"] < 200.0]
    assert len(ahead) == 8
    found = {round(r["area_sqft"]): 194.0 - r["to_ft"] for r in ahead}
    assert found == pytest.approx(
        {1: 100.0, 2: 80.0, 3: 62.0, 4: 46.0, 5: 32.0, 6: 20.0, 7: 10.0, 8: 2.0}, abs=1e-3
    )


@pytest.mark.parametrize("scene", ["midblock", "walk_curve"])
def test_advance_yield_lines_keep_their_distance(scene: str) -> None:
    """STOP-04: 20 to 50 ft, here 30, between crosswalk and line; on a curve straight across."""
    markings, _ = place(scene)
    walk = next(r for r in markings.to_dict("records") if r["tag"] == "midblock"
                and r["kind"] == "crosswalk")  # fmt: skip
    lines = of(markings, "yield_line", walk["anchor"])
    assert len(lines) == 2
    for line in lines:
        gap = line["geometry"].distance(walk["geometry"].convex_hull)
        assert 20.0 <= gap <= 50.0
        if scene == "midblock":
            assert gap == pytest.approx(30.0, abs=1e-6)


def test_long_lines_end_at_crosswalks_in_blocks() -> None:
    markings, _ = place("midblock")
    walks = markings[markings["kind"] == "crosswalk"].geometry
    lines = markings[markings["is_line"]].geometry
    rooms = shapely.buffer(shapely.convex_hull(walks.to_numpy()), 3.9, join_style="mitre")
    assert len(lines) > 4
    assert not lines.intersects(shapely.union_all(rooms)).any()


@pytest.mark.parametrize("shift", range(0, 40, 3))
def test_no_stub_of_a_line_is_left_at_a_crosswalk_in_a_block(shift: int) -> None:
    """Of a 10 ft segment at least half is painted, wherever the crosswalk meets the pattern."""
    base = SCENES["midblock"]()
    at = base.streets[0]["at"].interpolate(240.0 + shift)
    moved = [{**p, "at": at} if p["crossing_id"] == "kf" else p for p in base.crossing_points]
    markings, _, _ = layout_of(replace(base, crossing_points=moved))
    lines = [r for r in of(markings, "lane_line", "f") if r["style"] == "broken"]
    assert lines
    pieces = np.concatenate([np.diff(along(r), axis=1)[:, 0] for r in lines])
    assert pieces.max() == pytest.approx(10.0)
    assert pieces.min() >= 5.0 - 1e-3


def test_entry_lines_lie_outside_the_ring_before_the_yield_line() -> None:
    markings, design = place("circle")
    areas = shapely.union_all([c.area for c in design.intersections])
    entries = markings[markings["kind"] == "entry_line"]
    assert len(entries) == 4
    for row in entries.to_dict("records"):
        assert row["geometry"].intersection(areas).area < 0.01
        pieces = shapely.get_parts(row["geometry"])
        assert shapely.area(pieces) == pytest.approx(2.0 * 8 * INCH)  # LINE-08, LINE-02
        assert shapely.distance(pieces[0], pieces[1]) == pytest.approx(2.0)  # LINE-09


def test_diagonal_bars_stand_at_45_degrees_to_the_crosswalk() -> None:
    """XWALK-26; half a turn leaves the pattern as it is."""
    rules = {"midblock_crosswalk": {"style": "diagonal"}}
    markings, design, _ = layout_of(SCENES["midblock"](rules=rules))
    row = of(markings, "crosswalk", "f")[0]
    shape = row["geometry"]
    middle = shapely.Point(np.mean(shapely.get_coordinates(shape.convex_hull)[:-1], axis=0))
    turned = affinity.rotate(shape, 180.0, origin=middle)
    assert shape.symmetric_difference(turned).area < 0.05 * shape.area
    assert not breaches(laid_out(markings, design), "XWALK-26")


def test_box_outline_is_wide_and_inside_the_area() -> None:
    """DNB-01, LINE-02."""
    markings, design = place("mini_box")
    row = next(r for r in markings.to_dict("records") if r["style"] == "outline")
    (area,) = [c.area for c in design.intersections]
    assert area.buffer(1e-6).covers(row["geometry"])
    ring = shapely.get_parts(row["geometry"])[0]
    hole = shapely.Polygon(ring.interiors[0])
    assert shapely.distance(hole, area.exterior) == pytest.approx(8 * INCH, abs=1e-6)


def test_slow_school_xing_reads_in_order_and_keeps_100_ft() -> None:
    """SCHOOL-07, WORD-03, WORD-06."""
    rules = {"school": {"slow_school_xing": True}}
    markings, design, _ = layout_of(SCENES["school_walk"](rules=rules))
    words = markings[markings["tag"] == "school_xing"]
    assert set(words["style"]) == {"SLOW", "SCHOOL", "XING"}
    walks = shapely.union_all(markings[markings["kind"] == "crosswalk"].geometry)
    assert words.geometry.distance(walks).min() >= 100.0 - 1e-6
    for (_, bearing), own in words.groupby(["segment_id", "bearing_deg"]):
        t = math.radians(bearing)
        ahead = own.geometry.centroid.x * math.sin(t) + own.geometry.centroid.y * math.cos(t)
        read = own["style"].loc[ahead.sort_values().index].to_list()
        assert read == ["SLOW", "SCHOOL", "XING"] * (len(own) // 3)
    assert not breaches(laid_out(markings, design), "SCHOOL-07")


# ---- nothing depends on how streets are drawn ----------------------------------------------

SWAP = {"left": "right", "right": "left", "forward": "backward", "backward": "forward"}
DRAWN = ("midblock", "walk_curve", "school_walk", "rails", "humps", "fast_yield", "mini_box")


def drawn_back(scene: Scene) -> Scene:
    """The same streets, every one digitised the other way."""
    rows = []
    for row in scene.streets:
        line = row["at"] if not isinstance(row["at"], str) else shapely.from_wkt(row["at"])
        swapped = {
            k: SWAP.get(row[k], row[k]) for k in ("parking", "bike_lane", "oneway") if k in row
        }
        rows.append({**row, **swapped, "at": line.reverse()})
    return replace(scene, streets=rows)


@pytest.mark.parametrize("style", ["longitudinal_bars", "diagonal"])
@pytest.mark.parametrize("name", DRAWN)
def test_digitised_direction_does_not_matter(name: str, style: str) -> None:
    walks = {"style": style}
    rules = {**ON, "midblock_crosswalk": walks, "crosswalk": walks,
             "school": {"slow_school_xing": True}}  # fmt: skip
    scene = SCENES[name](rules=rules)
    own, back = (layout_of(s)[0].set_index("marking_id") for s in (scene, drawn_back(scene)))
    kinds = ["crosswalk", "stop_line", "yield_line", "rail_crossing", "speed_hump", "yield_ahead",
             "keep_clear", "entry_line", "word"]  # fmt: skip
    own, back = own[own["kind"].isin(kinds)], back[back["kind"].isin(kinds)]
    assert set(own.index) == set(back.index)
    off = shapely.area(
        shapely.symmetric_difference(
            own.geometry.to_numpy(), back.geometry.loc[own.index].to_numpy()
        )
    )
    assert off.max() < 0.01
    turn = (own["bearing_deg"] - back["bearing_deg"].loc[own.index] + 180.0) % 360.0 - 180.0
    assert turn.abs().max() < 0.01


def random_block(seed: int) -> Scene:
    """A street of random section on a curve or with a bend, with features anywhere on it."""
    rng = np.random.default_rng(seed)
    long = float(rng.uniform(60.0, 700.0))
    bend = float(rng.uniform(-0.6, 0.6))
    points = [(0.0, 0.0), (long / 2, bend * 40.0), (long, float(rng.uniform(-60.0, 60.0)))]
    line = affinity.rotate(shapely.LineString(points), float(rng.uniform(0, 360)), origin=(9, 4))
    row: dict[str, Any] = {
        "segment_id": "s", "at": line, "width_ft": float(rng.uniform(16.0, 80.0)),
        "lanes": int(rng.integers(1, 6)), "speed_mph": float(rng.choice([20, 25, 35, 40, 55])),
        "street_class": str(rng.choice(["arterial", "collector", "local"])),
        "oneway": str(rng.choice(["both", "both", "forward", "backward"])),
    }  # fmt: skip
    side = {"segment_id": "x", "street_class": "local",
            "at": affinity.rotate(shapely.LineString([line.coords[-1], (line.coords[-1][0] + 250.0,
                                  line.coords[-1][1])]), float(rng.uniform(0, 360)),
                                  origin=line.coords[-1])}  # fmt: skip

    def spot() -> Any:
        return line.interpolate(float(rng.uniform(0.0, long)))

    walks = [{"crossing_id": f"c{k}", "markings": "marked", "at": spot(),
              "control": str(rng.choice(["none", "signal", "yield", "stop"]))}
             for k in range(2)]  # fmt: skip
    more = {
        "rail_crossings": [{"crossing_id": "r", "control": "gates", "at": spot()}],
        "speed_humps": [{"hump_id": f"h{k}", "kind": str(rng.choice(["hump", "table", "cushion"])),
                         "at": spot()} for k in range(2)],
    }  # fmt: skip
    styles = ["longitudinal_bars", "ladder", "bar_pairs", "transverse_lines", "diagonal"]
    rules = {**ON, "midblock_crosswalk": {"style": str(rng.choice(styles))}}
    settings = {"rules": rules, "project": {"driving_side": str(rng.choice(["left", "right"]))}}
    return Scene([row, side], crossing_points=walks, more=more, settings=settings)


@pytest.mark.parametrize("start", range(0, 100, 10))
def test_random_blocks_stay_sane(start: int) -> None:
    for seed in range(start, start + 10):
        markings, design, _ = layout_of(random_block(seed))
        shapes = markings.geometry.to_numpy()
        assert shapely.is_valid(shapes).all(), seed
        areas = [crossing.area for crossing in design.intersections]
        pavement = shapely.union_all([*design.roadways(), *areas]).buffer(0.5)
        off = markings["marking_id"][~shapely.covered_by(shapes, pavement)]
        assert not len(off), (seed, off.tolist())
        a, b = shapely.STRtree(shapes).query(shapes, predicate="intersects")
        shared = shapely.area(shapely.intersection(shapes[a[a < b]], shapes[b[a < b]]))
        assert shared.max(initial=0.0) < 0.03, seed


# ---- checks fire on paint made wrong --------------------------------------------------------


def bad(scene: str, kind: str, change: Any, style: str = "") -> LaidOut:
    """A layout in which one marking of a kind (and style, after a colon) was painted wrong."""
    kind, _, more = kind.partition(":")
    laid = laid_out(*place(scene))
    own = next(p for p in laid.paints if p.kind == kind and (style or more) in p.style)
    paints = tuple(change(p) if p is own else p for p in laid.paints)
    return LaidOut(paints, laid.design)


def scaled(x: float, y: float = 0.0) -> Any:
    return lambda p: replace(p, shape=affinity.scale(p.shape, x, y or x, origin=p.shape.centroid))


def shifted(by: float) -> Any:
    """Moved along the travel, as the street model would find it."""

    def change(p: Paint) -> Paint:
        t = math.radians(p.bearing_deg)
        moved = affinity.translate(p.shape, by * math.sin(t), by * math.cos(t))
        assert p.segment is not None
        way = 1.0
        if p.leg is not None:
            way = 1.0 if p.leg.at_end else -1.0
        return replace(p, shape=moved, station_ft=p.station_ft + way * by)

    return change


def colored(color: str) -> Any:
    return lambda p: replace(p, color=color)


def turned(p: Paint) -> Paint:
    return replace(p, shape=affinity.rotate(p.shape, 180.0, origin=p.shape.centroid))


def styled(style: str) -> Any:
    return lambda p: replace(p, style=style)


def thinned(p: Paint) -> Paint:
    parts = list(shapely.get_parts(p.shape))
    return replace(p, shape=shapely.MultiPolygon(parts[:2]))


def second_gone(p: Paint) -> Paint:
    parts = sorted(shapely.get_parts(p.shape), key=lambda s: s.centroid.y)
    return replace(p, shape=shapely.MultiPolygon([*parts[:2], *parts[4:]]))


BAD = [
    ("cross", "stop_line", scaled(2.0), "STOP-01"),
    ("cross", "stop_line", colored("yellow"), "STOP-01"),
    ("cross", "stop_line", shifted(3.0), "STOP-02"),
    ("tee", "stop_line", shifted(3.0), "STOP-03"),
    ("tee", "stop_line", shifted(-40.0), "STOP-03"),
    ("midblock", "yield_line", shifted(40.0), "STOP-04"),
    ("circle", "yield_line", shifted(-45.0), "STOP-05"),
    ("yield_tee", "yield_line", lambda p: replace(p, kind="stop_line"), "STOP-06"),
    ("cross", "stop_line", lambda p: replace(p, kind="yield_line"), "YIELD-08"),
    ("yield_tee", "yield_line", scaled(0.4), "YIELD-01"),
    ("yield_tee", "yield_line", scaled(1.0, 2.0), "YIELD-02"),
    ("yield_tee", "yield_line", scaled(1.3), "YIELD-03"),
    ("yield_tee", "yield_line", turned, "YIELD-07"),
    ("cross", "crosswalk", colored("yellow"), "XWALK-01"),
    ("cross", "crosswalk", scaled(0.4), "XWALK-03"),
    ("midblock", "crosswalk", scaled(0.6), "XWALK-04"),
    ("cross", "crosswalk", thinned, "XWALK-07"),
    ("cross", "crosswalk", scaled(0.4), "XWALK-11"),
    ("cross", "crosswalk", second_gone, "XWALK-12"),
    ("cross", "crosswalk", second_gone, "XWALK-13"),
    ("cross", "crosswalk", styled("bar_pairs"), "XWALK-18"),
    ("circle", "crosswalk", shifted(9.0), "XWALK-23"),
    ("rails", "rail_crossing:transverse", scaled(0.8), "RAIL-03"),
    ("rails", "rail_crossing:transverse", scaled(0.9), "RAIL-04"),
    ("rails", "rail_crossing", colored("yellow"), "RAIL-01"),
    ("humps", "speed_hump", colored("yellow"), "HUMP-11"),
    ("mini_box", "keep_clear", colored("yellow"), "DNB-01"),
    ("circle", "entry_line", scaled(0.5), "ROUND-01"),
]


@pytest.mark.parametrize(("scene", "kind", "change", "row"), BAD)
def test_checks_fire(scene: str, kind: str, change: Any, row: str) -> None:
    good = breaches(laid_out(*place(scene)), row)
    assert len(breaches(bad(scene, kind, change), row)) > len(good)


@pytest.mark.parametrize(
    ("change", "row"),
    [(scaled(0.8), "RAIL-07"), (scaled(0.9), "RAIL-08"), (scaled(0.7), "RAIL-05"),
     (shifted(5.0), "RAIL-06"), (scaled(0.7), "RAIL-09")],
)  # fmt: skip
def test_checks_of_the_x_fire(change: Any, row: str) -> None:
    assert breaches(bad("rails", "rail_crossing", change, "rail_x"), row)


@pytest.mark.parametrize(
    ("kind", "row"),
    [("yield_line", "STOP-04"), ("rail_crossing", "RAIL-02"), ("entry_line", "ROUND-01")],
)
def test_missing_paint_is_told(kind: str, row: str) -> None:
    scene = {"yield_line": "midblock", "rail_crossing": "rails", "entry_line": "circle"}[kind]
    laid = laid_out(*place(scene))
    less = LaidOut(tuple(p for p in laid.paints if p.kind != kind), laid.design)
    assert len(breaches(less, row)) > len(breaches(laid, row))


@pytest.mark.parametrize(("style", "row"), [("ladder", "XWALK-15"), ("ladder", "XWALK-16")])
def test_ladders_are_measured_between_their_bars(style: str, row: str) -> None:
    rules = {"crosswalk": {"style": style}}
    markings, design, _ = layout_of(SCENES["cross"](rules=rules))
    laid = laid_out(markings, design)
    for own in ("XWALK-14", "XWALK-15", "XWALK-16"):
        assert not breaches(laid, own)
    walk = next(p for p in laid.paints if p.kind == "crosswalk")
    wide = replace(walk, shape=affinity.scale(walk.shape, 3.0, 3.0))
    assert breaches(LaidOut((wide,), design), row)


def test_bar_pairs_are_measured_pair_by_pair() -> None:
    markings, design, _ = layout_of(SCENES["cross"](rules={"crosswalk": {"style": "bar_pairs"}}))
    laid = laid_out(markings, design)
    for own in ("XWALK-07", "XWALK-18", "XWALK-19", "XWALK-20", "XWALK-21"):
        assert not breaches(laid, own)
    walk = next(p for p in laid.paints if p.kind == "crosswalk")
    parts = shapely.get_parts(walk.shape)
    moved = replace(walk, shape=shapely.MultiPolygon([*parts[:3], *parts[5:]]))
    found = {row for row, _ in breaches(LaidOut((moved,), design))}
    assert found & {"XWALK-19", "XWALK-20"}


def test_transverse_lines_alone_need_control() -> None:
    """XWALK-05 at legs that nothing controls, XWALK-06 inside blocks."""
    rules = {"crosswalk": {"style": "transverse_lines", "at": ["every_leg"]},
             "midblock_crosswalk": {"style": "transverse_lines"}}  # fmt: skip
    markings, design, _ = layout_of(SCENES["tee"](rules=rules))
    assert breaches(laid_out(markings, design), "XWALK-05")
    markings, design, _ = layout_of(SCENES["midblock"](rules=rules))
    assert len(breaches(laid_out(markings, design), "XWALK-06")) == 4

"""The 25 check values of the reference tables, each on finished polygons or on the audit.

Numbers as in the list of good external check values that came with the standards table; every row
is `seen` or `derived`. Each audit is seen to be silent on what we lay out and to fire on the same
paint made wrong.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from scenes import SCENES, Scene, layout_of
from shapely import affinity
from test_audit import along, as_layout, put

from layoutgen.markings.advance import STOP_DISTANCE_FT, stop_distance_ft
from layoutgen.markings.audit import AuditParams, all_checks, audit
from layoutgen.markings.catalog import standard_rows
from layoutgen.markings.conformity import LaidOut, Paint, measured
from layoutgen.markings.jurisdiction import jurisdictions
from layoutgen.markings.paints import paints_of
from layoutgen.markings.reductions import ADVANCE_FT, advance_ft, taper_ft
from layoutgen.markings.sight import passing_ft
from layoutgen.street.design import Design

IN = 1.0 / 12.0
Change = Callable[[gpd.GeoDataFrame, int], None]


@dataclass(frozen=True)
class Layout:
    table: gpd.GeoDataFrame
    design: Design


@cache
def _laid(scene: str, rules: str) -> Layout:
    import tomllib

    own = tomllib.loads(rules)
    strips = own.pop("cross_section", {})
    markings, design, _ = layout_of(SCENES[scene](rules=own, cross_section=strips))
    return Layout(as_layout(markings), design)


def laid(scene: str, rules: str = "") -> Layout:
    """Layout of a scene; rules, and widths of strips, as TOML text."""
    return _laid(scene, rules)


def asked(layout: Layout, *rows: str) -> dict[str, list[str]]:
    """Row -> what was measured wrong; every row must have been asked of something."""
    checks = [c for c in all_checks() if c.row in rows]
    params = AuditParams(jurisdictions=jurisdictions())
    paints, _ = paints_of(layout.table, layout.design, 60.0)
    result = audit(paints, layout.design, params, checks)
    assert {r.row for r in result.rows if r.checked} == set(rows)
    out: dict[str, list[str]] = {}
    for f in result.findings:
        if f.code in rows:
            out.setdefault(f.code, []).append(f.text)
    return out


def silent(layout: Layout, *rows: str) -> bool:
    return asked(layout, *rows) == {}


def fires(layout: Layout, *rows: str) -> set[str]:
    return set(asked(layout, *rows))


def wrong(layout: Layout, kind: str, change: Change, *, style: str = "", name: str = "") -> Layout:
    """The layout with one marking changed: the first of a kind, a style, or a part of a name."""
    table = layout.table.copy()
    own = (table["kind"] == kind) & table["marking_id"].str.contains(name, regex=False)
    own &= (table["style"] == style) if style else own
    change(table, int(table.index[own][0]))
    return Layout(table, layout.design)


def without(layout: Layout, kind: str, style: str = "") -> Layout:
    gone = (layout.table["kind"] == kind) & ((layout.table["style"] == style) | (style == ""))
    assert gone.any()
    return Layout(layout.table[~gone].reset_index(drop=True), layout.design)


def copied(ahead_ft: float, right_ft: float = 0.0, **words: str) -> Change:
    """One more of the marking, moved along and across its travel."""

    def change(table: gpd.GeoDataFrame, i: int) -> None:
        row = table.loc[i].copy()
        row["geometry"] = along(row, ahead_ft, right_ft)
        row["marking_id"] = f"more {len(table)}"
        for column, value in words.items():
            row[column] = value
        table.loc[len(table)] = row

    return change


def moved(ahead_ft: float, right_ft: float = 0.0) -> Change:
    return lambda table, i: put(table, i, along(table.loc[i], ahead_ft, right_ft))


def scaled(along_by: float, across_by: float = 1.0) -> Change:
    """Another size along and across the travel."""

    def change(table: gpd.GeoDataFrame, i: int) -> None:
        row = table.loc[i]
        middle = row["geometry"].centroid
        upright = affinity.rotate(row["geometry"], row["bearing_deg"], origin=middle)
        sized = affinity.scale(upright, across_by, along_by, origin=middle)
        put(table, i, affinity.rotate(sized, -row["bearing_deg"], origin=middle))

    return change


def named(**words: str) -> Change:
    def change(table: gpd.GeoDataFrame, i: int) -> None:
        for column, value in words.items():
            table.loc[i, column] = value

    return change


def walk(style: str, bars: Sequence[tuple[float, float]], more: Sequence[Any] = ()) -> Paint:
    """A crosswalk 10 ft wide by hand: bars from left to right (ft) across a travel to the north."""
    parts = [shapely.box(a, 0.0, b, 10.0) for a, b in bars]
    return Paint("w", "crosswalk", style, "white", shapely.MultiPolygon([*parts, *more]), 0.0)


def even(count: int, bar_ft: float, gap_ft: float) -> list[tuple[float, float]]:
    return [(k * (bar_ft + gap_ft), k * (bar_ft + gap_ft) + bar_ft) for k in range(count)]


def broken(paint: Paint, *rows: str) -> set[str]:
    """Rows among these that a paint made by hand breaks."""
    scene = laid("cross").design
    checks = [c for c in all_checks() if c.row in rows and c.asks(paint)]
    assert {c.row for c in checks} == set(rows)
    return {c.row for c in checks if c.test(paint, LaidOut((paint,), scene)) is not None}


def of(layout: Layout, kind: str, style: str = "") -> gpd.GeoDataFrame:
    own = layout.table["kind"] == kind
    return layout.table[own & ((layout.table["style"] == style) | (style == ""))]


def pieces(table: gpd.GeoDataFrame) -> list[Any]:
    """Measured pieces of all markings of a table."""
    return [
        measured(piece, row["bearing_deg"])
        for row in table.to_dict("records")
        for piece in shapely.get_parts(row["geometry"])
    ]


def test_the_list_names_only_rows_that_are_seen_or_derived() -> None:
    import re
    from pathlib import Path

    rows = standard_rows()
    named_here = set(re.findall(r"\b[A-Z]{3,8}-\d\d\b", Path(__file__).read_text("utf-8")))
    assert {rows[r]["confidence"] for r in named_here} <= {"seen", "derived"}
    assert len(named_here) > 70


def test_01_stop_line_at_least_4_ft_before_the_crosswalk() -> None:
    """STOP-02."""
    town = laid("cross")
    walks = of(town, "crosswalk").geometry.union_all()
    gaps = [walks.distance(g) for g in of(town, "stop_line").geometry]
    assert len(gaps) == 4
    assert min(gaps) == pytest.approx(4.0, abs=1e-3)
    assert silent(town, "STOP-02")
    assert fires(wrong(town, "stop_line", moved(0.3)), "STOP-02")


def test_02_stop_line_4_to_30_ft_from_the_roadway_where_no_crosswalk_is() -> None:
    """STOP-03."""
    town = laid("tee")
    assert not len(of(town, "crosswalk"))
    assert silent(town, "STOP-03")
    assert fires(wrong(town, "stop_line", moved(2.0)), "STOP-03")
    assert silent(wrong(town, "stop_line", moved(-20.0)), "STOP-03")
    assert fires(wrong(town, "stop_line", moved(-28.0)), "STOP-03")


def test_03_line_20_to_50_ft_ahead_of_an_uncontrolled_crosswalk_of_several_lanes() -> None:
    """STOP-04."""
    town = laid("midblock")
    walks = of(town, "crosswalk").geometry.union_all()
    ahead = of(town, "yield_line")
    ahead = ahead[ahead["marking_id"].str.contains("/f/")]
    assert len(ahead) == 2
    assert all(20.0 <= walks.distance(g) <= 50.0 for g in ahead.geometry)
    assert silent(town, "STOP-04")
    assert fires(wrong(town, "yield_line", moved(11.0), name="/f/"), "STOP-04")
    assert fires(wrong(town, "yield_line", moved(-21.0), name="/f/"), "STOP-04")


@pytest.mark.parametrize("width_in", [10.0, 11.0, 12.0, 18.0, 24.0, 25.0, 30.0])
def test_04_stop_line_12_to_24_in_wide(width_in: float) -> None:
    """STOP-01."""
    town = wrong(laid("cross"), "stop_line", scaled(width_in / 24.0))
    assert silent(town, "STOP-01") == (12.0 <= width_in <= 24.0)


def test_05_yield_triangles() -> None:
    """YIELD-01 to YIELD-06, QTY-08: 12 x 18 in = 0.75 sq ft; 24 x 36 in = 3.0; gaps 3 to 12 in."""
    rows = ("YIELD-01", "YIELD-02", "YIELD-03", "YIELD-04", "YIELD-05")
    for base, height, area in (("12 in", "18 in", 0.75), ("24 in", "36 in", 3.0)):
        text = f'yield_line = {{ base = "{base}", height = "{height}", gap = "12 in" }}'
        town = laid("circle", text)
        areas = {round(float(p.area), 6) for g in of(town, "yield_line").geometry for p in g.geoms}
        assert areas == {area}
        assert silent(town, *rows)
        for row in of(town, "yield_line").to_dict("records"):
            parts = sorted(row["geometry"].geoms, key=lambda p: (p.centroid.x, p.centroid.y))
            gaps = [a.distance(b) for a, b in pairwise(parts)]
            assert 3 * IN - 1e-6 <= min(gaps) <= max(gaps) <= 12 * IN + 1e-6
    # four of the largest in a lane of 12 ft
    tooth = [shapely.Polygon([(x, 0), (x + 2, 0), (x + 1, -3)]) for x in (1, 3.67, 6.33, 9)]
    lane = Paint("y", "yield_line", "triangles", "white", shapely.MultiPolygon(tooth), 0.0)
    assert len(lane.parts) == 4
    assert not broken(lane, "YIELD-01", "YIELD-02", "YIELD-03", "YIELD-05")
    assert lane.extent_ft[1] <= 12.0
    assert broken_by("YIELD-01", tooth, 0.45)
    assert broken_by("YIELD-05", tooth, 1.1)


def broken_by(row: str, tooth: Sequence[Any], factor: float) -> bool:
    grown = [affinity.scale(t, factor, factor, origin="centroid") for t in tooth]
    lane = Paint("y", "yield_line", "triangles", "white", shapely.MultiPolygon(grown), 0.0)
    return bool(broken(lane, row))


def test_06_crosswalk_6_ft_wide_and_8_ft_in_blocks_of_40_mph() -> None:
    """XWALK-03, XWALK-04."""
    town = laid("midblock")  # street f: 45 mph
    assert silent(town, "XWALK-03", "XWALK-04")
    width = {r["marking_id"]: measured(r["geometry"], r["bearing_deg"]).along_ft
             for r in of(town, "crosswalk").to_dict("records")}  # fmt: skip
    assert min(width.values()) >= 8.0
    to_7 = scaled(7.0 / width["crosswalk/f/midblock/1"])
    assert fires(wrong(town, "crosswalk", to_7, name="/f/"), "XWALK-03", "XWALK-04") == {"XWALK-04"}
    assert silent(wrong(town, "crosswalk", scaled(0.7), name="/y/"), "XWALK-03", "XWALK-04")
    to_5 = scaled(0.5)
    assert fires(wrong(town, "crosswalk", to_5, name="/y/"), "XWALK-03", "XWALK-04") == {"XWALK-03"}


def test_07_bars_12_to_24_in_and_gaps_12_to_60_in_at_most_two_and_a_half_bars() -> None:
    """XWALK-11 to XWALK-13: 24 in bars up to 60 in apart, 12 in bars up to 30 in."""
    rows = ("XWALK-11", "XWALK-12", "XWALK-13")
    style = "longitudinal_bars"
    assert not broken(walk(style, even(5, 2.0, 5.0)), *rows)
    assert broken(walk(style, even(5, 2.0, 5.1)), *rows) == {"XWALK-12", "XWALK-13"}
    assert not broken(walk(style, even(5, 1.0, 2.5)), *rows)
    assert broken(walk(style, even(5, 1.0, 2.6)), *rows) == {"XWALK-13"}
    assert broken(walk(style, even(5, 1.0, 0.9)), *rows) == {"XWALK-12"}
    assert broken(walk(style, even(5, 2.1, 2.0)), *rows) == {"XWALK-11"}
    assert broken(walk(style, even(5, 0.9, 2.0)), *rows) == {"XWALK-11"}
    assert silent(laid("cross"), *rows)


def pair(bar: float, inner: float, between: float) -> list[tuple[float, float]]:
    step = 2 * bar + inner + between
    starts = [k * step for k in range(4)]
    return [(s + d, s + d + bar) for s in starts for d in (0.0, bar + inner)]


def test_08_bar_pairs() -> None:
    """XWALK-18 to XWALK-21: bars 8 to 12 in, inner gap one bar, 24 to 60 in between, no lines."""
    rows = ("XWALK-18", "XWALK-19", "XWALK-20", "XWALK-21")
    b = 8 * IN
    assert not broken(walk("bar_pairs", pair(b, b, 5.0)), *rows)
    assert not broken(walk("bar_pairs", pair(1.0, 1.0, 2.0)), *rows)
    assert broken(walk("bar_pairs", pair(7 * IN, 7 * IN, 3.0)), *rows) == {"XWALK-18"}
    assert broken(walk("bar_pairs", pair(b, 10 * IN, 3.0)), *rows) == {"XWALK-19"}
    assert broken(walk("bar_pairs", pair(b, b, 1.9)), *rows) == {"XWALK-20"}
    assert broken(walk("bar_pairs", pair(b, b, 5.1)), *rows) == {"XWALK-20"}
    line = shapely.box(0, -3.0, 25.0, -2.0)
    assert "XWALK-21" in broken(walk("bar_pairs", pair(b, b, 3.0), [line]), *rows)
    town = laid("cross", 'crosswalk = { style = "bar_pairs" }')
    assert silent(town, *rows)


def test_09_three_elements_parallel_to_traffic_and_ladders_turned_45_deg_at_most() -> None:
    """XWALK-07, XWALK-08, XWALK-17."""
    style = "longitudinal_bars"
    assert not broken(walk(style, even(3, 2.0, 3.0)), "XWALK-07")
    assert broken(walk(style, even(2, 2.0, 3.0)), "XWALK-07") == {"XWALK-07"}
    town = laid("cross")
    assert silent(town, "XWALK-07", "XWALK-08")

    def turned(table: gpd.GeoDataFrame, i: int) -> None:
        parts = [affinity.rotate(p, 20, origin="centroid") for p in table.geometry[i].geoms]
        put(table, i, shapely.MultiPolygon(parts))

    assert fires(wrong(town, "crosswalk", turned), "XWALK-08")
    for name in ("cross", "school"):
        ladder = laid(name, 'crosswalk = { style = "ladder" }')
        for row in of(ladder, "crosswalk", "ladder").to_dict("records"):
            turn = edge_turns(row["geometry"], row["bearing_deg"])
            # sides of bars run along the traffic, lines along the crossing street
            bars, lines = turn[np.abs(turn) <= 45.0], turn[np.abs(turn) > 45.0]
            assert np.abs(bars).max() < 0.5
            assert (90.0 - np.abs(lines)).max() <= 45.0


def edge_turns(shape: Any, bearing_deg: float) -> Any:
    """Angles of all edges to the travel, -90 to 90."""
    out = []
    for piece in shapely.get_parts(shape):
        for ring in (piece.exterior, *piece.interiors):
            step = np.diff(shapely.get_coordinates(ring), axis=0)
            step = step[np.hypot(*step.T) > 0.2]
            out.append(np.degrees(np.arctan2(step[:, 0], step[:, 1])) - bearing_deg)
    return (np.concatenate(out) + 90.0) % 180.0 - 90.0


@pytest.mark.parametrize(("lane_ft", "bar_in"), [(10.0, 30.0), (11.0, 33.0), (12.0, 36.0)])
def test_10_missouri_lane_table(lane_ft: float, bar_in: float) -> None:
    """XWALK-31: bars and gaps of 30, 33 and 36 in on lanes of 10, 11 and 12 ft."""
    row = {"street_class": "collector", "lanes": 2, "width_ft": 2 * lane_ft, "parking": "none"}
    scene = Scene(
        streets=[
            {"segment_id": "a", **row, "at": "LINESTRING (-300 40, 12 7)"},
            {"segment_id": "b", **row, "at": "LINESTRING (12 7, 330 -26.6)"},
            {"segment_id": "c", **row, "at": "LINESTRING (12 7, 60 340)"},
        ],
        controls=[{"control_id": "s", "control": "signal", "at": "POINT (30 25)"}],
        settings={"rules": {"crosswalk": {"bars": "by_lane"}}},
    )
    markings, _, _ = layout_of(scene)
    walks = markings[markings["kind"] == "crosswalk"]
    assert len(walks) == 3
    for shape in walks.geometry:
        parts = sorted(shape.geoms, key=lambda p: shape.centroid.distance(p))
        sizes = [measured(p, 0.0).short_ft * 12 for p in parts[:3]]
        assert sizes == pytest.approx([bar_in] * 3, abs=0.1)
        assert min(parts[0].distance(p) for p in parts[1:]) == pytest.approx(bar_in * IN, abs=0.02)


def test_11_messages() -> None:
    """WORD-02 to WORD-06: three lines, 4 to 10 letter heights apart, the first word nearest."""
    town = laid("yielding", 'words = { at = ["yield_ahead"] }')
    rows = ("WORD-02", "WORD-03", "WORD-04", "WORD-06")
    assert silent(town, *rows)
    word, ahead = (of(town, "word", style).iloc[0] for style in ("YIELD", "AHEAD"))
    gap = word.geometry.distance(ahead.geometry)
    height = measured(shapely.get_parts(ahead.geometry)[0], ahead["bearing_deg"]).along_ft
    assert 4.0 * height - 1e-6 <= gap <= 10.0 * height
    close, far, before = (moved(d) for d in (3.0 * height - gap, 11.0 * height - gap, -2.0 * gap))
    assert "WORD-03" in fires(wrong(town, "word", close, style="AHEAD"), "WORD-03")
    assert "WORD-04" in fires(wrong(town, "word", far, style="AHEAD"), "WORD-04")
    assert "WORD-06" in fires(wrong(town, "word", before, style="AHEAD"), "WORD-06")
    more = town
    for k in (1, 2):
        more = wrong(more, "word", copied(k * (gap + height)), style="AHEAD")
    assert "WORD-02" in fires(more, "WORD-02")


def test_12_letters() -> None:
    """WORD-01, WORD-16, WORD-17: 6 ft at least; SCHOOL over two lanes 10 ft high, 19.3 ft wide."""
    town = laid("school")
    two = of(town, "word", "SCHOOL two-lane")
    for row in two.to_dict("records"):
        whole = Paint("s", "word", "", "white", row["geometry"], row["bearing_deg"])
        assert whole.extent_ft == pytest.approx((10.0, 19.3), abs=0.05)
    assert silent(town, "WORD-01", "WORD-16")
    low = scaled(0.9)
    assert fires(wrong(town, "word", low, style="SCHOOL two-lane"), "WORD-16") == {"WORD-16"}
    assert fires(wrong(town, "word", scaled(0.7), style="SCHOOL"), "WORD-01") == {"WORD-01"}


def test_13_only_and_stop() -> None:
    """WORD-10: STOP only where all stop; WORD-12: no ONLY where a lane serves several movements."""
    town = laid("words", 'words = { at = ["stop"] }')
    assert len(of(town, "word", "STOP"))
    assert silent(town, "WORD-10")
    at_signal = wrong(laid("cross"), "stop_line", copied(-10.0, kind="word", style="STOP"))
    assert fires(at_signal, "WORD-10") == {"WORD-10"}
    lanes = laid("movements")
    assert silent(lanes, "WORD-12")
    shared = wrong(lanes, "turn_arrow", named(kind="word", style="ONLY"), style="uturn_and_left")
    right = wrong(lanes, "turn_arrow", named(kind="word", style="ONLY"), style="right")
    assert fires(shared, "WORD-12") == {"WORD-12"}
    assert silent(right, "WORD-12")


def test_14_areas_of_lines_per_mile() -> None:
    """QTY-01, QTY-03, QTY-04: a mile of 4 in line is 1,760 sq ft solid, 440 broken 10 / 30."""
    row = {"segment_id": "m", "street_class": "collector", "lanes": 2, "width_ft": 40.0}
    line = shapely.LineString([(7, 3), (7 + 5280 * 0.8, 3 + 5280 * 0.6)])
    scene = Scene([{**row, "oneway": "forward", "at": line}])
    dashes = layout_of(scene)[0]
    dashes = dashes[dashes["kind"] == "lane_line"]
    assert dashes.geometry.area.sum() == pytest.approx(440.0, rel=0.005)
    solid = layout_of(Scene([{**row, "at": line}]))[0]
    double = solid[solid["kind"] == "center_line"]
    assert set(double["style"]) == {"double_solid"}
    assert double.geometry.area.sum() == pytest.approx(2 * 1760.0, rel=0.001)
    assert 440.0 / 1760.0 == 0.25


def test_15_patterns_of_lines() -> None:
    """LINE-02, LINE-03, LINE-06 to LINE-09: 3 / 9 ft, 2 / 2 to 6 ft, wide twice, doubles."""
    town = laid("movements")
    dotted = pieces(of(town, "lane_line", "dotted"))
    assert {round(p.short_ft * 12) for p in dotted} == {8}
    assert np.median([p.long_ft for p in dotted]) == pytest.approx(3.0, abs=0.01)
    assert silent(town, "LINE-02", "LINE-03", "LINE-06", "LINE-07")
    assert silent(laid("offset_lanes"), "LINE-08", "LINE-09")
    thin = wrong(town, "lane_line", scaled(1.0, 0.5), style="dotted")
    assert "LINE-02" in fires(thin, "LINE-02")
    long = wrong(town, "lane_line", scaled(2.0, 1.0), style="dotted")
    assert fires(long, "LINE-06", "LINE-07") == {"LINE-06", "LINE-07"}
    assert silent(wrong(town, "center_line", parted(3.9 * IN)), "LINE-03")
    assert fires(wrong(town, "center_line", parted(4.2 * IN)), "LINE-03") == {"LINE-03"}
    across = wrong(town, "dotted_extension", stretched(3.0))
    assert fires(across, "LINE-08", "LINE-09") == {"LINE-08", "LINE-09"}


def parted(by_ft: float) -> Change:
    """The lines of a double so much farther apart than the one width that we leave."""

    def change(table: gpd.GeoDataFrame, i: int) -> None:
        one, other = (p.centroid for p in shapely.get_parts(table.geometry[i]))
        way = np.array([one.x - other.x, one.y - other.y])
        x, y = by_ft * way / np.hypot(*way)
        first, second = shapely.get_parts(table.geometry[i])
        put(table, i, shapely.MultiPolygon([affinity.translate(first, x, y), second]))

    return change


def stretched(factor: float) -> Change:
    return lambda table, i: put(
        table, i, affinity.scale(table.geometry[i], factor, factor, origin="centroid")
    )


def test_16_arrows() -> None:
    """ARROW-01: two in a turn lane; ARROW-13: 100 ft before the stop line of a rail crossing."""
    town = laid("five_lane")
    assert silent(town, "ARROW-01")
    first = of(town, "turn_arrow")["marking_id"].iloc[0]
    less = Layout(town.table[town.table["marking_id"] != first], town.design)
    assert fires(less, "ARROW-01") == {"ARROW-01"}
    tracks = laid("movements")
    assert silent(tracks, "ARROW-13")
    # tracks 95 ft north of the crossing: an arrow at the signal, set back among them
    rail = tracks.design.segments
    place = next(s for s in rail if s.rail_crossings)
    assert place.rail_crossings
    early = wrong(tracks, "turn_arrow", moved(-130.0), name="-N/")
    assert fires(early, "ARROW-13") == {"ARROW-13"}


def test_17_shared_lane_markings() -> None:
    """SLM-01: 50 to 250 ft apart; SLM-02: the first within 50 ft beyond an intersection."""
    town = laid("bike_turns")
    assert silent(town, "SLM-01", "SLM-02")
    close = wrong(town, "shared_lane", copied(30.0))
    assert "SLM-01" in fires(close, "SLM-01")
    late = {
        row
        for name in of(town, "shared_lane")["marking_id"]
        for row in fires(wrong(town, "shared_lane", moved(70.0), name=name), "SLM-02")
    }
    assert late == {"SLM-02"}


def test_18_bike_lanes_end_100_ft_before_turn_lanes_and_roundabouts() -> None:
    """BIKE-16, BIKE-17."""
    town = laid("bike_turns")
    assert silent(town, "BIKE-16", "BIKE-17")
    lines = of(town, "bike_lane")
    stop = of(town, "stop_line")
    west = lines[lines["marking_id"].str.contains("/b1/")]
    nearest = min(stop.geometry.union_all().distance(g) for g in west.geometry
                  if g.centroid.y < -715.0)  # fmt: skip
    assert nearest >= 100.0 - 1e-3
    long = lines[lines["style"].str.contains("line|dotted")]
    found = [
        fires(wrong(town, "bike_lane", moved(40.0), name=name), "BIKE-16", "BIKE-17")
        for name in long["marking_id"]
    ]
    assert set().union(*found) == {"BIKE-16", "BIKE-17"}


def test_19_bike_boxes() -> None:
    """BIKEBOX-01, BIKEBOX-02, BIKEBOX-04: 10 ft deep, a symbol inside, green over all of it."""
    town = laid("two_stage", 'bike_box = { at = "bike_lane" }')
    rows = ("BIKEBOX-01", "BIKEBOX-02", "BIKEBOX-04")
    ground = of(town, "bike_box", "ground")
    assert len(ground) == 2
    for row in ground.to_dict("records"):
        box = Paint("g", "bike_box", "ground", "green", row["geometry"], row["bearing_deg"])
        assert box.extent_ft[0] >= 10.0
    assert silent(town, *rows)
    assert "BIKEBOX-01" in fires(wrong(town, "bike_box", moved(-4.0), style="line"), "BIKEBOX-01")
    assert "BIKEBOX-02" in fires(without(town, "bike_box", "symbol"), "BIKEBOX-02")
    half = wrong(town, "bike_box", scaled(0.5), style="ground")
    assert "BIKEBOX-04" in fires(half, "BIKEBOX-04")


def test_20_buffers() -> None:
    """BUFFER-01 to BUFFER-05: three lines wide, filled from 2 ft, strokes 10 ft apart."""
    town = laid("bike_turns")
    assert silent(town, "BUFFER-01", "BUFFER-03", "BUFFER-04", "BUFFER-05")
    bare = without(town, "buffer")
    wide = {round(s.width_ft, 3) for seg in town.design.segments for s in seg.strips
            if s.kind == "buffer"}  # fmt: skip
    assert wide == {3.0}
    assert fires(bare, "BUFFER-03", "BUFFER-04") == {"BUFFER-03"}
    broad = laid("bike_turns", 'cross_section = { bike_buffer_width = "4 ft" }')
    assert silent(broad, "BUFFER-03", "BUFFER-04")
    assert fires(without(broad, "buffer"), "BUFFER-03", "BUFFER-04") == {"BUFFER-04"}
    thin = laid("bike_turns", 'cross_section = { bike_buffer_width = "1.75 ft" }')
    assert not len(of(thin, "buffer"))
    assert silent(thin, "BUFFER-01", "BUFFER-03", "BUFFER-04")
    dense = laid("bike_turns", 'buffer = { spacing = "10 ft" }')
    assert silent(dense, "BUFFER-05")
    assert "BUFFER-05" in fires(wrong(dense, "buffer", scaled(0.8)), "BUFFER-05")


def test_21_rail_symbols() -> None:
    """RAIL-03 to RAIL-07, RAIL-12: 24 in lines, 50 ft over all, X of 20 ft; 15 ft to rails."""
    town = laid("rails")
    rows = ("RAIL-03", "RAIL-04", "RAIL-05", "RAIL-06", "RAIL-07", "RAIL-12")
    assert silent(town, *rows)
    lines = of(town, "rail_crossing", "transverse_lines").iloc[0]
    whole = Paint("r", "rail_crossing", "", "white", lines.geometry, lines["bearing_deg"])
    assert whole.extent_ft[0] == pytest.approx(50.0, abs=1e-3)
    assert {round(p.short_ft, 3) for p in whole.parts} == {2.0}
    x = of(town, "rail_crossing", "rail_x").iloc[0]
    cross = Paint("x", "rail_crossing", "", "white", x.geometry, x["bearing_deg"])
    assert max(p.along_ft for p in cross.parts) == pytest.approx(20.0, abs=1e-3)
    short = wrong(town, "rail_crossing", scaled(0.9), style="transverse_lines")
    assert {"RAIL-04", "RAIL-06"} <= fires(short, "RAIL-04", "RAIL-06")
    small = wrong(town, "rail_crossing", scaled(0.7), style="rail_x")
    assert {"RAIL-06", "RAIL-07"} <= fires(small, "RAIL-06", "RAIL-07")
    near = wrong(town, "stop_line", moved(1.0), name="/f/")
    assert fires(near, "RAIL-12") == {"RAIL-12"}


def test_22_lines_ahead_of_humps() -> None:
    """HUMP-01 to HUMP-08, QTY-10: 1 to 6 ft at 100, 80, 62, 46, 32, 20 ft; 21 sq ft for the six."""
    town = laid("humps", "speed_hump = { advance = true }")
    rows = [f"HUMP-0{k}" for k in range(1, 9)]
    assert silent(town, *rows)
    lines = of(town, "speed_hump", "advance")
    sizes = sorted({round(float(a), 3) for a in lines.geometry.area})
    assert sum(sizes[:6]) == pytest.approx(21.0)
    assert sizes[:6] == pytest.approx([1.0, 2.0, 3.0, 4.0, 5.0, 6.0])
    assert len(lines) % 8 == 0
    for k in range(6):
        area = sizes[k]
        name = lines["marking_id"][(lines.geometry.area - area).abs() < 1e-3].iloc[0]
        off = wrong(town, "speed_hump", moved(3.0), name=name)
        assert f"HUMP-0{k + 3}" in fires(off, f"HUMP-0{k + 3}")
    gone = Layout(town.table[town.table["marking_id"] != name], town.design)
    assert "HUMP-01" in fires(gone, "HUMP-01")


def test_23_tapers() -> None:
    """TAPER-01 to TAPER-03: W x S from 45 mph on, else W x S x S / 60; 100 ft, rural 200 ft."""
    assert taper_ft(12.0, 50.0, rural=False) == 600.0
    assert taper_ft(12.0, 30.0, rural=False) == 180.0
    assert taper_ft(4.0, 20.0, rural=False) == 100.0
    assert taper_ft(4.0, 20.0, rural=True) == 200.0
    town = laid("lane_ends")
    assert silent(town, "TAPER-01", "TAPER-02", "TAPER-03")
    tapers = of(town, "lane_reduction", "taper_line")
    lengths = sorted(max(p.long_ft for p in pieces(tapers.iloc[[k]])) for k in (0, 1))
    # 10 ft at 35 mph, rural 6 ft at 45 mph; the lines run at a slant along a curve
    assert lengths == pytest.approx([10.0 * 35.0 * 35.0 / 60.0, 6.0 * 45.0], rel=0.005)
    for name in of(town, "lane_reduction", "taper_line")["marking_id"]:
        short = wrong(town, "lane_reduction", scaled(0.4), name=name)
        assert fires(short, "TAPER-01", "TAPER-02", "TAPER-03") & {"TAPER-01", "TAPER-02"}


def test_24_diamonds_and_chevrons() -> None:
    """HOV-01 to HOV-03: 2.5 x 12 ft, 6 in lines; CHEV-01 to CHEV-03: 12 and 8 in, 30 to 45 deg."""
    town = laid("own_lanes")
    assert silent(town, "HOV-01", "HOV-02", "HOV-03")
    for row in of(town, "preferential_lane", "diamond").to_dict("records"):
        whole = Paint("d", "", "", "white", row["geometry"], row["bearing_deg"])
        assert whole.extent_ft[0] >= 12.0 - 1e-6
        assert whole.extent_ft[1] >= 2.5 - 1e-6
    style = "diamond"
    assert "HOV-02" in fires(wrong(town, "preferential_lane", scaled(0.9), style=style), "HOV-02")
    slim = wrong(town, "preferential_lane", scaled(1.0, 0.7), style=style)
    assert {"HOV-01", "HOV-03"} & fires(slim, "HOV-01", "HOV-03")
    roads = laid("fork")
    rows = ("CHEV-01", "CHEV-02", "CHEV-03")
    assert silent(roads, *rows)
    thin = wrong(roads, "chevrons", arms(0.5))
    assert fires(thin, *rows) & {"CHEV-01", "CHEV-02"}
    flat = wrong(roads, "chevrons", scaled(3.0))
    assert "CHEV-03" in fires(flat, "CHEV-03")


def arms(factor: float) -> Change:
    """Every piece thinner, in place."""

    def change(table: gpd.GeoDataFrame, i: int) -> None:
        parts = []
        for piece in shapely.get_parts(table.geometry[i]):
            thin = piece.buffer(-measured(piece, 0.0).short_ft * (1 - factor) / 4)
            parts += [p for p in shapely.get_parts(thin) if p.area > 0.01]
        put(table, i, shapely.MultiPolygon(parts))

    return change


def test_25_distances_ahead_and_passing_sight() -> None:
    """Table 2C-3 (ADV-02, ADV-05, ADV-08) and Table 3B-1 (NPZ-01, NPZ-05, NPZ-10)."""
    for mph, lane_change, stop in ((25, 325, 155), (40, 670, 305), (55, 990, 495)):
        assert stop_distance_ft(mph) == stop
        assert advance_ft(mph) == lane_change
    assert [passing_ft(mph) for mph in (25, 45, 70)] == [450.0, 700.0, 1200.0]
    rows = standard_rows()
    for k, (mph, stop) in enumerate(STOP_DISTANCE_FT.items()):
        value = rows[f"ADV-{k + 1:02d}"]["value"].split("|")
        assert (float(value[0]), float(value[1])) == (ADVANCE_FT.get(mph, float(value[0])), stop)
    # where a driver at 45 mph must be able to stop: the X of the rail crossing stands there
    town = laid("rails")
    assert silent(town, "ADV-06")
    assert fires(wrong(town, "rail_crossing", moved(60.0), style="rail_x", name="/f/"), "ADV-06")


def test_every_number_of_the_list_has_its_test() -> None:
    names = pd.Series([n for n in globals() if n.startswith("test_")])
    numbers = names.str.extract(r"^test_(\d\d)_")[0].dropna().astype(int)
    assert sorted(numbers) == list(range(1, 26))

"""Final polygons measured against rows of the standard (layoutgen/markings/standards.csv).

Only rows `seen` or `derived` are pinned. Measured on the skewed scenes and on the whole demo town.
"""

from __future__ import annotations

import csv
import math
import re
from functools import cache
from importlib.resources import files
from itertools import pairwise
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from scenes import SCENES, Scene, layout_of
from test_catalog import all_models
from test_properties import town

from layoutgen.markings.catalog import rule_catalog, standard_rows
from layoutgen.markings.symbols import figure, word
from layoutgen.street.design import Design, Leg
from layoutgen.work.quantities import PaintParams, measure

IN = 1.0 / 12.0
TINY = 1e-6
PLACES = [*SCENES, "town"]


@cache
def place(name: str) -> tuple[gpd.GeoDataFrame, Design]:
    """Markings and design of a scene, or of the demo town."""
    if name == "town":
        return town().markings, town().design
    markings, design, _ = layout_of(SCENES[name]())
    return markings, design


def of_kind(markings: gpd.GeoDataFrame, kind: str) -> gpd.GeoDataFrame:
    return markings[markings["kind"] == kind]


def leg_of(design: Design, row: Any) -> Leg:
    name = row["marking_id"].split("/")[1]
    return next(leg for leg in design.legs() if leg.leg_id == name)


def across(row: Any, polygon: Any) -> np.ndarray[Any, Any]:
    """Corners of a bar as (along, across) the travel of the marking, in feet."""
    t = math.radians(row["bearing_deg"])
    xy = shapely.get_coordinates(polygon)
    return np.column_stack([xy @ [math.sin(t), math.cos(t)], xy @ [math.cos(t), -math.sin(t)]])


@pytest.mark.parametrize("name", PLACES)
def test_stop_lines(name: str) -> None:
    """STOP-01 12-24 in wide, STOP-02 at least 4 ft before the crosswalk, STOP-06 never at YIELD."""
    markings, design = place(name)
    walks = {r["anchor"]: r["geometry"] for r in of_kind(markings, "crosswalk").to_dict("records")}
    for row in of_kind(markings, "stop_line").to_dict("records"):
        leg = leg_of(design, row)
        assert leg.control in ("signal", "stop")
        length = shapely.length(shapely.minimum_rotated_rectangle(row["geometry"])) / 2
        width = row["geometry"].area / max(length, 1.0)
        assert 12 * IN - 0.6 < width < 24 * IN + 0.01  # slanted ends make the box longer
        exact = leg.layout.stop.moved(2.0).station_ft - leg.layout.stop.station_ft
        assert exact / math.hypot(1, leg.layout.stop.slope) == pytest.approx(24 * IN)
        if row["anchor"] in walks:
            assert walks[row["anchor"]].distance(row["geometry"]) >= 4.0 - TINY


@pytest.mark.parametrize("name", PLACES)
def test_stop_lines_cover_the_approach_and_nothing_else(name: str) -> None:
    """STOP-01 (3B.19 P2): across the approach lanes; traffic leaving has none before it."""
    markings, design = place(name)
    for row in of_kind(markings, "stop_line").to_dict("records"):
        leg = leg_of(design, row)
        sides = across(row, row["geometry"])[:, 1]
        lanes = sum(s.width_ft for s in leg.inbound)
        assert sides.max() - sides.min() == pytest.approx(lanes, abs=0.01)
        assert not {s.kind for s in leg.inbound} & {"parking", "bike_lane"}


@pytest.mark.parametrize("name", ["tee", "town"])
def test_stop_line_without_crosswalk(name: str) -> None:
    """STOP-03: 4 to 30 ft from the edge of the intersecting traveled way."""
    markings, design = place(name)
    seen = 0
    for row in of_kind(markings, "stop_line").to_dict("records"):
        leg = leg_of(design, row)
        if leg.layout.crosswalk is None:
            near = leg.layout.stop.station_ft - leg.layout.curb.station_ft
            gap = near / math.hypot(1, leg.layout.stop.slope)
            assert 4.0 - TINY <= gap <= 30.0
            seen += 1
    assert seen


@pytest.mark.parametrize("style", ["longitudinal_bars", "ladder", "bar_pairs", "transverse_lines"])
@pytest.mark.parametrize("scene", ["cross", "tee", "five_lane", "one_way"])
def test_crosswalks(style: str, scene: str) -> None:
    """XWALK-01..21: size, bars, gaps, direction, in every style on skewed legs."""
    rules = {"crosswalk": {"style": style, "at": ["every_leg"]}}
    markings, design, _ = layout_of(SCENES[scene](rules=rules))
    rows = of_kind(markings, "crosswalk").to_dict("records")
    assert rows
    for row in rows:
        leg = leg_of(design, row)
        near, far = leg.layout.crosswalk or (None, None)
        assert near is not None
        assert far is not None
        depth = (far.station_ft - near.station_ft) / math.hypot(1, near.slope)
        assert depth >= 6.0  # XWALK-03
        assert row["color"] == "white"  # XWALK-01
        if style in ("longitudinal_bars", "bar_pairs"):
            check_bars(row, pair=style == "bar_pairs")


def check_bars(row: Any, *, pair: bool) -> None:
    bars = [across(row, part) for part in row["geometry"].geoms]
    spans = sorted((bar[:, 1].min(), bar[:, 1].max()) for bar in bars)
    for bar, (left, right) in zip(sorted(bars, key=lambda b: b[:, 1].min()), spans, strict=True):
        # XWALK-08: sides parallel to travel; two corners on either side
        assert np.sum(np.abs(bar[:-1, 1] - left) < 0.02) == 2
        assert np.sum(np.abs(bar[:-1, 1] - right) < 0.02) == 2
    widths = [b - a for a, b in spans]
    gaps = [b[0] - a[1] for a, b in pairwise(spans)]
    if not pair:
        assert len(spans) >= 3  # XWALK-07
        assert all(12 * IN - 0.01 <= w <= 24 * IN + 0.01 for w in widths)  # XWALK-11
        assert all(12 * IN - 0.01 <= g <= 60 * IN + 0.01 for g in gaps)  # XWALK-12
        assert all(g <= 2.5 * min(widths) + 0.01 for g in gaps)  # XWALK-13
        return
    assert len(spans) >= 6  # XWALK-07: a pair counts as one
    assert all(8 * IN - 0.01 <= w <= 12 * IN + 0.01 for w in widths)  # XWALK-18
    assert all(g == pytest.approx(widths[0], abs=0.01) for g in gaps[::2])  # XWALK-19
    total = 3 * widths[0]
    assert all(24 * IN - 0.01 <= g <= min(60 * IN, 2.5 * total) + 0.01 for g in gaps[1::2])


@pytest.mark.parametrize("name", PLACES)
def test_no_crosswalk_covers_another_or_a_stop_line(name: str) -> None:
    """Crosswalk bars of different legs keep apart."""
    markings, _ = place(name)
    walks = of_kind(markings, "crosswalk").geometry.to_numpy()
    lines = of_kind(markings, "stop_line").geometry.to_numpy()
    a, b = shapely.STRtree(walks).query(walks, predicate="intersects")
    assert np.all(a == b)
    hit = shapely.STRtree(lines).query(walks, predicate="intersects")
    assert hit.size == 0


@pytest.mark.parametrize("name", PLACES)
def test_colors(name: str) -> None:
    """LINE-15, LINE-16: yellow between opposing directions, white between lanes; WORD-09 white."""
    markings, _ = place(name)
    yellow = set(markings.loc[markings["color"] == "yellow", "kind"])
    assert yellow <= {"center_line"}
    assert set(markings.loc[markings["kind"] == "center_line", "color"]) <= {"yellow"}


@pytest.mark.parametrize("name", PLACES)
def test_center_lines(name: str) -> None:
    """CENTER-01 never single solid, CENTER-02 double for 4+ lanes, LINE-03 gap <= 2 x width."""
    markings, design = place(name)
    by_id = {s.segment_id: s for s in design.segments}
    for row in of_kind(markings, "center_line").to_dict("records"):
        segment = by_id[row["segment_id"]]
        assert segment.oneway == "both"
        parts = len(row["geometry"].geoms)
        if row["style"] == "double_solid":
            assert parts == 2
            one, two = row["geometry"].geoms
            assert one.distance(two) <= 2 * 4 * IN + TINY
        lanes = len(segment.lanes(1)) + len(segment.lanes(-1))
        if lanes >= 4 and not segment.has("center_turn_lane"):
            assert row["style"] == "double_solid"


def test_two_way_left_turn_lane() -> None:
    """TWLTL-01 solid outside, broken inside; TWLTL-03 no single arrow in the two-way part."""
    markings, design = place("five_lane")
    edges = markings[markings["style"] == "two_way_left_turn"]
    assert len(edges) == 4
    segments = {s.segment_id: s for s in design.segments}
    for row in edges.to_dict("records"):
        parts = sorted(row["geometry"].geoms, key=lambda p: -p.area)
        solid, pieces = parts[0], parts[1:]
        assert pieces
        assert all(p.area == pytest.approx(10 * 4 * IN, abs=0.01) for p in pieces)  # LINE-04
        axis = design.axes.lines()[segments[row["segment_id"]].index]
        assert axis.distance(solid) > axis.distance(pieces[0])
        arrows = of_kind(markings, "turn_arrow")
        arrows = arrows[arrows["segment_id"] == row["segment_id"]]
        two_way = (row["from_ft"], row["to_ft"])
        assert all(not two_way[0] < s < two_way[1] for s in arrows["station_ft"])


@pytest.mark.parametrize("name", PLACES)
def test_only_stands_in_lanes_of_one_movement(name: str) -> None:
    """WORD-12; ARROW-01: at least two arrows in a turn lane that has room for them."""
    markings, design = place(name)
    words = markings[(markings["kind"] == "word") & (markings["style"] == "ONLY")]
    for row in words.to_dict("records"):
        leg = leg_of(design, row)
        lane = int(row["tag"].removeprefix("lane")) - 1
        assert len(leg.movements[lane]) == 1
        assert leg.movements[lane][0] in ("left", "right")
    arrows = of_kind(markings, "turn_arrow")
    for (_anchor, tag), rows in arrows.groupby(["anchor", "tag"]):
        leg = leg_of(design, rows.iloc[0])
        room = leg.pocket_ft or min(150.0, leg.room_ft - leg.layout.stop.station_ft)
        if room >= 30 + 8 + 32 + 8 + 32 + 8 + 2.1:
            assert len(rows) == 2, (leg.leg_id, tag)


@pytest.mark.parametrize("name", PLACES)
def test_figures_face_their_traffic_inside_their_lane(name: str) -> None:
    """Every figure lies in its strip (the wide school word in two) and heads with its traffic."""
    markings, design = place(name)
    segments = {s.segment_id: s for s in design.segments}
    figures = markings[~markings["is_line"] & ~markings["kind"].isin(["stop_line", "crosswalk"])]
    for row in figures.to_dict("records"):
        segment = segments[row["segment_id"]]
        at, middle = row["offset_ft"], (row["from_ft"] + row["to_ft"]) / 2
        spans = [s for s in segment.strips if s.left_ft - 0.01 <= at <= s.right_ft + 0.01]
        heading = design.axes.directions([segment.index], [middle])[0]
        way = 1 if abs(math.degrees(math.atan2(*heading)) % 360 - row["bearing_deg"]) < 1 else -1
        assert any(s.direction in (way, 0) for s in spans), row["marking_id"]
        half = 0.5 * row["width_ft"]
        room = sum(s.width_ft for s in spans) if "two-lane" in row["style"] else spans[0].width_ft
        assert half <= room / 2 + 0.01, row["marking_id"]


def test_published_sizes() -> None:
    """WORD-01, WORD-16, WORD-17, BIKE-07 seen; ARROW-18 seen (8 ft turn arrow)."""
    school = word("SCHOOL", height_ft=10.0, width_ft=19.3)
    box = school.polygon.bounds
    assert box[3] - box[1] == pytest.approx(10.0, abs=1e-6)
    assert box[2] - box[0] == pytest.approx(19.3, abs=1e-6)
    for name, length in (("arrow_left", 8.0), ("bike_symbol", 6.0), ("bike_arrow", 6.0)):
        low, high = figure(name).polygon.bounds[1::2]
        assert high - low == pytest.approx(length, abs=1e-6)
    markings, _ = place("town")
    words = of_kind(markings, "word")
    for row in words.to_dict("records"):
        along = across(row, row["geometry"])[:, 0]
        assert along.max() - along.min() >= 6.0 - TINY  # WORD-01
        if row["style"] == "SCHOOL two-lane":
            assert along.max() - along.min() == pytest.approx(10.0, abs=1e-6)  # WORD-16
            side = across(row, row["geometry"])[:, 1]
            assert side.max() - side.min() == pytest.approx(19.3, abs=1e-6)  # WORD-17


def mile(style: str, **rules: Any) -> gpd.GeoDataFrame:
    """A mile of two-lane street."""
    row = {
        "segment_id": "mile",
        "street_class": "collector",
        "width_ft": 24.0,
        "at": "LINESTRING (7 3, 5287 3)",
    }
    settings = {"defaults": {"collector": {"center_line": style}}, "rules": rules}
    markings, _, _ = layout_of(Scene([row], settings=settings))
    return markings


def test_areas_per_mile() -> None:
    """QTY-01 4 in solid 1,760 sq ft a mile, QTY-02 6 in 2,640, QTY-04 4 in broken 10/30 440."""
    assert mile("double_solid")["area_sqft"].sum() == pytest.approx(2 * 1760.0)
    wide = mile("double_solid", center_line={"line_width": "6 in"})
    assert wide["area_sqft"].sum() == pytest.approx(2 * 2640.0)
    broken = mile("broken")
    assert broken["area_sqft"].sum() == pytest.approx(440.0)
    assert len(broken.geometry.iloc[0].geoms) == 132  # a mile of 40-ft cycles


def test_gallons_per_mile() -> None:
    """OP-013: 16.46 gal for a mile of 4 in solid at 15 mil (printed 16); OP-018 4.11 broken."""
    solid, _ = measure(mile("double_solid"), PaintParams())
    assert solid["paint_gal"].sum() / 2 == pytest.approx(16.46, abs=0.005)
    assert solid["paint_gal"].sum() / 2 == pytest.approx(16.0, rel=0.03)
    broken, _ = measure(mile("broken"), PaintParams())
    assert broken["paint_gal"].sum() == pytest.approx(4.11, abs=0.005)


def known_rows() -> set[str]:
    text = files("layoutgen.work").joinpath("operations.csv").read_text(encoding="utf-8")
    return set(standard_rows()) | {row["id"] for row in csv.DictReader(text.splitlines())}


def test_every_source_is_a_row_or_says_what_it_is() -> None:
    rows = known_rows()
    for model in all_models():
        for name, field in model.model_fields.items():
            extra = field.json_schema_extra
            assert isinstance(extra, dict)
            source = str(extra["source"])
            named = re.findall(r"\b[A-Z]+-\d+", source)
            plain = source in ("common practice", "from memory", "design")
            assert plain or (named and set(named) <= rows), f"{model.__name__}.{name}: {source}"


def test_markings_name_rows_that_exist() -> None:
    rows = known_rows()
    for name in SCENES:
        markings, _ = place(name)
        for sources in set(markings["sources"]):
            assert set(sources.split(", ")) <= rows


def test_defaults_lie_in_their_range() -> None:
    for model in all_models():
        for name, field in model.model_fields.items():
            extra = field.json_schema_extra
            assert isinstance(extra, dict)
            if "low" in extra:
                low, high = float(str(extra["low"])), float(str(extra["high"]))
                assert low - TINY <= float(str(field.default)) <= high + TINY, name


def test_ranges_are_those_of_their_rows() -> None:
    """Ranges that a row states word for word."""
    rules = rule_catalog()
    expected = {
        ("stop_line", "width_ft"): ("STOP-01", 12 * IN, 24 * IN),
        ("crosswalk", "bar_width_ft"): ("XWALK-11", 12 * IN, 24 * IN),
        ("crosswalk", "gap_max_ft"): ("XWALK-12", 12 * IN, 60 * IN),
        ("crosswalk", "line_width_ft"): ("XWALK-02", 6 * IN, 24 * IN),
        ("crosswalk", "pair_bar_width_ft"): ("XWALK-18", 8 * IN, 12 * IN),
        ("stop_line", "setback_ft"): ("STOP-03", 4.0, 30.0),
        ("center_line", "line_width_ft"): ("LINE-01", 4 * IN, 6 * IN),
    }
    for (rule, name), (row, low, high) in expected.items():
        extra = rules[rule].params.model_fields[name].json_schema_extra
        assert isinstance(extra, dict)
        told = [float(x) for x in re.findall(r"[\d.]+", standard_rows()[row]["value"])][:2]
        unit = IN if "in" in standard_rows()[row]["unit"] else 1.0
        assert (low, high) == pytest.approx([v * unit for v in told])
        assert (extra["low"], extra["high"]) == pytest.approx((low, high))
        assert extra["source"] == row


def test_stop_line_clears_a_street_of_two_widths() -> None:
    """STOP-03 where the crossing street is wider on one side: 4 ft from either half."""
    base = SCENES["tee"]()
    rows = [{**row, "width_ft": 70.0} if row["segment_id"] == "m2" else row for row in base.streets]
    markings, design, _ = layout_of(Scene(rows, base.controls))
    stop = of_kind(markings, "stop_line").geometry.iloc[0]
    for segment, road in zip(design.segments, design.roadways(), strict=True):
        if segment.segment_id != "s":
            assert road.distance(stop) >= 4.0 - 0.01, segment.segment_id

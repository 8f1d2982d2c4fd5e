"""Roadway edges and corners measured on curb lines."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from scenes import Scene, cross, design_of, layout_of, tee

from layoutgen.geometry.polyline import Polylines
from layoutgen.street.curbs import CurbParams, curb_distance, curb_lines, measure_edges
from layoutgen.street.design import Design

AXIS = Polylines.from_lines([shapely.LineString([(0, 0), (300, 20), (620, -10)])])
PARAMS = CurbParams()


def parallel(offset: float) -> shapely.LineString:
    return shapely.offset_curve(AXIS.lines()[0], -offset, join_style="mitre")


def edges(*curbs: Any) -> tuple[float, float]:
    lines = np.array(curbs, dtype=object)
    found = measure_edges(AXIS, lines, PARAMS)
    return float(found.near[0][0]), float(found.near[1][0])


def test_edges_on_both_sides_of_a_bent_street() -> None:
    left, right = edges(parallel(-14.0), parallel(22.0))
    assert left == pytest.approx(14.0, abs=0.1)
    assert right == pytest.approx(22.0, abs=0.1)


def test_bays_islands_and_gaps_do_not_move_the_median() -> None:
    bay = shapely.LineString([(100, -14), (110, -24), (160, -22), (170, -12)])
    island = shapely.Point(400, 8).buffer(3.0).exterior
    curb = shapely.difference(parallel(15.0), shapely.Point(210, 0).buffer(30))
    left, right = edges(parallel(-14.0), curb, bay, island)
    assert left == pytest.approx(14.0, abs=0.3)
    assert right == pytest.approx(15.0, abs=0.3)


def test_too_few_transects_are_no_measurement() -> None:
    stub = shapely.LineString([(290, 30), (330, 30)])
    left, right = edges(stub, parallel(15.0))
    assert np.isnan(left)
    assert right == pytest.approx(15.0, abs=0.2)


def test_distance_is_to_the_nearest_curb() -> None:
    curbs = np.array([parallel(15.0), parallel(40.0)], dtype=object)
    far = curb_distance(AXIS, (np.array([0, 0]), np.array([50.0, 500.0])), 1.0, curbs, (0.0, 60.0))
    assert far == pytest.approx([15.0, 15.0], abs=0.1)
    none = curb_distance(AXIS, (np.array([0]), np.array([50.0])), -1.0, curbs, (0.0, 60.0))
    assert np.isnan(none).all()


def test_pavement_polygons_serve_as_curbs() -> None:
    import geopandas as gpd

    pavement = AXIS.lines()[0].buffer(17.0, cap_style="flat")
    lines = curb_lines(gpd.GeoDataFrame(geometry=[pavement, None]))
    assert edges(*lines) == pytest.approx((17.0, 17.0), abs=0.1)


def corner_curbs(radius: float) -> list[dict[str, Any]]:
    """Curbs of the skewed crossing, rounded at the corners, off the middle of the avenue."""
    scene = cross()
    shapes = [row["at"] for row in scene.streets]
    lines = [shapely.from_wkt(s) if isinstance(s, str) else s for s in shapes]
    wide = [
        line.buffer(w, cap_style="flat") for line, w in zip(lines, (20, 20, 15, 15), strict=True)
    ]
    roads = shapely.union_all(wide).union(shapely.Point(100, 50).buffer(16))
    rounded = roads.buffer(radius).buffer(-radius)
    return [{"curb_id": "c", "at": rounded}]


def curbed(radius: float = 18.0) -> Design:
    scene = cross()
    design, _ = design_of(Scene(scene.streets, scene.controls, curbs=corner_curbs(radius)))
    return design


def test_width_comes_from_curbs_before_the_attribute() -> None:
    for segment in curbed().segments:
        assert segment.width_source == "curbs"
        wanted = 40.0 if segment.segment_id.startswith("a") else 30.0
        assert segment.width_ft == pytest.approx(wanted, abs=0.3)


def test_rounder_corners_move_the_crosswalk_out() -> None:
    sharp, round_ = curbed(4.0), curbed(25.0)
    for a, b in zip(sharp.legs(), round_.legs(), strict=True):
        assert b.layout.curb.station_ft > a.layout.curb.station_ft + 2.0
        assert b.layout.crosswalk is not None


def test_axis_off_the_middle() -> None:
    """Curbs 12 ft left and 24 ft right of the stem: strips lie between them."""
    stem = shapely.LineString([(60, -270), (40, 30)])
    sides = [shapely.offset_curve(stem, 12.0), shapely.offset_curve(stem, -24.0)]
    base = tee()
    scene = Scene(base.streets, base.controls, curbs=[{"at": s} for s in sides])
    markings, design, _ = layout_of(scene)
    segment = next(s for s in design.segments if s.segment_id == "s")
    assert segment.edges_ft == pytest.approx((-12.0, 24.0), abs=0.2)
    stop = markings[markings["kind"] == "stop_line"].iloc[0]
    assert stop["offset_ft"] == pytest.approx((6.0 + 24.0) / 2, abs=0.2)


def test_a_median_about_the_axis_is_not_taken_for_the_roadway() -> None:
    """Island of 8 ft along the axis, curbs 34 ft off: lanes lie between island and curb, the
    crosswalk leaves the island open, and no center line is painted on it."""
    stem = shapely.LineString([(60, -270), (40, 30)])
    shapes = [shapely.offset_curve(stem, d) for d in (34.0, -34.0)]
    island = shapely.LineString([(60, -270), (44, -30)]).buffer(4.0, cap_style="flat").exterior
    base = tee(rules={"crosswalk": {"at": ["every_leg"]}})
    rows = [dict(row) for row in base.streets]
    rows[2] |= {"lanes": 4, "street_class": "arterial"}
    scene = Scene(rows, base.controls, curbs=[{"at": s} for s in (*shapes, island)],
                  settings=base.settings)  # fmt: skip
    markings, design, _ = layout_of(scene)
    segment = next(s for s in design.segments if s.segment_id == "s")
    assert segment.edges_ft == pytest.approx((-34.0, 34.0), abs=0.2)
    median = next(s for s in segment.strips if s.kind == "median")
    assert (median.left_ft, median.right_ft) == pytest.approx((-4.0, 4.0), abs=0.2)
    lanes = [s.width_ft for s in segment.strips if s.kind == "travel_lane"]
    assert len(lanes) == 4
    own = markings[markings["segment_id"] == "s"]
    assert not (own["kind"] == "center_line").any()
    walk = own[own["kind"] == "crosswalk"].geometry.iloc[0]
    assert walk.distance(stem) >= 4.0 - 0.2
    assert len(walk.geoms) >= 6


def test_a_divided_street_between_wide_median_curbs() -> None:
    """A median of 20 ft is as wide as a street; the word `divided` tells them apart."""
    stem = shapely.LineString([(60, -270), (40, 30)])
    shapes = [shapely.offset_curve(stem, d) for d in (40.0, 10.0, -10.0, -40.0)]
    base = tee()
    for divided, width in ((True, 80.0), (False, 20.0)):
        rows = [dict(row) for row in base.streets]
        rows[2] |= {"lanes": 4, "divided": divided}
        curbs = [{"at": s} for s in shapes]
        design, _ = design_of(Scene(rows, base.controls, curbs=curbs))
        segment = next(s for s in design.segments if s.segment_id == "s")
        medians = [s.width_ft for s in segment.strips if s.kind == "median"]
        if divided:
            assert segment.width_ft == pytest.approx(width, abs=0.3)
            assert medians == pytest.approx([20.0], abs=0.3)
        else:
            assert medians == []


def test_rows_without_geometry_are_counted() -> None:
    base = tee()
    rows = [
        {"curb_id": "x", "at": shapely.Point()},
        {"curb_id": "y", "at": "LINESTRING (0 0, 9 9)"},
    ]
    _, found = design_of(Scene(base.streets, base.controls, curbs=rows))
    assert [(f.code, f.source, f.rows) for f in found if f.source == "curbs"] == [
        ("null_geometry", "curbs", 1)
    ]

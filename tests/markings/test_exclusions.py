"""Nothing is marked in an exclusion: what goes whole, what is cut back, what is told."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import geopandas as gpd
import pytest
import shapely
from scenes import Scene, cross, layout_of
from shapely import affinity

from layoutgen.errors import Finding

Row = Mapping[str, Any]
ALL = "POLYGON ((-2000 -2000, 2000 -2000, 2000 2000, -2000 2000, -2000 -2000))"


def box(x0: float, y0: float, x1: float, y1: float) -> Any:
    return shapely.box(x0, y0, x1, y1)


def without(*exclusions: Row, **settings: Any) -> Scene:
    """`scenes.cross` with exclusions."""
    return replace(cross(**settings), more={"exclusions": exclusions})


def laid(scene: Scene) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    markings, _, found = layout_of(scene)
    return markings, [f for f in found if f.code.startswith("excluded")]


def road(*exclusions: Row, **settings: Any) -> Scene:
    """Collector along y = 10, x 0 to 1000; double yellow center line, no intersections."""
    row = {"segment_id": "k", "name": "Sedge Road", "street_class": "collector"}
    return Scene(
        [row | {"at": "LINESTRING (0 10, 1000 10)"}],
        more={"exclusions": exclusions} if exclusions else {},
        settings=settings,
    )


def test_nothing_of_any_marking_is_inside_an_exclusion() -> None:
    zone = shapely.Point(150, 60).buffer(60.0)
    full, _ = laid(cross())
    markings, found = laid(without({"exclusion_id": "x7", "reason": "old bridge deck", "at": zone}))
    shared = shapely.area(shapely.intersection(markings.geometry.to_numpy(), zone))
    assert shared.max() < 0.02
    clear = full[shapely.area(shapely.intersection(full.geometry.to_numpy(), zone)) == 0.0]
    assert 0 < len(clear) < len(full)
    assert set(clear["marking_id"]) <= set(markings["marking_id"])
    told = {f.feature_id for f in found}
    hit = full[shapely.area(shapely.intersection(full.geometry.to_numpy(), zone)) > 0.02]
    assert told == set(hit["marking_id"])
    assert all("x7 (old bridge deck)" in f.text and f.feature_id in f.text for f in found)


def test_crosswalks_and_figures_go_whole_lines_are_cut_back() -> None:
    full, _ = laid(cross())
    walk = full[full["kind"] == "crosswalk"].iloc[0]
    corner = shapely.Point(walk.geometry.bounds[0], walk.geometry.bounds[1]).buffer(6.0)
    markings, found = laid(without({"exclusion_id": "c", "at": corner}))
    assert walk["marking_id"] not in set(markings["marking_id"])
    whole = {f.feature_id for f in found if f.code == "excluded"}
    assert walk["marking_id"] in whole
    is_line = dict(zip(full["marking_id"], full["is_line"], strict=True))
    assert not any(is_line[i] for i in whole)
    assert whole.isdisjoint(markings["marking_id"])


def test_a_line_is_cut_where_the_exclusion_ends_and_measured_anew() -> None:
    zone = {"exclusion_id": "x", "at": box(300, -50, 400, 50)}
    (full,) = laid(road())[0].to_dict("records")
    markings, (told,) = laid(road(zone))
    (row,) = markings.to_dict("records")
    assert row["marking_id"] == full["marking_id"]
    gone = full["area_sqft"] * 100.0 / 1000.0
    assert row["area_sqft"] == pytest.approx(full["area_sqft"] - gone, rel=1e-6)
    assert row["length_ft"] == pytest.approx(0.9 * full["length_ft"], rel=1e-6)
    assert told.text.endswith("at exclusion x")
    assert (told.code, told.severity) == ("excluded_part", "notice")
    assert len(row["geometry"].geoms) == 4  # two strokes on either side
    assert (row["from_ft"], row["to_ft"]) == (0.0, 1000.0)


def test_stations_follow_a_line_cut_at_its_end() -> None:
    (row,) = laid(road({"exclusion_id": "x", "at": box(-50, -50, 600, 50)}))[0].to_dict("records")
    assert row["from_ft"] == pytest.approx(600.0)
    assert row["to_ft"] == pytest.approx(1000.0)
    assert 600.0 <= row["station_ft"] <= 1000.0


@pytest.mark.parametrize(("shortest", "pieces"), [("10 ft", 2), ("7 ft", 4), ("0 ft", 4)])
def test_rests_shorter_than_the_setting_are_dropped(shortest: str, pieces: int) -> None:
    """8 ft are left between the street's end and the exclusion."""
    zone = {"exclusion_id": "x", "at": box(8, -50, 400, 50)}
    (row,) = laid(road(zone, exclusions={"shortest": shortest}))[0].to_dict("records")
    assert len(row["geometry"].geoms) == pieces


def test_an_oblique_cut_leaves_no_half_of_a_double_line() -> None:
    """The strokes end 0.5 ft apart, one below and one above the least length."""
    (full,) = laid(road())[0].to_dict("records")
    spread = sorted({round(y, 3) for _, y in shapely.get_coordinates(full["geometry"])})
    for at in (9.6, 9.8, 10.0, 10.2, 10.4, 10.6):
        slant = shapely.Polygon([(at - 0.25, 9), (at + 0.25, 11), (500, 11), (500, 9)])
        rows = laid(road({"exclusion_id": "x", "at": slant}))[0].to_dict("records")
        left = [p for p in rows[0]["geometry"].geoms if p.bounds[2] < 100]
        assert len(left) in (0, 2)
    assert len(spread) == 4


def test_uncut_dashes_stay_and_cut_ones_go() -> None:
    broken = {"defaults": {"collector": {"center_line": "broken"}}}
    (full,) = laid(road(**broken))[0].to_dict("records")
    dashes = list(full["geometry"].geoms)
    cut = dashes[3]
    middle = (cut.bounds[0] + cut.bounds[2]) / 2
    zone = {"exclusion_id": "x", "at": box(middle, -50, middle + 3, 50)}
    (row,) = laid(road(zone, **broken))[0].to_dict("records")
    assert len(row["geometry"].geoms) == len(dashes) - 1
    assert shapely.area(shapely.intersection(row["geometry"], cut)) == 0.0


def test_an_exclusion_that_covers_everything_leaves_nothing_and_tells_everything() -> None:
    full, _ = laid(cross())
    markings, found = laid(without({"exclusion_id": "all", "at": ALL}))
    assert not len(markings)
    assert list(markings.columns) == list(full.columns)
    assert sorted(f.feature_id for f in found) == sorted(full["marking_id"])


def test_two_exclusions_that_share_a_line_between_them_leave_none_of_it() -> None:
    halves = [
        {"exclusion_id": "w", "at": box(-50, -50, 500, 50)},
        {"exclusion_id": "e", "at": box(500, -50, 1050, 50)},
    ]
    markings, (told,) = laid(road(*halves))
    assert not len(markings)
    assert told.text.endswith("in exclusion w, e; it was left out") or "e, w" in told.text


def test_a_hole_is_free() -> None:
    ring = shapely.Polygon(box(-50, -50, 1050, 50).exterior, [box(200, -20, 700, 40).exterior])
    (row,) = laid(road({"exclusion_id": "x", "at": ring}))[0].to_dict("records")
    assert row["geometry"].bounds[0] == pytest.approx(200.0)
    assert row["geometry"].bounds[2] == pytest.approx(700.0)
    assert (row["from_ft"], row["to_ft"]) == (pytest.approx(200.0), pytest.approx(700.0))


def test_bad_exclusions_are_mended_or_told() -> None:
    bow = "POLYGON ((300 -50, 400 60, 400 -50, 300 60, 300 -50))"
    rows: list[Row] = [
        {"exclusion_id": "bow", "at": bow},
        {"exclusion_id": "none", "at": None},
        {"exclusion_id": "flat", "at": "POLYGON ((0 0, 9 0, 5 0, 0 0))"},
    ]
    markings, _, found = layout_of(road(*rows))
    told = [(f.code, f.feature_id, f.rows) for f in found if f.source == "exclusions"]
    assert sorted(told) == [
        ("no_area", "flat", 1),
        ("no_area", "none", 1),
        ("polygon_mended", "bow", 0),
    ]
    mended = shapely.make_valid(shapely.from_wkt(bow))
    assert shapely.area(shapely.intersection(markings.geometry.iloc[0], mended)) < 0.02


def test_touching_is_not_overlapping() -> None:
    (full,) = laid(road())[0].to_dict("records")
    top = full["geometry"].bounds[3]
    markings, found = laid(road({"exclusion_id": "x", "at": box(0, top, 1000, 90)}))
    assert not found
    assert markings.geometry.iloc[0].equals(full["geometry"])


MOVES: dict[str, Callable[[Any], Any]] = {
    "turned": lambda g: affinity.rotate(g, 123.0, origin=(0, 0)),
    "shifted": lambda g: affinity.translate(g, 512.3, -77.7),
}


@pytest.mark.parametrize("name", MOVES)
def test_motion_moves_what_is_left(name: str) -> None:
    move = MOVES[name]
    zone = shapely.Point(150, 60).buffer(60.0)
    base = without({"exclusion_id": "x", "at": zone})

    def moved(rows: Sequence[Row]) -> list[Row]:
        shapes = [shapely.from_wkt(r["at"]) if isinstance(r["at"], str) else r["at"] for r in rows]
        return [{**r, "at": move(s)} for r, s in zip(rows, shapes, strict=True)]

    other = replace(
        base,
        streets=moved(base.streets),
        controls=moved(base.controls),
        more={"exclusions": moved(base.more["exclusions"])},
    )
    one, _ = laid(base)
    two, _ = laid(other)
    assert sorted(round(a, 1) for a in one["area_sqft"]) == sorted(
        round(a, 1) for a in two["area_sqft"]
    )
    assert (
        shapely.union_all([move(g) for g in one.geometry])
        .symmetric_difference(shapely.union_all(two.geometry.to_numpy()))
        .area
        < 0.5
    )


def test_digitised_direction_does_not_matter() -> None:
    zone = {"exclusion_id": "x", "at": box(-50, -50, 600, 50)}
    scene = road(zone)
    turned = replace(scene, streets=[{**scene.streets[0], "at": "LINESTRING (1000 10, 0 10)"}])
    (one,), (two,) = (laid(s)[0].to_dict("records") for s in (scene, turned))
    assert one["marking_id"] == two["marking_id"]
    assert one["geometry"].symmetric_difference(two["geometry"]).area < 0.01
    assert (two["from_ft"], two["to_ft"]) == (pytest.approx(0.0), pytest.approx(400.0))

"""Existing crosswalks are painted where they lie; islands stay bare."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest
import shapely
from scenes import Scene, cross, design_of, divided, layout_of

BASE = cross()
NONE = {"rules": {"crosswalk": {"at": ["existing"]}}}


def with_axes(*axes: str, **settings: Any) -> Scene:
    rows = [{"crosswalk_id": str(i), "at": at} for i, at in enumerate(axes)]
    more = {"crosswalks": rows}
    return Scene(BASE.streets, BASE.controls, more=more, settings={**NONE, **settings})


#: across leg E (y = 26 to 74), 38 to 46 ft out, askew; and across leg N
EAST = "LINESTRING (138 22, 146 78)"


@pytest.mark.parametrize("turned", [False, True])
def test_a_crosswalk_is_painted_on_its_axis(turned: bool) -> None:
    line = shapely.from_wkt(EAST)
    scene = with_axes(shapely.to_wkt(line.reverse() if turned else line))
    markings, design, found = layout_of(scene)
    walks = markings[markings["kind"] == "crosswalk"]
    assert list(walks["marking_id"]) == ["crosswalk/a1+a2-E/1"]
    shape = walks.geometry.iloc[0]
    for bar in shape.geoms:
        assert bar.centroid.distance(line) < 0.05
    stop = markings[markings["marking_id"] == "stop_line/a1+a2-E/1"].geometry.iloc[0]
    assert stop.distance(shape) >= 4.0 - 1e-6, "STOP-02"
    assert "exists" in walks["reason"].iloc[0]
    assert not [f for f in found if f.source == "crosswalks"]
    assert [leg.leg_id for leg in design.legs() if leg.existing] == ["a1+a2-E"]


def test_it_comes_before_curb_ramps_and_the_rule() -> None:
    ramps = [{"at": shapely.Point(132, 77)}, {"at": shapely.Point(128, 22)}]
    scene = dataclasses.replace(with_axes(EAST), curb_ramps=ramps)
    markings, _, _ = layout_of(scene)
    shape = markings[markings["kind"] == "crosswalk"].geometry.iloc[0]
    assert shape.centroid.distance(shapely.from_wkt(EAST)) < 0.3


def test_axes_that_fit_no_leg_are_told_with_their_reason() -> None:
    scene = with_axes(
        EAST,
        "LINESTRING (150 22, 152 78)",  # the same leg, farther out
        "LINESTRING (330 20, 330 80)",  # midblock
        "LINESTRING (180 90, 210 90)",  # crosses nothing
        "LINESTRING (110 52, 190 47)",  # along the street
        "LINESTRING EMPTY",
        "LINESTRING (130 22, 140 78, 150 22, 130 22)",  # comes back to where it began
    )
    _, found = design_of(scene)
    told = {f.code: f.rows for f in found if f.source == "crosswalks"}
    assert told == {"crosswalk_twice": 1, "crosswalk_midblock": 3, "crosswalk_no_line": 2}


def test_one_axis_across_both_carriageways() -> None:
    base = divided(**NONE)
    axis = "LINESTRING (128 20, 126 112)"
    scene = dataclasses.replace(base, more={"crosswalks": [{"at": axis}]})
    markings, _, found = layout_of(scene)
    walks = markings[markings["kind"] == "crosswalk"]
    assert len(walks) == 1
    for bar in walks.geometry.iloc[0].geoms:
        assert bar.centroid.distance(shapely.from_wkt(axis)) < 0.3
    assert not [f for f in found if f.source == "crosswalks"]


@pytest.mark.parametrize("style", ["longitudinal_bars", "transverse_lines", "ladder", "bar_pairs"])
def test_crosswalks_lead_through_islands(style: str) -> None:
    """A refuge of 6 ft in the middle of leg E: no paint on it, paint on both of its sides."""
    island = shapely.box(112, 47, 190, 53)
    settings = {"rules": {"crosswalk": {"style": style}}}
    more = {"islands": [{"island_id": "i", "at": island}]}
    scene = Scene(BASE.streets, BASE.controls, more=more, settings=settings)
    markings, _, found = layout_of(scene)
    plain, _, _ = layout_of(Scene(BASE.streets, BASE.controls, settings=settings))
    assert max(shapely.area(shapely.intersection(markings.geometry, island))) < 0.02
    walk = markings[markings["marking_id"] == "crosswalk/a1+a2-E/1"].iloc[0]
    before = plain[plain["marking_id"] == "crosswalk/a1+a2-E/1"].iloc[0]
    north, south = (shapely.box(100, a, 200, b) for a, b in ((53, 75), (25, 47)))
    for half in (north, south):
        assert walk.geometry.intersection(half).area > 0.8 * before.geometry.intersection(half).area
    assert walk["area_sqft"] == pytest.approx(walk.geometry.area)
    assert not [f for f in found if f.code == "on_island"]
    center = markings[markings["marking_id"].str.startswith("center_line/a2")].geometry.iloc[0]
    assert center.distance(island) < 0.01, "the center line ends at the island"


def test_a_crosswalk_that_is_all_island_is_told() -> None:
    more = {"islands": [{"island_id": "i", "at": shapely.box(110, 20, 150, 80)}]}
    markings, _, found = layout_of(Scene(BASE.streets, BASE.controls, more=more))
    assert "crosswalk/a1+a2-E/1" not in set(markings["marking_id"])
    assert "crosswalk/a1+a2-E/1" in {f.feature_id for f in found if f.code == "on_island"}


def test_staggered_axes_of_two_carriageways_have_a_line_each() -> None:
    base = divided(**NONE)
    axes = ["LINESTRING (128 20, 127 66)", "LINESTRING (160 70, 158 115)"]
    scene = dataclasses.replace(base, more={"crosswalks": [{"at": at} for at in axes]})
    markings, _, _ = layout_of(scene)
    walks = markings[markings["kind"] == "crosswalk"]
    assert len(walks) == 2
    for axis in map(shapely.from_wkt, axes):
        near = min(walks.geometry, key=lambda shape: shape.distance(axis))
        assert all(bar.centroid.distance(axis) < 0.3 for bar in near.geoms)


@pytest.mark.parametrize("axis", ["LINESTRING (60 95, 130 10)", "LINESTRING (88 10, 93 95)"])
def test_an_axis_inside_the_intersection_is_not_painted(axis: str) -> None:
    """Diagonal, and across the middle of the other street."""
    markings, _, found = layout_of(with_axes(axis))
    assert not (markings["kind"] == "crosswalk").any()
    assert [f.rows for f in found if f.source == "crosswalks"] == [1]

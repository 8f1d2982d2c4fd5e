"""Which approach a signal or sign belongs to."""

from __future__ import annotations

from typing import Any

import pytest
from scenes import Scene, cross, design_of, tee

BASE = tee().streets


def controls_of(rows: list[dict[str, Any]], **settings: Any) -> tuple[dict[str, str], list[str]]:
    """(octant -> control, finding codes) of the T."""
    design, found = design_of(Scene(BASE, controls=rows, settings=settings))
    legs = {leg.leg_id.split("-")[-1]: leg.control for leg in design.legs()}
    return legs, [f.code for f in found if f.source == "controls"]


def sign(x: float, y: float, bearing: float | None = None, kind: str = "stop") -> dict[str, Any]:
    at = f"POINT ({x} {y})"
    return {"control_id": "s", "control": kind, "bearing_deg": bearing, "at": at}


def test_sign_on_the_right_of_the_stem_without_bearing() -> None:
    legs, found = controls_of([sign(61, -2)])
    assert legs == {"S": "stop", "E": "none", "W": "none"}
    assert not found


def test_bearing_decides_at_the_corner() -> None:
    """The same corner post may face the stem or the traffic from the west."""
    assert controls_of([sign(62, 8, 356.0)])[0]["S"] == "stop"
    assert controls_of([sign(18, 10, 86.0)])[0]["W"] == "stop"


def test_signal_holds_for_all_and_beats_signs() -> None:
    legs, _ = controls_of([sign(61, -2), sign(70, 60, kind="signal")])
    assert set(legs.values()) == {"signal"}


def test_all_way_stop() -> None:
    legs, _ = controls_of([sign(61, -2, kind="all_way_stop")])
    assert set(legs.values()) == {"stop"}


def test_far_and_useless_points_are_reported() -> None:
    legs, found = controls_of([sign(900, 900), {"control_id": "n", "at": "POINT (61 -2)"}])
    assert set(legs.values()) == {"none"}
    assert sorted(found) == ["control_far", "control_unusable"]


def test_sign_that_faces_no_approach_is_reported() -> None:
    """Nobody arrives from the north at this T."""
    legs, found = controls_of([sign(30, 55, 176.0)])
    assert set(legs.values()) == {"none"}
    assert found == ["control_no_approach"]


def test_class_inference_is_a_setting() -> None:
    assert set(controls_of([])[0].values()) == {"none"}
    legs, _ = controls_of([], controls={"infer": "class"})
    assert legs == {"S": "stop", "E": "none", "W": "none"}


@pytest.mark.parametrize(
    ("control", "expected"),
    [
        ("signal", {"signal"}),
        ("all_way_stop", {"stop"}),
        ("two_way_stop", {"stop", "none"}),
        ("none", {"none"}),
    ],
)
def test_control_of_the_intersections_row(control: str, expected: set[str]) -> None:
    row = {"intersection_id": "X1", "control": control, "at": "POINT (103 52)"}
    base = cross()
    design, _ = design_of(Scene(base.streets, intersections=[row]))
    assert {leg.control for leg in design.legs()} == expected
    assert design.intersections[0].intersection_id == "X1"


def test_one_way_departure_has_no_control() -> None:
    rows = [{**BASE[0], "oneway": "backward"}, *BASE[1:]]
    design, _ = design_of(Scene(rows, controls=[sign(70, 60, kind="signal")]))
    legs = {leg.leg_id.split("-")[-1]: leg for leg in design.legs()}
    assert legs["W"].control == "none"
    assert not legs["W"].inbound
    assert legs["E"].control == "signal"


def octants(design: Any) -> dict[str, str]:
    return {leg.leg_id.split("-")[-1]: leg.control for leg in design.legs()}


@pytest.mark.parametrize(("x", "side"), [(75.0, "right"), (30.0, "left")])
def test_signs_stand_on_the_driving_side(x: float, side: str) -> None:
    """Without bearings the post beside the stem's approach decides: right of it, or left of it."""
    base = tee(project={"driving_side": side})
    rows = [{"control": "yield", "at": f"POINT ({x} -20)"}]
    design, found = design_of(Scene(base.streets, rows, settings=base.settings))
    assert octants(design) == {"S": "yield", "E": "none", "W": "none"}
    assert not [f for f in found if f.source == "controls"]


def test_of_two_intersections_the_one_it_faces_gets_the_sign() -> None:
    r"""Two T 100 ft apart; the post stands between them, nearer to the wrong one.

    m0 ---+-- m1 --+--- m2
          |        |
          p        q
    """
    way = {"street_class": "collector", "width_ft": 30.0}
    rows = [
        {"segment_id": "m0", **way, "at": "LINESTRING (-300 0, 0 0)"},
        {"segment_id": "m1", **way, "at": "LINESTRING (0 0, 100 3)"},
        {"segment_id": "m2", **way, "at": "LINESTRING (100 3, 400 5)"},
        {"segment_id": "p", **way, "at": "LINESTRING (4 -300, 0 0)"},
        {"segment_id": "q", **way, "at": "LINESTRING (109 -300, 100 3)"},
    ]
    east = {"control_id": "e", "control": "stop", "bearing_deg": 88.0, "at": "POINT (46 -16)"}
    design, found = design_of(Scene(rows, [east]))
    stops = [(leg.segment.segment_id, leg.at_end) for leg in design.legs() if leg.control == "stop"]
    assert stops == [("m1", True)]  # traffic that arrives at the second T from the west
    west = {"control_id": "w", "control": "stop", "bearing_deg": 268.0, "at": "POINT (54 19)"}
    design, _ = design_of(Scene(rows, [west]))
    stops = [(leg.segment.segment_id, leg.at_end) for leg in design.legs() if leg.control == "stop"]
    assert stops == [("m1", False)]
    assert not [f for f in found if f.source == "controls"]


def test_bearings_are_compared_around_north() -> None:
    """358 and 2 degrees are 4 apart."""
    for bearing in (358.0, 2.0, 356.2 - 360.0):
        legs, found = controls_of([sign(61, -2, bearing)])
        assert (legs["S"], found) == ("stop", [])


def test_order_of_points_does_not_matter_and_the_signal_wins() -> None:
    rows = [sign(61, -2), sign(70, 60, kind="signal"), sign(30, 60, kind="all_way_stop")]
    one, _ = controls_of(rows)
    two, _ = controls_of(rows[::-1])
    assert one == two
    assert set(one.values()) == {"signal"}


def test_two_way_stop_without_a_minor_street_is_reported() -> None:
    row = {"intersection_id": "X1", "control": "two_way_stop", "at": "POINT (41 29)"}
    rows = [{**r, "street_class": "local"} for r in BASE]
    design, found = design_of(Scene(rows, intersections=[row]))
    assert set(octants(design).values()) == {"none"}
    assert [f.code for f in found if f.source == "intersections"] == ["minor_street_unknown"]


@pytest.mark.parametrize("reach", ["30 ft", "60 ft"])
def test_reach_is_a_setting(reach: str) -> None:
    _, found = controls_of([sign(63, -25, 356.0)], controls={"sign_reach": reach})
    assert found == (["control_far"] if reach == "30 ft" else [])

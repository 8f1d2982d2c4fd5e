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

"""Curb lines and leg layouts, against an independent construction with shapely."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scenes import Scene, cross, design_of

from layoutgen.street.design import Cut
from layoutgen.street.intersection import (
    IntersectionParams,
    LegNeeds,
    Neighbor,
    Room,
    bearing,
    curb_cut,
    lay_out_leg,
    octant,
)

PARAMS = IntersectionParams()


def ray(angle_deg: float, offset_ft: float) -> shapely.LineString:
    """Long line outward from near the origin, offset to the right of its direction."""
    t = math.radians(angle_deg)
    ahead, right = np.array([math.sin(t), math.cos(t)]), np.array([math.cos(t), -math.sin(t)])
    start = right * offset_ft
    return shapely.LineString([start - 500 * ahead, start + 2000 * ahead])


@settings(max_examples=120, deadline=None)
@given(
    angle=st.floats(30, 145),
    half=st.floats(8, 40),
    other=st.floats(8, 40),
)
def test_corner_is_where_the_curbs_meet(angle: float, half: float, other: float) -> None:
    """Right curb of a leg that points north, and left curb of its clockwise neighbor."""
    meet = shapely.intersection(ray(0.0, half), ray(angle, -other))
    wanted = min(meet.y, PARAMS.corner_limit_ft)
    cut = curb_cut((half, half), Neighbor(angle, other), Neighbor(360.0 - angle, other), PARAMS)
    limit = math.tan(math.radians(PARAMS.max_skew_deg))
    if abs(1 / math.tan(math.radians(angle))) <= limit and meet.y < PARAMS.corner_limit_ft:
        assert cut.slope == pytest.approx(1 / math.tan(math.radians(angle)))
    at_corner = cut.at(half)
    assert at_corner >= wanted - 1e-6
    assert min(cut.at(-half), cut.at(half)) >= -1e-6


@settings(max_examples=120, deadline=None)
@given(
    right=st.floats(35, 145),
    left=st.floats(35, 145),
    half=st.floats(8, 40),
    a=st.floats(8, 40),
    b=st.floats(8, 40),
)
def test_curb_line_clears_both_corners(
    right: float, left: float, half: float, a: float, b: float
) -> None:
    cut = curb_cut((half, half), Neighbor(right, a), Neighbor(left, b), PARAMS)
    corner_right = shapely.intersection(ray(0.0, half), ray(right, -a)).y
    corner_left = shapely.intersection(ray(0.0, -half), ray(-left, b)).y
    limit = PARAMS.corner_limit_ft
    assert cut.at(half) >= min(corner_right, limit) - 1e-6
    assert cut.at(-half) >= min(corner_left, limit) - 1e-6


def test_layout_distances_are_measured_at_right_angles() -> None:
    curb = Cut(20.0, 0.5)
    needs = LegNeeds(10.0, 2.0, 2.0, 4.0, 4.0)
    layout, dropped = lay_out_leg(curb, needs, Room((-20, 20), 300.0), 4.0)
    assert not dropped
    assert layout.crosswalk is not None
    near, far = layout.crosswalk
    stretch = math.hypot(1, 0.5)
    assert near.station_ft == pytest.approx(20 + 2 * stretch)
    assert far.station_ft == pytest.approx(20 + 12 * stretch)
    assert layout.stop.station_ft == pytest.approx(20 + 16 * stretch)
    assert layout.inbound_end.station_ft == pytest.approx(20 + 18 * stretch)
    assert layout.outbound_end.station_ft == pytest.approx(20 + 16 * stretch)


def test_short_leg_drops_the_crosswalk_first() -> None:
    needs = LegNeeds(10.0, 2.0, 2.0, 4.0, 4.0)
    layout, dropped = lay_out_leg(Cut(20.0), needs, Room((-15, 15), 30.0), 4.0)
    assert dropped == ["crosswalk"]
    assert layout.crosswalk is None
    assert layout.stop.station_ft == pytest.approx(24.0)
    _, dropped = lay_out_leg(Cut(20.0), needs, Room((-15, 15), 25.0), 4.0)
    assert dropped == ["crosswalk", "stop_line"]


@pytest.mark.parametrize(
    ("degrees", "name"), [(0, "N"), (22, "N"), (23, "NE"), (180, "S"), (337, "NW"), (338, "N")]
)
def test_octants(degrees: float, name: str) -> None:
    assert octant(degrees) == name


def test_bearings_are_compass_degrees() -> None:
    assert bearing(1, 0) == pytest.approx(90)
    assert bearing(-1, 0) == pytest.approx(270)
    assert bearing(0, -1) == pytest.approx(180)


def test_legs_are_clockwise_with_stable_ids() -> None:
    design, _ = design_of(cross())
    (crossing,) = design.intersections
    assert [leg.leg_id.split("-")[-1] for leg in crossing.legs] == ["N", "E", "S", "W"]
    bearings = [leg.bearing_deg for leg in crossing.legs]
    assert bearings == sorted(bearings)
    assert crossing.area.is_valid


def test_crossing_lines_without_a_node_make_no_intersection() -> None:
    over = {"segment_id": "o", "at": "LINESTRING (-200 10, 240 30)"}
    under = {"segment_id": "u", "at": "LINESTRING (10 -200, 30 220)"}
    design, _ = design_of(Scene([over, under]))
    assert not design.intersections
    assert len(design.segments) == 2


def test_ends_at_other_levels_make_no_intersection() -> None:
    high = {"level_from": 1, "level_to": 1}
    rows = [
        {"segment_id": "a", "at": "LINESTRING (-200 0, 10 5)", "level_to": 1},
        {"segment_id": "b", "at": "LINESTRING (10 5, 240 9)", "level_from": 1},
        {"segment_id": "c", "at": "LINESTRING (10 -200, 10 5)"},
        {"segment_id": "d", "at": "LINESTRING (10 5, 10 200)"},
    ]
    design, _ = design_of(Scene(rows))
    assert not design.intersections
    rows[0] |= {"level_to": 0}
    rows[1] |= {"level_from": 0}
    design, _ = design_of(Scene(rows))
    assert len(design.intersections) == 1
    assert high["level_from"] == 1


def test_alley_at_a_through_street_is_a_joint() -> None:
    rows = [
        {"segment_id": "a", "street_class": "collector", "at": "LINESTRING (-200 0, 10 5)"},
        {"segment_id": "b", "street_class": "collector", "at": "LINESTRING (10 5, 240 9)"},
        {"segment_id": "c", "street_class": "alley", "at": "LINESTRING (10 -200, 10 5)"},
    ]
    design, _ = design_of(Scene(rows))
    assert not design.intersections


def test_like_pieces_are_one_block() -> None:
    rows = [
        {"segment_id": "a", "name": "Elm", "at": "LINESTRING (-200 0, 10 5)"},
        {"segment_id": "b", "name": "Elm", "at": "LINESTRING (240 9, 10 5)"},
    ]
    design, _ = design_of(Scene(rows))
    (segment,) = design.segments
    assert segment.source_ids == ("a", "b")
    assert segment.length_ft == pytest.approx(math.hypot(210, 5) + math.hypot(230, 4))


@settings(max_examples=120, deadline=None)
@given(
    angle=st.floats(52, 128), half=st.floats(8, 40), wide=st.floats(8, 40), other=st.floats(8, 40)
)
def test_curb_line_is_parallel_to_a_straight_crossing_street(
    angle: float, half: float, wide: float, other: float
) -> None:
    """Also where the crossing street has two widths: the wider half holds for both (STOP-03)."""
    right, left = Neighbor(angle, wide), Neighbor(180.0 - angle, other)
    cut = curb_cut((half, half), right, left, PARAMS)
    axis = ray(angle, 0.0)
    ends = [shapely.Point(o, cut.at(o)) for o in (-half, 0.0, half)]
    behind_node = max(wide, other) <= abs(math.cos(math.radians(angle))) * half
    far = [end.distance(axis) for end in ends]
    assert far == pytest.approx([far[0]] * 3)
    assert far[0] == pytest.approx(max(wide, other)) or (behind_node and far[0] > max(wide, other))


@settings(max_examples=120, deadline=None)
@given(
    right=st.floats(92, 140), left=st.floats(92, 140), half=st.floats(8, 30), other=st.floats(8, 40)
)
def test_curb_line_keeps_off_a_crossing_street_that_bends_away(
    right: float, left: float, half: float, other: float
) -> None:
    """As at a roundabout: its pavement, drawn with a round bend, stays behind the line."""
    bend = [(math.sin(math.radians(d)) * 400, math.cos(math.radians(d)) * 400)
            for d in (right, -left)]  # fmt: skip
    pavement = shapely.LineString([bend[0], (0, 0), bend[1]]).buffer(other, quad_segs=64)
    cut = curb_cut((half, half), Neighbor(right, other), Neighbor(left, other), PARAMS)
    ends = shapely.LineString([(-half, cut.at(-half)), (half, cut.at(half))])
    beyond = shapely.Polygon([*ends.coords, (half, 900.0), (-half, 900.0)])
    assert beyond.intersection(pavement).area < 0.01 * half


@pytest.mark.parametrize("side", ["right", "left"])
def test_driving_side_moves_no_curb(side: str) -> None:
    """Curb lines depend on streets alone; who drives where does not matter."""
    one, _ = design_of(cross())
    two, _ = design_of(cross(project={"driving_side": side}))
    assert [leg.layout.curb for leg in one.legs()] == [leg.layout.curb for leg in two.legs()]
    for leg in two.legs():
        assert all((s.center_ft < 0) == (side == "right") for s in leg.inbound)
        assert all((s.center_ft > 0) == (side == "right") for s in leg.outbound)

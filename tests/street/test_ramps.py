"""Crosswalks lead from ramp to ramp (XWALK-22)."""

from __future__ import annotations

import math
from typing import Any

import pytest
import shapely
from scenes import Scene, cross, design_of, layout_of

from layoutgen.street.design import Design, Leg

BASE = cross()


def with_ramps(*places: tuple[float, float], **settings: Any) -> Design:
    rows = [{"ramp_id": str(i), "at": shapely.Point(p)} for i, p in enumerate(places)]
    design, _ = design_of(Scene(BASE.streets, BASE.controls, curb_ramps=rows, settings=settings))
    return design


def east(design: Design) -> Leg:
    """Leg a2: along x from (100, 50), curbs at y = 26 and 74; left is y = 74."""
    return next(leg for leg in design.legs() if leg.leg_id.endswith("-E"))


def middle_at(leg: Leg, offset_ft: float) -> float:
    assert leg.layout.crosswalk is not None
    near, far = leg.layout.crosswalk
    return (near.at(offset_ft) + far.at(offset_ft)) / 2


def plain_at(offset_ft: float) -> float:
    """Where the middle of the crosswalk is sought without ramps: 6 ft behind the curb line."""
    leg = east(with_ramps((900.0, 900.0)))
    return leg.layout.curb.moved(6.0).at(offset_ft)


def test_ramps_near_the_curb_line_draw_the_crosswalk_half_way() -> None:
    left, right = plain_at(-27.0) + 5.0, plain_at(28.0) - 4.0
    leg = east(with_ramps((100 + left, 77.0), (100 + right, 22.0)))
    assert middle_at(leg, -27.0) == pytest.approx(left - 2.5)
    assert middle_at(leg, 28.0) == pytest.approx(right + 2.0)
    assert leg.layout.stop.station_ft > middle_at(leg, 0.0) + 5.0


@pytest.mark.parametrize("far", [10.0, 14.0, 18.0])
def test_every_ramp_opens_into_the_crosswalk(far: float) -> None:
    """XWALK-22, for a crosswalk of 10 ft: 4 ft from the middle line leave a foot."""
    left, right = plain_at(-27.0) + far, plain_at(28.0) + far
    leg = east(with_ramps((100 + left, 77.0), (100 + right, 22.0)))
    assert abs(middle_at(leg, -27.0) - left) <= 4.0 + 1e-6
    assert abs(middle_at(leg, 28.0) - right) <= 4.0 + 1e-6


def test_one_ramp_moves_the_crosswalk_without_turning_it() -> None:
    plain = east(with_ramps((900.0, 900.0)))
    moved = east(with_ramps((100 + plain_at(-28.0) + 14.0, 78.0)))
    assert plain.crossing is None
    assert moved.layout.curb.slope == pytest.approx(plain.layout.curb.slope)
    assert middle_at(moved, -28.0) == pytest.approx(plain_at(-28.0) + 10.0)


def test_of_two_ramps_the_one_that_faces_the_other_end_is_taken() -> None:
    left = plain_at(-27.0)
    level = (100 + plain_at(28.0) + 6.0, 22.0)
    stagger = (100 + plain_at(28.0) - 4.0, 22.0)
    leg = east(with_ramps((100 + left + 6.0, 77.0), level, stagger))
    other = east(with_ramps((100 + left + 6.0, 77.0), level))
    assert middle_at(leg, 28.0) == pytest.approx(middle_at(other, 28.0))


def test_ramps_and_crosswalks_without_each_other_are_found() -> None:
    places = [(100 + plain_at(-27.0), 77.0), (300.0, 78.0)]
    rows = [{"ramp_id": str(i), "at": shapely.Point(p)} for i, p in enumerate(places)]
    _, found = design_of(Scene(BASE.streets, BASE.controls, curb_ramps=rows))
    unused = [f for f in found if f.code == "ramp_unused"]
    assert [f.geometry.x for f in unused] == [300.0]
    bare = {f.feature_id.split("-")[-1]: f.text for f in found if f.code == "no_ramp"}
    assert set(bare) == {"N", "E", "S", "W"}
    assert "the right end" in bare["E"]
    assert "left and right" in bare["S"]


def test_ramps_of_the_other_side_or_far_away_are_not_taken() -> None:
    """In the roadway, and 40 ft up the street."""
    plain = east(with_ramps((900.0, 900.0)))
    leg = east(with_ramps((100 + 30.0, 50.0), (100 + 85.0, 77.0)))
    assert leg.layout.crosswalk == plain.layout.crosswalk


def test_a_corner_ramp_serves_two_crosswalks() -> None:
    """One ramp at the corner between the legs N and E, within reach of both."""
    design = with_ramps((100.0 + 30.0, 50.0 + 30.0))
    users = [leg for leg in design.legs() if leg.crossing is not None]
    assert [leg.leg_id.split("-")[-1] for leg in users] == ["N", "E"]
    assert abs(middle_at(east(design), -30.0) - 30.0) <= 4.0 + 1e-6


def test_skew_is_limited() -> None:
    """XWALK-17: bars stay parallel to traffic up to 45 degrees."""
    leg = east(with_ramps((100 + 50.0, 77.0), (100 + 12.0, 22.0), curb_ramps={"reach": "60 ft"}))
    assert abs(leg.layout.curb.slope) <= math.tan(math.radians(45)) + 1e-9


def test_crosswalk_polygon_meets_the_line_between_the_ramps() -> None:
    a, b = (100 + plain_at(-27.0) + 8.0, 77.0), (100 + plain_at(28.0) + 2.0, 22.0)
    rows = [{"at": shapely.Point(p)} for p in (a, b)]
    markings, _, _ = layout_of(Scene(BASE.streets, BASE.controls, curb_ramps=rows))
    walk = markings[markings["marking_id"] == "crosswalk/a1+a2-E/1"].geometry.iloc[0]
    line = shapely.LineString([a, b])
    assert walk.centroid.distance(line) < 4.0
    assert all(part.intersects(line) for part in walk.geoms)

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


def test_two_ramps_give_both_ends() -> None:
    leg = east(with_ramps((100 + 45.0, 77.0), (100 + 24.0, 22.0)))
    assert middle_at(leg, -27.0) == pytest.approx(45.0)
    assert middle_at(leg, 28.0) == pytest.approx(24.0)
    assert leg.layout.stop.station_ft > middle_at(leg, 0.0) + 5.0


def test_one_ramp_moves_the_crosswalk_without_turning_it() -> None:
    plain, moved = east(with_ramps((900.0, 900.0))), east(with_ramps((100 + 47.0, 78.0)))
    assert plain.crossing is None
    assert moved.layout.curb.slope == pytest.approx(plain.layout.curb.slope)
    assert middle_at(moved, -28.0) == pytest.approx(47.0)


def test_ramps_of_the_other_side_or_far_away_are_not_taken() -> None:
    """In the roadway, and 40 ft up the street."""
    plain = east(with_ramps((900.0, 900.0)))
    leg = east(with_ramps((100 + 30.0, 50.0), (100 + 85.0, 77.0)))
    assert leg.layout.crosswalk == plain.layout.crosswalk


def test_a_shared_corner_ramp_pulls_each_crosswalk_half_way() -> None:
    """One ramp at the corner between the legs N and E, within reach of both."""
    plain = with_ramps((900.0, 900.0))
    ramp = (100.0 + 30.0, 50.0 + 30.0)
    design = with_ramps(ramp)
    users = [leg for leg in design.legs() if leg.crossing is not None]
    assert [leg.leg_id.split("-")[-1] for leg in users] == ["N", "E"]
    before, after = middle_at(east(plain), -30.0), middle_at(east(design), -30.0)
    assert after == pytest.approx((before + 30.0) / 2, abs=0.02)


def test_skew_is_limited() -> None:
    """XWALK-17: bars stay parallel to traffic up to 45 degrees."""
    leg = east(with_ramps((100 + 50.0, 77.0), (100 + 12.0, 22.0), curb_ramps={"reach": "60 ft"}))
    assert abs(leg.layout.curb.slope) <= math.tan(math.radians(45)) + 1e-9


def test_crosswalk_polygon_meets_the_line_between_the_ramps() -> None:
    a, b = (100 + 45.0, 77.0), (100 + 24.0, 22.0)
    rows = [{"at": shapely.Point(p)} for p in (a, b)]
    markings, _, _ = layout_of(Scene(BASE.streets, BASE.controls, curb_ramps=rows))
    walk = markings[markings["marking_id"] == "crosswalk/a1+a2-E/1"].geometry.iloc[0]
    line = shapely.LineString([a, b])
    assert walk.centroid.distance(line) < 0.7
    assert all(part.intersects(line) for part in walk.geoms)

"""Pavement of intersections, which keeps links through them off the lawns."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from scenes import Scene, design_of

from layoutgen.markings.pavement import pavement_of
from layoutgen.records import changed
from layoutgen.street.design import Intersection, Leg

_ROW = {"street_class": "collector", "lanes": 2, "width_ft": 30.0}


def crossing() -> Intersection:
    """A skewed crossing of streets that bend close to it."""
    x = (61.0, -23.0)
    rows: list[dict[str, Any]] = [
        {"segment_id": "w", **_ROW, "at": shapely.LineString([(-300.0, -90.0), (35.0, -40.0), x])},
        {"segment_id": "e", **_ROW, "at": shapely.LineString([x, (90.0, -19.0), (380.0, 70.0)])},
        {"segment_id": "n", **_ROW, "at": shapely.LineString([x, (80.0, 10.0), (140.0, 320.0)])},
    ]
    design, _ = design_of(Scene(rows))
    return design.intersections[0]


def beside(leg: Leg, shift_ft: float) -> Leg:
    """The leg with a roadway that lies so far off its axis."""
    strips = tuple(
        changed(s, left_ft=s.left_ft + shift_ft, right_ft=s.right_ft + shift_ft)
        for s in leg.segment.strips
    )
    return changed(leg, segment=changed(leg.segment, strips=strips))


@pytest.mark.parametrize("shift_ft", [0.0, 1.8e-15, -7.1e-15, 1e-9, 4.0])
def test_pavement_of_streets_as_far_off_their_axis_as_rounding_leaves(shift_ft: float) -> None:
    """GEOS fails on curves moved by 1e-15 ft, which is what sums of lane widths leave."""
    own = crossing()
    moved = changed(own, legs=tuple(beside(leg, shift_ft) for leg in own.legs))
    area = pavement_of(moved)
    assert shapely.is_valid(area)
    assert own.area.difference(area).area < 1e-6
    for leg in moved.legs:
        low, high = leg.segment.edges_ft
        line = shapely.reverse(leg.segment.axis) if leg.at_end else leg.segment.axis
        (a, b) = shapely.get_coordinates(shapely.line_interpolate_point(line, [40.0, 41.0]))
        right = np.array([b[1] - a[1], a[0] - b[0]]) * (-1 if leg.at_end else 1)
        for offset in (low + 1.0, high - 1.0):
            assert area.covers(shapely.Point(a + right * offset)), (leg.leg_id, offset)
        assert not area.covers(shapely.Point(a + right * (high + 2.0)))

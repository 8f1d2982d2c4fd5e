"""Shortcuts of the templates give what the long way gives, vertex by vertex."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scenes import design_of, tee

from layoutgen.markings import ribbons
from layoutgen.markings.marking import Bar, BarRow, BarsShape, Frame
from layoutgen.markings.templates import bars
from layoutgen.street.design import Cut

DESIGN, _ = design_of(tee())
STEM = Frame(next(s for s in DESIGN.segments if s.segment_id == "s"))


def test_straight_stripes_are_what_a_buffer_gives() -> None:
    rng = np.random.default_rng(3)
    start = rng.uniform(-50_000.0, 50_000.0, (500, 2))
    tracks = shapely.linestrings(np.stack([start, start + rng.uniform(-40.0, 40.0, (500, 2))], 1))
    half = rng.uniform(0.1, 0.5, 500)
    wanted = shapely.buffer(tracks, half, cap_style="flat", join_style="mitre", mitre_limit=2.0)
    xy = shapely.get_coordinates(ribbons._rectangles(tracks, half))
    assert xy == pytest.approx(shapely.get_coordinates(wanted), rel=0.0, abs=1e-9)


def test_a_row_of_bars_is_drawn_as_its_bars_one_by_one() -> None:
    near, far = Cut(40.0, 0.4), Cut(50.0, 0.4)
    sides = ((-9.0, -7.0), (-3.0, -1.0), (2.0, 4.0))
    row = BarsShape(40.0, (BarRow(near, far, -9.0, 4.0, sides),))
    single = BarsShape(40.0, tuple(Bar(near, far, *pair) for pair in sides))
    one, other = bars.draw([STEM, STEM], [row, single], DESIGN.axes)
    assert shapely.equals_exact(one, other, tolerance=0.0)
    assert one.area == pytest.approx(60.0)


@pytest.mark.parametrize("overlap", [0.0, 0.5])
def test_bars_of_a_row_that_meet_are_merged(overlap: float) -> None:
    """They make no valid multipolygon, so the shortcut past the check must not take them."""
    sides = ((-2.0, 0.0), (-overlap, 2.0))
    row = BarsShape(40.0, (BarRow(Cut(40.0), Cut(50.0), -2.0, 2.0, sides),))
    (shape,) = bars.draw([STEM], [row], DESIGN.axes)
    assert shape.is_valid
    assert len(shape.geoms) == 1
    assert shape.area == pytest.approx(40.0)


def test_many_shapes_are_drawn_like_few(monkeypatch: pytest.MonkeyPatch) -> None:
    shapes = [
        BarsShape(20.0 + k, (Bar(Cut(20.0 + k), Cut(22.0 + k), -5.0, 5.0 - k / 10),))
        for k in range(11)
    ]
    whole = bars.draw([STEM] * 11, shapes, DESIGN.axes)
    monkeypatch.setattr(bars, "_AT_ONCE", 3)
    parts = bars.draw([STEM] * 11, shapes, DESIGN.axes)
    assert len(parts) == 11
    assert shapely.equals_exact(whole, parts, tolerance=0.0).all()

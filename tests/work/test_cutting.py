"""Pieces of one shape: they tile it, fit the reach, and are as few as can be.

The proof is an integer program of its own, on shapes of grid cells: the fewest windows of the
reach's size that hold every cell. A window anywhere can be moved to the grid without losing one.
"""

from __future__ import annotations

from itertools import product
from typing import Any

import numpy as np
import pytest
import shapely
from scipy.optimize import LinearConstraint, milp
from shapely.affinity import translate

from layoutgen.markings.symbols import figure
from layoutgen.work.cutting import Paint, Reach, best_pieces, part_line
from layoutgen.work.lane_cuts import Cutter

NONE: tuple[tuple[float, ...], tuple[float, ...]] = ((), ())


def cells_of(rng: np.random.Generator) -> np.ndarray[Any, Any]:
    """A random shape as a grid of cells: blobs, combs, bars, rings."""
    wide, long = int(rng.integers(1, 15)), int(rng.integers(1, 15))
    kind = int(rng.integers(0, 4))
    cells = np.zeros((wide, long), dtype=bool)
    if kind == 0:
        cells |= rng.random((wide, long)) < rng.uniform(0.15, 0.9)
    elif kind == 1:  # bars
        cells[:: int(rng.integers(2, 4))] = True
    elif kind == 2:  # ring
        cells[:] = True
        cells[1:-1, 1:-1] = False
    else:  # an L or a T
        cells[: int(rng.integers(1, wide + 1)), : int(rng.integers(1, long + 1))] = True
        cells[:, 0] = True
    cells[0, 0] = True
    return cells


def shape_of(cells: np.ndarray[Any, Any]) -> Any:
    at = np.argwhere(cells)
    return shapely.union_all([shapely.box(x, y, x + 1, y + 1) for x, y in at])


def fewest(cells: np.ndarray[Any, Any], wide: int, long: int) -> int:
    """Least number of windows of wide x long cells over all cells."""
    at = [tuple(c) for c in np.argwhere(cells)]
    starts = list(product(range(-wide + 1, cells.shape[0]), range(-long + 1, cells.shape[1])))
    covers = np.array(
        [[x <= a < x + wide and y <= b < y + long for x, y in starts] for a, b in at], dtype=float
    )
    ones = np.ones(len(starts))
    answer = milp(
        ones,
        constraints=LinearConstraint(covers, lb=1.0),
        integrality=np.ones(len(starts), dtype=int),
    )
    assert answer.success
    return round(answer.fun)


def check_tiles(shape: Any, pieces: list[Any], reach: Reach) -> None:
    """Area equal to 1e-6, no overlap, every piece inside the shape and the reach."""
    assert sum(p.area for p in pieces) == pytest.approx(shape.area, rel=1e-6)
    assert shapely.union_all(pieces).symmetric_difference(shape).area < 1e-6 * shape.area + 1e-9
    assert all(reach.holds(p) for p in pieces)


@pytest.mark.parametrize("seed", range(200))
def test_number_of_pieces_is_the_proven_minimum(seed: int) -> None:
    rng = np.random.default_rng(seed)
    cells = cells_of(rng)
    wide, long = int(rng.integers(2, 13)), int(rng.integers(2, 8))
    shape, reach = shape_of(cells), Reach(float(wide), float(long))
    pieces = best_pieces(shape, reach, NONE)
    check_tiles(shape, pieces, reach)
    assert len(pieces) == fewest(cells, wide, long)


def test_cuts_cross_the_least_paint() -> None:
    """Of all ways with the fewest windows none crosses less, tried on a fine grid of cuts."""
    rng = np.random.default_rng(4)
    for _ in range(25):
        widths = rng.uniform(0.3, 4.0, size=12)
        shape = shapely.union_all(
            [shapely.box(-w / 2, k, w / 2, k + 1.0) for k, w in enumerate(widths)]
        )
        paint = Paint(shape, 1)
        cuts = part_line(paint, 5.0, 0.0, ())
        assert len(cuts) == 2
        got = float(paint.crossed(np.array(cuts)).sum())
        grid = np.arange(0.0, 12.0, 0.25)
        pairs = [(a, b) for a in grid for b in grid if a <= 5 and b - a <= 5 and b >= 7 and a < b]
        best = min(float(paint.crossed(np.array(p)).sum()) for p in pairs)
        assert got == pytest.approx(best, abs=1e-6)


def test_natural_breaks_win_over_a_little_less_paint() -> None:
    shape = shapely.box(0, 0, 1, 8)
    assert part_line(Paint(shape, 1), 5.0, 0.0, (3.7,)) == [3.7]
    assert part_line(Paint(shape, 1), 5.0, 0.0, (2.0,)) != [2.0]  # 6 ft would be left


def test_green_box_of_20_by_5_takes_four_pieces() -> None:
    """Common practice: a 20 ft box is painted in four 5 ft pieces."""
    pieces = best_pieces(shapely.box(0, 0, 5, 20), Reach(12.0, 5.0), NONE)
    assert [p.bounds for p in pieces] == [(0, 5.0 * k, 5, 5.0 * k + 5) for k in range(4)]


def test_turn_arrow_is_stem_and_head() -> None:
    """Cut once, at the natural break between stem and head; both are whole."""
    arrow = figure("arrow_left")
    breaks = (tuple(arrow.side_breaks), tuple(arrow.breaks))
    cutter = Cutter(Reach(12.0, 6.0), (), 1.5, breaks)
    stem, head = cutter.pieces(arrow.polygon)
    assert stem.bounds[3] == pytest.approx(head.bounds[1])
    assert min(abs(stem.bounds[3] - b) for b in arrow.breaks) < 1e-6
    check_tiles(arrow.polygon, [stem, head], cutter.reach)


def test_crosswalk_over_four_lanes_is_cut_at_lane_lines() -> None:
    """24 in bars every 4 ft over four 12 ft lanes, 10 ft along: no bar is split between lanes."""
    bars = [shapely.box(x, 0, x + 2, 10) for x in np.arange(-23.0, 23.0, 4.0)]
    shape = shapely.MultiPolygon(bars)
    cutter = Cutter(Reach(12.0, 5.0), (-12.0, 0.0, 12.0), 1.5, NONE)
    pieces = cutter.pieces(shape)
    check_tiles(shape, pieces, cutter.reach)
    assert len(pieces) == 4 * 2
    for bar in bars:
        parts = [p for p in pieces if p.intersection(bar).area > 1e-9]
        assert len(parts) == 2  # its two halves along travel
        lanes = {np.floor(p.centroid.x / 12.0) for p in parts}
        assert len(lanes) == 1


def test_word_over_two_lanes_is_cut_in_halves_at_the_lane_line() -> None:
    """SCHOOL over two lanes: common practice paints it lane by lane."""
    letters = [shapely.box(x, 0, x + 2.4, 10) for x in np.arange(-9.65, 9.0, 3.38)]
    cutter = Cutter(Reach(12.0, 5.0), (0.0,), 1.5, NONE)
    pieces = cutter.pieces(shapely.MultiPolygon(letters))
    assert len(pieces) == 4
    assert sum(p.centroid.x < 0 for p in pieces) == 2
    assert all(p.bounds[2] <= 0.5 or p.bounds[0] >= -0.5 for p in pieces)


def test_pieces_lap_by_the_set_overlap_and_no_more() -> None:
    shape = shapely.box(0, 0, 4, 14)
    reach = Reach(12.0, 5.0, 0.5)
    pieces = best_pieces(shape, reach, NONE)
    assert all(reach.holds(p) for p in pieces)
    assert len(pieces) == 3  # 5 + 4.5 + 4.5
    assert sum(p.area for p in pieces) - shape.area == pytest.approx(4 * 0.5 * 2)


def test_pieces_do_not_depend_on_the_place() -> None:
    shape = figure("bike_symbol").polygon
    here = best_pieces(shape, Reach(12.0, 5.0), NONE)
    there = best_pieces(translate(shape, 1000.0, 250.0), Reach(12.0, 5.0), NONE)
    for a, b in zip(here, there, strict=True):
        assert translate(a, 1000.0, 250.0).symmetric_difference(b).area < 1e-6

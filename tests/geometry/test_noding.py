"""Where lines meet, against loops over all pairs."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import shapely
from shapely.ops import substring

from layoutgen.geometry.noding import (
    Levels,
    cluster,
    end_points,
    move_ends,
    shared_vertices,
    split,
    touched,
)
from layoutgen.geometry.polyline import Polylines

NONE = np.zeros(0, dtype=np.int64)


def random_lines(count: int, seed: int) -> list[shapely.LineString]:
    """Crooked lines on a coarse grid, so that vertices coincide and ends touch."""
    rng = np.random.default_rng(seed)
    out = []
    while len(out) < count:
        xy = rng.integers(0, 9, (int(rng.integers(2, 6)), 2)) * 50.0
        keep = np.append(True, np.any(np.diff(xy, axis=0) != 0, axis=1))
        if keep.sum() > 1:
            out.append(shapely.LineString(xy[keep]))
    return out


@pytest.mark.parametrize("seed", range(4))
def test_shared_vertices_by_looking_at_all_pairs(seed: int) -> None:
    lines = random_lines(25, seed)
    many = Polylines.from_lines(lines)
    wanted = set()
    vertices = [(i, k, c) for i, line in enumerate(lines) for k, c in enumerate(line.coords)]
    for i, k, c in vertices:
        is_end = k in (0, len(lines[i].coords) - 1)
        if not is_end and any(c == d and (i, k) != (j, m) for j, m, d in vertices):
            wanted.add((i, round(float(many.run[many.first[i] + k]), 6)))
    line, at, meets = shared_vertices(many)
    assert meets.all()
    assert {(int(i), round(float(s), 6)) for i, s in zip(line, at, strict=True)} == wanted


@pytest.mark.parametrize("tolerance", [0.0, 2.0, 9.0])
@pytest.mark.parametrize("seed", range(3))
def test_touching_ends_by_looking_at_all_pairs(seed: int, tolerance: float) -> None:
    rng = np.random.default_rng(seed)
    lines = [
        shapely.LineString(rng.uniform(0, 400, (2, 2)) + rng.normal(size=2)) for _ in range(60)
    ]
    lines += [
        shapely.LineString([lines[k].interpolate(0.4, normalized=True), (500.0 + k, -50.0)])
        for k in range(6)
    ]
    many = Polylines.from_lines(lines)
    levels = rng.integers(0, 2, 2 * len(lines))
    inside = levels.reshape(-1, 2).min(axis=1)
    reach = max(tolerance, 0.01)
    wanted = []
    for (e, end), (i, line) in itertools.product(
        enumerate(shapely.points(end_points(many))), enumerate(lines)
    ):
        at = line.project(end)
        if (
            e // 2 != i
            and levels[e] == inside[i]
            and line.distance(end) <= reach
            and reach < at < line.length - reach
        ):
            wanted.append((i, round(at, 6)))
    known = Levels(levels, inside, np.zeros(len(levels), dtype=bool))
    line_no, station = touched(many, known, tolerance)
    got = sorted((int(i), round(float(s), 6)) for i, s in zip(line_no, station, strict=True))
    assert got == sorted(wanted)
    assert tolerance > 0 or len(got) >= 1


def test_splitting_keeps_all_of_every_line() -> None:
    lines = random_lines(40, 8)
    many = Polylines.from_lines(lines)
    rng = np.random.default_rng(2)
    which = rng.integers(0, len(lines), 90)
    at = rng.uniform(-0.1, 1.1, 90).clip(0, 1) * many.lengths[which]
    pieces, parent = split(many, which, at)
    assert (np.diff(parent) >= 0).all()
    for i, line in enumerate(lines):
        own = pieces[parent == i]
        cuts = sorted({0.0, *at[which == i].round(9), line.length})
        cuts = [s for k, s in enumerate(cuts) if k == 0 or s - cuts[k - 1] > 0.02]
        assert len(own) == max(1, len(cuts) - 1)
        assert sum(p.length for p in own) == pytest.approx(line.length)
        assert all(a.coords[-1] == b.coords[0] for a, b in itertools.pairwise(own))
        if len(cuts) == len(own) + 1:
            for piece, (s, t) in zip(own, itertools.pairwise(cuts), strict=True):
                assert shapely.hausdorff_distance(piece, substring(line, s, t)) < 0.03


def test_cuts_at_ends_and_twice_at_one_place_leave_no_crumbs() -> None:
    line = Polylines.from_lines([shapely.LineString([(0, 0), (60, 80)])])
    pieces, parent = split(line, np.array([0, 0, 0, 0]), np.array([0.0, 40.0, 40.005, 100.0]))
    assert [round(p.length, 6) for p in pieces] == [40.0, 60.0]
    assert parent.tolist() == [0, 0]
    whole, _ = split(line, NONE, np.zeros(0))
    assert whole[0].length == 100.0


def test_splitting_no_lines_gives_no_pieces() -> None:
    nothing = Polylines(np.zeros((0, 2)), np.zeros(1, dtype=np.int64), np.zeros(0))
    pieces, parent = split(nothing, NONE, np.zeros(0))
    assert len(pieces) == len(parent) == 0


@pytest.mark.parametrize("tolerance", [0.0, 3.0, 20.0])
def test_clusters_are_chains_of_near_points(tolerance: float) -> None:
    """Union-find over all pairs of one level; the node is the mean of its distinct points."""
    rng = np.random.default_rng(6)
    points = np.vstack([rng.uniform(0, 300, (80, 2)), rng.uniform(0, 300, (15, 2)).repeat(3, 0)])
    levels = rng.integers(0, 3, len(points))
    group = list(range(len(points)))
    for i, j in itertools.combinations(range(len(points)), 2):
        near = np.hypot(*(points[i] - points[j])) <= max(tolerance, 0.01)
        if near and levels[i] == levels[j]:
            old, new = group[j], group[i]
            group = [new if g == old else g for g in group]
    label, place = cluster(points, levels, tolerance)
    pairs = {(g, int(n)) for g, n in zip(group, label, strict=True)}
    assert len(pairs) == len(set(group)) == len(place)
    for g, n in pairs:
        own = np.unique(points[[k for k, v in enumerate(group) if v == g]], axis=0)
        assert place[n] == pytest.approx(own.mean(axis=0))


def test_nodes_are_numbered_by_place_not_by_row() -> None:
    rng = np.random.default_rng(9)
    points = rng.uniform(0, 100, (40, 2))
    levels = np.zeros(40, dtype=np.int64)
    order = rng.permutation(40)
    label, place = cluster(points, levels, 8.0)
    other, same = cluster(points[order], levels, 8.0)
    assert np.allclose(place, same)
    assert (label[order] == other).all()
    assert (np.diff(place[:, 0]) >= 0).all()


def test_a_vertex_shared_by_many_weighs_no_more_than_another() -> None:
    """Three streets end at (0, 0), one at (2, 0): the node stands in the middle."""
    points = np.array([[0.0, 0.0]] * 3 + [[2.0, 0.0]])
    _, place = cluster(points, np.zeros(4, dtype=np.int64), 3.0)
    assert place == pytest.approx(np.array([[1.0, 0.0]]))


def test_moved_ends_leave_the_inside_alone() -> None:
    lines = np.array(random_lines(12, 3), dtype=object)
    ends = end_points(Polylines.from_lines(lines)) + 1.5
    out = move_ends(lines, ends)
    for before, after, pair in zip(lines, out, ends.reshape(-1, 2, 2), strict=True):
        assert list(after.coords)[1:-1] == list(before.coords)[1:-1]
        assert [after.coords[0], after.coords[-1]] == [tuple(p) for p in pair]

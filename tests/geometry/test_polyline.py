"""Stations, pieces and offsets of many lines at once, against shapely's one-by-one functions."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely.ops import substring

from layoutgen.geometry.noding import Levels, cluster, shared_vertices, split, touched
from layoutgen.geometry.polyline import Polylines, offset_lines


def random_lines(count: int, seed: int) -> list[shapely.LineString]:
    """Crooked lines of 2 to 9 points."""
    rng = np.random.default_rng(seed)
    return [
        shapely.LineString(rng.uniform(-300, 300, (int(rng.integers(2, 9)), 2)))
        for _ in range(count)
    ]


LINES = random_lines(80, 11)
MANY = Polylines.from_lines(LINES)


def test_lengths_and_lines() -> None:
    assert pytest.approx([line.length for line in LINES]) == MANY.lengths
    assert shapely.equals_exact(MANY.lines(), np.array(LINES, dtype=object)).all()


def test_pieces_equal_shapely_substring() -> None:
    rng = np.random.default_rng(3)
    which = rng.integers(0, len(LINES), 600)
    a = rng.uniform(0, 0.7, 600) * MANY.lengths[which]
    b = a + rng.uniform(0.01, 0.3, 600) * MANY.lengths[which]
    got = MANY.pieces(which, a, b)
    for piece, i, s, t in zip(got, which, a, b, strict=True):
        assert shapely.hausdorff_distance(piece, substring(LINES[i], s, t)) < 1e-6
        assert piece.length == pytest.approx(t - s, abs=1e-6)


def test_locate_on_the_line_and_beside_it() -> None:
    rng = np.random.default_rng(5)
    which = rng.integers(0, len(LINES), 300)
    s = rng.uniform(0.01, 0.99, 300) * MANY.lengths[which]
    on = MANY.locate(which, s)
    for xy, i, at in zip(on, which, s, strict=True):
        assert np.allclose(xy, LINES[i].interpolate(at).coords[0], atol=1e-7)
    right = MANY.locate(which, s, 3.0)
    ahead = MANY.directions(which, s)
    turn = ahead[:, 0] * (right - on)[:, 1] - ahead[:, 1] * (right - on)[:, 0]
    assert turn == pytest.approx(-3.0)  # clockwise of the direction: to the right


def test_stations_beyond_the_ends_go_straight_on() -> None:
    bend = Polylines.from_lines([shapely.LineString([(0, 0), (10, 0), (10, 5)])])
    assert bend.locate([0, 0], [-4.0, 20.0]) == pytest.approx(np.array([[-4, 0], [10, 10]]))


def test_repeated_points_do_not_matter_and_points_are_no_line() -> None:
    twice = shapely.LineString([(0, 0), (0, 0), (3, 4), (3, 4)])
    assert Polylines.from_lines([twice]).lengths == pytest.approx([5.0])
    with pytest.raises(ValueError, match="two distinct"):
        Polylines.from_lines([shapely.LineString([(1, 1), (1, 1)])])
    with pytest.raises(ValueError, match="start < stop"):
        MANY.pieces([0], [5.0], [5.0])


def test_offset_goes_to_the_right_and_keeps_direction() -> None:
    line = np.array([shapely.LineString([(0, 0), (10, 0)])], dtype=object)
    assert offset_lines(line, 2.0)[0].equals(shapely.LineString([(0, -2), (10, -2)]))
    left = offset_lines(line, -2.0)[0]
    assert list(left.coords) == [(0, 2), (10, 2)]
    assert offset_lines(line, 0.0)[0] is line[0]


def test_offset_inside_a_tight_bend_keeps_what_there_is() -> None:
    hook = np.array([shapely.LineString([(0, 0), (40, 0), (40, 1), (0, 1)])], dtype=object)
    inner = offset_lines(hook, -3.0)[0]
    assert inner is None or inner.length < hook[0].length


def test_shared_vertices_and_touching_ends_split_lines() -> None:
    cross = Polylines.from_lines(
        [
            shapely.LineString([(0, 0), (50, 3), (100, 0)]),
            shapely.LineString([(50, -40), (50, 3), (47, 60)]),
            shapely.LineString([(20, 80), (48.1, 40.2)]),
        ]
    )
    line, at, _ = shared_vertices(cross)
    assert sorted(line.tolist()) == [0, 1]
    t_line, t_at = touched(cross, Levels.ground(3), 2.0)
    assert t_line.tolist() == [1]
    pieces, parent = split(cross, np.append(line, t_line), np.append(at, t_at))
    assert parent.tolist() == [0, 0, 1, 1, 1, 2]
    assert sum(p.length for p in pieces) == pytest.approx(cross.lengths.sum())


def test_ends_of_other_levels_do_not_meet() -> None:
    points = np.array([[0.0, 0.0], [0.5, 0.0], [0.6, 0.0], [90.0, 0.0]])
    label, place = cluster(points, np.array([0, 0, 1, 0]), 2.0)
    assert label[0] == label[1] != label[2]
    assert len(place) == 3
    assert place[label[0]] == pytest.approx([0.25, 0.0])


@pytest.mark.parametrize("mirror", [1.0, -1.0])
@pytest.mark.parametrize("offset", [11.0 / 3.0, 13.0 / 3.0])
def test_parallel_of_a_nearly_straight_line_keeps_both_ends(mirror: float, offset: float) -> None:
    """Met on a real street: the offset engine loses the short piece behind the vertex, on one side
    of the line and at some offsets only."""
    xy = np.array(
        [
            [1244.5420006547429, -609.9411026653308],
            [1250.8385716897521, -736.1232530205275],
            [1251.169166516829, -742.7538388794912],
        ]
    )
    line = np.array([shapely.LineString(xy * [mirror, 1.0])], dtype=object)
    drawn = offset_lines(line, [offset * mirror])
    assert drawn[0].length == pytest.approx(line[0].length, abs=0.02)
    gap = shapely.distance(shapely.points(shapely.get_coordinates(drawn[0])), line[0])
    assert gap == pytest.approx(abs(offset), abs=0.01)

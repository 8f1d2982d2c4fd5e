"""Outlines against plain geometry: closed forms, dense samples of the curve, mirror images."""

import numpy as np
import pytest
import shapely

from layoutgen.geometry import outline

RING = "M 1 0 E 1 1 0 1 -1 1 -1 0 -1 -1 0 -1 1 -1 1 0 Z"
BOX = (0.0, 0.0, 3.0, 8.0)


def farthest_ft(curve: np.ndarray, piece: outline.Trace) -> float:
    line = shapely.LinearRing(piece.xy) if piece.closed else shapely.LineString(piece.xy)
    return float(shapely.distance(line, shapely.points(curve)).max())


def test_straight_path_keeps_its_vertices() -> None:
    (piece,) = outline.trace("M 0 0 L 1 0 1 2", scale=(2, 3), shift_ft=(10, 20))
    assert piece.xy.tolist() == [[10, 20], [12, 20], [12, 26]]
    assert not piece.closed


def test_quarters_make_an_ellipse_within_the_sag() -> None:
    (piece,) = outline.trace(RING, scale=(2, 5), sag_ft=0.002)
    angle = np.linspace(0, 2 * np.pi, 4001)
    ellipse = np.column_stack([2 * np.cos(angle), 5 * np.sin(angle)])
    assert farthest_ft(ellipse, piece) <= 0.002
    assert np.allclose(np.hypot(piece.xy[:, 0] / 2, piece.xy[:, 1] / 5), 1.0)
    assert outline.fill([piece]).area == pytest.approx(np.pi * 2 * 5, rel=1e-3)


@pytest.mark.parametrize("sag_ft", [0.01, 0.001])
def test_cubic_stays_within_the_sag_and_finer_means_more_vertices(sag_ft: float) -> None:
    (piece,) = outline.trace("M 0 0 C 0 3 4 3 4 0", sag_ft=sag_ft)
    t = np.linspace(0, 1, 2001)[:, None]
    curve = 3 * t * (1 - t) ** 2 * [0, 3] + 3 * t**2 * (1 - t) * [4, 3] + t**3 * [4, 0]
    assert farthest_ft(curve, piece) <= sag_ft
    (coarse,) = outline.trace("M 0 0 C 0 3 4 3 4 0", sag_ft=0.1)
    assert len(piece.xy) > len(coarse.xy)


def test_a_sag_finer_than_asked_is_not_what_we_get() -> None:
    (piece,) = outline.trace(RING, sag_ft=0.05)
    angle = np.linspace(0, 2 * np.pi, 4001)
    assert farthest_ft(np.column_stack([np.cos(angle), np.sin(angle)]), piece) > 0.01


def test_stroked_ring_is_an_annulus() -> None:
    ring = outline.stroke(outline.trace(RING), 0.5)
    assert ring.area == pytest.approx(np.pi * (1.25**2 - 0.75**2), rel=5e-3)
    assert [len(part.interiors) for part in ring.geoms] == [1]


def test_stroke_has_one_width_whatever_the_stretch() -> None:
    for scale in [(1, 1), (1, 7), (9, 2)]:
        bar = outline.stroke(outline.trace("M 0 0 L 1 0", scale=scale), 0.4)
        upright = outline.stroke(outline.trace("M 0 0 L 0 1", scale=scale), 0.4)
        assert bar.area == pytest.approx(0.4 * scale[0])
        assert upright.area == pytest.approx(0.4 * scale[1])


def test_right_angle_is_mitred_to_the_full_corner() -> None:
    corner = outline.stroke(outline.trace("M 0 5 L 0 0 5 0"), 1.0)
    assert corner.bounds == pytest.approx((-0.5, -0.5, 5.0, 5.0))
    assert corner.area == pytest.approx(5.5 + 4.5)
    assert corner.covers(shapely.Point(-0.5, -0.5))


def test_sharp_corner_is_cut_flat_not_drawn_to_a_spike() -> None:
    """The full mitre of this corner would reach 5 ft below it."""
    vee = outline.stroke(outline.trace("M -1 10 L 0 0 1 10"), 1.0)
    lowest_ft = vee.bounds[1]
    assert lowest_ft == pytest.approx(-outline.MITRE_LIMIT / 2, abs=1e-6)
    tip = shapely.get_coordinates(vee)
    flat = tip[np.isclose(tip[:, 1], lowest_ft)]
    assert np.ptp(flat[:, 0]) > 0.7


def test_round_ends_reach_half_a_stroke() -> None:
    limb = outline.stroke(outline.trace("M 0 0 L 4 0"), 1.0, ends="round")
    assert limb.bounds == pytest.approx((-0.5, -0.5, 4.5, 0.5))
    assert limb.area == pytest.approx(4 + np.pi / 4, rel=0.005)


@pytest.mark.parametrize("x", [1.5, 2.0, 2.4])
def test_slanted_end_is_flush_with_the_edge(x: float) -> None:
    """The cut is as wide as the stroke divided by the cosine of its slant."""
    (piece,) = outline.trace(f"M 1 4 L {x} 7.75")
    shape = outline.cut_to(outline.stroke([outline.run_on(piece, BOX, stroke_ft=0.5)], 0.5), BOX)
    assert shape.bounds[3] == 8.0
    top = shapely.intersection(shape, shapely.LineString([(0, 8), (3, 8)]))
    assert top.length == pytest.approx(0.5 * np.hypot(x - 1, 3.75) / 3.75)


@pytest.mark.parametrize(
    "path, corner",
    [
        ("M 1 4 L 2.75 7.75", (3, 8)),
        ("M 1 4 L 2.75 0.25", (3, 0)),
        ("M 1 4 L 0.25 0.25", (0, 0)),
        ("M 2.75 7.75 L 1.5 4", (3, 8)),
    ],
)
def test_end_in_a_corner_passes_through_it(path: str, corner: tuple[float, float]) -> None:
    (piece,) = outline.trace(path)
    moved = outline.run_on(piece, BOX, stroke_ft=0.5)
    assert shapely.LineString(moved.xy).distance(shapely.Point(corner)) == pytest.approx(0.25)
    shape = outline.cut_to(outline.stroke([moved], 0.5), BOX)
    assert shape.distance(shapely.Point(corner)) < 1e-9
    upright = shapely.LineString([(corner[0], 0), (corner[0], 8)])
    assert shapely.intersection(shape, upright).length < 1e-6, "touches in the corner only"


@pytest.mark.parametrize("path", ["M 1 1 L 2 2", "M 0.25 1 L 0.25 4", RING])
def test_other_ends_stay(path: str) -> None:
    (piece,) = outline.trace(path)
    assert np.array_equal(outline.run_on(piece, BOX, stroke_ft=0.5).xy, piece.xy)


def test_mirror_negates_x_and_nothing_else() -> None:
    shape = outline.fill(outline.trace("M 0.1 0 L 3 0.2 C 4 1 4 2 1 2.3 Z"))
    there = shapely.get_coordinates(shape)
    back = shapely.get_coordinates(outline.mirror(shape))
    assert {(-x, y) for x, y in there.tolist()} == {(x, y) for x, y in back.tolist()}
    assert outline.mirror(outline.mirror(shape)).equals_exact(shape, 0.0)


def test_tidy_removes_slivers() -> None:
    sliver = shapely.Polygon([(5, 0), (9, 0), (9, 1e-8), (5, 1e-8)])
    dirty = shapely.MultiPolygon([shapely.box(0, 0, 1, 1), sliver])
    assert shapely.get_num_geometries(outline.tidy(dirty)) == 1


def test_as_multipolygon_drops_lines_and_points() -> None:
    mixed = shapely.GeometryCollection(
        [shapely.Point(0, 0), shapely.LineString([(0, 0), (1, 1)]), shapely.box(0, 0, 1, 1)]
    )
    assert outline.as_multipolygon(mixed).equals(shapely.box(0, 0, 1, 1))


@pytest.mark.parametrize(
    "path, message",
    [
        ("L 0 0", "must start with M"),
        ("", "must start with M"),
        ("M 0 0 Q 1 1", "no command 'Q', use one of M L E C Z"),
        ("M 0 0 L 1", "L takes 2 numbers, got 1"),
        ("M 0 0 E 1 1 2", "E takes 4 numbers, got 3"),
        ("M 0 0 1 1 L 2 2", "M takes 2 numbers, got 4"),
        ("M 0 0", "a start but no line"),
    ],
)
def test_bad_path_says_what_is_wrong(path: str, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        outline.trace(path)


def test_bad_fill_and_stroke_are_refused() -> None:
    with pytest.raises(ValueError, match="must be closed"):
        outline.fill(outline.trace("M 0 0 L 1 0 1 1"))
    with pytest.raises(ValueError, match="crosses itself"):
        outline.fill(outline.trace("M 0 0 L 1 1 1 0 0 1 Z"))
    with pytest.raises(ValueError, match="wider than 0"):
        outline.stroke(outline.trace("M 0 0 L 1 1"), 0.0)

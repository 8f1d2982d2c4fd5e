"""Placed figures: published sizes, counters, mirror pairs, stroke width, areas.

Ids in comments are rows of the standards table. Areas are compared with agency areas that we have
from memory only: they are sanity bands, +/-15 percent, not checks against a published table.
"""

import string
from collections.abc import Callable
from functools import partial

import numpy as np
import pytest
import shapely

from layoutgen.markings.symbols import Figure, catalog, figure, figure_names, lettering, word

SIZE_FT = 1e-6
BAND = 0.15
RASTER_FT = 0.01
LEAST_HOLE_SQFT = 0.05
CHARACTERS = string.ascii_uppercase + string.digits
PUNCTUATION = ".-'/"

COUNTERS = {**dict.fromkeys("ADOPQR0469", 1), **dict.fromkeys("B8", 2)}

# From memory: low and high area, square feet, of words with 8 ft letters and of arrows.
WORD_AREAS = {
    "ONLY": (20.8, 22),  # AREA-14, AREA-29
    "STOP": (22, 22),  # AREA-13
    "SCHOOL": (35, 35),  # AREA-17
    "XING": (21, 21),  # AREA-15
    "PED": (18, 18),  # AREA-16
    "SLOW": (23, 23),  # AREA-18
    "AHEAD": (31, 31),  # AREA-19
    "YIELD": (24, 24),  # AREA-20
    "SIGNAL": (32, 32),  # AREA-21
    "KEEP": (24, 24),  # AREA-22
    "CLEAR": (27, 27),  # AREA-23
    "LANE": (24, 24),  # AREA-24
    "BUS": (20, 20),  # AREA-25
}
FIGURE_AREAS = {
    "arrow_left": (15, 16),  # AREA-26
    "arrow_right": (15, 16),  # AREA-26
    "arrow_through": (11.5, 12.5),  # AREA-27
    "arrow_through_left": (26, 27),  # AREA-28
    "arrow_through_right": (26, 27),  # AREA-28
    "bike_arrow": (3.5, 3.5),  # AREA-11
    "arrow_wrong_way": (33, 33),  # AREA-07: the straight arrow of 24 ft
    "arrow_lane_reduction": (42, 42),  # AREA-08
}

LENGTHS_FT = {
    "arrow_left": 8.0,  # ARROW-18
    "arrow_right": 8.0,  # ARROW-18
    "arrow_left_right": 8.0,  # from memory: ARROW-24
    "arrow_through": 9.5,  # from memory: ARROW-23
    "arrow_through_left": 12.75,  # from memory: ARROW-25
    "arrow_through_right": 12.75,  # from memory: ARROW-25
    "arrow_through_left_right": 12.75,  # from memory: ARROW-25
    "arrow_uturn_left": 8.0,  # as a turn arrow, from memory: ARROW-24
    "arrow_uturn_right": 8.0,
    "arrow_uturn_and_left": 12.75,  # as a combination, from memory: ARROW-25
    "arrow_uturn_and_right": 12.75,
    "arrow_lane_reduction": 18.0,  # from memory: ARROW-26
    "arrow_lane_reduction_right": 18.0,
    "arrow_wrong_way": 23.5,  # from memory: ARROW-27
    "arrow_roundabout_left": 8.0,  # fish-hooks: as the plain arrow
    "arrow_roundabout_right": 8.0,
    "arrow_roundabout_through": 9.5,
    "arrow_roundabout_through_clockwise": 9.5,
    "arrow_roundabout_through_left": 12.75,
    "arrow_roundabout_through_right": 12.75,
    "bike_symbol": 6.0,  # BIKE-07: 72 in
    "bike_arrow": 6.0,  # BIKE-07: 72 in
    "bike_detector": 3.5,  # BIKE-31: 42 in
    "shared_lane": 112 / 12,  # from memory: SLM-17
    "rail_x": 20.0,  # RAIL-07
    "rail_x_narrow": 20.0,  # RAIL-07
    "yield_ahead": 13.0,  # from memory: YIELD-11
    "yield_ahead_long": 20.0,  # from memory: YIELD-11
    "accessible_symbol": 3.5,  # from memory
    "lane_diamond": 12.0,  # HOV-02
}


# What is drawn, by a name for the test report; drawn inside the tests.
DRAWN: dict[str, Callable[[], Figure]] = {
    **{name: partial(figure, name) for name in LENGTHS_FT},
    **{text: partial(word, text, height_ft=8) for text in (*CHARACTERS, *WORD_AREAS)},
    "SCHOOL on two lanes": partial(word, "SCHOOL", height_ft=10, width_ft=19.3),
    "BIKE LANE": partial(word, "BIKE LANE", height_ft=4),
}
COUNTED = (*LENGTHS_FT, "SCHOOL on two lanes", "ONLY", "A", "S")


def holes(drawn: Figure) -> list[shapely.Polygon]:
    return [shapely.Polygon(ring) for part in drawn.polygon.geoms for ring in part.interiors]


def in_band(area_sqft: float, band: tuple[float, float]) -> bool:
    return band[0] * (1 - BAND) <= area_sqft <= band[1] * (1 + BAND)


def across(shape: shapely.Geometry, *ends: tuple[float, float]) -> list[float]:
    """Lengths of a line inside a shape, one per painted stretch."""
    cut = shapely.intersection(shape, shapely.LineString(ends))
    return [float(part.length) for part in shapely.get_parts(cut)]


def level_cuts(shape: shapely.Geometry, y_ft: float) -> list[tuple[float, float]]:
    """Left and right end of each painted stretch at one height, from left to right."""
    cut = shapely.intersection(shape, shapely.LineString([(-99, y_ft), (99, y_ft)]))
    return sorted((part.bounds[0], part.bounds[2]) for part in shapely.get_parts(cut))


def raster_area(shape: shapely.Geometry) -> float:
    """Area by counting grid cells whose middle is inside."""
    xmin, ymin, xmax, ymax = shape.bounds
    x = np.arange(xmin, xmax, RASTER_FT) + RASTER_FT / 2
    y = np.arange(ymin, ymax, RASTER_FT) + RASTER_FT / 2
    shapely.prepare(shape)
    inside = shapely.contains_xy(shape, *np.meshgrid(x, y))
    return float(inside.sum()) * RASTER_FT**2


@pytest.mark.parametrize("name", DRAWN)
def test_shape_is_sound_and_fills_its_frame(name: str) -> None:
    drawn = DRAWN[name]()
    assert isinstance(drawn.polygon, shapely.MultiPolygon)
    assert drawn.polygon.is_valid
    half_ft = drawn.width_ft / 2
    assert drawn.polygon.bounds == pytest.approx(
        (-half_ft, 0, half_ft, drawn.length_ft), abs=SIZE_FT
    )
    # the bars of the small detector symbol are small too
    least = 0.06 if name == "bike_detector" else 0.3
    assert shapely.area(shapely.get_parts(drawn.polygon)).min() > least
    assert all(hole.area > LEAST_HOLE_SQFT * drawn.length_ft / 8 for hole in holes(drawn))
    corners = np.diff(shapely.get_coordinates(drawn.polygon), axis=0)
    assert np.hypot(*corners.T).min() > 1e-5, "no two vertices on one spot"
    assert all(0 < y < drawn.length_ft for y in drawn.breaks)
    assert drawn.anchor


@pytest.mark.parametrize("name", DRAWN)
def test_sources_are_rows_or_say_what_they_are(name: str) -> None:
    sources = DRAWN[name]().sources
    assert sources
    for source in sources:
        group, _, number = source.partition("-")
        is_row = group.isupper() and number.isdigit()
        assert is_row or source.startswith(("common practice", "from memory: "))


def test_catalog_holds_the_expected_figures_at_their_lengths() -> None:
    assert {name: figure(name).length_ft for name in figure_names()} == LENGTHS_FT
    assert figure("bike_symbol").width_ft == pytest.approx(40 / 12)  # from memory: BIKE-09


@pytest.mark.parametrize("side", ["arrow_left", "arrow_through_left"])
def test_left_is_the_exact_mirror_of_right(side: str) -> None:
    left, right = figure(side), figure(side.replace("left", "right"))
    negated = shapely.transform(right.polygon, lambda xy: xy * [-1, 1])
    assert shapely.normalize(negated).equals_exact(left.polygon, 0.0)
    assert not left.polygon.equals(right.polygon)
    assert (left.name, left.width_ft, left.breaks) == (side, right.width_ft, right.breaks)


@pytest.mark.parametrize(
    "name", ["arrow_through", "arrow_left_right", "arrow_through_left_right", "bike_arrow"]
)
def test_even_arrows_are_their_own_mirror_image(name: str) -> None:
    shape = figure(name).polygon
    flipped = shapely.transform(shape, lambda xy: xy * [-1, 1])
    assert shapely.symmetric_difference(shape, flipped).area < 1e-5


@pytest.mark.parametrize(
    "name, head_sides",
    [
        ("arrow_left", {"left"}),
        ("arrow_right", {"right"}),
        ("arrow_through", {"ahead"}),
        ("arrow_through_right", {"ahead", "right"}),
        ("arrow_left_right", {"left", "right"}),
        ("arrow_through_left_right", {"left", "ahead", "right"}),
    ],
)
def test_arrows_point_where_they_say(name: str, head_sides: set[str]) -> None:
    shape = figure(name).polygon
    sides = {"left": (-1, 0), "right": (1, 0), "ahead": (0, 1)}
    assert {side for side, toward in sides.items() if has_tip(shape, toward)} == head_sides


def has_tip(shape: shapely.Geometry, toward: tuple[int, int]) -> bool:
    """Whether one vertex is farthest in a direction, with paint half a foot straight behind it."""
    vertices = np.unique(shapely.get_coordinates(shape), axis=0)
    reach = vertices @ np.array(toward)
    farthest = vertices[np.isclose(reach, reach.max())]
    behind = shapely.Point(farthest[0] - 0.5 * np.array(toward))
    return len(farthest) == 1 and bool(shape.contains(behind))


def test_smaller_figure_is_in_proportion() -> None:
    whole, less = figure("arrow_through_right"), figure("arrow_through_right", height_ft=9.5625)
    assert less.length_ft == pytest.approx(9.5625)
    assert less.width_ft == pytest.approx(whole.width_ft * 0.75)
    assert less.polygon.area == pytest.approx(whole.polygon.area * 0.75**2)
    assert less.breaks == pytest.approx([y * 0.75 for y in whole.breaks])


@pytest.mark.parametrize("letter", CHARACTERS)
@pytest.mark.parametrize("stretch", [1.0, 1.9])
def test_counters_are_open(letter: str, stretch: float) -> None:
    natural = word(letter, height_ft=8)
    width_ft = None if letter == "I" else natural.width_ft * stretch
    drawn = word(letter, height_ft=8, width_ft=width_ft)
    assert len(holes(drawn)) == COUNTERS.get(letter, 0)
    assert len(drawn.polygon.geoms) == 1


def test_stroke_is_constant_however_the_letter_is_stretched() -> None:
    for width_ft in (1.5, 2.9):
        shape = word("H", height_ft=10, width_ft=width_ft, stroke_ft=0.4).polygon
        stems = across(shape, (-5, 2), (5, 2))
        crossbar = across(shape, (0, 0), (0, 10))
        assert stems + crossbar == pytest.approx([0.4] * 3, abs=SIZE_FT)


@pytest.mark.parametrize("letter", "OD08")
def test_curves_keep_the_stroke_too(letter: str) -> None:
    """From every vertex of a counter to the outside it is one stroke, to 0.005 ft."""
    shape = word(letter, height_ft=8, width_ft=2.4, stroke_ft=0.4).polygon.geoms[0]
    rings = shapely.get_coordinates(list(shape.interiors))
    gaps_ft = shapely.distance(shape.exterior, shapely.points(rings))
    assert gaps_ft.min() > 0.395
    assert np.median(gaps_ft) == pytest.approx(0.4, abs=0.005)


@pytest.mark.parametrize(
    "letter, low_ft, high_ft, stretch",
    [
        ("A", 1, 1.8, 0),
        ("K", 5.5, 7, 1),
        ("M", 5, 6, 1),
        ("N", 3.5, 4.5, 1),
        ("R", 1, 2, 1),
        ("V", 5, 6, 0),
        ("W", 6.5, 7.5, 0),
        ("X", 1, 2, 0),
        ("Y", 6, 7, 0),
        ("Z", 3, 5, 0),
        ("4", 4, 5, 0),
        ("7", 2, 4, 0),
    ],
)
def test_slanted_strokes_have_the_stroke_width(
    letter: str, low_ft: float, high_ft: float, stretch: int
) -> None:
    """Level cuts through one slanted stroke, times the cosine of its slant, give the stroke."""
    shape = word(letter, height_ft=8, width_ft=4, stroke_ft=0.4).polygon
    cuts = [level_cuts(shape, y)[stretch] for y in (low_ft, high_ft)]
    widths = [right - left for left, right in cuts]
    run_ft = sum(cuts[1]) / 2 - sum(cuts[0]) / 2
    cosine = (high_ft - low_ft) / np.hypot(run_ft, high_ft - low_ft)
    assert abs(run_ft) > 0.1, "the cut must be through a slanted stroke"
    assert np.array(widths) * cosine == pytest.approx([0.4, 0.4], abs=2e-6)


@pytest.mark.parametrize("letter", "AMNVWXYZ47")
def test_points_are_cut_flat_at_the_letter_height(letter: str) -> None:
    """Paint on the top and bottom edge is at least half a stroke wide, never a spike."""
    drawn = word(letter, height_ft=8)
    for y in (1e-6, 8 - 1e-6):
        assert min(across(drawn.polygon, (-3, y), (3, y))) > 0.2


@pytest.mark.parametrize(
    "text, height_ft, width_ft",
    [
        ("SCHOOL", 10, 19.3),  # WORD-16, WORD-17
        ("SCHOOL", 8, 9.5),
        ("ONLY", 8, 6.75),
        ("25 MPH", 8, 9),
        ("BIKE LANE", 72 / 12, 5),  # BIKE-08
        ("I II", 6, 3),
    ],
)
def test_word_reaches_its_width_exactly(text: str, height_ft: float, width_ft: float) -> None:
    stroke_ft = 0.2 if text == "BIKE LANE" else None
    drawn = word(text, height_ft=height_ft, width_ft=width_ft, stroke_ft=stroke_ft)
    half_ft = width_ft / 2
    assert drawn.polygon.bounds == pytest.approx((-half_ft, 0, half_ft, height_ft), abs=SIZE_FT)
    assert drawn.width_ft == pytest.approx(width_ft, abs=1e-9)


def test_letters_stand_in_reading_order_with_gaps_between() -> None:
    drawn = word("LI", height_ft=8)
    (gap,) = drawn.side_breaks
    left = shapely.intersection(drawn.polygon, shapely.box(-9, 0, gap, 8))
    right = shapely.intersection(drawn.polygon, shapely.box(gap, 0, 9, 8))
    assert left.area == pytest.approx(word("L", height_ft=8).polygon.area, abs=1e-5)
    assert right.area == pytest.approx(word("I", height_ft=8).polygon.area, abs=1e-5)
    assert 4 / 12 <= shapely.distance(left, right) <= 6 / 12  # common practice: 4 to 6 in


def test_letters_are_upright() -> None:
    """L has its foot and T its bar where a driver expects them."""
    foot, bar = word("L", height_ft=8).polygon, word("T", height_ft=8).polygon
    assert across(foot, (-3, 0.1), (3, 0.1))[0] > across(foot, (-3, 7.9), (3, 7.9))[0]
    assert across(bar, (-3, 7.9), (3, 7.9))[0] > across(bar, (-3, 0.1), (3, 0.1))[0]
    assert foot.centroid.x < 0


def test_space_is_wider_than_a_gap() -> None:
    assert word("A A", height_ft=8).width_ft > word("AA", height_ft=8).width_ft + 0.5
    assert len(word("A A", height_ft=8).polygon.geoms) == 2


def test_natural_sizes_are_in_the_trade_range() -> None:
    """From memory: WORD-18, stroke 4 to 6 in, widths 16 to 20 in (M and W wider, 1 and I less)."""
    alphabet = lettering.read_alphabet()
    assert 4 <= alphabet.stroke_in <= 6
    usual = [alphabet.letters[letter].width_in for letter in CHARACTERS if letter not in "IMW1"]
    assert all(width_in is not None and 16 <= width_in <= 20 for width_in in usual)
    assert sorted(alphabet.letters) == sorted(CHARACTERS + PUNCTUATION)


@pytest.mark.parametrize("text", WORD_AREAS)
def test_word_area_is_near_the_remembered_one(text: str) -> None:
    assert in_band(word(text, height_ft=8).polygon.area, WORD_AREAS[text])


@pytest.mark.parametrize("name", FIGURE_AREAS)
def test_figure_area_is_near_the_remembered_one(name: str) -> None:
    assert in_band(figure(name).polygon.area, FIGURE_AREAS[name])


def test_area_bands_tell_a_wrong_stroke() -> None:
    """Strokes an inch and a half off leave the bands."""
    for stroke_in in (3.25, 6.25):
        drawn = word("ONLY", height_ft=8, stroke_ft=stroke_in / 12)
        assert not in_band(drawn.polygon.area, WORD_AREAS["ONLY"])


@pytest.mark.parametrize("name", COUNTED)
def test_area_by_counting_cells(name: str) -> None:
    shape = DRAWN[name]().polygon
    assert raster_area(shape) == pytest.approx(shape.area, rel=0.01)


def test_area_of_straight_letters_by_hand() -> None:
    """Stems and arms as rectangles: H, L, T, I, E with a stroke of 0.5 ft, 8 ft by 2 ft."""
    rectangles = {
        "H": 2 * 8 * 0.5 + 1.0 * 0.5,
        "L": 8 * 0.5 + 1.5 * 0.5,
        "T": 2 * 0.5 + 7.5 * 0.5,
        "E": 8 * 0.5 + 2 * 1.5 * 0.5 + (0.25 + 0.95 * 1.5 - 0.5) * 0.5,
    }
    for letter, area_sqft in rectangles.items():
        drawn = word(letter, height_ft=8, width_ft=2, stroke_ft=0.5)
        assert drawn.polygon.area == pytest.approx(area_sqft, abs=1e-5), letter
    assert word("I", height_ft=8, stroke_ft=0.5).polygon.area == pytest.approx(4.0, abs=1e-5)


def test_same_bytes_every_time() -> None:
    def draw() -> list[bytes]:
        return [shapely.to_wkb(draw_one().polygon) for draw_one in DRAWN.values()]

    first = draw()
    for cached in (figure, word, lettering._letter, catalog._drawings):
        cached.cache_clear()
    assert draw() == first


@pytest.mark.parametrize(
    "name, near", [("arrow_lefft", "arrow_left"), ("bicycle_symbol", "bike_symbol"), ("?", "arrow")]
)
def test_unknown_figure_names_the_nearest(name: str, near: str) -> None:
    with pytest.raises(ValueError, match=f"no figure named '.*'. Did you mean .*{near}"):
        figure(name)


@pytest.mark.parametrize(
    "text, sizes, message",
    [
        ("ONLy", {}, "no letter 'y'; did you mean 'Y'"),
        ("NO+GO", {}, r"no letter '\+'; there are '-\./0123"),
        ("", {}, "needs letters"),
        ("BUS  ONLY", {}, "single spaces"),
        ("STOP", {"height_ft": 0}, "height_ft must be above 0"),
        ("STOP", {"stroke_ft": 2}, "below a fifth of the height, 1.600"),
        ("STOP", {"width_ft": 2}, "a stroke of 0.396 ft needs 0.871 ft"),
        ("I", {"width_ft": 2}, "one stroke wide"),
        ("II", {"width_ft": 0.5}, "no room for gaps"),
    ],
)
def test_bad_word_says_what_is_wrong(text: str, sizes: dict[str, float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        word(text, **{"height_ft": 8, **sizes})


def test_figure_length_must_be_above_zero() -> None:
    with pytest.raises(ValueError, match="height_ft must be above 0"):
        figure("arrow_left", height_ft=0)


def test_a_drawing_that_misses_its_size_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    table = {
        "box_in": [0, 0, 12, 24],
        "fill": ["M 0 0 L 12 0 12 23 Z"],
        "breaks_in": [],
        "anchor": "corner",
        "sources": ["common practice"],
    }
    monkeypatch.setattr(catalog, "_drawings", lambda: {"short": table})
    with pytest.raises(ValueError, match=r"misses its box_in by 0\.0833 ft"):
        catalog._drawn("short")
    monkeypatch.setattr(catalog, "_drawings", lambda: {"short": {**table, "colour": "white"}})
    with pytest.raises(ValueError, match="missing or unknown keys colour"):
        catalog._drawn("short")

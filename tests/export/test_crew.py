"""Crew papers: complete, on the page, and true to the layers."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import pytest
import shapely
from export.crew_package import (
    BOX,
    CROSSWALK,
    DASHES,
    STATE_FEET,
    crew_package,
    sections,
    total,
)
from export.pdf_text import Word, page_sizes, words
from reportlab.graphics.shapes import Drawing

from layoutgen.errors import ConfigError, InputError, OutputError
from layoutgen.export.crew import write
from layoutgen.export.crew.drawing import job_figures
from layoutgen.export.crew.labels import place_labels
from layoutgen.export.crew.lines import lines_of
from layoutgen.export.crew.model import SHAPE, Card, Shift, read_shifts
from layoutgen.export.crew.section_table import tape
from layoutgen.export.crew.words import feet_inches, figure_words, heading, printable
from layoutgen.export.formats import CAUTION
from layoutgen.gis.write import read_layer, write_package

ROOM = (530.0, 290.0)


@pytest.fixture(scope="module")
def routed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return crew_package(tmp_path_factory.mktemp("crew"))


@pytest.fixture(scope="module")
def shift(routed: Path) -> Shift:
    (only,) = read_shifts(routed)
    return only


@pytest.fixture(scope="module")
def papers(routed: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """The PDF by paper, and the HTML of the letter run."""
    folder = tmp_path_factory.mktemp("papers")
    out = {}
    for paper in ("letter", "a4"):
        pdf, page = write(routed, folder / paper, paper)  # type: ignore[arg-type]
        out[paper] = pdf.read_bytes()
        out[f"{paper} html"] = page.read_bytes()
    return out


def card_words(pdf: bytes, stop: int) -> list[Word]:
    """Words of one stop, from its title to the next."""
    found = words(pdf)
    first = next(k for k, w in enumerate(found) if w.text.startswith(f"Stop {stop}: "))
    later = (k for k, w in enumerate(found) if w.size == 15.0 and k > first)
    return found[first : next(later)]


@pytest.mark.parametrize(("paper", "size"), [("letter", (612, 792)), ("a4", (595.2756, 841.8898))])
def test_pages_have_the_size_of_the_paper_and_all_text_lies_on_them(
    papers: dict[str, bytes], paper: str, size: tuple[float, float]
) -> None:
    sizes = page_sizes(papers[paper])
    assert len(sizes) >= 7
    assert all(got == pytest.approx(size, abs=0.01) for got in sizes)
    margin = 36.0
    for word in words(papers[paper]):
        assert margin <= min(word.x0, word.x1), word
        assert max(word.x0, word.x1) <= size[0] - margin, word
        assert margin <= min(word.y0, word.y1), word
        assert max(word.y0, word.y1) + word.size <= size[1] - margin, word


def test_no_two_strings_lie_on_each_other(papers: dict[str, bytes]) -> None:
    """Level strings only; turned ones are names on maps, which `maps` keeps apart."""
    for paper in ("letter", "a4"):
        level = [w for w in words(papers[paper]) if abs(w.y0 - w.y1) < 0.01 and w.text.strip()]
        for page in {w.page for w in level}:
            boxes = [
                (w, shapely.box(w.x0, w.y0, w.x1, w.y0 + 0.6 * w.size))
                for w in level
                if w.page == page
            ]
            bad = [
                (a, b) for (a, x), (b, y) in combinations(boxes, 2) if x.intersection(y).area > 0.5
            ]
            assert not bad


@pytest.mark.parametrize(("stop", "job_id"), [(1, CROSSWALK), (2, BOX), (4, DASHES)])
def test_a_card_lists_every_section_in_painting_order_with_its_gallons(
    papers: dict[str, bytes], stop: int, job_id: str
) -> None:
    rows = [r for r in sections() if r["job_id"] == job_id]
    text = [w.text for w in card_words(papers["letter"], stop)]
    start = text.index("no.")
    listed = [int(t) for t in text[start:] if t.isdigit()]
    numbers = iter(listed)
    assert all(any(n == r["sequence"] for n in numbers) for r in rows)
    gallons = [t for t in text if re.fullmatch(r"\d+\.\d{4}", t)]
    for row in rows:
        assert f"{row['paint_gal']:.4f}" in gallons
    assert f"{total(rows, 'paint_gal'):.4f}" in gallons
    assert f"{total(rows, 'beads_lb'):.4f}" in gallons


def test_cover_load_sheet_and_log_agree_with_the_sums_of_the_sections(
    papers: dict[str, bytes],
) -> None:
    rows = sections()
    found = words(papers["letter"])
    cover = [w.text for w in found if w.page == 0]
    assert f"{total(rows, 'paint_gal'):.4f}" in cover
    load = [w.text for w in found if w.page == 1]
    log = [w.text for w in found if w.page == len(page_sizes(papers["letter"])) - 1]
    for color in ("white", "green"):
        amount = f"{total(rows, 'paint_gal', color=color):.4f}"
        assert amount in load
        assert amount in log
    assert f"{total(rows, 'beads_lb'):.4f}" in load


def test_every_page_carries_the_caution_and_its_number(papers: dict[str, bytes]) -> None:
    found = words(papers["letter"])
    count = len(page_sizes(papers["letter"]))
    for page in range(count):
        text = " ".join(w.text for w in found if w.page == page)
        assert f"page {page + 1} of {count}" in text
        assert CAUTION in re.sub(r"\s+", " ", text)


def test_drying_wait_is_spelled_out_with_the_clock(papers: dict[str, bytes]) -> None:
    text = re.sub(r"\s+", " ", " ".join(w.text for w in card_words(papers["letter"], 2)))
    wait = "Before section 3, the white legend: wait 20 min, until the bike green below"
    assert wait in text
    assert "planned begin 10:14" in text  # 09:40 and 34 min


def test_refill_has_a_line_and_old_paint_a_warning(papers: dict[str, bytes]) -> None:
    text = " ".join(w.text for w in words(papers["letter"]))
    assert "Stop 3, refill at Old Mill Lane: arrive 10:40, leave 11:05." in text
    assert text.count("OVER EXISTING PAINT") == 1


def test_html_says_the_same_and_needs_no_other_file(papers: dict[str, bytes]) -> None:
    page = papers["letter html"].decode()
    assert "src=" not in page
    assert 'href="http' not in page.replace("http://www.w3.org", "")
    drawings = re.findall(r"<svg.*?</svg>", page, re.S)
    assert len(drawings) == 6  # tour, three places, two drawings
    for drawing in drawings:
        ET.fromstring(drawing)
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    rows = sections()
    assert f"{total(rows, 'paint_gal'):.4f}" in page
    assert CAUTION in page


def test_the_truck_travels_up_the_drawing(shift: Shift) -> None:
    """Eastbound: south is right. Southbound, against the line as written: west is right."""
    walk, box = shift.cards[CROSSWALK], shift.cards[BOX]
    bars = [row[SHAPE].centroid for row in walk.sections[:4]]
    assert [round(p.x, 1) for p in bars] == [-18.0, -6.0, 6.0, 18.0]
    stop = walk.sections[4][SHAPE].centroid
    assert stop.y < bars[0].y  # met before the crosswalk
    far, near = (row[SHAPE].centroid for row in box.sections[:2])
    assert near.y < far.y  # northern piece is met first when southbound
    assert far.x > 0.0  # on the driver's right
    bicycle = box.sections[2][SHAPE]
    wheels = bicycle.intersection(shapely.box(*bicycle.bounds[:3], bicycle.centroid.y))
    assert wheels.area > 0.5 * bicycle.area  # upright: most paint is in the wheels


def test_tape_and_offset_are_what_was_laid_out(shift: Shift) -> None:
    """Crosswalk from 384 to 394 ft of 420 ft, the crossing curb line 20 ft before the end."""
    walk, box, dashes = (shift.cards[name] for name in (CROSSWALK, BOX, DASHES))
    assert tape(walk.sections[0], walk) == pytest.approx((16.0, 6.0), abs=0.01)
    assert "Tern Street (ahead)" in walk.zero.words
    assert tape(box.sections[1], box) == pytest.approx((20.0, 13.0), abs=0.01)
    assert "Larkspur Avenue (ahead)" in box.zero.words
    assert tape(dashes.sections[1], dashes) == pytest.approx((15.0, 20.0), abs=0.01)


def test_a_drawing_is_to_scale(shift: Shift) -> None:
    card = shift.cards[CROSSWALK]
    (figure,) = job_figures(card, shift.streets, ROOM)
    assert isinstance(figure.drawing, Drawing)
    assert figure.numbers == tuple(range(1, 9))
    assert not figure.unlabeled
    assert figure.drawing.height <= ROOM[1] + 0.01
    wide = 48.0 * 72.0 / figure.scale_ft_per_in
    xs = [x for s in _lines(figure.drawing) for x in s[::2]]
    curbs = sorted({round(x, 2) for x in xs})
    assert any(abs(b - a - wide) < 0.02 for a, b in combinations(curbs, 2))


def test_a_long_job_is_drawn_in_strips_that_lose_no_section(shift: Shift) -> None:
    card = many(shift, 36)
    figures = job_figures(card, shift.streets, ROOM)
    numbers = [n for figure in figures for n in figure.numbers]
    assert sorted(numbers) == list(range(1, 37))
    assert all(figure.scale_ft_per_in <= 40 for figure in figures)
    assert all(figure.drawing.height <= ROOM[1] + 0.01 for figure in figures)
    strips = {text for f in figures for text in texts(f.drawing) if text.startswith("strip")}
    assert strips == {"strip 1 of 3", "strip 2 of 3", "strip 3 of 3"}


def texts(group: object) -> list[str]:
    """All strings of a drawing."""
    inner = [t for one in getattr(group, "contents", ()) for t in texts(one)]
    return [group.text, *inner] if hasattr(group, "text") else inner


def many(shift: Shift, count: int) -> Card:
    """The card of the green box with pieces of all colors in three columns along the block."""
    card = shift.cards[BOX]
    colors = ("white", "yellow", "green", "red", "blue", "purple", "black", "mauve")
    rows = []
    for k in range(count):
        low, left = 30.0 + 20.0 * (k // 3), (1.0, 5.5, 11.0)[k % 3]
        shape = shapely.box(left, -low, left + 4.0 - k % 4, -low + 1.0 + 3.0 * (k % 5))
        row = {**card.sections[0], "sequence": k + 1, "color": colors[k % 8], "coat": 1}
        rows.append({**row, "section_id": f"many/{k}", SHAPE: shape})
        rows[-1] |= {"from_ft": 39.5 + shape.bounds[1], "to_ft": 39.5 + shape.bounds[3]}
    return replace(card, sections=rows, marks=[])


def _lines(group: object) -> list[list[float]]:
    """Points of all level-0 polylines of a drawing."""
    return [list(s.points) for s in group.contents if hasattr(s, "points")]  # type: ignore[attr-defined]


def test_pieces_that_touch_within_rounding_are_drawn(shift: Shift) -> None:
    """A row of green boxes on a street at an angle, each end 1e-13 ft off its neighbor's."""
    card = shift.cards[BOX]
    rows = []
    for k in range(12):
        box = shapely.box(8.0, 5.0 * k - 1e-13 * (k % 3), 12.5, 5.0 * (k + 1) + 1e-13 * (k % 2))
        shape = shapely.affinity.rotate(box, 31.7, origin=(0.1, 0.3))
        bow = shapely.Polygon([*shape.exterior.coords[:2], *shape.exterior.coords[3:1:-1]])
        rows.append({**card.sections[0], "sequence": k + 1, SHAPE: bow if k == 7 else shape})
        rows[-1] |= {"section_id": f"row/{k}", "from_ft": 31.0 + 5.0 * k, "to_ft": 36.0 + 5.0 * k}
    over = {**rows[3], "sequence": 13, "coat": 2, "color": "white", "over_id": "bike_green/7"}
    figures = job_figures(replace(card, sections=[*rows, over]), shift.streets, ROOM)
    assert sorted(n for figure in figures for n in figure.numbers) == list(range(1, 14))


def test_each_line_of_a_double_line_has_its_own_offset(shift: Shift) -> None:
    """The row names one pair of edges; the paint lies on both sides of it."""
    card = shift.cards[DASHES]
    axis = card.frame.local(card.street[SHAPE])  # type: ignore[index]
    solid = axis.parallel_offset(0.5, "left").buffer(1 / 6, cap_style="flat")
    pieces = [shapely.ops.substring(axis, s, s + 10.0) for s in (20.0, 60.0, 100.0)]
    dashes = [
        piece.parallel_offset(0.5, "right").buffer(1 / 6, cap_style="flat") for piece in pieces
    ]
    row = {**card.sections[0], SHAPE: shapely.MultiPolygon([solid, *dashes]), "moving": 1}
    left, right = lines_of(row, card)
    assert (left.near_ft, left.far_ft) == pytest.approx((-2 / 3, -1 / 3), abs=0.02)
    assert (right.near_ft, right.far_ft) == pytest.approx((1 / 3, 2 / 3), abs=0.02)
    assert left.words == "solid"
    assert right.words == "10' 0\" line, 30' 0\" gap"


@pytest.mark.parametrize(
    ("kind", "style", "text"),
    [
        ("word", "ONLY", 'word "ONLY"'),
        ("turn_arrow", "left", "turn arrow, left"),
        ("bike_lane", "symbol", "bicycle symbol"),
        ("stop_line", "solid", "stop line"),
        ("crosswalk", None, "crosswalk"),
    ],
)
def test_a_figure_has_the_name_a_painter_uses(kind: str, style: str | None, text: str) -> None:
    assert figure_words(kind, style) == text


def test_labels_keep_apart_and_lost_ones_are_told() -> None:
    strips = [(str(k), shapely.box(20 + 9 * k, 60, 24 + 9 * k, 90)) for k in range(20)]
    frame = (0.0, 0.0, 260.0, 150.0)
    placed, lost = place_labels(strips, [], frame)
    assert len(placed) + len(lost) == 20
    assert len(placed) >= 16
    boxes = [shapely.box(*label.box) for label in placed]
    assert not any(a.intersects(b) for a, b in combinations(boxes, 2))
    for k, label in enumerate(placed):
        others = boxes[:k] + boxes[k + 1 :]
        assert label.leader is None or not any(label.leader.intersects(b) for b in others)
    tight, gone = place_labels(strips, [], (0.0, 0.0, 9.0, 9.0))
    assert not tight
    assert len(gone) == 20


def test_same_package_same_bytes_and_old_papers_go(routed: Path, tmp_path: Path) -> None:
    first = {p.name: p.read_bytes() for p in write(routed, tmp_path)}
    stale = tmp_path / "crew_gone.html"
    stale.write_bytes(next(v for k, v in first.items() if k.endswith("html")))
    foreign = tmp_path / "crew_notes.pdf"
    foreign.write_bytes(b"mine")
    again = {p.name: p.read_bytes() for p in write(routed, tmp_path)}
    assert again == first
    assert not stale.exists()
    assert foreign.exists()


def test_faults_say_what_to_do(routed: Path, package: Path, tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="Choose letter or a4"):
        write(routed, tmp_path, "legal")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="no such file"):
        write(tmp_path / "none.gpkg", tmp_path)
    bare = tmp_path / "bare.gpkg"
    write_package(bare, {"streets": read_layer(routed, "streets")}, crs=STATE_FEET)
    with pytest.raises(InputError, match="Run `layoutgen route` first"):
        write(bare, tmp_path)
    file = tmp_path / "file"
    file.write_text("")
    with pytest.raises(OutputError):
        write(routed, file)
    assert len(write(package, tmp_path / "nasty")) == 4  # names that break careless writers


@pytest.mark.parametrize(
    ("value_ft", "text"),
    [
        (10.0, "10' 0\""),
        (1 / 3, "0' 4\""),
        (11.99, "12' 0\""),
        (2.04, "2' 0.5\""),
        (-1.5, "-1' 6\""),
    ],
)
def test_feet_and_inches(value_ft: float, text: str) -> None:
    assert feet_inches(value_ft) == text


def test_words() -> None:
    assert heading(359.7) == "northbound, 0 degrees"
    assert heading(224.0) == "southwestbound, 224 degrees"
    assert printable("Cafe\u0301 \u0646") == "Café ?"
    assert printable("two\nlines\x07") == "two lines"

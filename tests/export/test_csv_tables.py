"""CSV tables re-read with the csv module, and no cell that a spreadsheet would run."""

from __future__ import annotations

import csv
from pathlib import Path

import geopandas as gpd
import pytest
import shapely
from export.sample_package import NASTY, PLANE, ROWS

from layoutgen.export.csv_tables import FORMULA_STARTS, escaped, write
from layoutgen.export.formats import plain
from layoutgen.gis.schema import LAYERS, layer
from layoutgen.gis.write import read_layer

BYTE_ORDER_MARK = b"\xef\xbb\xbf"


@pytest.fixture(scope="module")
def folder(package: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("csv")
    write(package, path)
    return path


#: nothing is recorded in the package
SHOWN = [lay for lay in LAYERS if lay.stage != "record"]


def _read(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file, strict=True))


def test_a_table_for_every_layer(folder: Path, package: Path) -> None:
    names = {f"{lay.name}.csv" for lay in SHOWN} | {"CAUTION.txt"}
    assert {path.name for path in folder.iterdir()} == names
    for lay in SHOWN:
        rows = _read(folder / f"{lay.name}.csv")
        place = ["lon", "lat"] if lay.geometry is not None else []
        assert list(rows[0]) == [*(c.name for c in lay.columns), *place]
        assert len(rows) == len(read_layer(package, lay.name))


def test_files_are_utf_8_with_mark_and_crlf(folder: Path) -> None:
    """RFC 4180, 2.1: lines end with CRLF."""
    raw = (folder / "quantities.csv").read_bytes()
    assert raw.startswith(BYTE_ORDER_MARK + b"street,item,")
    assert raw.endswith(b"\r\n")


def test_street_names_survive(folder: Path) -> None:
    """Without the apostrophe of an escaped cell, and the control characters, they are the same."""
    names = [row["name"] for row in _read(folder / "streets.csv")]
    assert names == [escaped(plain(name)) for name in NASTY]
    bare = [n[1:] if n[:1] == "'" and n[1:].startswith(FORMULA_STARTS) else n for n in names]
    assert bare == [plain(name) for name in NASTY]


def test_no_text_starts_a_formula(folder: Path) -> None:
    """OWASP, CSV injection: = + - @ tab and carriage return."""
    escapes = 0
    for lay in SHOWN:
        texts = [column.name for column in lay.columns if column.type == "text"]
        for row in _read(folder / f"{lay.name}.csv"):
            assert not any(row[name][:1] in set("=+-@\t\r\n") - {""} for name in texts if row[name])
            escapes += sum(row[name].startswith("'") for name in texts)
    assert escapes > 20


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"])
def test_formulas_are_escaped(start: str) -> None:
    assert escaped(start + "1") == "'" + start + "1"
    assert escaped("Elm" + start) == "Elm" + start


def test_a_formula_behind_a_control_character_is_escaped() -> None:
    """The character goes first, then the look at the start: the other way round it would pass."""
    assert escaped(plain("\x07=1+1")) == "'=1+1"


def test_numbers_are_numbers(folder: Path, package: Path) -> None:
    rows = _read(folder / "markings.csv")
    back = read_layer(package, "markings")
    assert [float(row["offset_ft"]) for row in rows] == back["offset_ft"].tolist()
    assert rows[0]["offset_ft"] == "-1.0"  # a negative number is no formula
    assert [int(row["coat"]) for row in rows] == back["coat"].tolist()


def test_places_lie_on_their_rows_geometry(folder: Path, package: Path) -> None:
    """Seven decimals are 0.026 ft."""
    for lay in LAYERS:
        if lay.geometry is None:
            continue
        rows, back = _read(folder / f"{lay.name}.csv"), read_layer(package, lay.name)
        there = back.geometry.to_crs(PLANE).to_numpy()
        known = [bool(row["lon"]) for row in rows]
        assert known == (~shapely.is_missing(there)).tolist()
        points = [shapely.Point(float(r["lon"]), float(r["lat"])) for r in rows if r["lon"]]
        ours = gpd.GeoSeries(points, crs=4326).to_crs(PLANE).to_numpy()
        assert shapely.distance(ours, there[known]).max() < 0.026
    assert len(_read(folder / "visits.csv")) == ROWS


def test_a_line_s_place_is_its_middle(folder: Path, package: Path) -> None:
    line = read_layer(package, "streets").geometry.to_crs(PLANE).iloc[0]
    row = _read(folder / "streets.csv")[0]
    point = gpd.GeoSeries(gpd.points_from_xy([row["lon"]], [row["lat"]]), crs=4326).to_crs(PLANE)
    assert line.project(point.iloc[0]) == pytest.approx(line.length / 2, abs=0.03)


def test_unknown_values_are_empty(folder: Path) -> None:
    assert _read(folder / "findings.csv")[0]["lon"] == ""
    assert layer("findings").geometry == "Geometry"

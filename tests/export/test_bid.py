"""The bid schedule: its formulas, evaluated here in exact decimals, are the sums of the layer."""

from __future__ import annotations

import csv
import re
from decimal import Decimal
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from export.bid_package import MEASURES, bid_package, quantities

from layoutgen.errors import InputError
from layoutgen.export.bid import NOTES, TABLE, WORKBOOK, write
from layoutgen.export.formats import CAUTION, plain

KEYS = ["item", "color", "material", "unit"]
HEAD_ROW = 3
_SUM = re.compile(r"SUM\(([A-Z]+\d+:[A-Z]+\d+)\)")
_SUMIFS = re.compile(r"SUMIFS\('([^']+)'!(\S+?),'\1'!(\S+?),\$?(\$?[A-Z]+\d+)\)")
_PRODUCT = re.compile(r"([A-Z]+\d+)\*([A-Z]+\d+)")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("bid")
    paths = write(bid_package(path), path / "out")
    assert {p.name for p in paths} == {WORKBOOK, TABLE, NOTES}
    assert all(p.is_file() for p in paths)
    return path / "out"


@pytest.fixture
def book(folder: Path) -> Any:
    return openpyxl.load_workbook(folder / WORKBOOK)


def worth(book: Any, sheet: Any, address: str) -> Decimal:
    """Value of a number or formula cell: SUM, SUMIFS with one condition, or a product."""
    value = sheet[address.replace("$", "")].value
    if not isinstance(value, str):
        return Decimal(0) if value is None else Decimal(str(value))
    assert value.startswith("="), value
    if found := _SUM.fullmatch(value[1:]):
        return sum((worth(book, sheet, c.coordinate) for (c,) in sheet[found[1]]), Decimal(0))
    if found := _PRODUCT.fullmatch(value[1:]):
        return worth(book, sheet, found[1]) * worth(book, sheet, found[2])
    found = _SUMIFS.fullmatch(value[1:])
    assert found, f"no formula of the schedule: {value}"
    there, wanted = book[found[1]], worth(book, sheet, found[4])
    pairs = zip(there[found[2].replace("$", "")], there[found[3].replace("$", "")], strict=True)
    picked = [a.coordinate for (a,), (b,) in pairs if worth(book, there, b.coordinate) == wanted]
    return sum((worth(book, there, a) for a in picked), Decimal(0))


def exact(values: Any) -> Decimal:
    return sum((Decimal(str(value)) for value in values.dropna()), Decimal(0))


def heads(sheet: Any) -> dict[str, str]:
    """Letter of a column by its head."""
    return {cell.value: cell.column_letter for cell in sheet[HEAD_ROW]}


def measures(sheet: Any) -> dict[str, str]:
    """Letter of a column by the measure of the layer; the order is that of the sheet."""
    letters = list(heads(sheet).values())
    first = letters.index(heads(sheet)["quantity"])
    return dict(zip(MEASURES, letters[first:], strict=False))


def test_bid_items_are_the_sums_of_the_layer(book: Any) -> None:
    sheet, groups = book["bid items"], quantities().groupby(KEYS)
    at = heads(sheet)
    names = [at[head] for head in ("bid item", "color", "material", "unit")]
    for row, (key, group) in enumerate(groups, start=HEAD_ROW + 1):
        assert tuple(sheet[f"{letter}{row}"].value for letter in names) == key
        for name, letter in measures(sheet).items():
            assert sheet[f"{letter}{row}"].data_type == "f"
            assert worth(book, sheet, f"{letter}{row}") == exact(group[name]), (key, name)
    assert sheet[f"B{HEAD_ROW + len(groups) + 1}"].value == "total"


@pytest.mark.parametrize("name", ["bid items", "by street"])
def test_totals_are_the_sums_of_the_layer(book: Any, name: str) -> None:
    sheet, rows = book[name], quantities()
    last = sheet.max_row
    letters = measures(sheet)
    # feet, pieces and square feet make no sum
    assert sheet[f"{letters.pop('quantity')}{last}"].value is None
    for measure, letter in letters.items():
        assert sheet[f"{letter}{last}"].data_type == "f"
        assert worth(book, sheet, f"{letter}{last}") == exact(rows[measure]), measure


def test_amounts_follow_the_prices(book: Any) -> None:
    sheet = book["bid items"]
    at, last = heads(sheet), sheet.max_row
    wanted = Decimal(0)
    for row in range(HEAD_ROW + 1, last):
        assert sheet[f"{at['unit price']}{row}"].value is None
        sheet[f"{at['unit price']}{row}"] = price = Decimal(row) / 8
        amount = worth(book, sheet, f"{at['quantity']}{row}") * price
        assert worth(book, sheet, f"{at['amount']}{row}") == amount
        wanted += amount
    assert wanted > 0
    assert worth(book, sheet, f"{at['amount']}{last}") == wanted


def test_a_row_corrected_by_street_reaches_the_item(book: Any) -> None:
    there, sheet = book["by street"], book["bid items"]
    row = HEAD_ROW + 1
    letter, mine = measures(there)["quantity"], measures(sheet)["quantity"]
    item = f"{mine}{HEAD_ROW + there[f'A{row}'].value}"
    before, old = worth(book, sheet, item), worth(book, there, f"{letter}{row}")
    there[f"{letter}{row}"] = old + 100
    assert worth(book, sheet, item) == before + 100


def test_every_row_of_the_layer_is_by_street(book: Any) -> None:
    sheet, rows = book["by street"], quantities()
    at = {"street": "street", "bid item": "item", "kind": "kind", "color": "color", "unit": "unit"}
    letters = [heads(sheet)[head] for head in at] + list(measures(sheet).values())
    got = [[sheet[f"{x}{row}"].value for x in letters] for row in range(4, sheet.max_row)]
    names = [*at.values(), *MEASURES]
    want = rows[names].astype(object).where(rows[names].notna(), None).values.tolist()
    want = [[plain(v) if isinstance(v, str) else v for v in row] for row in want]
    want = [[v.replace("\r", "\n") if isinstance(v, str) else v for v in row] for row in want]
    got = [[v.replace("\r", "\n") if isinstance(v, str) else v for v in row] for row in got]
    assert sorted(got, key=str) == sorted(want, key=str)


def test_names_are_no_formulas(book: Any) -> None:
    """A street called =HYPERLINK(...) stays a text."""
    texts = [c for sheet in book for row in sheet for c in row if isinstance(c.value, str)]
    risky = [c for c in texts if c.value.startswith(("=HYP", "=bar"))]
    assert len(risky) > 1
    assert {c.data_type for c in risky} == {"s"}
    own = [c.value for c in texts if c.data_type == "f"]
    assert all(v.startswith(("=SUM(", "=SUMIFS(")) or _PRODUCT.fullmatch(v[1:]) for v in own)


def test_csv_has_the_same_rows(folder: Path, book: Any) -> None:
    with (folder / TABLE).open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file, strict=True))
    sheet = book["bid items"]
    assert len(rows) == sheet.max_row - HEAD_ROW - 1
    for at, row in enumerate(rows, start=HEAD_ROW + 1):
        assert row["no"] == str(sheet[f"A{at}"].value)
        assert row["item"].lstrip("'") == sheet[f"B{at}"].value
        for name, letter in measures(sheet).items():
            assert Decimal(row[name]) == worth(book, sheet, f"{letter}{at}")


def test_sheets_can_be_printed(book: Any) -> None:
    assert book.sheetnames == ["bid items", "by street", "notes"]
    for sheet in book:
        assert sheet.page_setup.orientation == "landscape"
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        assert CAUTION in sheet.oddFooter.center.text
    for sheet in (book["bid items"], book["by street"]):
        assert sheet.print_title_rows == f"${HEAD_ROW}:${HEAD_ROW}"
        assert all(sheet.column_dimensions[x].width >= 6 for x in heads(sheet).values())


def test_notes_carry_the_caution(folder: Path, book: Any) -> None:
    lines = [row[0] for row in book["notes"].values]
    assert lines[0] == CAUTION
    assert any("not pay quantities" in line for line in lines)
    assert (folder / NOTES).read_text(encoding="utf-8-sig").splitlines() == lines


def test_equal_packages_give_equal_files(folder: Path, tmp_path: Path) -> None:
    again = write(bid_package(tmp_path), tmp_path / "again")
    for path in again:
        assert path.read_bytes() == (folder / path.name).read_bytes(), path.name


def test_a_package_without_rows(tmp_path: Path) -> None:
    write(bid_package(tmp_path, quantities().iloc[:0]), tmp_path)
    book = openpyxl.load_workbook(tmp_path / WORKBOOK)
    assert book["bid items"].max_row == HEAD_ROW + 1
    assert not [c for row in book["bid items"] for c in row if c.data_type == "f"]


def test_no_package(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        write(tmp_path / "none.gpkg", tmp_path)

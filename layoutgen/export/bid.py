"""Bid schedule: a workbook whose figures add up by themselves, and its bid items as CSV.

Sheet "by street" holds the rows of layer `quantities`; sheet "bid items" sums them by formulas, so
that a row struck out or corrected there reaches the schedule. Rows are matched by an item number
and not by name, because a spreadsheet reads `*`, `?` and `<` in a name as a pattern.
"""

from __future__ import annotations

import csv
import datetime
import io
import re
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from openpyxl import Workbook
from openpyxl.styles import Alignment, Border, Font, Side
from openpyxl.utils import get_column_letter

from layoutgen.export.csv_tables import escaped
from layoutgen.export.formats import CAUTION, plain, rows_of, write_texts
from layoutgen.gis.write import FIXED_TIME, has_layer, read_layer, staged

#: names of the files
WORKBOOK = "bid_schedule.xlsx"
TABLE = "bid_items.csv"
NOTES = "bid_notes.txt"


@dataclass(frozen=True)
class _Column:
    """A column of a sheet: its name in the layer, or empty; width in characters."""

    head: str
    source: str
    width: float
    total: bool = False


#: what tells bid items apart
_KEYS = ("item", "color", "material", "unit")
_MEASURES = (
    # units differ from row to row: no total
    _Column("quantity", "quantity", 12),
    _Column("equivalent LF of 4 in line", "equivalent_lf", 14, total=True),
    _Column("count", "count", 9, total=True),
    _Column("area, sq ft", "area_sqft", 12, total=True),
    _Column("paint, gal", "paint_gal", 11, total=True),
    _Column("beads, lb", "beads_lb", 11, total=True),
    _Column("primer, gal", "primer_gal", 11, total=True),
    _Column("melt or sheet, lb", "weight_lb", 11, total=True),
)
_NUMBER = _Column("no.", "", 6)
_NAMES = (
    _Column("bid item", "item", 34),
    _Column("color", "color", 10),
    _Column("material", "material", 20),
    _Column("unit", "unit", 6),
)
_PRICES = (_Column("unit price", "", 12), _Column("amount", "", 14, total=True))
_STREETS = (_Column("street", "street", 28), _Column("kind", "kind", 20))
_ITEM_SHEET = (_NUMBER, *_NAMES, *_MEASURES, *_PRICES)
_STREET_SHEET = (_NUMBER, *_STREETS, *_NAMES, *_MEASURES)
_HEAD_ROW = 3
#: two decimals, and up to the four that the layer keeps
_FORMAT = "#,##0.00##"
_MONEY = "#,##0.00"
_WHOLE = "#,##0"
_TIME = FIXED_TIME.replace(".000", "").encode()
_NOTE_LINES = (
    CAUTION,
    "All quantities are estimates from the planned layout. They are not pay quantities: what is "
    "paid is measured in the field under the contract.",
    "Units: EA each, LF feet of line as painted, SF square feet painted; gal US gallons of wet "
    "paint, lb pounds.",
    "Equivalent LF of 4 in line: the painted area divided by a third of a foot. It compares items; "
    "it is not paid besides them.",
    "Paint, beads, primer and material are what the planned film and rates ask for, without waste.",
    "Unit prices are the bidder's. An amount is quantity times unit price.",
    'Figures of "bid items" are sums of the rows of "by street" with the same number.',
)

Row = dict[str, Any]


def write(package: Path, folder: Path) -> list[Path]:
    """Write the bid schedule as workbook, its items as CSV, and the notes as text.

    Raises:
        InputError: no such package, or it has no quantities.
        OutputError: the folder cannot be written.
    """
    rows = _rows(package)
    items = _items(rows)
    notes = [*_NOTE_LINES, *_made_by(package)]
    book = _fixed(_workbook(rows, items, notes))
    text = {TABLE: _csv_lines(rows, items), NOTES: (f"{line}\r\n" for line in notes)}
    written = write_texts(folder, text, encoding="utf-8-sig")
    with staged(folder) as hidden:
        (hidden / WORKBOOK).write_bytes(book)
    return [folder / WORKBOOK, *written]


def _rows(package: Path) -> list[Row]:
    """Rows of the layer with the number of their bid item as `no`, by street and item."""
    table = read_layer(package, "quantities")
    names = [column.source for column in _STREET_SHEET if column.source]
    rows = [dict(zip(names, row, strict=True)) for row in rows_of(table, names)]
    number = {key: k for k, key in enumerate(sorted({_key(row) for row in rows}), start=1)}
    for row in rows:
        row["no"] = number[_key(row)]
    return sorted(rows, key=lambda row: (plain(row["street"]), row["no"], plain(row["kind"])))


def _key(row: Row) -> tuple[str, ...]:
    return tuple(plain(row[name]) for name in _KEYS)


def _items(rows: Iterable[Row]) -> list[tuple[str, ...]]:
    """Item, color, material and unit by number, from 1."""
    return sorted({_key(row) for row in rows})


def _made_by(package: Path) -> Iterator[str]:
    """Version and time of the run that made the quantities, where the package tells."""
    if not has_layer(package, "run_info"):
        return
    names = ("version", "settings_hash", "started")
    for version, settings, started in rows_of(read_layer(package, "run_info"), names):
        yield plain(f"Made by layoutgen {version}, settings {settings}, run of {started}.")


def _workbook(rows: Sequence[Row], items: Sequence[tuple[str, ...]], notes: Sequence[str]) -> Any:
    book = Workbook()
    sheet = book.active
    sheet.title = "bid items"
    _fill_items(sheet, items, last=_HEAD_ROW + len(rows))
    _fill_streets(book.create_sheet("by street"), rows)
    _fill_notes(book.create_sheet("notes"), notes)
    # a file without stored results is calculated when it is opened
    book.calculation.fullCalcOnLoad = True
    return book


def _fill_items(sheet: Any, items: Sequence[tuple[str, ...]], last: int) -> None:
    """One row per item; `last` is the last row of "by street"."""
    _begin(sheet, "Bid items", _ITEM_SHEET)
    price = len(_ITEM_SHEET) - 1
    for at, names in enumerate(items, start=_HEAD_ROW + 1):
        sheet.cell(at, 1, at - _HEAD_ROW)
        for column, text in enumerate(names, start=2):
            _text(sheet.cell(at, column), text)
        for k, measure in enumerate(_MEASURES):
            own = 2 + len(_NAMES) + k
            there = get_column_letter(own + len(_STREETS))
            _number(sheet.cell(at, own), _sum_of_item(there, last, at), measure.source)
        quantity = get_column_letter(2 + len(_NAMES))
        sheet.cell(at, price).number_format = _MONEY
        amount = sheet.cell(at, price + 1, f"={quantity}{at}*{get_column_letter(price)}{at}")
        amount.number_format = _MONEY
    _totals(sheet, _ITEM_SHEET, _HEAD_ROW + len(items))


def _sum_of_item(column: str, last: int, at: int) -> str:
    first = _HEAD_ROW + 1
    there = f"'by street'!${column}${first}:${column}${last}"
    return f"=SUMIFS({there},'by street'!$A${first}:$A${last},$A{at})"


def _fill_streets(sheet: Any, rows: Sequence[Row]) -> None:
    _begin(sheet, "Quantities by street", _STREET_SHEET)
    for at, row in enumerate(rows, start=_HEAD_ROW + 1):
        sheet.cell(at, 1, row["no"])
        for k, column in enumerate(_STREET_SHEET[1:], start=2):
            cell, value = sheet.cell(at, k), row[column.source]
            if column in _MEASURES:
                _number(cell, value, column.source)
            else:
                _text(cell, plain(value))
    _totals(sheet, _STREET_SHEET, _HEAD_ROW + len(rows))


def _fill_notes(sheet: Any, notes: Sequence[str]) -> None:
    sheet.column_dimensions["A"].width = 110
    for at, line in enumerate(notes, start=1):
        _text(sheet.cell(at, 1), line)
    _page(sheet)


def _begin(sheet: Any, title: str, columns: Sequence[_Column]) -> None:
    """Title, caution, heads, widths, and the set-up of the page."""
    sheet.cell(1, 1, title).font = Font(bold=True, size=14)
    sheet.cell(2, 1, f"Estimate, not pay quantities. {CAUTION}").font = Font(italic=True)
    for k, column in enumerate(columns, start=1):
        head = sheet.cell(_HEAD_ROW, k, column.head)
        head.font = Font(bold=True)
        head.alignment = Alignment(wrap_text=True, vertical="bottom")
        head.border = Border(bottom=Side(style="medium"))
        sheet.column_dimensions[get_column_letter(k)].width = column.width
    sheet.freeze_panes = f"A{_HEAD_ROW + 1}"
    sheet.print_title_rows = f"{_HEAD_ROW}:{_HEAD_ROW}"
    _page(sheet)


def _page(sheet: Any) -> None:
    """US letter, landscape, one page wide, with the caution at the foot of every page."""
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.paperSize = sheet.PAPERSIZE_LETTER
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.oddFooter.center.text = f"{CAUTION}\n&A, page &P of &N"
    sheet.oddFooter.center.size = 8


def _totals(sheet: Any, columns: Sequence[_Column], last: int) -> None:
    """A row of sums below the last row; none over figures of different units."""
    sheet.cell(last + 1, 2, "total")
    for k, column in enumerate(columns, start=1):
        cell = sheet.cell(last + 1, k)
        cell.font = Font(bold=True)
        cell.border = Border(top=Side(style="thin"))
        if column.total and last > _HEAD_ROW:
            letter = get_column_letter(k)
            formula = f"=SUM({letter}{_HEAD_ROW + 1}:{letter}{last})"
            _number(cell, formula, column.source)
            cell.number_format = cell.number_format if column.source else _MONEY


def _text(cell: Any, text: str) -> None:
    """A text that stays one: a name may start with "=" or read like an error code."""
    cell.value = text or None
    if text:
        cell.data_type = "s"
        cell.quotePrefix = text.startswith(("=", "+", "-", "@"))
        cell.alignment = Alignment(wrap_text=True, vertical="top")


def _number(cell: Any, value: Any, source: str) -> None:
    cell.value = value
    cell.number_format = _WHOLE if source == "count" else _FORMAT


def _fixed(book: Any) -> bytes:
    """The workbook's bytes without the time of writing, so that equal bids are equal files."""
    draft, out = io.BytesIO(), io.BytesIO()
    book.properties.created = datetime.datetime(2000, 1, 1)
    book.properties.creator = "layoutgen"
    book.save(draft)
    with zipfile.ZipFile(draft) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            content = old.read(name)
            if name == "docProps/core.xml":
                content = re.sub(rb"(<dcterms:modified[^>]*>)[^<]*", rb"\g<1>" + _TIME, content)
            new.writestr(zipfile.ZipInfo(name, (2000, 1, 1, 0, 0, 0)), content)
    return out.getvalue()


def _csv_lines(rows: Sequence[Row], items: Sequence[tuple[str, ...]]) -> Iterator[str]:
    """Rows of "bid items" with sums in place of formulas, exact to the last digit."""
    heads = ["no", *_KEYS, *(m.source for m in _MEASURES), "unit_price", "amount"]
    sums = {(k, m.source): Decimal(0) for k in range(1, len(items) + 1) for m in _MEASURES}
    for row in rows:
        for measure in _MEASURES:
            if row[measure.source] is not None:
                sums[row["no"], measure.source] += Decimal(str(row[measure.source]))
    yield _csv_line(heads)
    for number, names in enumerate(items, start=1):
        values = [f"{sums[number, measure.source].normalize():f}" for measure in _MEASURES]
        yield _csv_line([number, *map(escaped, names), *values, "", ""])


def _csv_line(cells: Sequence[Any]) -> str:
    out = io.StringIO()
    csv.writer(out).writerow(cells)
    return out.getvalue()

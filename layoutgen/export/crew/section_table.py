"""The table of a card: every section in painting order, with tape, offset and amounts."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from layoutgen.export.crew.blocks import Block, Grid, Items, Text
from layoutgen.export.crew.drawing import curbs_of
from layoutgen.export.crew.lines import lines_of
from layoutgen.export.crew.model import Card, Row
from layoutgen.export.crew.words import color_of, feet_inches, figure_words, minutes, number


@dataclass(frozen=True)
class _Column:
    """A column: its head, share of the width, cells, the total below them, and side."""

    head: str
    share: float
    cell: Callable[[Row], str]
    total: str = ""
    right: bool = False


def section_table(card: Card) -> Iterator[Block]:
    """How to read the table, the table, and what its letters mean."""
    yield Text(_how_to_read(card))
    holds = _holds(card)
    columns = list(_columns(card, holds))
    rows = [tuple(column.cell(row) for column in columns) for row in card.sections]
    last = tuple(column.total for column in columns)
    yield Grid(
        tuple(column.share for column in columns),
        tuple(column.head for column in columns),
        [*rows, last] if len(rows) > 1 else rows,
        right=tuple(k for k, column in enumerate(columns) if column.right),
        totals=1 if len(rows) > 1 else 0,
    )
    if len(holds) > 1:
        yield Items([f"H {sign}: {words}." for words, sign in holds.items() if words])


def _how_to_read(card: Card) -> str:
    zero = card.zero
    side = "short of" if zero.ahead else "past"
    base = "the right curb (L: left curb)" if card.street else "the axis"
    told = [
        f"Tape: begin and end, {side} {zero.words}, along the street.",
        f"Offset: near and far edge from {base}.",
    ]
    same = _same(card, color_of)
    told += [f"All {same}."] if same else []
    lane = _same(card, lambda row: str(row["lane"] or ""))
    told += [f"Lane: {lane}."] if lane else []
    holds = _holds(card)
    if len(holds) > 1:
        told.append("H: hold traffic, see below.")
    elif any(holds) and next(iter(holds)) != card.job["hold"]:
        told.append(f"Every section: {next(iter(holds))}.")
    return " ".join(told)


def _same(card: Card, said: Callable[[Row], str]) -> str:
    """What all sections have in common, else nothing."""
    found = {said(row) for row in card.sections}
    return found.pop() if len(found) == 1 else ""


def _holds(card: Card) -> dict[str, str]:
    """Text of every hold -> its letter; sections without one have none."""
    texts = dict.fromkeys(str(row["hold"] or "") for row in card.sections)
    signs = iter("ABCDEFGHIJKLMNOPQRSTUVWXYZ" * (1 + len(texts) // 26))
    return {text: next(signs) if text else "" for text in texts}


def _columns(card: Card, holds: dict[str, str]) -> Iterator[_Column]:
    """What all sections share stands above the table, not in a column."""
    rows = card.sections
    yield _Column("no.", 0.035, lambda row: str(row["sequence"]))
    yield _Column("figure", 0.22, lambda row: _figure(row, card), f"all {len(rows)} sections")
    if not _same(card, color_of) or not _same(card, lambda row: str(row["material"])):
        yield _Column("color", 0.07, lambda row: _paint(row, card))
    if not _same(card, lambda row: str(row["lane"] or "")):
        yield _Column("lane", 0.1, lambda row: str(row["lane"] or "-"))
    yield _Column("tape", 0.15, lambda row: _span(*tape(row, card)))
    yield _Column("offset", _offset_share(card), lambda row: _offset(row, card))
    yield _Column("length x width", 0.125, _size)
    yield _Column("sq ft", 0.055, lambda row: number(row["area_sqft"]), _sum(rows, "area_sqft", 1),
                  right=True)  # fmt: skip
    if any(row["paint_gal"] for row in rows) or not any(row["weight_lb"] for row in rows):
        yield _Column("gal", 0.06, lambda row: number(row["paint_gal"], 4),
                      _sum(rows, "paint_gal", 4), right=True)  # fmt: skip
    if any(row["weight_lb"] for row in rows):
        yield _Column("melt or sheet lb", 0.075, lambda row: number(row["weight_lb"], 4),
                      _sum(rows, "weight_lb", 4), right=True)  # fmt: skip
    if any(row["primer_gal"] for row in rows):
        yield _Column("primer gal", 0.07, lambda row: number(row["primer_gal"], 4),
                      _sum(rows, "primer_gal", 4), right=True)  # fmt: skip
    if any(row["beads_lb"] for row in rows):
        yield _Column("beads lb", 0.065, lambda row: number(row["beads_lb"], 4),
                      _sum(rows, "beads_lb", 4), right=True)  # fmt: skip
    if len(holds) > 1:
        yield _Column("H", 0.03, lambda row: holds[str(row["hold"] or "")])


def _offset_share(card: Card) -> float:
    """More room where lines have an offset each."""
    return 0.2 if any(len(lines_of(row, card)) > 1 for row in card.sections) else 0.145


def _sum(rows: Sequence[Row], column: str, digits: int) -> str:
    return number(sum(row[column] or 0.0 for row in rows), digits)


def _figure(row: Row, card: Card) -> str:
    """What is painted, in plain words."""
    piece = f", {row['number']} of {row['pieces']}" if (row["pieces"] or 1) > 1 else ""
    kinds = dict.fromkeys(line.words for line in lines_of(row, card))
    lines = f" ({'; '.join(kinds)})" if kinds and list(kinds) != ["solid"] else ""
    some_new = any(r["action"] != "repaint" for r in card.sections)
    over = " (over existing)" if row["action"] == "repaint" and some_new else ""
    wait = f"; wait {minutes(row['wait_min'])} before" if row["wait_min"] else ""
    return f"{figure_words(row['kind'], row['style'])}{piece}{lines}{over}{wait}"


def _paint(row: Row, card: Card) -> str:
    same = _same(card, lambda one: str(one["material"]))
    return color_of(row) if same else f"{color_of(row)}, {row['material']}"


def _size(row: Row) -> str:
    return f"{feet_inches(row['length_ft'])} x {feet_inches(row['width_ft'])}"


def _span(begin: float, end: float) -> str:
    return f"{feet_inches(begin)} - {feet_inches(end)}"


def tape(row: Row, card: Card) -> tuple[float, float]:
    """Begin and end of a section in the order of travel, from the zero of the tape, ft."""
    first, last = row["from_ft"], row["to_ft"]
    begin, end = (first, last) if card.frame.way > 0 else (last, first)
    sign = -card.frame.way if card.zero.ahead else card.frame.way
    return (begin - card.zero.station_ft) * sign, (end - card.zero.station_ft) * sign


def _offset(row: Row, card: Card) -> str:
    """Near and far edge of the paint; of every line where there are several."""
    near, far = row["left_ft"], row["right_ft"]
    if card.frame.way < 0:
        near, far = -far, -near
    lines = lines_of(row, card)
    if len(lines) > 1:
        mixed = len({line.words for line in lines}) > 1
        return "; ".join(
            _from_curb(line.near_ft, line.far_ft, card)
            + (f" {'broken' if line.dash_ft else 'solid'}" if mixed else "")
            for line in lines
        ).replace(" - ", "\u00a0-\u00a0")
    return _from_curb(near, far, card)


def _from_curb(near: float, far: float, card: Card) -> str:
    """Edges from the nearer curb; from the axis, positive right, without a street."""
    left, right = curbs_of(card)
    if left is None or right is None:
        return _span(near, far)
    if near + left < right - far:
        return f"L {_span(near + left, far + left)}"
    return _span(right - far, right - near)

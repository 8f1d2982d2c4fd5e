"""Blocks as a PDF, letter or A4."""

from __future__ import annotations

import html
import io
from collections.abc import Iterator, Sequence
from typing import Any

from reportlab.lib import pagesizes
from reportlab.lib.colors import black
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Frame,
    KeepTogether,
    PageBreak,
    PageTemplate,
    Paragraph,
    Spacer,
    Table,
)

from layoutgen.export.crew.blocks import (
    TICK,
    Beside,
    Block,
    Grid,
    Heading,
    Items,
    Picture,
    Text,
    Title,
)
from layoutgen.export.crew.ink import BOLD, FONT, grey, text_width
from layoutgen.export.crew.words import printable
from layoutgen.export.formats import CAUTION

SIZES: dict[str, tuple[float, float]] = {"letter": pagesizes.letter, "a4": pagesizes.A4}
_MARGIN_PT, _FOOT_PT = 40.0, 30.0
_TICK_PDF = '<font name="ZapfDingbats" size="9">\u2751</font>&nbsp;&nbsp;'
#: room that a heading and the first rows of a long table need
_FIRST_ROWS_PT, _LONG_ROWS = 110.0, 8


def _style(size: float, **look: Any) -> Any:
    return ParagraphStyle(
        f"s{size}{look}", fontName=FONT, fontSize=size, leading=1.2 * size, **look
    )


_CELL, _RIGHT, _BODY = _style(7.5), _style(7.5, alignment=TA_RIGHT), _style(9.0, spaceAfter=3)
_CAPTION, _ITEM = _style(7.5, spaceAfter=4), _style(9.0, leftIndent=10, bulletIndent=1)
_TITLE, _HEADING = _style(15.0, spaceAfter=4), _style(10.5, spaceBefore=6, spaceAfter=3)


def room_pt(paper: str) -> tuple[float, float]:
    """Width and height for content on a page, pt."""
    wide, high = SIZES[paper]
    return wide - 2 * _MARGIN_PT, high - 2 * _MARGIN_PT - _FOOT_PT


def pdf(blocks: Sequence[Block], paper: str, title: str) -> bytes:
    """The document; the same blocks give the same bytes."""
    wide, high = SIZES[paper]
    room = room_pt(paper)
    frame = Frame(
        _MARGIN_PT, _MARGIN_PT + _FOOT_PT, *room,
        leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0,
    )  # fmt: skip
    sink = io.BytesIO()
    document = BaseDocTemplate(
        sink,
        pagesize=(wide, high),
        title=printable(title),
        author="layoutgen crew papers",
        invariant=1,
    )
    document.addPageTemplates(PageTemplate(frames=[frame]))
    document.build(list(_flow(blocks, room)), canvasmaker=_numbered(printable(title)))
    return sink.getvalue()


def _flow(blocks: Sequence[Block], room: tuple[float, float]) -> Iterator[Any]:
    """Flowables; a part of the papers that fits on what is left of a page may stand there."""
    for k, part in enumerate(_parts(blocks)):
        made = [flowable for block in _flat(part, room[0]) for flowable in block]
        title = part[0]
        high = _height(made, room[0])
        if k:
            joins = isinstance(title, Title) and title.joins and high <= room[1]
            yield CondPageBreak(high) if joins else PageBreak()
        yield from made


def _parts(blocks: Sequence[Block]) -> Iterator[list[Block]]:
    """The blocks of each title."""
    part: list[Block] = []
    for block in blocks:
        if isinstance(block, Title) and part:
            yield part
            part = []
        part.append(block)
    if part:
        yield part


def _height(made: Sequence[Any], width_pt: float) -> float:
    """Height of flowables one below the other, with the spaces around them."""
    high = 0.0
    for flowable in made:
        if isinstance(flowable, KeepTogether):
            high += _height(flowable._content, width_pt)
        elif not isinstance(flowable, CondPageBreak):
            high += flowable.getSpaceBefore() + flowable.wrap(width_pt, 1e5)[1]
            high += flowable.getSpaceAfter()
    return high


def _flat(blocks: Sequence[Block], width_pt: float) -> Iterator[list[Any]]:
    """Flowables of each block; a heading stays with what follows it."""
    held: list[Any] = []
    for block in blocks:
        made = _made(block, width_pt)
        if isinstance(block, Heading):
            yield [CondPageBreak(_FIRST_ROWS_PT)]
            held += made
            continue
        yield _together(held, made) if held else made
        held = []


def _together(held: list[Any], made: list[Any]) -> list[Any]:
    """A heading with the first thing below it; long tables may break, so they are not kept."""
    first = made[0]
    if isinstance(first, Table) and len(first._cellvalues) > _LONG_ROWS:
        return [*held, *made]
    inner = first._content if isinstance(first, KeepTogether) else [first]
    return [KeepTogether([*held, *inner]), *made[1:]]


def _made(block: Block, width_pt: float) -> list[Any]:
    if isinstance(block, Title):
        return [_title(block, width_pt), Spacer(1, 5)]
    if isinstance(block, Heading):
        return [Paragraph(_bold(block.words), _HEADING)]
    if isinstance(block, Text):
        return [Paragraph(_bold(block.words) if block.strong else _rich(block.words), _BODY)]
    if isinstance(block, Items):
        return [
            Paragraph(_rich(words), _ITEM, bulletText=None if words.startswith(TICK) else "-")
            for words in block.words
        ]
    if isinstance(block, Grid):
        table = _table(block, width_pt)
        short = len(block.rows) <= _LONG_ROWS
        return [KeepTogether([table, Spacer(1, 4)])] if short else [table, Spacer(1, 4)]
    if isinstance(block, Picture):
        caption = [Paragraph(_rich(block.caption), _CAPTION)] if block.caption else []
        return [KeepTogether([block.drawing, Spacer(1, 2), *caption])]
    return [_beside(block, width_pt), Spacer(1, 4)]


def _title(block: Title, width_pt: float) -> Any:
    beside = text_width(block.beside, 7.5) + 12.0
    beside = min(beside, 0.5 * width_pt)
    cells = [[Paragraph(_bold(block.words), _TITLE), Paragraph(_rich(block.beside), _RIGHT)]]
    look = [
        ("LINEBELOW", (0, 0), (-1, -1), 1.2, black), ("VALIGN", (0, 0), (-1, -1), "BOTTOM"),
        ("LEFTPADDING", (0, 0), (-1, -1), 0), ("RIGHTPADDING", (0, 0), (-1, -1), 0),
    ]  # fmt: skip
    return Table(cells, colWidths=[width_pt - beside, beside], style=look)


def _table(block: Grid, width_pt: float) -> Any:
    whole = sum(block.shares)
    widths = [share / whole * width_pt for share in block.shares]
    head = [[Paragraph(_bold(words), _CELL) for words in block.head]] if block.head else []
    last = len(block.rows) - block.totals
    body = [
        [
            _cell(words, widths[c], _is_bold(k, c, block, last), c in block.right)
            for c, words in enumerate(row)
        ]
        for k, row in enumerate(block.rows)
    ]
    look: list[Any] = [
        ("GRID", (0, 0), (-1, -1), 0.5, black), ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("LEFTPADDING", (0, 0), (-1, -1), 3), ("RIGHTPADDING", (0, 0), (-1, -1), 3),
        ("TOPPADDING", (0, 0), (-1, -1), 1.0), ("BOTTOMPADDING", (0, 0), (-1, -1), 2.2),
        ("FONT", (0, 0), (-1, -1), FONT, _CELL.fontSize, _CELL.leading),
    ]  # fmt: skip
    look += [("ALIGN", (c, 0), (c, -1), "RIGHT") for c in block.right]
    look += [
        ("FONT", (c, k + len(head)), (c, k + len(head)), BOLD, _CELL.fontSize, _CELL.leading)
        for k, row in enumerate(body)
        for c, cell in enumerate(row)
        if isinstance(cell, str) and _is_bold(k, c, block, last)
    ]
    if head:
        look.append(("BACKGROUND", (0, 0), (-1, 0), grey(0.9)))
    out = Table([*head, *body], colWidths=widths, style=look, repeatRows=len(head))
    if block.high:
        out._argH = [None] * len(head) + [
            max(block.high, _needed(row, widths) + 4.0) for row in body
        ]
        out._rowHeights = list(out._argH)
    return out


def _cell(words: str, wide_pt: float, strong: bool, right: bool) -> Any:
    """A plain string where that does, which is much faster than a paragraph."""
    wide = text_width(words, _CELL.fontSize, bold=strong)
    if TICK not in words and wide < wide_pt - 6.5:
        return printable(words)
    return Paragraph((_bold if strong else _rich)(words), _RIGHT if right else _CELL)


def _is_bold(row: int, column: int, block: Grid, last: int) -> bool:
    """Totals, and the words before the answers of a table without head."""
    return row >= last or (not block.head and column % 2 == 0)


def _needed(cells: Sequence[Any], widths: Sequence[float]) -> float:
    sizes = (
        _CELL.leading if isinstance(cell, str) else cell.wrap(wide - 6.0, 1e4)[1]
        for cell, wide in zip(cells, widths, strict=True)
    )
    return float(max(sizes))


def _beside(block: Beside, width_pt: float) -> Any:
    left = block.share * width_pt
    look = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"), ("ALIGN", (1, 0), (1, 0), "RIGHT"),
        ("LEFTPADDING", (0, 0), (-1, -1), 0), ("RIGHTPADDING", (0, 0), (-1, -1), 0),
        ("TOPPADDING", (0, 0), (-1, -1), 0), ("BOTTOMPADDING", (0, 0), (-1, -1), 0),
    ]  # fmt: skip
    cells = [[_table(block.left, left), block.right.drawing]]
    return Table(cells, colWidths=[left, width_pt - left], style=look)


def _rich(words: str) -> str:
    """Escaped for a paragraph, tick boxes from the font that has them."""
    parts = (html.escape(printable(part), quote=False) for part in words.split(TICK))
    return _TICK_PDF.join(parts)


def _bold(words: str) -> str:
    return f'<font name="{BOLD}">{_rich(words)}</font>'


def _numbered(title: str) -> Any:
    """A canvas that knows the number of pages before it writes the feet."""

    class Numbered(Canvas):  # type: ignore[misc]
        """Pages are kept until the last one is known."""

        def __init__(self, *args: Any, **kwargs: Any) -> None:
            super().__init__(*args, **kwargs)
            self.kept: list[dict[str, Any]] = []

        def showPage(self) -> None:  # name given by the library
            """Keep the page."""
            self.kept.append(dict(self.__dict__))
            self._startPage()

        def save(self) -> None:
            """Write all pages with their feet."""
            for k, page in enumerate(self.kept, start=1):
                self.__dict__.update(page)
                _foot(self, title, f"page {k} of {len(self.kept)}")
                super().showPage()
            super().save()

    return Numbered


def _foot(canvas: Any, title: str, page: str) -> None:
    wide = canvas._pagesize[0] - 2 * _MARGIN_PT
    canvas.setLineWidth(0.5)
    canvas.line(_MARGIN_PT, _MARGIN_PT + 24.0, _MARGIN_PT + wide, _MARGIN_PT + 24.0)
    foot = Paragraph(_rich(CAUTION), _style(6.5))
    high = foot.wrap(wide - 150.0, 40.0)[1]
    foot.drawOn(canvas, _MARGIN_PT, _MARGIN_PT + 20.0 - high)
    canvas.setFont(FONT, 7.5)
    canvas.drawRightString(_MARGIN_PT + wide, _MARGIN_PT + 13.0, page)
    canvas.drawRightString(_MARGIN_PT + wide, _MARGIN_PT + 4.0, _cut(title, 140.0))


def _cut(words: str, wide_pt: float) -> str:
    while text_width(words, 7.5) > wide_pt:
        words = words[:-4] + "..."
    return words

"""The same blocks as one HTML page without outside files; drawings are inline SVG."""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Iterator, Sequence
from itertools import count
from typing import Any

from reportlab.graphics import renderSVG

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
from layoutgen.export.formats import CAUTION, plain

_STYLE = """
@page { size: %s; margin: 14mm; }
body { font: 10pt Helvetica, Arial, sans-serif; color: #000; background: #fff; max-width: 7.6in;
  margin: 1em auto; padding: 0 .5em; }
section { break-before: page; }
section:first-of-type { break-before: auto; }
section.joins { break-before: auto; break-inside: avoid; }
h1 { font-size: 15pt; border-bottom: 1.5pt solid; margin: 1.2em 0 .4em; overflow: hidden; }
h1 small { float: right; font-size: 8pt; font-weight: normal; }
h2 { font-size: 11pt; margin: .8em 0 .3em; break-after: avoid; }
p { margin: .3em 0; }
ul { margin: .3em 0; padding-left: 1.2em; }
table { border-collapse: collapse; width: 100%%; margin: .3em 0 .5em; font-size: 8.5pt; }
th, td { border: .6pt solid #000; padding: .15em .35em; text-align: left; }
th { background: #e6e6e6; }
td.n { text-align: right; font-variant-numeric: tabular-nums; }
tr { break-inside: avoid; }
figure { margin: .4em 0; break-inside: avoid; }
figcaption { font-size: 8.5pt; }
svg { max-width: 100%%; height: auto; }
.beside { display: flex; gap: .6em; align-items: flex-start; flex-wrap: wrap; }
.beside > :first-child { flex: 1 1 60%%; }
footer { font-size: 8pt; border-top: .6pt solid; margin-top: 1.5em; padding-top: .3em; }
"""
_SHEETS = {"letter": "letter", "a4": "A4"}
_IDS = re.compile(r'\b(id="|url\(#|xlink:href="#|href="#)')


def page(blocks: Sequence[Block], paper: str, title: str) -> Iterator[str]:
    """Pieces of the page."""
    yield '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
    yield '<meta name="viewport" content="width=device-width">\n'
    yield '<meta name="generator" content="layoutgen crew papers">\n'
    yield f"<title>{_text(title)}</title>\n<style>{_STYLE % _SHEETS[paper]}</style>\n</head>\n"
    yield "<body>\n"
    numbers = count(1)
    for k, block in enumerate(blocks):
        if isinstance(block, Title):
            yield "</section>\n" if k else ""
            yield '<section class="joins">\n' if block.joins else "<section>\n"
        yield _MAKERS[type(block)](block, numbers) + "\n"
    yield f"</section>\n<footer>{_text(CAUTION)}</footer>\n</body>\n</html>\n"


def _title(block: Title, _: Iterator[int]) -> str:
    return f"<h1>{_text(block.words)} <small>{_text(block.beside)}</small></h1>"


def _heading(block: Heading, _: Iterator[int]) -> str:
    return f"<h2>{_text(block.words)}</h2>"


def _paragraph(block: Text, _: Iterator[int]) -> str:
    words = _text(block.words)
    return f"<p><strong>{words}</strong></p>" if block.strong else f"<p>{words}</p>"


def _items(block: Items, _: Iterator[int]) -> str:
    return "<ul>" + "".join(f"<li>{_text(words)}</li>" for words in block.words) + "</ul>"


def _grid(block: Grid, _: Iterator[int]) -> str:
    whole = sum(block.shares)
    cols = "".join(f'<col style="width:{100 * s / whole:.1f}%">' for s in block.shares)
    head = "".join(f"<th>{_text(words)}</th>" for words in block.head)
    body = "".join(_row(block, k) for k in range(len(block.rows)))
    top = f"<thead><tr>{head}</tr></thead>" if head else ""
    return f"<table><colgroup>{cols}</colgroup>{top}<tbody>{body}</tbody></table>"


def _row(block: Grid, k: int) -> str:
    last = k >= len(block.rows) - block.totals
    cells = []
    for column, words in enumerate(block.rows[k]):
        bold = last or (not block.head and column % 2 == 0)
        inner = f"<strong>{_text(words)}</strong>" if bold and words else _text(words)
        look = ' class="n"' if column in block.right else ""
        cells.append(f"<td{look}>{inner}</td>")
    high = f' style="height:{block.high:g}pt"' if block.high else ""
    return f"<tr{high}>{''.join(cells)}</tr>"


def _picture(block: Picture, numbers: Iterator[int]) -> str:
    caption = f"<figcaption>{_text(block.caption)}</figcaption>" if block.caption else ""
    return f"<figure>{_svg(block.drawing, next(numbers))}{caption}</figure>"


def _beside(block: Beside, numbers: Iterator[int]) -> str:
    return f'<div class="beside">{_grid(block.left, numbers)}{_picture(block.right, numbers)}</div>'


def _svg(drawing: Any, number: int) -> str:
    """The drawing as an element; its ids are made its own, since the page holds several."""
    text = renderSVG.drawToString(drawing)
    start = text.index("<svg")
    return _IDS.sub(lambda found: f"{found[1]}f{number}-", text[start:])


def _text(words: str) -> str:
    return html.escape(plain(words), quote=False).replace(TICK, f"<span>{TICK}</span>")


_MAKERS: dict[type, Callable[[Any, Iterator[int]], str]] = {
    Title: _title,
    Heading: _heading,
    Text: _paragraph,
    Items: _items,
    Grid: _grid,
    Picture: _picture,
    Beside: _beside,
}

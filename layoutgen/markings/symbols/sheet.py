"""The catalogue of figures drawn to scale: pages with sizes, break lines, areas and sources.

The layout of a page is worked out once, in inches on paper with y up, as areas, lines and texts;
SVG and PDF only write those down. The scale is one for all figures, so that they can be compared.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal
from xml.sax.saxutils import escape

import shapely
from shapely.affinity import affine_transform

from layoutgen.markings.symbols.catalog import Figure

#: inches of paper per foot of street: 1 in = 4 ft
SCALE = 0.25
SCALE_TEXT = "1 in = 4 ft (1:48)"
PAGE_IN = (11.0, 8.5)
_MARGIN = 0.5
_HEAD = 0.55
_TEXT_LINES = 5
_LINE_IN = 0.13
_GAP = 0.35
_LEAST_WIDTH = 1.75
_DIMENSION = 0.22
CAUTION = (
    "Drawings for planning. Local codes, the agency's own drawings and a licensed engineer govern."
)

#: words and letters that a sheet shows, at 8 ft
SHEET_WORDS = (
    *("ONLY", "STOP", "YIELD", "AHEAD", "SIGNAL", "SCHOOL", "PED", "XING", "SLOW", "KEEP", "CLEAR"),
    *("ABCDEFGHI", "JKLMNOPQR", "STUVWXYZ", "0123456789", "1/2 O'C-ST."),
)

Role = Literal["dimension", "break", "center"]


@dataclass(frozen=True)
class Text:
    """A text whose foot stands at (x, y), `size` in points, anchored start or middle."""

    x: float
    y: float
    text: str
    size: float = 7.0
    anchor: Literal["start", "middle"] = "start"


@dataclass(frozen=True)
class Rule:
    """A thin straight line."""

    x0: float
    y0: float
    x1: float
    y1: float
    role: Role


@dataclass
class Page:
    """One sheet of paper, inches, y up."""

    title: str
    areas: list[shapely.MultiPolygon] = field(default_factory=list)
    lines: list[Rule] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)


def pages_of(figures: Sequence[Figure], title: str) -> list[Page]:
    """Figures in reading order on as many pages as they need."""
    pages: list[Page] = []
    x, top, row = _MARGIN, 0.0, 0.0
    for figure in figures:
        wide, high = _cell(figure)
        if pages and x + wide > PAGE_IN[0] - _MARGIN:
            x, top, row = _MARGIN, top - row - _GAP, 0.0
        if not pages or top - high < _MARGIN:
            pages.append(Page(title))
            x, top, row = _MARGIN, PAGE_IN[1] - _MARGIN - _HEAD, 0.0
        _draw_cell(pages[-1], figure, x, top)
        x, row = x + wide + _GAP, max(row, high)
    for number, page in enumerate(pages, start=1):
        _head(page, number, len(pages))
    return pages


def _head(page: Page, number: int, count: int) -> None:
    top = PAGE_IN[1] - _MARGIN
    page.texts += [
        Text(_MARGIN, top - 0.1, page.title, 13.0),
        Text(_MARGIN, top - 0.28, f"{SCALE_TEXT}; sheet {number} of {count}; dashed: break lines"),
        Text(_MARGIN, _MARGIN - 0.2, CAUTION, 6.5),
    ]


def _cell(figure: Figure) -> tuple[float, float]:
    """Room that a figure takes on paper, with its dimensions and texts."""
    wide = max(figure.width_ft * SCALE + 2 * _DIMENSION + 0.35, _LEAST_WIDTH)
    lines = len(_texts(figure))
    return wide, figure.length_ft * SCALE + _DIMENSION + lines * _LINE_IN + 0.15


def _draw_cell(page: Page, figure: Figure, left: float, top: float) -> None:
    """The figure hangs from `top`; texts and dimensions stand below and beside it."""
    long, wide = figure.length_ft * SCALE, figure.width_ft * SCALE
    xmin = left + _DIMENSION + 0.2
    foot = top - long
    own_left = figure.polygon.bounds[0]
    shift = [SCALE, 0.0, 0.0, SCALE, xmin - own_left * SCALE, foot]
    page.areas.append(affine_transform(figure.polygon, shift))
    page.lines += _measure_lines(xmin, foot, wide, long)
    for y in figure.breaks:
        at = foot + y * SCALE
        page.lines.append(Rule(xmin - 0.06, at, xmin + wide + 0.06, at, "break"))
        page.texts.append(Text(xmin + wide + 0.08, at - 0.03, feet(y), 6.0))
    for x in figure.side_breaks:
        at = xmin + (x - own_left) * SCALE
        page.lines.append(Rule(at, foot - 0.05, at, foot + long + 0.05, "break"))
    page.texts.append(Text(left, foot + long / 2 - 0.03, feet(figure.length_ft), 6.0))
    page.texts.append(
        Text(xmin + wide / 2, foot - _DIMENSION + 0.02, feet(figure.width_ft), 6.0, "middle")
    )
    for k, (text, size) in enumerate(_texts(figure)):
        page.texts.append(Text(left, foot - _DIMENSION - 0.13 - k * _LINE_IN, text, size))


def _measure_lines(xmin: float, foot: float, wide: float, long: float) -> Iterator[Rule]:
    """Dimension lines with ticks, left of the figure and below it."""
    x, y = xmin - 0.1, foot - 0.07
    yield Rule(x, foot, x, foot + long, "dimension")
    yield Rule(xmin, y, xmin + wide, y, "dimension")
    for at in (foot, foot + long):
        yield Rule(x - 0.04, at, x + 0.04, at, "dimension")
    for at in (xmin, xmin + wide):
        yield Rule(at, y - 0.04, at, y + 0.04, "dimension")


def _texts(figure: Figure) -> list[tuple[str, float]]:
    """Name, area and sources, short enough for the cell."""
    area = f"{figure.polygon.area:.2f} sq ft"
    sources = _wrapped(", ".join(figure.sources), 34)
    return [(figure.name, 8.0), (area, 7.0), *((line, 5.5) for line in sources[: _TEXT_LINES - 2])]


def _wrapped(text: str, most: int) -> list[str]:
    lines = [""]
    for part in text.split(" "):
        if lines[-1] and len(lines[-1]) + 1 + len(part) > most:
            lines.append("")
        lines[-1] = f"{lines[-1]} {part}".strip()
    return lines


def feet(value_ft: float) -> str:
    """Feet and inches as on a plan: 12'-9", 9'-6", 0'-5 1/2"."""
    quarters = round(value_ft * 48)
    whole, rest = divmod(quarters, 48)
    inches, part = divmod(rest, 4)
    fraction = {0: "", 1: " 1/4", 2: " 1/2", 3: " 3/4"}[part]
    return f"{whole}'-{inches}{fraction}\""


def write_sheet(figures: Sequence[Figure], title: str, path: Path) -> int:
    """Write the sheet as SVG (all pages, one below the other) or PDF; returns the pages.

    Raises:
        ValueError: another ending.
        OSError: the file cannot be written.
    """
    pages = pages_of(figures, title)
    if path.suffix.lower() == ".svg":
        path.write_text(svg_text(pages), encoding="utf-8")
    elif path.suffix.lower() == ".pdf":
        _write_pdf(pages, path)
    else:
        raise ValueError(f"{path.name} must end in .svg or .pdf")
    return len(pages)


_LOOK = {
    "dimension": ("#444444", 0.006, ""),
    "break": ("#c0392b", 0.008, "0.05 0.03"),
    "center": ("#888888", 0.005, "0.08 0.03"),
}


def svg_text(pages: Sequence[Page]) -> str:
    """All pages as one SVG drawing in inches."""
    wide, high = PAGE_IN[0], PAGE_IN[1] * len(pages)
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:g}in" height="{high:g}in" '
        f'viewBox="0 0 {wide:g} {high:g}" font-family="Helvetica, Arial, sans-serif">',
        f'<rect width="{wide:g}" height="{high:g}" fill="white"/>',
    ]
    for number, page in enumerate(pages):
        out += _svg_page(page, PAGE_IN[1] * (number + 1))
    return "\n".join([*out, "</svg>", ""])


def _svg_page(page: Page, foot: float) -> Iterator[str]:
    for area in page.areas:
        yield f'<path fill-rule="evenodd" d="{_svg_path(area, foot)}"/>'
    for line in page.lines:
        color, width, dash = _LOOK[line.role]
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        yield (
            f'<line x1="{line.x0:.4f}" y1="{foot - line.y0:.4f}" x2="{line.x1:.4f}" '
            f'y2="{foot - line.y1:.4f}" stroke="{color}" stroke-width="{width}"{dashed}/>'
        )
    for text in page.texts:
        yield (
            f'<text x="{text.x:.4f}" y="{foot - text.y:.4f}" font-size="{text.size / 72:.4f}" '
            f'text-anchor="{text.anchor}">{escape(text.text)}</text>'
        )


def _svg_path(area: shapely.MultiPolygon, foot: float) -> str:
    parts = []
    for ring in _rings(area):
        points = " ".join(f"{x:.5f} {foot - y:.5f}" for x, y in ring[:-1])
        parts.append(f"M {points} Z")
    return " ".join(parts)


def _rings(area: shapely.MultiPolygon) -> list[Any]:
    return [shapely.get_coordinates(r) for g in area.geoms for r in (g.exterior, *g.interiors)]


def _write_pdf(pages: Sequence[Page], path: Path) -> None:
    from reportlab.pdfgen.canvas import Canvas  # here, because only this command needs it

    size = (PAGE_IN[0] * 72, PAGE_IN[1] * 72)
    canvas = Canvas(str(path), pagesize=size, invariant=1)
    for page in pages:
        canvas.setTitle(page.title)
        _pdf_page(canvas, page)
        canvas.showPage()
    canvas.save()


def _pdf_page(canvas: Any, page: Page) -> None:
    for area in page.areas:
        outline = canvas.beginPath()
        for ring in _rings(area):
            outline.moveTo(*(ring[0] * 72))
            for point in ring[1:-1] * 72:
                outline.lineTo(*point)
            outline.close()
        canvas.drawPath(outline, stroke=0, fill=1, fillMode=0)
    for line in page.lines:
        color, width, dash = _LOOK[line.role]
        canvas.setStrokeColor(color)
        canvas.setLineWidth(width * 72)
        canvas.setDash([float(d) * 72 for d in dash.split()])
        canvas.line(line.x0 * 72, line.y0 * 72, line.x1 * 72, line.y1 * 72)
    canvas.setDash([])
    for text in page.texts:
        canvas.setFont("Helvetica", text.size)
        draw = canvas.drawCentredString if text.anchor == "middle" else canvas.drawString
        draw(text.x * 72, text.y * 72, text.text)

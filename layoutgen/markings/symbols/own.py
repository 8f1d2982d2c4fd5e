"""`[symbols.<name>]`: figures that a project draws itself, at the size it declares.

A symbol with the name of a shipped figure takes its place in every rule; others are there for the
legends of role `legends`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Literal

import shapely
from shapely.affinity import affine_transform

from layoutgen.config import Params, choice, length, parse_measure
from layoutgen.geometry import outline
from layoutgen.markings.symbols.catalog import Figure
from layoutgen.markings.symbols.drawings import DrawingError, read_drawing

#: most that the proportions of a drawing may differ from the declared size
_PROPORTION = 0.005
_SMALLEST_FT = 0.25
_NAME = re.compile(r"^[a-z][a-z0-9_]*$")


class SymbolParams(Params):
    """`[symbols.<name>]`: one drawing of the project's own."""

    source: str = choice("", source="design", text="SVG, DXF or GeoJSON file; what is filled")
    length_ft: float = length(
        "0 ft",
        low="0 ft",
        high="100 ft",
        source="design",
        text="overall length along travel; 0 = follows from the width",
    )
    width_ft: float = length(
        "0 ft",
        low="0 ft",
        high="40 ft",
        source="design",
        text="overall width; 0 = follows from the length",
    )
    anchor: Literal["middle", "drawing"] = choice(
        "middle",
        source="design",
        text="what stands on the middle of the lane: the figure's middle, or x = 0 of the drawing",
    )
    breaks: tuple[str, ...] = choice(
        (), source="design", text='where a crew may stop: distances from the near edge, "3 ft"'
    )
    sources: tuple[str, ...] = choice(
        (), source="design", text="where the drawing is from: rows of the standard, plan numbers"
    )


def own_figure(name: str, params: SymbolParams) -> Figure:
    """The figure of one `[symbols.<name>]` table.

    Raises:
        DrawingError: the file and what is wrong with it, and the fix.
    """
    if not _NAME.match(name):
        raise DrawingError("the name may hold small letters, digits and _ only; rename it")
    if not params.source:
        raise DrawingError('names no file; add source = "FILE.svg"')
    path = Path(params.source)
    try:
        stamp = path.stat().st_mtime_ns if path.is_file() else 0
        return _figure(name, params, stamp)
    except DrawingError as fault:
        raise DrawingError(f"{path.name}: {fault}.") from None


@cache
def _figure(name: str, params: SymbolParams, _stamp: int) -> Figure:
    path = Path(params.source)
    if not path.is_file():
        raise DrawingError("no such file; check the path, it counts from the project file")
    area = read_drawing(path)
    xmin, ymin, xmax, ymax = area.bounds
    scale = _scale(xmax - xmin, ymax - ymin, params)
    middle = (xmin + xmax) / 2 if params.anchor == "middle" else 0.0
    placed = affine_transform(area, [scale, 0.0, 0.0, scale, -middle * scale, -ymin * scale])
    polygon = outline.tidy(outline.as_multipolygon(placed))
    if not polygon.is_valid:
        raise DrawingError("is not sound at that size; simplify the drawing")
    length_ft = (ymax - ymin) * scale
    return Figure(
        name=name,
        polygon=polygon,
        length_ft=length_ft,
        width_ft=(xmax - xmin) * scale,
        breaks=_breaks(params.breaks, length_ft),
        sources=params.sources or ("drawing of the project",),
        anchor="middle of the overall width, at the near edge"
        if params.anchor == "middle"
        else "x = 0 of the drawing, at the near edge",
    )


def _scale(wide: float, long: float, params: SymbolParams) -> float:
    """Feet per unit of the drawing; both sizes, where given, must agree with its proportions."""
    declared = [(params.length_ft, long, "length"), (params.width_ft, wide, "width")]
    for size_ft, _, what in declared:
        if 0 < size_ft < _SMALLEST_FT:
            raise DrawingError(f"a {what} of {size_ft:g} ft is too small to paint; check the unit")
    scales = [size_ft / units for size_ft, units, _ in declared if size_ft]
    if not scales:
        raise DrawingError('has no size; add length = "8 ft", or width')
    if max(scales) > min(scales) * (1 + _PROPORTION):
        drawn = params.length_ft * wide / long
        raise DrawingError(
            f"is drawn {wide:.6g} wide and {long:.6g} long, so {params.length_ft:g} ft of length "
            f"make {drawn:.3f} ft of width, not {params.width_ft:g} ft; give one size only, or "
            "redraw it"
        )
    return scales[0]


def _breaks(texts: tuple[str, ...], length_ft: float) -> tuple[float, ...]:
    out = []
    for text in texts:
        try:
            at = parse_measure(text)
        except ValueError as fault:
            raise DrawingError(f"breaks: {fault}, got '{text}'") from None
        if not 0 < at < length_ft:
            raise DrawingError(f"breaks: {text} is not inside its length of {length_ft:.2f} ft")
        out.append(at)
    return tuple(sorted(out))


def own_figures(tables: Mapping[str, SymbolParams]) -> dict[str, Figure | DrawingError]:
    """Figures by name, and in place of each that cannot be painted what is wrong with it."""
    out: dict[str, Figure | DrawingError] = {}
    for name, params in sorted(tables.items()):
        try:
            out[name] = own_figure(name, params)
        except DrawingError as fault:
            out[name] = fault
    return out


def file_digest_parts(tables: Mapping[str, SymbolParams]) -> tuple[bytes, ...]:
    """What the drawings say, for a hash of all that a layout depends on."""
    figures = own_figures(tables)
    return tuple(shapely.to_wkb(f.polygon) for f in figures.values() if isinstance(f, Figure))

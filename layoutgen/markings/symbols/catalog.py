"""Placed figures: lane-use arrows, the bicycle symbol, its arrow.

The outlines are in the TOML files beside this module, every one of which but `letters.toml` holds
figures; `arrows.toml` explains the keys. A figure added there is found by its name.

Frame of every figure: +y is the direction of travel of the driver who reads it, +x to that
driver's right; x = 0 is the middle of the overall width, y = 0 the edge nearest the driver.
"""

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from typing import Any

import shapely
from shapely.affinity import scale as scale_about
from shapely.affinity import translate

from layoutgen.geometry import outline

INCHES_PER_FOOT = 12
SIZE_TOLERANCE_FT = 1e-6
LETTERS_FILE = "letters.toml"

Table = Mapping[str, Any]

_REQUIRED = {"box_in", "breaks_in", "anchor", "sources"}
_ALLOWED = _REQUIRED | {"fill", "strokes", "symmetric"}


@dataclass(frozen=True)
class Figure:
    """One thing to paint, in its own frame, in feet.

    length_ft is along +y (the direction of travel), width_ft along x. `breaks` are y positions
    and `side_breaks` x positions (between letters) where the figure may be parted. `sources` are
    rows of the standards table, or say "common practice" or "from memory: ...".
    """

    name: str
    polygon: shapely.MultiPolygon
    length_ft: float
    width_ft: float
    breaks: tuple[float, ...]
    sources: tuple[str, ...]
    anchor: str
    side_breaks: tuple[float, ...] = ()


@cache
def figure(name: str, *, height_ft: float | None = None) -> Figure:
    """A figure by name, at its published size or in proportion to another length.

    `height_ft` is the length along the direction of travel; the width follows in proportion.
    Raises ValueError for a name that is not in `figure_names()`, with the nearest ones, and for
    a length that is not above zero.
    """
    drawing = _drawing(name)
    drawn = _mirrored(name, drawing["mirror_of"]) if "mirror_of" in drawing else _drawn(name)
    if height_ft is None:
        return drawn
    return resized(drawn, height_ft)


@cache
def resized(drawn: Figure, length_ft: float) -> Figure:
    """The figure in proportion, `length_ft` long along the direction of travel.

    Raises ValueError for a length that is not above zero.
    """
    if not length_ft > 0:
        raise ValueError(f"figure '{drawn.name}': height_ft must be above 0, got {length_ft}")
    factor = length_ft / drawn.length_ft
    polygon = scale_about(drawn.polygon, xfact=factor, yfact=factor, origin=(0.0, 0.0))
    return replace(
        drawn,
        polygon=outline.as_multipolygon(polygon),
        length_ft=drawn.length_ft * factor,
        width_ft=drawn.width_ft * factor,
        breaks=tuple(y * factor for y in drawn.breaks),
    )


@cache
def figure_names() -> tuple[str, ...]:
    """Names of all figures, sorted."""
    return tuple(sorted(_drawings()))


@cache
def _drawings() -> dict[str, Table]:
    """The figure tables of all figure files."""
    found: dict[str, Table] = {}
    for file in sorted(files(__package__).iterdir(), key=lambda entry: entry.name):
        if file.name.endswith(".toml") and file.name != LETTERS_FILE:
            found |= tomllib.loads(file.read_text(encoding="utf-8"))
    return found


def _drawing(name: str) -> Table:
    """The table of a figure, its keys checked."""
    if name not in _drawings():
        near = get_close_matches(name, figure_names(), n=3) or figure_names()
        raise ValueError(f"no figure named '{name}'. Did you mean {' or '.join(near)}?")
    table = _drawings()[name]
    wrong = set() if "mirror_of" in table else (_REQUIRED - set(table)) | (set(table) - _ALLOWED)
    if wrong:
        raise ValueError(f"figure '{name}': missing or unknown keys {', '.join(sorted(wrong))}")
    return table


def _drawn(name: str) -> Figure:
    """Build a figure from its table and check that it fills its declared box."""
    table = _drawing(name)
    xmin, ymin, xmax, ymax = (inches / INCHES_PER_FOOT for inches in table["box_in"])
    shape = outline.cut_to(_shape(table), (xmin, ymin, xmax, ymax))
    shape = outline.tidy(translate(shape, -(xmin + xmax) / 2, -ymin))
    _check_size(name, shape, (xmax - xmin, ymax - ymin))
    return Figure(
        name=name,
        polygon=shape,
        length_ft=ymax - ymin,
        width_ft=xmax - xmin,
        breaks=tuple(y / INCHES_PER_FOOT - ymin for y in table["breaks_in"]),
        sources=tuple(table["sources"]),
        anchor=table["anchor"],
    )


def _shape(table: Table) -> shapely.MultiPolygon:
    """Union of a table's filled outlines and strokes, in feet where they are drawn."""
    filled = [outline.fill(_traces(path)) for path in table.get("fill", [])]
    stroked = [
        outline.stroke(_traces(line["path"]), line["width_in"] / INCHES_PER_FOOT, ends=line["ends"])
        for line in table.get("strokes", [])
    ]
    shape = outline.as_multipolygon(shapely.union_all(filled + stroked))
    if table.get("symmetric", False):
        return outline.as_multipolygon(shapely.union(shape, outline.mirror(shape)))
    return shape


def _traces(path: str) -> Sequence[outline.Trace]:
    return outline.trace(path, scale=(1 / INCHES_PER_FOOT, 1 / INCHES_PER_FOOT))


def _check_size(name: str, shape: shapely.MultiPolygon, size_ft: tuple[float, float]) -> None:
    """Raise ValueError when the drawing falls short of its declared overall size."""
    width_ft, length_ft = size_ft
    wanted = (-width_ft / 2, 0.0, width_ft / 2, length_ft)
    worst_ft = max(abs(got - want) for got, want in zip(shape.bounds, wanted, strict=True))
    if worst_ft > SIZE_TOLERANCE_FT:
        raise ValueError(f"figure '{name}': drawing misses its box_in by {worst_ft:.4f} ft")


def _mirrored(name: str, original: str) -> Figure:
    right = figure(original)
    return replace(right, name=name, polygon=outline.mirror(right.polygon))

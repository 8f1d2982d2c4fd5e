"""Shapely shapes as drawing elements, in points of 1/72 in; black, white and grey only."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import shapely
from reportlab.graphics.shapes import Group, Path, PolyLine, String
from reportlab.lib.colors import Color, black, white
from reportlab.pdfbase.pdfmetrics import stringWidth

from layoutgen.export.crew.shapes import sound
from layoutgen.export.crew.words import printable

FONT, BOLD = "Helvetica", "Helvetica-Bold"
#: distance of hatch lines, pt
_HATCH_PT = 4.5
#: color of paint -> (grey of the ground, 1 = white; angles of the lines in degrees)
_HATCH: dict[str, tuple[float, tuple[float, ...]]] = {
    "white": (1.0, ()),
    "yellow": (1.0, (45.0,)),
    "green": (0.86, (135.0,)),
    "red": (1.0, (0.0,)),
    "blue": (1.0, (90.0,)),
    "purple": (1.0, (0.0, 90.0)),
    "black": (0.45, ()),
    "other": (1.0, (45.0, 135.0)),
}


def grey(level: float) -> Any:
    """Grey from 0 = black to 1 = white."""
    return Color(level, level, level)


def paint(shape: Any, color: str) -> Any:
    """A painted area: ground and hatch of its color, outlined."""
    level, angles = _HATCH.get(color, _HATCH["other"])
    group = Group()
    group.add(area(shape, fill=grey(level), stroke=None))
    for angle in angles:
        for line in hatch(shape, angle):
            group.add(polyline(line, 0.35))
    group.add(area(shape, fill=None, stroke=black, width=0.8))
    return group


def area(shape: Any, *, fill: Any, stroke: Any, width: float = 0.8) -> Any:
    """Polygons with their holes as one path."""
    path = Path(fillColor=fill, strokeColor=stroke, strokeWidth=width, strokeLineJoin=1)
    for ring in _rings(shape):
        path.moveTo(*ring[0])
        for point in ring[1:-1]:
            path.lineTo(*point)
        path.closePath()
    return path


def polyline(xy: Any, width: float, dash: Sequence[float] | None = None, ink: Any = black) -> Any:
    """A line through (n, 2) points."""
    flat = [float(v) for v in np.asarray(xy, dtype=float).ravel()]
    if len(flat) < 4:  # clipped to a point, or to nothing
        return Group()
    return PolyLine(flat, strokeColor=ink, strokeWidth=width, strokeDashArray=dash)


def hatch(shape: Any, angle_deg: float, step_pt: float = _HATCH_PT) -> Iterator[Any]:
    """Coordinates of parallel lines within a shape, at fixed places of the page."""
    west, south, east, north = shape.bounds
    angle = math.radians(angle_deg)
    along = np.array([math.cos(angle), math.sin(angle)])
    across = np.array([-along[1], along[0]])
    corners = np.array([(west, south), (west, north), (east, south), (east, north)])
    reach, span = corners @ across, corners @ along
    first = math.ceil(reach.min() / step_pt)
    places = np.arange(first, math.floor(reach.max() / step_pt) + 1) * step_pt
    if not len(places):
        return
    ends = [[p * across + s * along for s in (span.min() - 1, span.max() + 1)] for p in places]
    cut = shapely.intersection(shapely.linestrings(np.array(ends)), sound(shape))
    for line in shapely.get_parts(cut):
        if line.geom_type == "LineString" and line.length > 0.5:
            yield shapely.get_coordinates(line)


def text(at: tuple[float, float], words: str, size: float, **look: Any) -> Any:
    """A string; `anchor` start, middle or end, `bold`, and `turn` in degrees counterclockwise."""
    font = BOLD if look.get("bold") else FONT
    string = String(0, 0, printable(words), fontName=font, fontSize=size)
    string.textAnchor = look.get("anchor", "start")
    group = Group(string)
    group.translate(*at)
    group.rotate(look.get("turn", 0.0))
    return group


def text_width(words: str, size: float, *, bold: bool = False) -> float:
    """Width in points."""
    return float(stringWidth(printable(words), BOLD if bold else FONT, size))


def tag(box: tuple[float, float, float, float], words: str, size: float) -> Any:
    """Words in the middle of a white box with a thin edge."""
    west, south, east, north = box
    group = Group(area(shapely.box(*box), fill=white, stroke=black, width=0.5))
    middle = ((west + east) / 2.0, (south + north) / 2.0 - 0.36 * size)
    group.add(text(middle, words, size, anchor="middle", bold=True))
    return group


def cross(at: tuple[float, float], arm_pt: float = 4.0) -> Any:
    """A register mark: a slanted cross with a white edge, so that it shows on hatching."""
    (x, y), a = at, arm_pt
    group = Group()
    for ink, width in ((white, 2.6), (black, 1.1)):
        group.add(polyline([(x - a, y - a), (x + a, y + a)], width, ink=ink))
        group.add(polyline([(x - a, y + a), (x + a, y - a)], width, ink=ink))
    return group


def arrow(at: tuple[float, float], length_pt: float, turn_deg: float = 0.0) -> Any:
    """A solid arrow from a point on, up the page, or turned counterclockwise."""
    head, half, shaft = min(9.0, length_pt * 0.5), 4.0, 1.2
    neck = length_pt - head
    outline = shapely.Polygon(
        [
            *((-shaft, 0), (shaft, 0), (shaft, neck), (half, neck)),
            *((0, length_pt), (-half, neck), (-shaft, neck)),
        ]
    )
    group = Group(area(outline, fill=black, stroke=white, width=0.4))
    group.translate(*at)
    group.rotate(turn_deg)
    return group


def _rings(shape: Any) -> Iterator[Any]:
    for part in shapely.get_parts(shape):
        if part.geom_type == "Polygon" and not part.is_empty:
            yield shapely.get_coordinates(part.exterior)
            yield from (shapely.get_coordinates(hole) for hole in part.interiors)

"""KML 2.2 (OGC 07-147r2): one document, a folder per layer, markings in their paint's color."""

from __future__ import annotations

import html
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element, SubElement, tostring

import shapely

from layoutgen.export.formats import (
    CAUTION,
    DECIMALS,
    layers_in,
    plain,
    read_lon_lat,
    rows_of,
    write_texts,
)
from layoutgen.gis.schema import Layer

#: name column, and the columns of the description, by layer that is drawn
_DRAWN = {
    "markings": ("marking_id", "kind style street color material area_sqft action reason"),
    "jobs": ("job_id", "tour_id sequence street kinds area_sqft minutes window"),
    "tours": ("tour_id", "date truck start finish jobs drive_mi drive_min paint_min"),
    "unserved": ("job_id", "street reason"),
}
#: KML writes a color as alpha, blue, green, red
_COLORS = {
    "paint_white": "fff5f5f5",
    "paint_yellow": "ff00c8ff",
    "paint_green": "ff50a000",
    "paint_red": "ff2828c8",
    "paint_blue": "ffb46400",
    "paint_black": "ff202020",
    "paint_other": "ff969696",
    "jobs": "ff0080ff",
    "tours": "ffc83c96",
    "unserved": "ff0000ff",
}
_HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n<kml xmlns="http://www.opengis.net/kml/2.2">\n'


def write(package: Path, folder: Path) -> list[Path]:
    """Write `layout.kml`: markings as areas, jobs as points, tours as lines.

    Descriptions are HTML to a viewer, so text in them is escaped for HTML, then for XML.

    Raises:
        InputError: no such package.
        OutputError: the folder cannot be written.
    """
    layers = [layer for layer in layers_in(package) if layer.name in _DRAWN]
    return write_texts(folder, {"layout.kml": _document(package, layers)})


def _document(package: Path, layers: list[Layer]) -> Iterator[str]:
    """Piece by piece: a city's markings as one tree would fill the memory."""
    yield _HEAD + "<Document>\n"
    yield _xml(_text("name", "Street marking layout"))
    yield _xml(_text("description", html.escape(CAUTION, quote=False)))
    for name, color in _COLORS.items():
        yield _xml(_style(name, color))
    for layer in layers:
        yield "<Folder>\n" + _xml(_text("name", layer.name))
        yield _xml(_text("description", html.escape(layer.text, quote=False)))
        yield from (_xml(mark) for mark in _placemarks(package, layer))
        yield "</Folder>\n"
    yield "</Document>\n</kml>\n"


def _style(name: str, color: str) -> Element:
    style = Element("Style", id=name)
    for part in ("IconStyle", "LineStyle", "PolyStyle"):
        SubElement(style, part).append(_text("color", color))
    style[1].append(_text("width", "4" if name == "tours" else "1"))
    return style


def _placemarks(package: Path, layer: Layer) -> Iterator[Element]:
    table = read_lon_lat(package, layer.name)
    key, told = _DRAWN[layer.name]
    names = [key, *told.split()]
    for shape, row in zip(table.geometry.to_numpy(), rows_of(table, names), strict=True):
        yield _placemark(layer.name, dict(zip(names, row, strict=True)), shape)


def _placemark(layer: str, row: Mapping[str, Any], shape: Any) -> Element:
    mark = Element("Placemark")
    key, *told = row
    mark.append(_text("name", plain(row[key])))
    mark.append(_text("description", "<br>\n".join(_told(name, row[name]) for name in told)))
    mark.append(_text("styleUrl", f"#{_style_of(layer, row)}"))
    if shape is not None and not shape.is_empty:
        mark.append(_GEOMETRIES[shape.geom_type](shape))
    return mark


def _told(name: str, value: Any) -> str:
    shown = f"{value:.2f}" if isinstance(value, float) else plain(value)
    return f"{name}: {html.escape(shown, quote=False)}"


def _style_of(layer: str, row: Mapping[str, Any]) -> str:
    if layer != "markings":
        return layer
    name = f"paint_{row['color']}"
    return name if name in _COLORS else "paint_other"


def _point(shape: Any) -> Element:
    point = Element("Point")
    point.append(_coordinates(shape))
    return point


def _line(shape: Any) -> Element:
    line = Element("LineString")
    line.append(_text("tessellate", "1"))  # follows the ground instead of cutting through it
    line.append(_coordinates(shape))
    return line


def _polygon(shape: Any) -> Element:
    polygon = Element("Polygon")
    polygon.append(_text("tessellate", "1"))
    polygon.append(_ring("outerBoundaryIs", shape.exterior))
    polygon.extend(_ring("innerBoundaryIs", hole) for hole in shape.interiors)
    return polygon


def _ring(name: str, ring: Any) -> Element:
    boundary = Element(name)
    SubElement(boundary, "LinearRing").append(_coordinates(ring))
    return boundary


def _multi(shape: Any) -> Element:
    multi = Element("MultiGeometry")
    multi.extend(_GEOMETRIES[part.geom_type](part) for part in shape.geoms)
    return multi


_GEOMETRIES: dict[str, Callable[[Any], Element]] = {
    "Point": _point,
    "LineString": _line,
    "Polygon": _polygon,
    "MultiPolygon": _multi,
}


def _coordinates(shape: Any) -> Element:
    pairs = shapely.get_coordinates(shape).tolist()
    return _text("coordinates", " ".join(f"{x:.{DECIMALS}f},{y:.{DECIMALS}f}" for x, y in pairs))


def _text(name: str, text: str) -> Element:
    element = Element(name)
    element.text = text
    return element


def _xml(element: Element) -> str:
    return tostring(element, encoding="unicode") + "\n"

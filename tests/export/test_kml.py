"""KML against the order of elements in OGC 07-147r2 (schema ogckml22.xsd), and its texts."""

from __future__ import annotations

import html
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
import shapely
from export.sample_package import NASTY

from layoutgen.export.formats import plain
from layoutgen.export.kml import write
from layoutgen.gis.write import read_layer

K = "{http://www.opengis.net/kml/2.2}"
#: children in the schema's sequence, of the elements that we write
ORDER = {
    "kml": ["Document"],
    "Document": ["name", "description", "Style", "Folder"],
    "Folder": ["name", "description", "Placemark"],
    "Placemark": ["name", "description", "styleUrl", "Point", "LineString", "MultiGeometry"],
    "Style": ["IconStyle", "LineStyle", "PolyStyle"],
    "LineStyle": ["color", "width"],
    "Polygon": ["tessellate", "outerBoundaryIs", "innerBoundaryIs"],
    "LineString": ["tessellate", "coordinates"],
}


@pytest.fixture(scope="module")
def root(package: Path, tmp_path_factory: pytest.TempPathFactory) -> ET.Element:
    (path,) = write(package, tmp_path_factory.mktemp("kml"))
    assert path.name == "layout.kml"
    return ET.parse(path).getroot()


def _folder(root: ET.Element, name: str) -> ET.Element:
    return next(f for f in root.iter(f"{K}Folder") if f.findtext(f"{K}name") == name)


def _ring(element: ET.Element) -> np.ndarray:
    text = element.findtext(f".//{K}coordinates") or ""
    return np.array([pair.split(",") for pair in text.split()], dtype=float)


def test_elements_come_in_the_schema_s_order(root: ET.Element) -> None:
    assert root.tag == f"{K}kml"
    for element in root.iter():
        name = element.tag.removeprefix(K)
        if name in ORDER:
            places = [ORDER[name].index(child.tag.removeprefix(K)) for child in element]
            assert places == sorted(places), name


def test_a_folder_per_layer_and_a_placemark_per_row(root: ET.Element, package: Path) -> None:
    names = [folder.findtext(f"{K}name") for folder in root.iter(f"{K}Folder")]
    assert names == ["markings", "jobs", "tours", "unserved"]
    for name in names:
        marks = _folder(root, str(name)).findall(f"{K}Placemark")
        assert len(marks) == len(read_layer(package, str(name)))


def test_styles_are_there_and_markings_have_their_paint(root: ET.Element) -> None:
    """A color is aabbggrr: red is the last byte."""
    styles = {s.get("id"): s.findtext(f"{K}PolyStyle/{K}color") for s in root.iter(f"{K}Style")}
    used = [url.text.removeprefix("#") for url in root.iter(f"{K}styleUrl") if url.text]
    assert set(used) <= set(styles)
    marks = _folder(root, "markings").findall(f"{K}Placemark")
    wanted = ["#paint_white", "#paint_yellow", "#paint_green", "#paint_other"]
    assert [m.findtext(f"{K}styleUrl") for m in marks[:4]] == wanted
    blue, green, red = bytes.fromhex(str(styles["paint_yellow"]))[1:]
    assert red > 200
    assert green > 150
    assert blue < 60


def test_texts_survive_as_html_in_a_viewer(root: ET.Element) -> None:
    for folder in ("markings", "jobs", "unserved"):
        marks = _folder(root, folder).findall(f"{K}Placemark")
        told = [str(mark.findtext(f"{K}description")) for mark in marks]
        for name, text in zip(NASTY, told, strict=True):
            assert f"street: {_read(plain(name))}" in html.unescape(text)
            assert "<b>" not in text
            assert "<!--" not in text


def _read(text: str) -> str:
    """Line ends as an XML reader gives them (XML 1.0, 2.11)."""
    return text.replace("\r", "\n")


def test_areas_are_the_package_s(root: ET.Element, package: Path) -> None:
    marks = _folder(root, "markings").findall(f"{K}Placemark")
    table = read_layer(package, "markings").to_crs(4326)
    for mark, shape in zip(marks, table.geometry, strict=True):
        polygons = mark.findall(f"{K}MultiGeometry/{K}Polygon")
        outers = [shapely.Polygon(_ring(p.find(f"{K}outerBoundaryIs"))) for p in polygons]  # type: ignore[arg-type]
        holes = [
            shapely.Polygon(_ring(h)) for p in polygons for h in p.findall(f"{K}innerBoundaryIs")
        ]
        area = sum(p.area for p in outers) - sum(h.area for h in holes)
        # rounding moves an edge by at most 0.5e-7 degrees
        assert area == pytest.approx(shape.area, abs=shape.length * 1e-7)
        assert all(outer.exterior.is_ccw for outer in outers)


def test_points_and_lines_are_lon_lat(root: ET.Element, package: Path) -> None:
    for folder in ("jobs", "tours"):
        table = read_layer(package, folder).to_crs(4326)
        marks = _folder(root, folder).findall(f"{K}Placemark")
        ours = np.concatenate([_ring(mark) for mark in marks])
        assert np.abs(ours - shapely.get_coordinates(table.geometry.to_numpy())).max() < 1e-7

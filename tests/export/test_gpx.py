"""GPX against the order of elements and the values that its 1.1 schema allows.

The rules below are written down from the schema `http://www.topografix.com/GPX/1/1/gpx.xsd`.
"""

from __future__ import annotations

import unicodedata
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
import shapely
from export.sample_package import NASTY, ROWS, STATE_FEET, table

from layoutgen.export.formats import plain
from layoutgen.export.gpx import NAME_LENGTH, short_name, write
from layoutgen.gis.write import read_layer, write_package

G = "{http://www.topografix.com/GPX/1/1}"
POINT = (
    "ele time magvar geoidheight name cmt desc src link sym type fix sat hdop vdop pdop "
    "ageofdgpsdata dgpsid extensions"
)
PATH = "name cmt desc src link number type extensions"
#: children in sequence, by element
ORDER = {
    "gpx": "metadata wpt rte trk extensions",
    "metadata": "name desc author copyright link time keywords bounds extensions",
    "rte": f"{PATH} rtept",
    "trk": f"{PATH} trkseg",
    "trkseg": "trkpt extensions",
    "rtept": POINT,
    "trkpt": POINT,
    "bounds": "",
    "name": "",
    "desc": "",
    "type": "",
}
MANY = {"wpt", "rte", "trk", "rtept", "trkseg", "trkpt", "link"}


@pytest.fixture(scope="module")
def roots(package: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, ET.Element]:
    paths = write(package, tmp_path_factory.mktemp("gpx"))
    return {path.name: ET.parse(path).getroot() for path in paths}


def _assert_valid(root: ET.Element) -> None:
    assert root.tag == f"{G}gpx"
    assert root.get("version") == "1.1"
    assert root.get("creator")
    for element in root.iter():
        _assert_sequence(element)
    for point in (*root.iter(f"{G}rtept"), *root.iter(f"{G}trkpt")):
        assert -90 <= float(point.attrib["lat"]) <= 90
        assert -180 <= float(point.attrib["lon"]) < 180


def _assert_sequence(element: ET.Element) -> None:
    order = ORDER[element.tag.removeprefix(G)].split()
    names = [child.tag.removeprefix(G) for child in element]
    places = [order.index(name) for name in names]
    assert places == sorted(places), element.tag
    assert all(names.count(name) == 1 for name in set(names) - MANY), element.tag


def test_one_valid_file_per_tour(roots: dict[str, ET.Element]) -> None:
    """Ids that differ only in what a file name cannot hold get a number."""
    assert list(roots) == ["tour_T_1.gpx", "tour_T_1_2.gpx"]
    for root in roots.values():
        _assert_valid(root)


def test_the_rules_notice_a_wrong_order(roots: dict[str, ET.Element]) -> None:
    broken = ET.fromstring(ET.tostring(roots["tour_T_1.gpx"]))
    point = next(broken.iter(f"{G}rtept"))
    point[:] = point[::-1]
    with pytest.raises(AssertionError):
        _assert_valid(broken)


def test_the_route_is_the_visits_in_sequence(roots: dict[str, ET.Element], package: Path) -> None:
    points = list(roots["tour_T_1.gpx"].iter(f"{G}rtept"))
    visits = read_layer(package, "visits").sort_values("sequence").to_crs(4326)
    ours = [[float(p.attrib["lon"]), float(p.attrib["lat"])] for p in points]
    assert np.abs(shapely.get_coordinates(visits.geometry.to_numpy()) - ours).max() < 1e-7
    numbers = [str(p.findtext(f"{G}name")).split()[0] for p in points]
    assert numbers == [str(i) for i in range(ROWS)]
    assert [p.findtext(f"{G}type") for p in points] == ["depot", *["job"] * (ROWS - 2), "depot"]
    assert list(roots["tour_T_1_2.gpx"].iter(f"{G}rtept")) == []


def test_names_are_short_and_descriptions_whole(roots: dict[str, ET.Element]) -> None:
    points = list(roots["tour_T_1.gpx"].iter(f"{G}rtept"))[1:-1]
    for point, street in zip(points, NASTY[1:-1], strict=True):
        name, desc = str(point.findtext(f"{G}name")), str(point.findtext(f"{G}desc"))
        assert len(name) <= NAME_LENGTH
        assert " ".join(plain(street).split())[:8] in name
        assert plain(street).replace("\r", "\n") in desc
        assert "kinds-" in desc
        assert "leave leave-" in desc


def test_the_track_is_the_drive_and_lies_in_the_bounds(
    roots: dict[str, ET.Element], package: Path
) -> None:
    drives = read_layer(package, "tours").to_crs(4326).geometry
    for root, drive in zip(roots.values(), drives, strict=True):
        points = list(root.iter(f"{G}trkpt"))
        ours = np.array([[float(p.attrib["lon"]), float(p.attrib["lat"])] for p in points])
        assert np.abs(ours - shapely.get_coordinates(drive)).max() < 1e-7
        bounds = next(root.iter(f"{G}bounds")).attrib
        assert (ours >= [float(bounds["minlon"]), float(bounds["minlat"])]).all()
        assert (ours <= [float(bounds["maxlon"]), float(bounds["maxlat"])]).all()


def test_what_has_no_place_is_told(tmp_path: Path) -> None:
    tours = table("tours", 1).assign(tour_id="A", geometry=[None])
    visits = table("visits", 3).assign(tour_id="A")
    visits["geometry"] = [None, *visits.geometry[1:]]
    path = tmp_path / "a.gpkg"
    write_package(path, {"tours": tours, "visits": visits}, crs=STATE_FEET)
    (file,) = write(path, tmp_path)
    root = ET.parse(file).getroot()
    _assert_valid(root)
    assert len(list(root.iter(f"{G}rtept"))) == 2
    assert "1 visits have no position" in str(root.findtext(f"{G}rte/{G}desc"))
    assert list(root.iter(f"{G}trkseg")) == []


def test_an_open_window_and_unknown_values_are_said(tmp_path: Path) -> None:
    jobs = table("jobs", 1).assign(window="", kinds=None)
    visits = table("visits", 1).assign(tour_id="A", kind="job", street="Elm Street", leave=None)
    path = tmp_path / "a.gpkg"
    tours = table("tours", 1).assign(tour_id="A")
    write_package(path, {"jobs": jobs, "visits": visits, "tours": tours}, crs=STATE_FEET)
    (file,) = write(path, tmp_path)
    point = next(ET.parse(file).getroot().iter(f"{G}rtept"))
    assert point.findtext(f"{G}name") == "0 Elm Street"
    assert point.findtext(f"{G}desc") == (
        "Elm Street; job_id-0: -; -1.0 min; allowed the whole shift; "
        "arrive arrive-0, start start-0, leave -; drive -1.0 min, -1.0 mi"
    )


def test_no_tours_give_no_files(tmp_path: Path) -> None:
    path = tmp_path / "a.gpkg"
    write_package(path, {"tours": table("tours", 0)}, crs=STATE_FEET)
    assert write(path, tmp_path / "out") == []


def test_short_names_do_not_end_in_half_a_character() -> None:
    """A letter goes with the accent or joiner that would have been cut from it."""
    assert short_name("abcde\u0301fg", 6) == "abcde\u0301"
    assert short_name("abcde\u0301fg", 5) == "abcd"
    assert short_name("ab e\u0301\u0302x", 5) == "ab"
    assert short_name("ab👩\u200d👧", 3) == "ab"
    assert short_name("ab👩\u200d👧", 4) == "ab👩"
    assert short_name("  two\n\twords\x07 ") == "two words"
    assert all(not unicodedata.combining(short_name(n)[0]) for n in NASTY)


def test_files_of_tours_that_are_no_more_are_removed(package: Path, tmp_path: Path) -> None:
    """Yesterday's tour must not lie beside today's; what others put there stays."""
    ours = tmp_path / "tour_gone.gpx"
    theirs = tmp_path / "tour_mine.gpx"
    written = write(package, tmp_path)
    ours.write_bytes(written[0].read_bytes())
    theirs.write_text("<gpx creator='somebody else'/>")
    again = write(package, tmp_path)
    assert sorted(tmp_path.glob("*.gpx")) == sorted([*again, theirs])

"""GPX 1.1: one file per tour, with its visits as a route and its drive as a track.

No times: GPX wants UTC, and the clock times of a tour are local. They stand in the descriptions.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element, SubElement, indent, tostring

import numpy as np
import shapely

from layoutgen import __version__
from layoutgen.export.formats import CAUTION, DECIMALS, plain, read_lon_lat, rows_of, write_texts
from layoutgen.gis.schema import layer

#: longest name of a route point; receivers cut longer ones (common practice)
NAME_LENGTH = 30

_SPACE = "http://www.topografix.com/GPX/1/1"
_XSI = "http://www.w3.org/2001/XMLSchema-instance"
_TOUR = "{truck}, {date}: {start} to {finish}, {jobs} jobs, {drive_mi} mi"
_JOB = "{job_id}: {kinds}; {minutes} min; allowed {window}"
_CLOCK = "arrive {arrive}, start {start}, leave {leave}; drive {drive_min} min, {drive_mi} mi"
_JOINERS = "\u200d\ufe0f"

Row = Mapping[str, Any]


def write(package: Path, folder: Path) -> list[Path]:
    """Write `tour_<id>.gpx` for every tour; files of tours that are no more are removed.

    A crew must not find yesterday's tour beside today's. Only files this program made are touched.

    Raises:
        InputError: the package has no tours: the trucks are not routed yet.
        OutputError: the folder cannot be written.
    """
    jobs = {row["job_id"]: row for row in _rows(package, "jobs")}
    visits = sorted(_rows(package, "visits"), key=lambda row: row["sequence"] or 0)
    tours = list(_rows(package, "tours"))
    names = _file_names([str(tour["tour_id"]) for tour in tours])
    texts = {
        name: _document(tour, [v for v in visits if v["tour_id"] == tour["tour_id"]], jobs)
        for name, tour in zip(names, tours, strict=True)
    }
    written = write_texts(folder, texts)
    for old in set(folder.glob("tour_*.gpx")) - set(written):
        if _is_ours(old):
            old.unlink()
    return written


def _is_ours(path: Path) -> bool:
    """Whether this program made a GPX file."""
    with path.open(encoding="utf-8", errors="replace") as file:
        return 'creator="layoutgen' in file.read(1000)


def short_name(text: str, length: int = NAME_LENGTH) -> str:
    """Text on one line, cut to a length without leaving half of a composed character."""
    line = " ".join(plain(text).split())
    cut = line[:length]
    if len(line) > length and _joins(line[length]):
        while cut and _joins(cut[-1]):
            cut = cut[:-1]
        cut = cut[:-1]
    return cut.rstrip(" " + _JOINERS[0])


def _joins(character: str) -> bool:
    return character in _JOINERS or unicodedata.combining(character) > 0


def _rows(package: Path, name: str) -> Iterator[Row]:
    """Rows of a layer by column name, with the geometry as `geometry`."""
    table = read_lon_lat(package, name)
    columns = [column.name for column in layer(name).columns]
    for shape, row in zip(table.geometry.to_numpy(), rows_of(table, columns), strict=True):
        yield dict(zip(columns, row, strict=True)) | {"geometry": shape}


def _file_names(tour_ids: list[str]) -> list[str]:
    """File names that every system takes, told apart by a number where ids look alike."""
    safe = [re.sub(r"[^A-Za-z0-9_-]+", "_", tour_id) for tour_id in tour_ids]
    twins = [safe[:i].count(name) for i, name in enumerate(safe)]
    ends = [f"_{count + 1}" if count else "" for count in twins]
    return [f"tour_{name}{end}.gpx" for name, end in zip(safe, ends, strict=True)]


def _document(tour: Row, visits: list[Row], jobs: Mapping[Any, Row]) -> Iterator[str]:
    root = Element("gpx", _root_attributes())
    root.append(_metadata(tour, [row["geometry"] for row in (tour, *visits)]))
    root.append(_route(tour, visits, jobs))
    root.append(_track(tour))
    indent(root)
    yield '<?xml version="1.0" encoding="UTF-8"?>\n' + tostring(root, encoding="unicode") + "\n"


def _root_attributes() -> dict[str, str]:
    return {
        "xmlns": _SPACE,
        "xmlns:xsi": _XSI,
        "xsi:schemaLocation": f"{_SPACE} {_SPACE}/gpx.xsd",
        "version": "1.1",
        "creator": f"layoutgen {__version__}",
    }


def _metadata(tour: Row, shapes: list[Any]) -> Element:
    metadata = Element("metadata")
    _add(metadata, "name", _tour_name(tour))
    _add(metadata, "desc", CAUTION)
    west, south, east, north = shapely.total_bounds(np.array(shapes, dtype=object))
    if np.isfinite(west):
        edges = {"minlat": south, "minlon": west, "maxlat": north, "maxlon": east}
        SubElement(metadata, "bounds", {key: _degrees(edge) for key, edge in edges.items()})
    return metadata


def _route(tour: Row, visits: list[Row], jobs: Mapping[Any, Row]) -> Element:
    placed = [visit for visit in visits if _has_place(visit)]
    lost = len(visits) - len(placed)
    route = Element("rte")
    _add(route, "name", _tour_name(tour))
    _add(route, "desc", _tour_text(tour) + (f". {lost} visits have no position" if lost else ""))
    route.extend(_route_point(visit, jobs.get(visit["job_id"])) for visit in placed)
    return route


def _route_point(visit: Row, job: Row | None) -> Element:
    point = _position("rtept", *shapely.get_coordinates(visit["geometry"])[0])
    place = visit["street"] if visit["kind"] == "job" else visit["kind"]
    _add(point, "name", short_name(f"{visit['sequence']} {place or visit['job_id'] or ''}"))
    told = [] if job is None else [_JOB.format_map(_shown(job) | {"window": _window(job)})]
    _add(point, "desc", "; ".join([str(visit["street"] or ""), *told, _clock(visit)]).lstrip("; "))
    _add(point, "type", visit["kind"])
    return point


def _window(job: Row) -> str:
    return job["window"] or "the whole shift"


def _track(tour: Row) -> Element:
    track = Element("trk")
    _add(track, "name", _tour_name(tour))
    _add(track, "desc", _tour_text(tour))
    if _has_place(tour):
        segment = SubElement(track, "trkseg")
        drive = shapely.get_coordinates(tour["geometry"]).tolist()
        segment.extend(_position("trkpt", lon, lat) for lon, lat in drive)
    return track


def _tour_name(tour: Row) -> str:
    return short_name(f"Tour {tour['tour_id']}")


def _tour_text(tour: Row) -> str:
    return _TOUR.format_map(_shown(tour))


def _clock(visit: Row) -> str:
    return _CLOCK.format_map(_shown(visit))


def _shown(row: Row) -> dict[str, str]:
    """Values as a driver reads them: one decimal, a dash for what is not known."""
    return {
        key: f"{value:.1f}" if isinstance(value, float) else plain(value) or "-"
        for key, value in row.items()
    }


def _has_place(row: Row) -> bool:
    return row["geometry"] is not None and not row["geometry"].is_empty


def _position(name: str, lon: float, lat: float) -> Element:
    return Element(name, lat=_degrees(lat), lon=_degrees(lon))


def _degrees(value: float) -> str:
    return f"{value:.{DECIMALS}f}"


def _add(parent: Element, name: str, text: Any) -> None:
    SubElement(parent, name).text = plain(text)

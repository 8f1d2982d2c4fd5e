"""The package as the crew needs it: one `Shift` per tour, one `Card` per job of it.

Rows stay plain mappings from column names to values (`gis/schema.py` gives the units); geometry is
turned into the frame of travel: x to the right of the driver, y up the page, in feet.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from layoutgen.errors import InputError
from layoutgen.export.crew.shapes import middle_of
from layoutgen.export.formats import rows_of
from layoutgen.geometry.polyline import Polylines
from layoutgen.gis.plane import center_of, working_plane
from layoutgen.gis.schema import layer
from layoutgen.gis.write import has_layer, layer_names, read_layer

Row = Mapping[str, Any]
#: column that holds the shape of a row, in feet on the working plane
SHAPE = "_shape"
_FROM_TO = re.compile(r"^\s*from (?P<behind>.+) to (?P<ahead>.+?)\s*$")


@dataclass(frozen=True)
class Frame:
    """Frame of travel of a job: origin on the axis, `ahead` up the page.

    Attributes:
        origin: (2,) on the working plane, ft.
        ahead: (2,) unit vector of travel.
        way: +1 where travel runs along growing station, else -1.
        middle_ft: station of the origin.
    """

    origin: Any
    ahead: Any
    way: int
    middle_ft: float

    def local(self, shape: Any) -> Any:
        """A shape of the working plane, in the frame of travel."""
        return shapely.transform(shape, self._turn)

    def plane(self, shape: Any) -> Any:
        """A shape of the frame of travel, back on the working plane."""
        right = np.array([self.ahead[1], -self.ahead[0]])
        axes = np.stack([right, self.ahead])
        return shapely.transform(shape, lambda xy: self.origin + xy @ axes)

    def _turn(self, xy: Any) -> Any:
        d = xy - self.origin
        a = self.ahead
        return np.column_stack([d[:, 0] * a[1] - d[:, 1] * a[0], d @ a])


@dataclass(frozen=True)
class Zero:
    """Where the tape begins: a station, and what is there.

    `ahead` is True where the place lies before the truck, so that paint is short of it.
    """

    station_ft: float
    words: str
    ahead: bool


@dataclass(frozen=True)
class Card:
    """One job as it is painted: rows in painting order, shapes in the frame of travel."""

    job: Row
    visit: Row
    sections: Sequence[Row]
    marks: Sequence[Row]
    frame: Frame
    street: Row | None
    zero: Zero


@dataclass(frozen=True)
class Shift:
    """One tour: its row, visits in order, loads, materials, and a card per job."""

    tour: Row
    visits: Sequence[Row]
    loads: Sequence[Row]
    materials: Sequence[Row]
    cards: Mapping[str, Card]
    streets: Streets
    lost: Sequence[str] = ()


@dataclass(frozen=True)
class Streets:
    """All streets with their axes, and the areas of intersections."""

    rows: Sequence[Row]
    axes: Polylines
    tree: Any
    areas: Sequence[Any] = ()
    approaches: Mapping[str, Sequence[Row]] = field(default_factory=dict)

    def find(self, segment_id: str | None) -> int | None:
        """Place of a segment, or None."""
        return self._places.get(str(segment_id))

    @cached_property
    def _places(self) -> dict[str, int]:
        return {str(row["segment_id"]): k for k, row in enumerate(self.rows)}


def read_shifts(package: Path) -> list[Shift]:
    """Every tour of a package, in the order of the layer.

    Raises:
        InputError: no such package, or a layer of `layoutgen route` is missing.
    """
    layers = set(layer_names(package))
    for name in ("tours", "visits", "jobs", "sections", "loads", "materials"):
        if name not in layers:
            raise InputError(
                f"{package}: has no layer '{name}', which the crew papers need. "
                "Run `layoutgen route` first."
            )
    tables = _Tables(package)
    streets = _streets(tables)
    return [_shift(tour, tables, streets) for tour in tables.rows("tours")]


class _Tables:
    """Layers of a package as rows on one working plane, each read once."""

    def __init__(self, package: Path) -> None:
        self.package = package
        self._known: dict[str, list[Row]] = {}
        self._grouped: dict[tuple[str, str], dict[str, list[Row]]] = {}
        self._plane: Any = None

    def rows(self, name: str) -> list[Row]:
        """Rows of a layer with their shape; empty where the layer is absent."""
        if name not in self._known:
            self._known[name] = self._read(name)
        return self._known[name]

    def by(self, name: str, column: str) -> dict[str, list[Row]]:
        """Rows of a layer by a text column, in the layer's order."""
        key = name, column
        if key not in self._grouped:
            self._grouped[key] = grouped(self.rows(name), column)
        return self._grouped[key]

    @cached_property
    def styles(self) -> dict[str, str]:
        """Style of every marking; none where the layer is absent."""
        return {str(r["marking_id"]): str(r["style"] or "") for r in self.rows("markings")}

    def _read(self, name: str) -> list[Row]:
        if not has_layer(self.package, name):
            return []
        table = read_layer(self.package, name)
        names = [column.name for column in layer(name).columns]
        rows = [dict(zip(names, row, strict=True)) for row in rows_of(table, names)]
        if layer(name).geometry is None:
            return list(rows)
        shapes = self._on_plane(table)
        return [{**row, SHAPE: shape} for row, shape in zip(rows, shapes, strict=True)]

    def _on_plane(self, table: Any) -> Any:
        if not len(table):
            return []
        if self._plane is None:
            self._plane = working_plane(*center_of(table))
        return table.geometry.to_crs(self._plane).to_numpy()


def grouped(rows: Iterable[Row], column: str) -> dict[str, list[Row]]:
    """Rows by the text of a column, in their order."""
    out: dict[str, list[Row]] = {}
    for row in rows:
        out.setdefault(str(row[column] or ""), []).append(row)
    return out


def _streets(tables: _Tables) -> Streets:
    rows = [r for r in tables.rows("streets") if r[SHAPE] is not None and r[SHAPE].length > 0]
    lines = np.array([r[SHAPE] for r in rows], dtype=object)
    areas = [r[SHAPE] for r in tables.rows("intersections") if r[SHAPE] is not None]
    approaches = tables.by("approaches", "segment_id")
    return Streets(
        rows, Polylines.from_lines(lines), shapely.STRtree(lines), tuple(areas), approaches
    )


def _shift(tour: Row, tables: _Tables, streets: Streets) -> Shift:
    own = str(tour["tour_id"])
    jobs = {str(j["job_id"]): j for j in tables.by("jobs", "tour_id").get(own, ())}
    visits = sorted(tables.by("visits", "tour_id").get(own, ()), key=lambda v: v["sequence"] or 0)
    of_jobs = {str(v["job_id"]): v for v in visits if v["kind"] == "job"}
    cards = {
        name: card
        for name, visit in of_jobs.items()
        if name in jobs and (card := _card(jobs[name], visit, tables, streets)) is not None
    }
    return Shift(
        tour=tour,
        visits=visits,
        loads=tables.by("loads", "tour_id").get(own, []),
        materials=tables.rows("materials"),
        cards=cards,
        streets=streets,
        lost=[name for name in of_jobs if name not in cards],
    )


def _card(job: Row, visit: Row, tables: _Tables, streets: Streets) -> Card | None:
    """The card of a job; None where it has no section with a place."""
    rows = tables.by("sections", "job_id").get(str(job["job_id"]), [])
    rows = sorted((r for r in rows if _is_there(r[SHAPE])), key=lambda r: r["sequence"] or 0)
    if not rows:
        return None
    styles = tables.styles
    where = streets.find(job["segment_id"])
    frame = _frame(job, rows, where, streets)
    of_section = tables.by("register_marks", "section_id")
    marks = [
        {**mark, SHAPE: frame.local(mark[SHAPE])}
        for row in rows
        for mark in of_section.get(str(row["section_id"]), ())
    ]
    return Card(
        job=job,
        visit=visit,
        sections=[
            {**row, SHAPE: frame.local(row[SHAPE]), "style": styles.get(str(row["marking_id"]))}
            for row in rows
        ],
        marks=marks,
        frame=frame,
        street=None if where is None else streets.rows[where],
        zero=_zero(job, rows, frame, (where, streets)),
    )


def reframed(card: Card, rows: Sequence[Row], streets: Streets) -> Card:
    """The card with some of its sections alone, turned to the heading in the middle of these."""
    where = streets.find(card.job["segment_id"])
    if where is None:
        return replace(card, sections=rows)
    middle = (min(row["from_ft"] for row in rows) + max(row["to_ft"] for row in rows)) / 2.0
    ahead = streets.axes.directions(where, middle)[0] * card.frame.way
    frame = Frame(streets.axes.locate(where, middle)[0], ahead, card.frame.way, middle)

    def turned(some: Iterable[Row]) -> list[Row]:
        return [{**row, SHAPE: frame.local(card.frame.plane(row[SHAPE]))} for row in some]

    return replace(card, sections=turned(rows), marks=turned(card.marks), frame=frame)


def _is_there(shape: Any) -> bool:
    return shape is not None and not shape.is_empty


def _frame(job: Row, rows: Sequence[Row], where: int | None, streets: Streets) -> Frame:
    """Origin at the middle of the paint, up the page the truck's heading there."""
    angle = np.radians(job["bearing_deg"] or 0.0)
    heading = np.array([np.sin(angle), np.cos(angle)])
    if where is None:
        middle = middle_of([row[SHAPE] for row in rows])
        return Frame(np.array(middle), heading, 1, 0.0)
    low = min(row["from_ft"] for row in rows)
    high = max(row["to_ft"] for row in rows)
    along = streets.axes.directions(where, (low + high) / 2.0)[0]
    way = _way(job, float(along @ heading))
    origin = streets.axes.locate(where, (low + high) / 2.0)[0]
    return Frame(origin, along * way, way, (low + high) / 2.0)


def _way(job: Row, agreement: float) -> int:
    """+1 where the truck runs along growing station: by entry and exit, else by its heading."""
    entry, leave = job["entry_ft"], job["exit_ft"]
    if entry is not None and leave is not None and abs(leave - entry) > 1.0:
        return 1 if leave > entry else -1
    return 1 if agreement >= 0.0 else -1


def _zero(job: Row, rows: Sequence[Row], frame: Frame, at: tuple[int | None, Streets]) -> Zero:
    """The crossing curb line nearest to the paint, else the place where the truck enters."""
    where, streets = at
    low = min(row["from_ft"] for row in rows)
    high = max(row["to_ft"] for row in rows)
    names = _FROM_TO.match(str(job["cross_streets"] or ""))
    found = []
    for station in _curb_stations(where, streets):
        ahead = (station - (low + high) / 2.0) * frame.way > 0.0
        name = names["ahead" if ahead else "behind"] if names else "the crossing street"
        side = "ahead" if ahead else "behind"
        distance = min(abs(station - low), abs(station - high))
        found.append((distance, Zero(station, f"the curb line of {name} ({side})", ahead)))
    if found:
        return min(found, key=lambda pair: pair[0])[1]
    entry = job["entry_ft"]
    first = low if frame.way > 0 else high
    return Zero(first if entry is None else entry, "the place where the truck enters", False)


def _curb_stations(where: int | None, streets: Streets) -> list[float]:
    """Stations of the crossing curb lines of a segment."""
    if where is None:
        return []
    row, out = streets.rows[where], []
    length = float(streets.axes.lengths[where])
    for approach in streets.approaches.get(str(row["segment_id"]), ()):
        if approach[SHAPE] is None or approach["curb_ft"] is None:
            continue
        station = row[SHAPE].project(approach[SHAPE].centroid)
        curb = float(approach["curb_ft"])
        out.append(curb if station < length / 2.0 else length - curb)
    return out

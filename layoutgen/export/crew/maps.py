"""Small maps, north up: the place of one job, and the stops of a tour."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from reportlab.graphics.shapes import Drawing
from reportlab.lib.colors import black, white

from layoutgen.export.crew import ink
from layoutgen.export.crew.model import SHAPE, Card, Row, Shift, Streets
from layoutgen.export.crew.shapes import bounds_of
from layoutgen.export.crew.words import printable

#: half of the ground that a job's map shows, ft
_AROUND_FT = 350.0
#: least ground that a tour's map shows, ft
_LEAST_FT = 600.0
_SMALL = 6.5
_GREY = 0.55


@dataclass(frozen=True)
class _Ground:
    """From the working plane to points on the paper."""

    west_ft: float
    south_ft: float
    pt_per_ft: float
    size_pt: tuple[float, float]

    def to_paper(self, shape: Any) -> Any:
        corner = np.array([self.west_ft, self.south_ft])
        return shapely.transform(shape, lambda xy: (xy - corner) * self.pt_per_ft)

    @property
    def window(self) -> Any:
        return shapely.box(3.0, 3.0, self.size_pt[0] - 3.0, self.size_pt[1] - 3.0)


def job_map(card: Card, streets: Streets, size_pt: tuple[float, float]) -> Any:
    """Streets around a job, the paint, and the truck's arrow where it enters."""
    x, y = card.frame.origin
    ground = _ground((x - _AROUND_FT, y - _AROUND_FT, x + _AROUND_FT, y + _AROUND_FT), size_pt)
    out = _paper(size_pt)
    taken = [*_north(out, size_pt)]
    middle = ground.to_paper(shapely.Point(x, y))
    turn = float(np.degrees(np.arctan2(-card.frame.ahead[0], card.frame.ahead[1])))
    back = card.frame.ahead * 36.0
    start = (float(middle.x - back[0]), float(middle.y - back[1]))
    shaft = shapely.LineString([start, (middle.x, middle.y)]).buffer(6.0)
    taken.append(shaft)
    _draw_streets(out, streets, ground, taken)
    out.add(ink.area(middle.buffer(4.0), fill=black, stroke=white, width=0.8))
    out.add(ink.arrow(start, 32.0, turn))
    return out


def tour_map(shift: Shift, size_pt: tuple[float, float]) -> Any:
    """The drive of a tour over the streets, stops numbered in the order of the list."""
    path = shift.tour[SHAPE]
    places = [v[SHAPE] for v in shift.visits if v[SHAPE] is not None]
    shapes = [s for s in (path, *places) if s is not None and not s.is_empty]
    out = _paper(size_pt)
    if not shapes:
        out.add(ink.text((10.0, 10.0), "No places in the package.", _SMALL))
        return out
    ground = _ground(_widened(bounds_of(shapes)), size_pt)
    taken = [*_north(out, size_pt)]
    stops = list(_stops(shift, ground, taken))
    _draw_streets(out, shift.streets, ground, [*taken, *(box for box, *_ in stops)])
    if path is not None:
        drive = ground.to_paper(path).intersection(ground.window)
        for part in shapely.get_parts(drive):
            if part.geom_type == "LineString":
                out.add(ink.polyline(part.coords, 2.0))
    for box, place, _ in stops:
        out.add(ink.polyline([place, (box.centroid.x, box.centroid.y)], 0.6))
        out.add(ink.area(shapely.Point(place).buffer(2.2), fill=white, stroke=black))
    for box, _, words in stops:
        out.add(ink.tag(box.bounds, words, 7.5))
    return out


def stop_number(visit: Row) -> str:
    """What map, list and cards call a visit: "yard", or its place in the tour."""
    return "yard" if visit["kind"] == "depot" else str(visit["sequence"])


def _stops(shift: Shift, ground: _Ground, taken: list[Any]) -> Iterator[tuple[Any, Any, str]]:
    """Box, place and words of every stop; boxes of near stops stand beside one another."""
    done: dict[tuple[float, float], list[str]] = {}
    for visit in shift.visits:
        if visit[SHAPE] is not None:
            place = ground.to_paper(visit[SHAPE])
            names = done.setdefault((round(place.x, 0), round(place.y, 0)), [])
            if stop_number(visit) not in names:
                names.append(stop_number(visit))
    taken += [shapely.Point(place).buffer(3.0) for place in done]
    for place, names in done.items():
        box = _free_box(place, ", ".join(names), taken, ground)
        taken.append(box)
        yield box, place, ", ".join(names)


def _free_box(place: tuple[float, float], words: str, taken: Sequence[Any], ground: _Ground) -> Any:
    """The nearest free box to a place; a spiral of growing radius."""
    half = max(ink.text_width(words, 7.5, bold=True) + 6.0, 11.0) / 2.0
    for k in range(400):
        angle, radius = 0.7 + 0.61 * k, 12.0 + 0.8 * k
        x, y = place[0] + radius * np.cos(angle), place[1] + radius * np.sin(angle)
        box = shapely.box(x - half, y - 5.5, x + half, y + 5.5)
        if ground.window.contains(box) and not any(box.intersects(one) for one in taken):
            return box
    return shapely.box(place[0] - half, place[1] - 5.5, place[0] + half, place[1] + 5.5)


def _widened(bounds: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
    west, south, east, north = bounds
    x, y = (west + east) / 2.0, (south + north) / 2.0
    wide, high = (max(span, _LEAST_FT) * 0.56 for span in (east - west, north - south))
    return x - wide, y - high, x + wide, y + high


def _ground(bounds: tuple[float, float, float, float], size_pt: tuple[float, float]) -> _Ground:
    """The bounds in the middle of the paper, as large as they fit."""
    west, south, east, north = bounds
    scale = min(size_pt[0] / (east - west), size_pt[1] / (north - south))
    x, y = (west + east) / 2.0, (south + north) / 2.0
    corner = x - size_pt[0] / scale / 2.0, y - size_pt[1] / scale / 2.0
    return _Ground(corner[0], corner[1], scale, size_pt)


def _paper(size_pt: tuple[float, float]) -> Any:
    out = Drawing(*size_pt)
    frame = shapely.box(0.5, 0.5, size_pt[0] - 0.5, size_pt[1] - 0.5)
    out.add(ink.area(frame, fill=white, stroke=black, width=0.6))
    return out


def _north(out: Any, size_pt: tuple[float, float]) -> Iterator[Any]:
    x, y = size_pt[0] - 14.0, size_pt[1] - 36.0
    out.add(ink.arrow((x, y), 20.0))
    out.add(ink.text((x, y + 22.0), "N", 8.0, anchor="middle", bold=True))
    yield shapely.box(x - 8.0, y - 2.0, x + 8.0, y + 34.0)


def _draw_streets(out: Any, streets: Streets, ground: _Ground, taken: list[Any]) -> None:
    """Axes in grey, each street's name once, where it is free."""
    west, south = ground.west_ft, ground.south_ft
    wide, high = (size / ground.pt_per_ft for size in ground.size_pt)
    seen = streets.tree.query(shapely.box(west, south, west + wide, south + high))
    found: dict[str, list[Any]] = {}
    for k in sorted(seen):
        row = streets.rows[k]
        line = ground.to_paper(row[SHAPE]).intersection(ground.window)
        parts = [
            p for p in shapely.get_parts(line) if p.geom_type == "LineString" and p.length > 0.0
        ]
        for part in parts:
            out.add(ink.polyline(part.coords, 1.4, ink=ink.grey(_GREY)))
        found.setdefault(str(row["name"] or ""), []).extend(parts)
    for name, parts in found.items():
        _name_street(out, printable(name), parts, (ground, taken))


def _name_street(out: Any, name: str, parts: Sequence[Any], at: tuple[_Ground, list[Any]]) -> None:
    """The name along the longest free straight piece; small maps may leave a name out."""
    ground, taken = at
    wide = ink.text_width(name, _SMALL)
    if not name or not parts:
        return
    lines = shapely.get_parts(shapely.line_merge(shapely.MultiLineString(parts)))
    for a, b in _straight_places(sorted(lines, key=lambda line: -line.length), wide):
        x, y = (a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0
        turn = (np.degrees(np.arctan2(b[1] - a[1], b[0] - a[0])) + 90.0) % 180.0 - 90.0
        box = shapely.box(-wide / 2, 1.5, wide / 2, 1.5 + _SMALL)
        turned = shapely.affinity.rotate(box, turn, origin=(0.0, 0.0))
        placed = shapely.affinity.translate(turned, x, y)
        if ground.window.contains(placed) and not any(placed.intersects(t) for t in taken):
            taken.append(placed)
            out.add(ink.area(placed, fill=white, stroke=None))
            r = np.radians(turn)
            foot = (x - 2.6 * np.sin(r), y + 2.6 * np.cos(r))
            out.add(ink.text(foot, name, _SMALL, anchor="middle", turn=float(turn)))
            return


def _straight_places(lines: Sequence[Any], wide_pt: float) -> Iterator[tuple[Any, Any]]:
    """Ends of nearly straight pieces as long as the words, from the middle of each line on."""
    for line in lines:
        room = line.length - 0.9 * wide_pt
        if room <= 0.0:
            continue
        for share in (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.1, 0.9, 0.0, 1.0):
            middle = 0.45 * wide_pt + share * room
            stations = middle + np.array([-0.45, 0.0, 0.45]) * wide_pt
            a, m, b = shapely.get_coordinates(shapely.line_interpolate_point(line, stations))
            if np.hypot(*(m - (a + b) / 2.0)) < 1.5:
                yield a, b

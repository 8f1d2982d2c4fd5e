"""The drawing of one job to scale: the truck travels up the page.

Each section is outlined and hatched by its color and carries its number in the painting order.
A job too long for one drawing is drawn in parts; numbers that find no place are named.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from reportlab.graphics.shapes import Drawing
from reportlab.lib.colors import black, white

from layoutgen.export.crew import ink
from layoutgen.export.crew.labels import Label, place_labels
from layoutgen.export.crew.model import SHAPE, Card, Row, Streets
from layoutgen.export.crew.shapes import bounds_of, joined, without
from layoutgen.export.crew.words import color_of, printable

#: feet of street per inch of paper that a drawing may have
SCALES = (2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60, 80, 100, 150, 200, 300, 500)
#: a job that needs more than this is drawn in parts
_PARTS_ABOVE = 20
#: paper around the paint: left and right, below, above (pt)
_SIDE_PT, _BELOW_PT, _ABOVE_PT = 30.0, 62.0, 22.0
#: the crossing curb line is shown when it is this near (ft)
_NEAR_FT = 30.0
_SMALL = 6.5
_BARS_FT = (1, 2, 5, 10, 20, 50, 100)


@dataclass(frozen=True)
class Figure:
    """A drawing and what to say below it."""

    drawing: Any
    scale_ft_per_in: int
    numbers: tuple[int, ...]
    unlabeled: tuple[str, ...]


@dataclass(frozen=True)
class _Sheet:
    """From feet in the frame of travel to points on the paper."""

    west_ft: float
    south_ft: float
    pt_per_ft: float
    width_pt: float
    height_pt: float
    left_pt: float

    def to_paper(self, shape: Any) -> Any:
        corner = np.array([self.west_ft, self.south_ft])
        shift = np.array([self.left_pt, _BELOW_PT])
        return shapely.transform(shape, lambda xy: (xy - corner) * self.pt_per_ft + shift)

    @property
    def window(self) -> Any:
        return shapely.box(4.0, _BELOW_PT - 12.0, self.width_pt - 4.0, self.height_pt - 4.0)


def job_figures(card: Card, streets: Streets, size_pt: tuple[float, float]) -> list[Figure]:
    """Drawings of a job's sections, each at most `size_pt` (width, height)."""
    found = [_figure(part, card, streets, size_pt) for part in _parts(card, size_pt)]
    return [figure for figure in found if figure is not None]


def _parts(card: Card, size_pt: tuple[float, float]) -> list[list[Row]]:
    """All sections, or runs along the street that fit a readable scale."""
    rows = list(card.sections)
    if _scale(_extent(rows, card), size_pt) <= _PARTS_ABOVE:
        return [rows]
    longest = (size_pt[1] - _BELOW_PT - _ABOVE_PT) * _PARTS_ABOVE / 72.0
    rows.sort(key=lambda row: (row[SHAPE].bounds[1], row["sequence"] or 0))
    parts = [[rows[0]]]
    for row in rows[1:]:
        first = parts[-1][0][SHAPE].bounds[1]
        if row[SHAPE].bounds[3] - first > longest:
            parts.append([])
        parts[-1].append(row)
    return [sorted(part, key=lambda row: row["sequence"] or 0) for part in parts]


def _extent(rows: Sequence[Row], card: Card) -> tuple[float, float, float, float]:
    """West, south, east, north of paint and roadway in the frame of travel, ft."""
    west, south, east, north = bounds_of([r[SHAPE] for r in rows])
    left, right = curbs_of(card)
    if left is not None and right is not None:
        west, east = min(west, -left), max(east, right)
    return west, south, east, north


def curbs_of(card: Card) -> tuple[float | None, float | None]:
    """Distance from the axis to the curb on the left and on the right of the driver, ft."""
    if card.street is None:
        return None, None
    sides = card.street["left_ft"], card.street["right_ft"]
    return sides if card.frame.way > 0 else sides[::-1]


def _scale(extent: tuple[float, float, float, float], size_pt: tuple[float, float]) -> int:
    west, south, east, north = extent
    wide = (east - west) * 72.0 / (size_pt[0] - 2 * _SIDE_PT)
    high = (north - south) * 72.0 / (size_pt[1] - _BELOW_PT - _ABOVE_PT)
    need = max(wide, high)
    return next((scale for scale in SCALES if scale >= need), SCALES[-1])


def _figure(
    rows: list[Row], card: Card, streets: Streets, size_pt: tuple[float, float]
) -> Figure | None:
    extent = _with_zero(_extent(rows, card), card, streets, size_pt)
    scale = _scale(extent, size_pt)
    west, south, east, north = extent
    pt_per_ft = 72.0 / scale
    wide = (east - west) * pt_per_ft
    high = (north - south) * pt_per_ft + _BELOW_PT + _ABOVE_PT
    sheet = _Sheet(west, south, pt_per_ft, size_pt[0], high, (size_pt[0] - wide) / 2.0)
    out = Drawing(size_pt[0], high)
    out.add(ink.area(shapely.box(0.5, 0.5, size_pt[0] - 0.5, high - 0.5), fill=None, stroke=black))
    shapes = [(row, sheet.to_paper(row[SHAPE])) for row in rows]
    taken = [*_street_lines(out, card, streets, sheet)]
    taken += _zero_line(out, (card, streets), sheet, [*taken, *(shape for _, shape in shapes)])
    taken += _scale_bar(out, scale, sheet, shapes[0][1])
    for row, shape in sorted(shapes, key=lambda pair: pair[0]["coat"] or 1):
        out.add(ink.paint(shape, color_of(row)))
        if shapely.get_num_geometries(shape) > 1:
            out.add(_around_parts(shape))
    taken += [*_truck(out, shapes[0][1], sheet), *_marks(out, card, rows, sheet)]
    wanted = [(str(row["sequence"]), _visible(row, shape, shapes)) for row, shape in shapes]
    labels, lost = place_labels(wanted, taken, sheet.window.bounds)
    _draw_labels(out, labels)
    return Figure(out, scale, tuple(int(row["sequence"]) for row in rows), tuple(lost))


def _around_parts(shape: Any) -> Any:
    """A dotted edge that holds the parts of one section together."""
    edge = shapely.box(*shape.bounds).buffer(2.0, join_style="mitre").exterior
    return ink.polyline(edge.coords, 0.4, [1, 1.5])


def _with_zero(
    extent: tuple[float, float, float, float],
    card: Card,
    streets: Streets,
    size_pt: tuple[float, float],
) -> tuple[float, float, float, float]:
    """The extent with the place where the tape begins, if it is near and costs no scale."""
    y = _zero_y(card, streets)
    if y is None:
        return extent
    west, south, east, north = extent
    more = (west, min(south, y), east, max(north, y))
    near = max(south - y, y - north) <= _NEAR_FT
    return more if near and _scale(more, size_pt) <= 1.5 * _scale(extent, size_pt) else extent


def _zero_y(card: Card, streets: Streets) -> float | None:
    where = streets.find(card.job["segment_id"])
    if where is None:
        return None
    place = streets.axes.locate(where, card.zero.station_ft)[0]
    return float(card.frame.local(shapely.Point(place)).y)


def _visible(row: Row, shape: Any, shapes: Sequence[tuple[Row, Any]]) -> Any:
    """The part of a base coat that no later coat covers, for its number to stand on."""
    over = [s for r, s in shapes if (r["coat"] or 1) > (row["coat"] or 1)]
    rest = without(shape, joined(over).buffer(3.0)) if over else shape
    parts = [p for p in shapely.get_parts(rest) if p.geom_type == "Polygon" and p.area > 1.0]
    return shapely.MultiPolygon(parts) if parts else shape


def _street_lines(out: Any, card: Card, streets: Streets, sheet: _Sheet) -> Iterator[Any]:
    """Axis and curbs; yields what no other words may lie on."""
    where = streets.find(card.job["segment_id"])
    if where is None:
        return
    left, right = curbs_of(card)
    areas = [sheet.to_paper(card.frame.local(a)) for a in streets.areas]
    inside = joined([a for a in areas if a.intersects(sheet.window)])
    for offset, words in (
        (-(left or 0.0), "left curb"),
        (0.0, "axis"),
        (right or 0.0, "right curb"),
    ):
        if words != "axis" and offset == 0.0:
            continue
        line = _beside_axis(card, streets, where, offset * card.frame.way)
        drawn = sheet.to_paper(line).intersection(sheet.window)
        if words != "axis":
            drawn = without(drawn, inside)
        dash = [7, 3, 1.5, 3] if words == "axis" else None
        for piece in shapely.get_parts(drawn):
            if piece.geom_type == "LineString":
                out.add(ink.polyline(piece.coords, 0.5 if dash else 1.5, dash))
                yield piece
        yield from _line_words(out, drawn, words)


def _beside_axis(card: Card, streets: Streets, where: int, offset_ft: float) -> Any:
    """A parallel of the axis near the paint, in the frame of travel."""
    low = min(row["from_ft"] for row in card.sections) - 400.0
    high = max(row["to_ft"] for row in card.sections) + 400.0
    low, high = max(low, 0.0), min(high, float(streets.axes.lengths[where]))
    stations = np.linspace(low, high, max(2, int((high - low) / 2.0)))
    xy = streets.axes.locate(np.full(len(stations), where), stations, offset_ft)
    return card.frame.local(shapely.LineString(xy))


def _line_words(out: Any, drawn: Any, words: str) -> Iterator[Any]:
    """Words below the lower end of a line."""
    ends = [xy for p in shapely.get_parts(drawn) if p.geom_type == "LineString" for xy in p.coords]
    if not ends:
        return
    x = min(ends, key=lambda xy: xy[1])[0]
    half = ink.text_width(words, _SMALL) / 2.0
    y = _BELOW_PT - 12.0 - _SMALL - 2.0
    out.add(ink.text((x, y), words, _SMALL, anchor="middle"))
    yield shapely.box(x - half, y - 1.0, x + half, y + _SMALL)


def _zero_line(
    out: Any, at: tuple[Card, Streets], sheet: _Sheet, obstacles: Sequence[Any]
) -> Iterator[Any]:
    """The place where the tape begins, with its name where that lies on nothing else."""
    y_ft = _zero_y(*at)
    if y_ft is None:
        return
    y = float(sheet.to_paper(shapely.Point(0.0, y_ft)).y)
    west, south, east, north = sheet.window.bounds
    if not south < y < north:
        return
    out.add(ink.polyline([(west, y), (east, y)], 0.6, [4, 2]))
    yield shapely.LineString([(west, y), (east, y)])
    for words in (printable(f"0 of the tape: {at[0].zero.words}"), "0 of the tape"):
        box = _free_beside(ink.text_width(words, _SMALL), y, sheet.window, obstacles)
        if box is not None:
            out.add(ink.text((box.bounds[0] + 2.0, box.bounds[1] + 1.5), words, _SMALL))
            yield box
            return


def _free_beside(wide_pt: float, y: float, window: Any, obstacles: Sequence[Any]) -> Any | None:
    """The free box for words above or below a level line that is farthest to the right."""
    west, _, east, _ = window.bounds
    for x in np.arange(east - wide_pt - 8.0, west + 4.0, -6.0):
        for low in (y + 2.0, y - _SMALL - 3.0):
            box = shapely.box(x, low, x + wide_pt + 4.0, low + _SMALL + 1.0)
            if window.contains(box) and not any(box.intersects(o) for o in obstacles):
                return box
    return None


def _scale_bar(out: Any, scale: int, sheet: _Sheet, first: Any) -> Iterator[Any]:
    """A bar of whole feet in a lower corner, away from the arrow."""
    feet = max((b for b in _BARS_FT if b * sheet.pt_per_ft <= 150.0), default=_BARS_FT[0])
    x = 14.0 if first.centroid.x > sheet.width_pt / 2.0 else sheet.width_pt - 172.0
    y, long = 16.0, feet * sheet.pt_per_ft
    for k in range(2):
        box = shapely.box(x + k * long / 2, y, x + (k + 1) * long / 2, y + 4.0)
        out.add(ink.area(box, fill=white if k else black, stroke=black, width=0.6))
    out.add(ink.text((x, y + 7.0), "0", _SMALL, anchor="middle"))
    out.add(ink.text((x + long, y + 7.0), f"{feet} ft", _SMALL, anchor="middle"))
    out.add(ink.text((x, 6.0), f"1 in = {scale} ft at full print size", _SMALL))
    yield shapely.box(x - 14.0, 0.0, x + max(long + 20.0, 120.0), y + 16.0)


def _truck(out: Any, first: Any, sheet: _Sheet) -> Iterator[Any]:
    """An arrow up the page, below the first section to paint."""
    x = min(max(float(first.centroid.x), 30.0), sheet.width_pt - 30.0)
    out.add(ink.arrow((x, 14.0), 24.0))
    out.add(ink.text((x, 5.0), "TRAVEL", _SMALL, anchor="middle", bold=True))
    yield shapely.box(x - 16.0, 3.0, x + 16.0, 40.0)


def _marks(out: Any, card: Card, rows: Sequence[Row], sheet: _Sheet) -> Iterator[Any]:
    """Register marks between the sections of this drawing."""
    ids = {row["section_id"] for row in rows}
    for mark in card.marks:
        if mark["section_id"] in ids or mark["next_id"] in ids:
            place = sheet.to_paper(mark[SHAPE])
            out.add(ink.cross((float(place.x), float(place.y))))
            yield place.buffer(5.0)


def _draw_labels(out: Any, labels: Sequence[Label]) -> None:
    for label in labels:
        if label.leader is not None:
            out.add(ink.polyline(label.leader.coords, 0.6))
    for label in labels:
        out.add(ink.tag(label.box, label.words, 7.5))

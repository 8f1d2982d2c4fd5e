"""The drawing of one job to scale: the truck travels up the page.

Each section is outlined and hatched by its color and carries its number in the painting order.
A job too long for one drawing is drawn in parts; numbers that find no place are named.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeAlias

import numpy as np
import shapely
from reportlab.graphics.shapes import Drawing, Group
from reportlab.lib.colors import black

from layoutgen.export.crew import ink
from layoutgen.export.crew.furniture import (
    BARS_FT,
    BELOW_PT,
    SMALL,
    Sheet,
    around_parts,
    free_beside,
    line_words,
    ruler,
    scale_bar,
    truck,
)
from layoutgen.export.crew.labels import Label, place_labels
from layoutgen.export.crew.model import SHAPE, Card, Row, Streets, reframed
from layoutgen.export.crew.shapes import Box, bounds_of, joined, sound, without
from layoutgen.export.crew.words import color_of, printable

#: feet of street per inch of paper that a drawing may have
SCALES = (2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60, 80, 100, 150, 200, 300, 500)
#: a job that needs more than this is drawn in strips, if they show more; these go to the second
_STRIPS_ABOVE, _COARSEST = 20, 40
#: strips must be finer than one drawing by this
_FINER = 0.67
#: paper left and right of the paint and above it (pt)
_SIDE_PT, _ABOVE_PT = 28.0, 22.0
#: at coarser scales the register marks would hide the paint
MARKS_UP_TO = 20.5
#: a mark farther from all paint of a drawing belongs to another one
_AT_PAINT_FT = 0.5
#: the crossing curb line is shown when it is this near (ft)
_NEAR_FT = 30.0


Size: TypeAlias = tuple[float, float]


@dataclass(frozen=True)
class Figure:
    """A drawing and what to say below it."""

    drawing: Any
    scale_ft_per_in: int
    numbers: tuple[int, ...]
    unlabeled: tuple[str, ...]


def job_figures(card: Card, streets: Streets, size_pt: Size) -> list[Figure]:
    """Drawings of a job's sections, each at most `size_pt` (width, height)."""
    plan = _plan(card, streets, size_pt)
    wide = size_pt[0] / plan.columns
    out = []
    for first in range(0, len(plan.parts), plan.columns):
        parts = plan.parts[first : first + plan.columns]
        strips = [
            _strip(part, (card, streets), (wide, size_pt[1]), (plan, first + k))
            for k, part in enumerate(parts)
        ]
        out.append(_row_of(strips, plan.scale, size_pt[0]))
    return out


@dataclass(frozen=True)
class _Plan:
    """Runs of sections along the street, each a strip, at one scale, so many side by side."""

    parts: Sequence[list[Row]]
    scale: int
    columns: int


@dataclass(frozen=True)
class _Strip:
    drawing: Any
    numbers: tuple[int, ...]
    unlabeled: tuple[str, ...]


def _plan(card: Card, streets: Streets, size_pt: Size) -> _Plan:
    """All sections in one drawing, or strips side by side where those show much more."""
    rows = list(card.sections)
    turned = reframed(card, rows, streets)
    extent = _extent(turned.sections, turned, streets)
    whole = _scale(_with_zero(extent, turned, streets, size_pt), size_pt)
    if whole <= _STRIPS_ABOVE:
        return _Plan([rows], whole, 1)
    high = size_pt[1] - BELOW_PT - _ABOVE_PT
    for scale in (scale for scale in SCALES if scale <= min(_COARSEST, _FINER * whole)):
        for columns in (2, 3):
            strips = _balanced(rows, high * scale / 72.0, columns)
            if len(strips) > columns:
                continue
            wide = max(_width(part, card, streets) for part in strips)
            if wide * 72.0 / scale <= size_pt[0] / columns - 2 * _SIDE_PT:
                return _Plan(strips, scale, columns)
    if whole <= _COARSEST:
        return _Plan([rows], whole, 1)
    return _Plan(_strips(rows, high * _COARSEST / 72.0), _COARSEST, 2)


def _balanced(rows: Sequence[Row], longest_ft: float, columns: int) -> list[list[Row]]:
    """The shortest strips that are not more than the columns, else those of full length."""
    full = _strips(rows, longest_ft)
    if len(full) > columns:
        return full
    tried = (_strips(rows, share * longest_ft) for share in (0.6, 0.7, 0.8, 0.9))
    return next((strips for strips in tried if len(strips) <= columns), full)


def _strips(rows: Sequence[Row], longest_ft: float) -> list[list[Row]]:
    """Runs along the street that are no longer than this; each in painting order."""
    bounds = shapely.bounds([row[SHAPE] for row in rows])
    order = sorted(range(len(rows)), key=lambda k: (bounds[k, 1], rows[k]["sequence"] or 0))
    parts: list[list[Row]] = [[]]
    first = order[0]
    for k in order:
        if bounds[k, 3] - bounds[first, 1] > longest_ft and parts[-1]:
            parts.append([])
            first = k
        parts[-1].append(rows[k])
    return [sorted(part, key=lambda row: row["sequence"] or 0) for part in parts]


def _width(rows: Sequence[Row], card: Card, streets: Streets) -> float:
    part = reframed(replace(card, marks=()), rows, streets)
    west, _, east, _ = _extent(part.sections, part, streets)
    return east - west


def _row_of(strips: Sequence[_Strip], scale: int, width_pt: float) -> Figure:
    """Strips side by side as one figure."""
    out = Drawing(width_pt, max(strip.drawing.height for strip in strips))
    x = 0.0
    for strip in strips:
        if len(strips) == 1:
            out = strip.drawing
            break
        group = Group(*strip.drawing.contents)
        group.translate(x, out.height - strip.drawing.height)
        out.add(group)
        x += strip.drawing.width
    numbers = tuple(n for strip in strips for n in strip.numbers)
    return Figure(out, scale, numbers, tuple(w for strip in strips for w in strip.unlabeled))


def _strip(
    rows: list[Row], at: tuple[Card, Streets], size_pt: Size, place: tuple[_Plan, int]
) -> _Strip:
    streets, (plan, which) = at[1], place
    card = reframed(at[0], rows, streets)
    rows = list(card.sections)
    extent = _extent(rows, card, streets)
    if plan.columns == 1:
        extent = _with_zero(extent, card, streets, size_pt)
    west, south, east, north = extent
    pt_per_ft = 72.0 / plan.scale
    high = min((north - south) * pt_per_ft + BELOW_PT + _ABOVE_PT, size_pt[1])
    left = (size_pt[0] - (east - west) * pt_per_ft) / 2.0
    sheet = Sheet(west, south, pt_per_ft, size_pt[0], high, left)
    out = Drawing(size_pt[0], high)
    out.add(ink.area(shapely.box(0.5, 0.5, size_pt[0] - 0.5, high - 0.5), fill=None, stroke=black))
    shapes = [(row, sound(sheet.to_paper(row[SHAPE]))) for row in rows]
    taken = [*ruler(out, _tape_places(card, streets, sheet), sheet)]
    taken += [*_street_lines(out, card, streets, sheet)]
    taken += _zero_line(
        out,
        (card, streets),
        sheet,
        [*taken, *(shapely.box(*shape.bounds).buffer(3.0) for _, shape in shapes)],
    )
    name = f"strip {which + 1} of {len(plan.parts)}" if len(plan.parts) > 1 else ""
    taken += scale_bar(out, plan.scale, sheet, shapes[0][1], name)
    for row, shape in sorted(shapes, key=lambda pair: pair[0]["coat"] or 1):
        out.add(ink.paint(shape, color_of(row)))
        if shapely.get_num_geometries(shape) > 1 and not row["moving"]:
            out.add(around_parts(shape))
    taken += [*truck(out, shapes[0][1], sheet), *_marks(out, card, rows, sheet)]
    wanted = [(str(row["sequence"]), _visible(row, shape, shapes)) for row, shape in shapes]
    labels, lost = place_labels(wanted, taken, sheet.window.bounds)
    _draw_labels(out, labels)
    return _Strip(out, tuple(int(row["sequence"]) for row in rows), tuple(lost))


def _tape_places(card: Card, streets: Streets, sheet: Sheet) -> list[tuple[float, float]]:
    """Whole feet of the tape and their heights on the paper, closer than the ruler's ticks."""
    where = streets.find(card.job["segment_id"])
    if where is None:
        return []
    sign = card.frame.way * (-1 if card.zero.ahead else 1)
    low = min(row["from_ft"] for row in card.sections) - _NEAR_FT
    high = max(row["to_ft"] for row in card.sections) + _NEAR_FT
    ends = sorted((s - card.zero.station_ft) * sign for s in (low, high))
    step = next((b for b in BARS_FT if b * sheet.pt_per_ft >= 16.0), BARS_FT[-1])
    feet = np.arange(np.ceil(ends[0] / step), ends[1] / step + 1e-9) * step
    if not len(feet):
        return []
    places = streets.axes.locate(np.full(len(feet), where), card.zero.station_ft + feet * sign)
    local = sheet.to_paper(card.frame.local(shapely.MultiPoint(places)))
    ys = [float(p.y) for p in shapely.get_parts(local)]
    return list(zip((float(f) for f in feet), ys, strict=True))


def _extent(rows: Sequence[Row], card: Card, streets: Streets) -> Box:
    """West, south, east, north of paint and roadway in the frame of travel, ft."""
    west, south, east, north = bounds_of([r[SHAPE] for r in rows])
    left, right = curbs_of(card)
    if left is not None and right is not None:
        middle = (min(r["from_ft"] for r in rows) + max(r["to_ft"] for r in rows)) / 2.0
        where = streets.find(card.job["segment_id"])
        at = 0.0 if where is None else _local_of(card, streets, where, middle).x
        west, east = min(west, at - left), max(east, at + right)
    return west, south, east, north


def curbs_of(card: Card) -> tuple[float | None, float | None]:
    """Distance from the axis to the curb on the left and on the right of the driver, ft."""
    if card.street is None:
        return None, None
    sides = card.street["left_ft"], card.street["right_ft"]
    return sides if card.frame.way > 0 else sides[::-1]


def _scale(extent: Box, size_pt: Size) -> int:
    west, south, east, north = extent
    wide = (east - west) * 72.0 / (size_pt[0] - 2 * _SIDE_PT)
    high = (north - south) * 72.0 / (size_pt[1] - BELOW_PT - _ABOVE_PT)
    need = max(wide, high)
    return next((scale for scale in SCALES if scale >= need), SCALES[-1])


def _with_zero(
    extent: Box,
    card: Card,
    streets: Streets,
    size_pt: Size,
) -> Box:
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
    return float(_local_of(card, streets, where, card.zero.station_ft).y)


def _local_of(card: Card, streets: Streets, where: int, station_ft: float) -> Any:
    """A place of the axis in the frame of travel."""
    return card.frame.local(shapely.Point(streets.axes.locate(where, station_ft)[0]))


def _visible(row: Row, shape: Any, shapes: Sequence[tuple[Row, Any]]) -> Any:
    """The part of a base coat that no later coat covers, for its number to stand on."""
    over = [s for r, s in shapes if (r["coat"] or 1) > (row["coat"] or 1)]
    rest = without(shape, joined(over).buffer(3.0)) if over else shape
    parts = [p for p in shapely.get_parts(rest) if p.geom_type == "Polygon" and p.area > 1.0]
    return shapely.MultiPolygon(parts) if parts else shape


def _street_lines(out: Any, card: Card, streets: Streets, sheet: Sheet) -> Iterator[Any]:
    """Axis and curbs; yields what no other words may lie on."""
    where = streets.find(card.job["segment_id"])
    if where is None:
        return
    left, right = curbs_of(card)
    areas = [sheet.to_paper(card.frame.local(a)) for a in streets.areas]
    said: list[Any] = []
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
        said += line_words(out, drawn, words, said)
    yield from said


def _beside_axis(card: Card, streets: Streets, where: int, offset_ft: float) -> Any:
    """A parallel of the axis near the paint, in the frame of travel."""
    low = min(row["from_ft"] for row in card.sections) - 400.0
    high = max(row["to_ft"] for row in card.sections) + 400.0
    low, high = max(low, 0.0), min(high, float(streets.axes.lengths[where]))
    stations = np.linspace(low, high, max(2, int((high - low) / 2.0)))
    xy = streets.axes.locate(np.full(len(stations), where), stations, offset_ft)
    return card.frame.local(shapely.LineString(xy))


def _zero_line(
    out: Any, at: tuple[Card, Streets], sheet: Sheet, obstacles: Sequence[Any]
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
        box = free_beside(ink.text_width(words, SMALL), y, sheet.window, obstacles)
        if box is not None:
            out.add(ink.text((box.bounds[0] + 2.0, box.bounds[1] + 1.5), words, SMALL))
            yield box
            return


def _marks(out: Any, card: Card, rows: Sequence[Row], sheet: Sheet) -> Iterator[Any]:
    """Register marks between the sections of this drawing."""
    if 72.0 / sheet.pt_per_ft > MARKS_UP_TO:
        return
    paint = shapely.STRtree([row[SHAPE] for row in rows])
    arm = 4.0 if sheet.pt_per_ft >= 6.0 else 2.4
    for mark in card.marks:
        place = sheet.to_paper(mark[SHAPE])
        if len(paint.query(mark[SHAPE], predicate="dwithin", distance=_AT_PAINT_FT)) and (
            sheet.window.contains(place)
        ):
            out.add(ink.cross((float(place.x), float(place.y)), arm))
            yield place.buffer(arm + 1.0)


def _draw_labels(out: Any, labels: Sequence[Label]) -> None:
    for label in labels:
        if label.leader is not None:
            out.add(ink.polyline(label.leader.coords, 0.6))
    for label in labels:
        out.add(ink.tag(label.box, label.words, 7.5))

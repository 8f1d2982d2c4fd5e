"""Markings to sections: the pieces that one set-up of the applicator paints.

Each piece is painted from one lane in its direction of travel. First a marking is parted between
lanes, at a lane line or beside it where less paint is crossed; then each part by the reach along
travel (`cutting`). Thin lines are one section, painted while the truck drives along. Seen from above
in the straight frame at a marking's middle; what follows a curve is first parted across the axis.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise, product
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layoutgen.street.design import Design
from layoutgen.work.curved import unrolled_pieces
from layoutgen.work.cutting import Paint, Reach, best_pieces, between
from layoutgen.work.quantities import KEEP
from layoutgen.work.reach import TINY_FT, ReachParams
from layoutgen.work.stands import INSIDE, Stand, edges_of, stand_at, stands_of

Floats = NDArray[np.float64]
#: a marking this long is looked at for bends of its street (ft) ...
_LONG_FT = 15.0
#: ... and parted along the axis where the axis turns by more than this (degrees)
_BENT_DEG = 1.0
_DIGITS = 8
_NO_BREAKS: tuple[tuple[float, ...], tuple[float, ...]] = ((), ())


@dataclass(frozen=True)
class Frames:
    """Straight frame of every marking: origin on the axis, unit vector along its reading travel.

    `way` is +1 where that runs along growing station, and `middle_ft` the station of the origin.
    """

    origin: Floats
    ahead: Floats
    way: NDArray[np.int64]
    middle_ft: Floats

    def inward(self, shapes: NDArray[np.object_], which: NDArray[np.int64]) -> NDArray[np.object_]:
        """Shapes in local coordinates: x right of travel from the axis, y along travel."""
        xy, owner = shapely.get_coordinates(shapes, return_index=True)
        own = which[owner]
        d = xy - self.origin[own]
        a = self.ahead[own]
        local = np.column_stack([d[:, 0] * a[:, 1] - d[:, 1] * a[:, 0], (d * a).sum(axis=1)])
        return np.asarray(shapely.set_coordinates(shapes.copy(), local), dtype=object)

    def outward(self, shapes: NDArray[np.object_], which: NDArray[np.int64]) -> NDArray[np.object_]:
        """Shapes back on the working plane."""
        xy, owner = shapely.get_coordinates(shapes, return_index=True)
        own = which[owner]
        a = self.ahead[own]
        right = np.column_stack([a[:, 1], -a[:, 0]])
        plane = self.origin[own] + xy[:, :1] * right + xy[:, 1:] * a
        return np.asarray(shapely.set_coordinates(shapes.copy(), plane), dtype=object)


def cut_markings(
    markings: gpd.GeoDataFrame, design: Design, params: ReachParams
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Layers `sections` (without job and amounts) and `register_marks`, on the working plane.

    Args:
        markings: table of `engine.draw_markings`; those to keep, and those on no segment, get none.
        design: street model that the segment indices point into.
        params: reach of the applicator.
    """
    on_street = markings["segment_index"].between(0, len(design.segments) - 1)
    todo = markings[(markings["action"] != KEEP) & on_street].reset_index(drop=True)
    frames = _frames(todo, design)
    moving = is_moving(todo, params).to_numpy()
    local = frames.inward(todo.geometry.to_numpy(), np.arange(len(todo)))
    pieces = [
        (k, piece, number, count)
        for k, found in enumerate(_all_pieces(todo, design, params, (frames, local, moving)))
        for count in (len(found),)
        for number, piece in enumerate(found, start=1)
    ]
    table = _table(todo, design, frames, (pieces, moving))
    return table, _register_marks(table, frames, pieces)


def is_moving(markings: pd.DataFrame, params: ReachParams) -> pd.Series[bool]:
    """Lines that are painted while the truck drives along."""
    thin = markings["width_ft"].astype(float) <= params.moving_width_ft + TINY_FT
    return markings["is_line"].astype(bool) & thin


def _frames(todo: gpd.GeoDataFrame, design: Design) -> Frames:
    middle = (todo["from_ft"].to_numpy(dtype=float) + todo["to_ft"].to_numpy(dtype=float)) / 2.0
    index = todo["segment_index"].to_numpy(dtype=np.int64)
    angle = np.radians(todo["bearing_deg"].to_numpy(dtype=float))
    ahead = np.column_stack([np.sin(angle), np.cos(angle)])
    if not len(todo):
        return Frames(np.empty((0, 2)), ahead, np.empty(0, dtype=np.int64), middle)
    along: Any = design.axes.directions(index, middle)
    way = np.where((along * ahead).sum(axis=1) >= 0.0, 1, -1).astype(np.int64)
    return Frames(design.axes.locate(index, middle), ahead, way, middle)


def _all_pieces(
    todo: gpd.GeoDataFrame,
    design: Design,
    params: ReachParams,
    seen: tuple[Frames, NDArray[np.object_], NDArray[np.bool_]],
) -> Iterator[list[Any]]:
    """Local pieces of every marking."""
    frames, local, moving = seen
    boxes = shapely.bounds(local)
    known: dict[tuple[Any, ...], list[Any]] = {}
    reach = Reach(params.width_ft, params.length_ft, params.overlap_ft)
    breaks = todo["breaks"].to_list() if "breaks" in todo else [_NO_BREAKS] * len(todo)
    bent = _bent(todo, design, boxes)
    stands = {k: stands_of(design.segments[k]) for k in set(todo["segment_index"])}
    for k, shape in enumerate(local):
        if moving[k]:
            yield [shape]
            continue
        segment = int(todo["segment_index"].iat[k])
        edges = _edges_here(edges_of(stands[segment]), int(frames.way[k]), boxes[k])
        if not edges and reach.holds(shape):
            yield [shape]
            continue
        cutter = _Cutter(reach, edges, params.lane_slack_ft, _breaks_here(breaks[k], boxes[k]))
        if bent[k]:
            plane = todo.geometry.iat[k]
            axis = segment, design.segments[segment].axis
            strips = unrolled_pieces(plane, design.axes, axis, reach)
            inward = frames.inward(np.array(strips, dtype=object), np.full(len(strips), k))
            yield _along_curve(inward, cutter)
            continue
        key = (np.round(shapely.get_coordinates(shape), _DIGITS).tobytes(), edges, cutter.breaks)
        if key not in known:
            known[key] = cutter.pieces(shape)
        yield known[key]


def _along_curve(inward: NDArray[np.object_], cutter: _Cutter) -> list[Any]:
    """Strips of a curved marking, parted between lanes where they are too wide for one."""
    out: list[Any] = []
    for strip in inward:
        wide = strip.bounds[2] - strip.bounds[0]
        fits = not cutter.edges_in(strip) and wide <= cutter.reach.across_ft + TINY_FT
        out += [strip] if fits else cutter.columns(strip)
    return out


def _bent(todo: gpd.GeoDataFrame, design: Design, boxes: Floats) -> NDArray[np.bool_]:
    """Long markings whose street turns along them; not what reaches past its street's ends."""
    extent = (todo["to_ft"] - todo["from_ft"]).to_numpy(dtype=float)
    high = boxes[:, 3] - boxes[:, 1]
    long = (high > _LONG_FT) & (np.abs(high - extent) < 0.2 * extent + 2.0)
    out = np.zeros(len(todo), dtype=bool)
    rows = np.flatnonzero(long)
    if not len(rows):
        return out
    index = todo["segment_index"].to_numpy(dtype=np.int64)[rows]
    ends = [todo[c].to_numpy(dtype=float)[rows] for c in ("from_ft", "to_ft")]
    steps = np.linspace(0.02, 0.98, 9)
    at = ends[0][:, None] + (ends[1] - ends[0])[:, None] * steps[None, :]
    along: Any = design.axes.directions(np.repeat(index, len(steps)), at.ravel())
    angle = np.unwrap(np.arctan2(along[:, 1], along[:, 0]).reshape(at.shape), axis=1)
    turn = np.degrees(angle.max(axis=1) - angle.min(axis=1))
    out[rows] = turn > _BENT_DEG
    return out


def _edges_here(edges: Sequence[float], way: int, box: Floats) -> tuple[float, ...]:
    """Edges of stands inside the extent of a shape, in its frame."""
    own = (round(way * e, _DIGITS) for e in edges)
    return tuple(sorted(e for e in own if box[0] + 0.01 < e < box[2] - 0.01))


def _breaks_here(
    breaks: tuple[tuple[float, ...], tuple[float, ...]], box: Floats
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Natural breaks of a figure, from its own coordinates to those of its frame."""
    if not breaks[0] and not breaks[1]:
        return _NO_BREAKS
    middle = (box[0] + box[2]) / 2.0
    return (
        tuple(round(float(x) + middle, _DIGITS) for x in breaks[0]),
        tuple(round(float(y) + box[1], _DIGITS) for y in breaks[1]),
    )


@dataclass(frozen=True)
class _Cutter:
    """How one marking may be parted."""

    reach: Reach
    edges: tuple[float, ...]
    slack_ft: float
    breaks: tuple[tuple[float, ...], tuple[float, ...]]

    def pieces(self, shape: Any) -> list[Any]:
        """Pieces by lane, each by the reach."""
        return [
            piece
            for column in self.columns(shape)
            for piece in best_pieces(column, self.reach, self.breaks)
        ]

    def edges_in(self, shape: Any) -> list[float]:
        """Edges that part a shape by more than the slack on either side."""
        west, _, east, _ = shape.bounds
        return [e for e in self.edges if west + self.slack_ft < e < east - self.slack_ft]

    def columns(self, shape: Any) -> list[Any]:
        """The shape parted between lanes."""
        edges = [e for e in self.edges if shape.bounds[0] < e < shape.bounds[2]]
        if not edges:
            return [shape]
        cuts = self._lane_cuts(Paint(shape, 0), edges)
        ends = [-np.inf, *cuts, np.inf]
        parts = [between(shape, 0, a, b) for a, b in pairwise(ends)]
        return [part for part in parts if not part.is_empty]

    def _lane_cuts(self, paint: Paint, edges: Sequence[float]) -> list[float]:
        """A cut near every edge: fewest pieces across, then least paint crossed, then nearest."""
        options = [self._options(paint, e) for e in edges]
        spans = paint.spans
        chains: dict[float, tuple[tuple[float, ...], list[float]]] = {-np.inf: ((0, 0.0, 0.0), [])}
        for edge, (at, price) in zip(edges, options, strict=True):
            grown: dict[float, tuple[tuple[float, ...], list[float]]] = {}
            for (last, (cost, cuts)), k in product(chains.items(), range(len(at))):
                if at[k] <= last:
                    continue
                far = abs(at[k] - edge)
                step = (self._across(spans, last, at[k]), float(price[k]), far)
                total = tuple(round(a + b, 6) for a, b in zip(cost, step, strict=True))
                if at[k] not in grown or total < grown[at[k]][0]:
                    grown[at[k]] = (total, [*cuts, at[k]])
            chains = grown or chains
        best = min(
            chains.items(),
            key=lambda c: (c[1][0][0] + self._across(spans, c[0], np.inf), *c[1][0][1:]),
        )
        return best[1][1]

    def _options(self, paint: Paint, edge: float) -> tuple[list[float], Floats]:
        """Positions near an edge, with the paint that a cut there crosses."""
        near = paint.positions()
        near = near[np.abs(near - edge) <= self.slack_ft]
        at = np.unique(np.round([edge, *near, *self._breaks_near(edge)], 6))
        price = paint.crossed(at)
        return [float(a) for a in at], price

    def _breaks_near(self, edge: float) -> list[float]:
        return [x for x in self.breaks[0] if abs(x - edge) <= self.slack_ft]

    def _across(self, spans: Floats, low: float, high: float) -> int:
        """Windows that the paint between two cuts needs at least across travel."""
        inside = spans[(spans[:, 1] > low + 1e-4) & (spans[:, 0] < high - 1e-4)]
        if not len(inside):
            return 0
        wide = min(inside[-1, 1], high) - max(inside[0, 0], low)
        return max(1, int(np.ceil(wide / self.reach.across_ft - 1e-6)))


def _table(
    todo: gpd.GeoDataFrame,
    design: Design,
    frames: Frames,
    made: tuple[list[tuple[int, Any, int, int]], NDArray[np.bool_]],
) -> gpd.GeoDataFrame:
    pieces, moving = made
    own = np.array([k for k, *_ in pieces], dtype=np.int64)
    local = np.array([piece for _, piece, *_ in pieces], dtype=object)
    box = shapely.bounds(local).reshape(-1, 4)
    rows = todo.iloc[own].reset_index(drop=True)
    way = frames.way[own]
    middle = frames.middle_ft[own]
    stands = _stands(rows, design, way * (box[:, 0] + box[:, 2]) / 2.0)
    travel = _travel(rows, design, stands)
    low, high = middle + way * box[:, 1], middle + way * box[:, 3]
    number = np.array([n for *_, n, _ in pieces], dtype=np.int64)
    still = ~moving[own]
    table = pd.DataFrame(
        {
            "section_id": rows["marking_id"] + "/s" + pd.Series(number).astype(str),
            "number": number,
            "pieces": np.array([n for *_, n in pieces], dtype=np.int64),
            "lane": [s.label for s in stands],
            "stand_from_ft": [s.left_ft for s in stands],
            "travel": travel,
            "bearing_deg": (frames_bearing(frames, own) + np.where(travel == way, 0, 180)) % 360,
            "from_ft": np.where(still, np.minimum(low, high), rows["from_ft"]),
            "to_ft": np.where(still, np.maximum(low, high), rows["to_ft"]),
            "left_ft": np.minimum(way * box[:, 0], way * box[:, 2]),
            "right_ft": np.maximum(way * box[:, 0], way * box[:, 2]),
            "length_ft": np.where(still, box[:, 3] - box[:, 1], rows["to_ft"] - rows["from_ft"]),
            "width_ft": np.where(still, box[:, 2] - box[:, 0], rows["width_ft"]),
            "area_sqft": np.round(shapely.area(local), 4),
            "moving": moving[own].astype(np.int64),
            "hold": _holds(rows, stands),
            "closed_ft": [s.closed_ft for s in stands],
        }
    )
    kept = ["marking_id", "kind", "street", "color", "material", "coat", "over_id"]
    kept += ["segment_index", "district"]
    table = pd.concat([rows[kept], table], axis=1)
    table["stand_ft"] = (table["from_ft"] + table["to_ft"]) / 2.0
    return gpd.GeoDataFrame(table, geometry=frames.outward(local, own), crs=todo.crs)


def frames_bearing(frames: Frames, own: NDArray[np.int64]) -> Floats:
    """Compass direction of the frames."""
    a = frames.ahead[own]
    return np.asarray(np.degrees(np.arctan2(a[:, 0], a[:, 1])) % 360.0)


def _stands(rows: pd.DataFrame, design: Design, offset_ft: Floats) -> list[Stand]:
    """The stand that each piece is painted from."""
    index = rows["segment_index"].to_numpy(dtype=np.int64)
    known = {k: stands_of(design.segments[k]) for k in np.unique(index).tolist()}
    pairs = zip(index.tolist(), offset_ft.tolist(), strict=True)
    return [stand_at(known[k], offset) for k, offset in pairs]


def _travel(rows: pd.DataFrame, design: Design, stands: Sequence[Stand]) -> NDArray[np.int64]:
    """Direction of the truck along each piece: the lane's; a stack of coats keeps to one."""
    ways = pd.Series([s.direction for s in stands])
    wished = rows["travel"].astype(np.int64)
    lone = np.array([not s.label.startswith(("lane", "the lane", "turn")) for s in stands])
    one_way = np.array([design.segments[k].oneway != "both" for k in rows["segment_index"]])
    ways = ways.where(one_way | (wished == 0) | ~lone, wished)
    stack = _stacks(rows)
    bases = stack.isin(rows.loc[rows["over_id"].fillna("") != "", "over_id"])
    first = ways.groupby(stack).transform("first")
    out: NDArray[np.int64] = ways.where(~bases, first).to_numpy(dtype=np.int64)
    return out


def _stacks(rows: pd.DataFrame) -> pd.Series[str]:
    """Id of the base coat below, or the marking's own."""
    over = rows["over_id"].fillna("").astype(str)
    own = rows["marking_id"].astype(str)
    return own.where(~over.isin(set(own)), over)


def _holds(rows: pd.DataFrame, stands: Sequence[Stand]) -> list[str]:
    """Why traffic must be held, by section."""
    crossing = rows["kind"].isin(["keep_clear", "dotted_extension", "bike_extension", "ring_edge"])
    return [
        INSIDE if inside else stand.hold for inside, stand in zip(crossing, stands, strict=True)
    ]


def _register_marks(
    table: gpd.GeoDataFrame, frames: Frames, pieces: list[tuple[int, Any, int, int]]
) -> gpd.GeoDataFrame:
    """Two marks at the near edge of every piece but the first: where its paint must begin."""
    rows = [i for i, (_, _, number, _) in enumerate(pieces) if number > 1]
    own = np.repeat([pieces[i][0] for i in rows], 2).astype(np.int64)
    corners = [xy for i in rows for xy in _near_corners(pieces[i][1])]
    points = shapely.points(np.array(corners).reshape(-1, 2))
    here = np.repeat(np.array(rows, dtype=np.int64), 2)
    xy = np.array(corners).reshape(-1, 2)
    ids = table["section_id"].to_numpy()
    out = pd.DataFrame(
        {
            "mark_id": [f"{ids[i]}/{side}" for i in rows for side in ("left", "right")],
            "marking_id": table["marking_id"].to_numpy()[here],
            "section_id": ids[here - 1],
            "next_id": ids[here],
            "station_ft": frames.middle_ft[own] + frames.way[own] * xy[:, 1],
            "offset_ft": frames.way[own] * xy[:, 0],
        }
    )
    placed = frames.outward(np.asarray(points, dtype=object), own)
    return gpd.GeoDataFrame(out, geometry=placed, crs=table.crs)


def _near_corners(piece: Any) -> tuple[tuple[float, float], tuple[float, float]]:
    west, south, east, _ = piece.bounds
    return (west, south), (east, south)

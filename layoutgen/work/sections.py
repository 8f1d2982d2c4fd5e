"""Markings to sections: the pieces that one set-up of the applicator paints.

Each piece is painted from one lane in its direction of travel. First a marking is parted between
lanes, at a lane line or beside it where less paint is crossed; then each part by the reach along
travel (`cutting`). Thin lines are one section, painted while the truck drives along. All in the
straight frame at a marking's middle; what follows a curve is first parted across the axis.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layoutgen.errors import Finding
from layoutgen.street.design import Design
from layoutgen.work.closing import closing
from layoutgen.work.curved import unrolled_pieces
from layoutgen.work.cutting import Reach, polygons
from layoutgen.work.frames import Frames
from layoutgen.work.lane_cuts import Cutter, Known
from layoutgen.work.quantities import KEEP
from layoutgen.work.reach import TINY_FT, ReachParams
from layoutgen.work.stands import Stand, edges_of, hard_edges_of, stand_at, stands_of

Floats = NDArray[np.float64]
#: by index of the segment
Stands = Mapping[int, tuple[Stand, ...]]
#: a marking this long is looked at for bends of its street (ft) ...
_LONG_FT = 15.0
#: ... and parted along the axis where the axis turns by more than this (degrees)
_BENT_DEG = 1.0
_DIGITS = 8
#: kinds that lie within an intersection
_INSIDE = ("keep_clear", "dotted_extension", "bike_extension", "ring_edge")
#: corners nearer than this are one
_SAME_POINT_FT = 1e-6
_NO_BREAKS: tuple[tuple[float, ...], tuple[float, ...]] = ((), ())


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
    local = np.asarray(shapely.remove_repeated_points(local, _SAME_POINT_FT), dtype=object)
    truck = params.truck_width_ft
    stands = {k: stands_of(design.segments[k], truck) for k in set(todo["segment_index"])}
    seen = frames, local, moving
    pieces: list[Piece] = []
    more: list[Frames] = []
    for k, found in enumerate(_all_pieces(todo, design, params, seen, stands)):
        at = [k] * len(found)
        if isinstance(found, Strips):
            at = [len(todo) + len(more) + i for i in range(len(found))]
            more += found.frames
        rows = zip(found, at, strict=True)
        pieces += [Piece(k, i, one, n, len(found)) for n, (one, i) in enumerate(rows, start=1)]
    frames = frames.added(more)
    table = _table(todo, design, frames, (pieces, moving, stands))
    return table, _register_marks(table, frames, pieces)


def not_reached(markings: gpd.GeoDataFrame, design: Design) -> list[Finding]:
    """Markings without a street to paint them from, and those against their one-way street."""
    todo = markings[markings["action"] != KEEP]
    on_street = todo["segment_index"].between(0, len(design.segments) - 1)
    lost = sorted(todo.loc[~on_street, "marking_id"].astype(str))
    ways = {"both": 0, "forward": 1, "backward": -1}
    allowed = np.array([ways[s.oneway] for s in design.segments], dtype=np.int64)
    rows = todo[on_street]
    fixed = allowed[rows["segment_index"].to_numpy(dtype=np.int64)]
    against = (fixed != 0) & (rows["travel"].to_numpy(dtype=np.int64) == -fixed)
    turned = sorted(rows.loc[against, "marking_id"].astype(str))
    return [_lost_finding(one) for one in lost] + [_against_finding(one) for one in turned]


def _lost_finding(marking_id: str) -> Finding:
    return Finding(
        code="marking_without_segment",
        severity="error",
        source="work",
        feature_id=marking_id,
        text="The marking lies on no street segment, so no truck can be sent to it.",
        fix="Check the rule that made it.",
    )


def _against_finding(marking_id: str) -> Finding:
    return Finding(
        code="travel_against_oneway",
        severity="warning",
        source="work",
        feature_id=marking_id,
        text="The marking asks for travel against its one-way street; it is painted with traffic.",
        fix="Check `oneway` of the street, or the direction of the marking.",
    )


@dataclass(frozen=True)
class Piece:
    """One piece of a marking: rows of the marking and of its frame, local shape, number, count."""

    marking: int
    frame: int
    shape: Any
    number: int
    count: int


class Strips(list[Any]):
    """Pieces of a marking on a curve, each with a frame of its own."""

    def __init__(self, pieces: Sequence[Any], frames: Sequence[Frames]) -> None:
        super().__init__(pieces)
        self.frames = list(frames)


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
    stands: Stands,
) -> Iterator[list[Any]]:
    """Local pieces of every marking."""
    frames, local, moving = seen
    boxes = shapely.bounds(local)
    known: dict[tuple[Any, ...], list[Any]] = {}
    by_outline: Known = {}
    reach = Reach(params.width_ft, params.length_ft, params.overlap_ft)
    breaks = todo["breaks"].to_list() if "breaks" in todo else [_NO_BREAKS] * len(todo)
    bent = _bent(todo, design, boxes)
    for k, shape in enumerate(local):
        if moving[k]:
            yield [shape]
            continue
        segment = int(todo["segment_index"].iat[k])
        edges = _edges_here(edges_of(stands[segment]), int(frames.way[k]), boxes[k])
        if not edges and reach.holds(shape):
            yield [shape]
            continue
        near = _breaks_here(breaks[k], boxes[k])
        way = int(frames.way[k])
        hard = frozenset(round(way * e, _DIGITS) for e in hard_edges_of(stands[segment]))
        cutter = Cutter(reach, edges, params.lane_slack_ft, near, by_outline, hard)
        if bent[k]:
            plane = todo.geometry.iat[k]
            axis = segment, design.segments[segment].axis
            strips = unrolled_pieces(plane, design.axes, axis, reach)
            yield _along_curve(strips, design, (segment, int(frames.way[k])), cutter)
            continue
        outline = np.round(shapely.get_coordinates(shape), _DIGITS).tobytes()
        key = (outline, edges, hard, cutter.breaks)
        if key not in known:
            known[key] = cutter.pieces(shape)
        yield known[key]


def _along_curve(
    strips: Sequence[Any], design: Design, place: tuple[int, int], cutter: Cutter
) -> Strips:
    """Strips of a curved marking, each in the frame at its own middle, cut further where needed."""
    segment, way = place
    axis = design.segments[segment].axis
    middle = np.array([shapely.line_locate_point(axis, s.centroid) for s in strips])
    index = np.full(len(strips), segment)
    ahead: Any = design.axes.directions(index, middle) * way
    own = Frames(
        design.axes.locate(index, middle), ahead, np.full(len(strips), way, np.int64), middle
    )
    local = own.inward(np.array(strips, dtype=object), np.arange(len(strips)))
    pieces = [cutter.pieces(one) for one in local]
    frames = [
        Frames(own.origin[i : i + 1], ahead[i : i + 1], own.way[i : i + 1], middle[i : i + 1])
        for i, found in enumerate(pieces)
        for _ in found
    ]
    return Strips([piece for found in pieces for piece in found], frames)


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


def _table(
    todo: gpd.GeoDataFrame,
    design: Design,
    frames: Frames,
    made: tuple[list[Piece], NDArray[np.bool_], Stands],
) -> gpd.GeoDataFrame:
    pieces, moving, known = made
    own = np.array([p.marking for p in pieces], dtype=np.int64)
    frame = np.array([p.frame for p in pieces], dtype=np.int64)
    local = np.array([p.shape for p in pieces], dtype=object)
    box = shapely.bounds(local).reshape(-1, 4)
    rows = todo.iloc[own].reset_index(drop=True)
    way = frames.way[frame]
    middle = frames.middle_ft[frame]
    still = ~moving[own]
    sides = _sides(rows, way, box, still)
    stands = _stands(rows, known, (sides[0] + sides[1]) / 2.0)
    travel = _travel(rows, design, stands)
    low, high = middle + way * box[:, 1], middle + way * box[:, 3]
    number = np.array([p.number for p in pieces], dtype=np.int64)
    table = pd.DataFrame(
        {
            "section_id": [
                f"{one}/s{k}" for one, k in zip(rows["marking_id"], number, strict=True)
            ],
            "number": number,
            "pieces": np.array([p.count for p in pieces], dtype=np.int64),
            "lane": [s.label for s in stands],
            "travel": travel,
            "bearing_deg": (_bearing(frames, frame) + np.where(travel == way, 0, 180)) % 360,
            "from_ft": np.where(still, np.minimum(low, high), rows["from_ft"]),
            "to_ft": np.where(still, np.maximum(low, high), rows["to_ft"]),
            "left_ft": sides[0],
            "right_ft": sides[1],
            "length_ft": np.where(still, box[:, 3] - box[:, 1], rows["to_ft"] - rows["from_ft"]),
            "width_ft": np.where(still, box[:, 2] - box[:, 0], rows["width_ft"]),
            "area_sqft": np.round(shapely.area(local), 4),
            "moving": moving[own].astype(np.int64),
            "inside": rows["kind"].isin(_INSIDE).to_numpy(dtype=bool),
            "taken": [s.taken for s in stands],
            "side_ft": [s.side_ft for s in stands],
        }
    )
    kept = ["marking_id", "kind", "street", "color", "material", "coat", "over_id"]
    kept += ["segment_index", "district", "action"]
    table = pd.concat([rows[kept], table], axis=1)
    table["hold"] = _holds(table, design)
    table["stand_ft"] = (table["from_ft"] + table["to_ft"]) / 2.0
    return gpd.GeoDataFrame(table, geometry=_valid(frames.outward(local, frame)), crs=todo.crs)


def _valid(shapes: NDArray[np.object_]) -> NDArray[np.object_]:
    """Turning a shape rounds its corners: hairlines that touched may cross now, and are mended."""
    bad = ~shapely.is_valid(shapes)
    mended = [polygons(shapely.make_valid(one)) for one in shapes[bad]]
    out = shapes.copy()
    out[bad] = np.array(mended, dtype=object)
    return out


def _sides(
    rows: pd.DataFrame, way: NDArray[np.int64], box: Floats, still: NDArray[np.bool_]
) -> tuple[Floats, Floats]:
    """Least and largest offset of every piece; lines painted driving along keep one offset."""
    offset = rows["offset_ft"].to_numpy(dtype=float)
    half = rows["width_ft"].to_numpy(dtype=float) / 2.0
    west, east = way * box[:, 0], way * box[:, 2]
    left = np.where(still, np.minimum(west, east), offset - half)
    return left, np.where(still, np.maximum(west, east), offset + half)


def _bearing(frames: Frames, own: NDArray[np.int64]) -> Floats:
    """Compass direction of the frames."""
    a = frames.ahead[own]
    return np.asarray(np.degrees(np.arctan2(a[:, 0], a[:, 1])) % 360.0)


def _stands(rows: pd.DataFrame, known: Stands, offset_ft: Floats) -> list[Stand]:
    """The stand that each piece is painted from."""
    pairs = zip(rows["segment_index"].tolist(), offset_ft.tolist(), strict=True)
    return [stand_at(known[k], offset) for k, offset in pairs]


def _travel(rows: pd.DataFrame, design: Design, stands: Sequence[Stand]) -> NDArray[np.int64]:
    """Direction of the truck along each piece: the lane's; a stack of coats keeps to one.

    Beside the lanes it is that of a marking which lies there alone, such as a bike symbol.
    """
    ways = pd.Series([s.direction for s in stands])
    wished = rows["travel"].astype(np.int64)
    own = ("lane", "the lane", "turn")
    lone = np.array([not s.label.startswith(own) for s in stands], dtype=bool)
    both = [design.segments[k].oneway == "both" for k in rows["segment_index"]]
    one_way = ~np.array(both, dtype=bool)
    places = pd.Series([s.left_ft for s in stands]).groupby(rows["marking_id"]).transform("nunique")
    ways = ways.where(one_way | (wished == 0) | ~lone | (places > 1), wished)
    stack = _stacks(rows)
    bases = stack.isin(rows.loc[rows["over_id"].fillna("") != "", "over_id"])
    first = ways.groupby(stack).transform("first")
    return np.asarray(ways.where(~bases, first), dtype=np.int64)


def _stacks(rows: pd.DataFrame) -> pd.Series[str]:
    """Id of the base coat below, or the marking's own."""
    over = rows["over_id"].fillna("").astype(str)
    own = rows["marking_id"].astype(str)
    return own.where(~over.isin(set(own)), over)


def _holds(table: pd.DataFrame, design: Design) -> list[str]:
    """Why traffic must be held for each section alone; not while the truck drives along."""
    columns = ("segment_index", "travel", "taken", "side_ft", "inside", "moving")
    return [
        "" if moving else closing(design.segments[k], way, taken, side, inside).hold
        for k, way, taken, side, inside, moving in zip(*(table[c] for c in columns), strict=True)
    ]


def _register_marks(
    table: gpd.GeoDataFrame, frames: Frames, pieces: Sequence[Piece]
) -> gpd.GeoDataFrame:
    """Two marks at the near edge of every piece but the first: where its paint must begin."""
    rows = [i for i, piece in enumerate(pieces) if piece.number > 1]
    here = np.repeat(np.array(rows, dtype=np.int64), 2)
    frame = np.array([pieces[i].frame for i in here.tolist()], dtype=np.int64)
    xy = np.array([corner for i in rows for corner in _near_corners(pieces[i].shape)])
    xy = xy.reshape(-1, 2)
    ids = table["section_id"].to_numpy()
    out = pd.DataFrame(
        {
            "mark_id": [f"{ids[i]}/{side}" for i in rows for side in ("left", "right")],
            "marking_id": table["marking_id"].to_numpy()[here],
            "section_id": ids[here - 1],
            "next_id": ids[here],
            "station_ft": frames.middle_ft[frame] + frames.way[frame] * xy[:, 1],
            "offset_ft": frames.way[frame] * xy[:, 0],
        }
    )
    placed = frames.outward(np.asarray(shapely.points(xy), dtype=object), frame)
    return gpd.GeoDataFrame(out, geometry=placed, crs=table.crs)


def _near_corners(piece: Any) -> tuple[tuple[float, float], tuple[float, float]]:
    """Where the paint of a piece begins along travel, at its left and right."""
    west, south, east, _ = piece.bounds
    return (west, south), (east, south)

"""Markings that meet: who stays, who gives way, and what is painted over what.

Paint lies in two layers. Green, red, blue, purple and black are grounds; white and yellow may be
painted over them (coat 2, over an id), but green never lies under a crosswalk or a shared-lane
marking (GREEN-02, SLM-09). Within a layer nothing is painted over anything else: of
two that meet, the one of lower priority gives way. A figure is moved along the street as far as
its rule lets it, else left out, because half a figure says nothing; a line or a ground is cut back
by what it meets; a marking of many pieces gives up the pieces that meet.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layoutgen.errors import Finding
from layoutgen.markings.marking import GROUNDS, FigureShape, Marking
from layoutgen.markings.rail_zone import shifted
from layoutgen.markings.templates.figure import figure_of

#: two markings of one layer that share more than this are a collision, not a touch (sq ft)
_TOUCH_SQFT = 0.02
#: white paint that green never lies under
_NEVER_ON_GREEN = ("crosswalk", "shared_lane")
#: a piece that keeps this share beside other paint is trimmed, else left out
_KEPT = 0.75
#: a smaller rest of a cut is not painted: less than half a foot of a thin line (sq ft)
_SLIVER_SQFT = 0.15
#: cut shapes have no finer detail than this (ft)
_GRID_FT = 2e-7
#: places along the street that a figure is tried at lie this far apart
_STEP_FT = 1.0

Shapes = NDArray[np.object_]
#: markings -> their polygons
Draw = Callable[[Sequence[Marking]], Shapes]


@dataclass
class _Ground:
    """Everything that is asked while markings give way, by row of the table.

    `gives` says how a row gives way; `order` lists the pairs that meet, the strongest first.
    """

    shapes: Shapes
    gives: Sequence[str]
    ids: Sequence[str]
    markings: Sequence[Marking]
    layer: NDArray[np.int64]
    members: Mapping[str, list[int]]
    draw: Draw
    barred: Any
    tree: shapely.STRtree
    lost: dict[int, int] = field(default_factory=dict)
    cut: dict[int, list[int]] = field(default_factory=lambda: defaultdict(list))
    moved: dict[int, Marking] = field(default_factory=dict)


def settle(
    table: gpd.GeoDataFrame, markings: Sequence[Marking], draw: Draw, barred: Any = None
) -> tuple[gpd.GeoDataFrame, dict[int, Marking], list[Finding]]:
    """Table without collisions, with coats; the markings that were moved, by row; findings.

    Args:
        table: markings table; column `asked` numbers `markings`.
        markings: what was asked for.
        draw: polygons of markings.
        barred: area that no figure may be moved into, or None.
    """
    if not len(table):
        return table, {}, []
    ground = _ground(table, markings, draw, barred)
    for weaker, stronger in _collisions(table, ground):
        if stronger not in ground.lost and weaker not in ground.lost:
            _give_way(ground, weaker, stronger)
    findings = _cut_back(ground)
    findings += [_left_out(ground, k, j) for k, j in sorted(ground.lost.items())]
    findings += [_moved(ground, k) for k in sorted(ground.moved) if k not in ground.lost]
    out, kept = _settled(table, ground)
    moved = {n: ground.moved[k] for n, k in enumerate(kept) if k in ground.moved}
    return _coats(out), moved, findings


def _ground(
    table: gpd.GeoDataFrame, markings: Sequence[Marking], draw: Draw, barred: Any
) -> _Ground:
    asked = [markings[i] for i in table["asked"].to_list()]
    shapes = table.geometry.to_numpy().copy()
    members: dict[str, list[int]] = defaultdict(list)
    for k, marking in enumerate(asked):
        if marking.group:
            members[f"{marking.anchor}\n{marking.group}"].append(k)
    return _Ground(
        shapes,
        table["gives"].to_list(),
        table["marking_id"].to_list(),
        asked,
        table["color"].isin(GROUNDS).to_numpy(dtype=np.int64),
        members,
        draw,
        barred,
        shapely.STRtree(shapes.copy()),
    )


def _collisions(table: gpd.GeoDataFrame, ground: _Ground) -> list[tuple[int, int]]:
    """(weaker, stronger) rows of one layer that meet, the strongest first.

    So whoever gives way is known before it could make somebody else give way.
    """
    shapes = ground.shapes
    a, b = ground.tree.query(shapes)
    level = table["level"].to_numpy()
    # what passes over or under is no paint on the same pavement
    meets = (ground.layer[a] == ground.layer[b]) | _bare(table, a, b) | _bare(table, b, a)
    once = (a < b) & meets & (level[a] == level[b])
    a, b = a[once], b[once]
    first = shapes[np.unique(a)]
    shapely.prepare(first)
    meet = shapely.intersects(shapes[a], shapes[b])
    shapely.destroy_prepared(first)
    a, b = a[meet], b[meet]
    shared = shapely.area(shapely.intersection(shapes[a], shapes[b])) > _TOUCH_SQFT
    near = _too_near(ground, level)
    a, b = (np.concatenate([own[shared], more]) for own, more in zip((a, b), near, strict=True))
    priority = table["priority"].to_numpy(dtype=float)
    pairs = {
        (i, j) if priority[i] < priority[j] else (j, i)
        for i, j in zip(a.tolist(), b.tolist(), strict=True)
    }
    return sorted(pairs, key=lambda pair: (-priority[pair[1]], pair[1], pair[0]))


def _bare(table: gpd.GeoDataFrame, green: Any, white: Any) -> Any:
    """Pairs of green and white paint that must not lie over it (GREEN-02, SLM-09)."""
    is_green = (table["color"] == "green").to_numpy()
    is_bare = table["kind"].isin(_NEVER_ON_GREEN).to_numpy()
    return is_green[green] & is_bare[white]


def _too_near(ground: _Ground, level: Any) -> tuple[Any, Any]:
    """Pairs of figures of which one wants more distance than there is, but for groups."""
    figures = np.array([isinstance(m.shape, FigureShape) for m in ground.markings])
    clear = np.array([m.clear_ft for m in ground.markings])
    rows, asking = np.flatnonzero(figures), np.flatnonzero(figures & (clear > 0))
    if not len(asking):
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    tree = shapely.STRtree(ground.shapes[rows])
    a, b = tree.query(ground.shapes[asking], predicate="dwithin", distance=clear[asking])
    a, b = asking[a], rows[b]
    group = np.array([m.group for m in ground.markings])
    apart = (a != b) & (level[a] == level[b]) & ((group[a] != group[b]) | (group[a] == ""))
    return np.minimum(a, b)[apart], np.maximum(a, b)[apart]


def _give_way(ground: _Ground, weaker: int, stronger: int) -> None:
    gives = ground.gives[weaker]
    if not _still_meet(ground, weaker, stronger):
        return
    others = [*ground.cut[weaker], stronger]
    if gives == "length" or (gives != "whole" and _enough_stay(ground, weaker, others)):
        ground.cut[weaker].append(stronger)
    elif not _move(ground, weaker, stronger):
        for k in _group(ground, weaker):
            ground.lost.setdefault(k, stronger)


def _still_meet(ground: _Ground, weaker: int, stronger: int) -> bool:
    """A figure that was moved may have settled this already."""
    if weaker not in ground.moved and stronger not in ground.moved:
        return True
    a, b = ground.shapes[weaker], ground.shapes[stronger]
    return bool(shapely.dwithin(a, b, max(ground.markings[weaker].clear_ft, 1e-9)))


def _enough_stay(ground: _Ground, weaker: int, others: Sequence[int]) -> bool:
    """Whether a marking can spare the pieces that meet others.

    Of a crosswalk three and more than half must stay, of a row of patches any.
    """
    whole = ground.shapes[weaker]
    rest = _rest(whole, _union(ground.shapes[list(others)]), ground.gives[weaker])
    if ground.gives[weaker] == "parts":
        return len(rest.geoms) > 0
    return len(rest.geoms) >= 3 and len(rest.geoms) > 0.5 * len(whole.geoms)


def _group(ground: _Ground, row: int) -> list[int]:
    """Rows that go with a row, itself included."""
    own = ground.markings[row]
    return ground.members[f"{own.anchor}\n{own.group}"] if own.group else [row]


def _move(ground: _Ground, weaker: int, stronger: int) -> bool:
    """Move a figure, with its group, away from what it met; whether a free place was found."""
    rows = _group(ground, weaker)
    own = [ground.markings[k] for k in rows]
    room = min(m.shift_ft for m in own)
    if room <= 0 or not all(isinstance(m.shape, FigureShape) for m in own):
        return False
    away = _away_from(ground, weaker, stronger)
    for step in np.arange(_STEP_FT, room + 1e-9, _STEP_FT).tolist():
        tried = [shifted(marking, away * step) for marking in own]
        if not all(_on_street(marking) for marking in tried):
            return False
        shapes = ground.draw(tried)
        if _is_free(ground, rows, shapes):
            ground.moved.update(zip(rows, tried, strict=True))
            ground.shapes[rows] = shapes
            return True
    return False


def _away_from(ground: _Ground, weaker: int, stronger: int) -> float:
    """+1 or -1: the way along the segment that leads from the middle of another figure."""
    own, other = ground.markings[weaker], ground.shapes[stronger].centroid
    ahead = ground.draw([shifted(own, 1.0)])[0].centroid
    return 1.0 if ahead.distance(other) >= ground.shapes[weaker].centroid.distance(other) else -1.0


def _on_street(marking: Marking) -> bool:
    """Whether a figure lies between both ends of its street."""
    shape = marking.shape
    assert isinstance(shape, FigureShape)
    far = shape.upstream_ft + shape.facing * figure_of(shape).length_ft
    return all(0.0 <= s <= marking.frame.segment.length_ft for s in (shape.upstream_ft, far))


def _is_free(ground: _Ground, rows: Sequence[int], shapes: Shapes) -> bool:
    """Whether figures at a place tried meet nothing else of their layer, and nothing barred."""
    if ground.barred is not None and shapely.intersects(shapes, ground.barred).any():
        return False
    clear = max(ground.markings[k].clear_ft for k in rows)
    whole = shapely.union_all(shapes)
    near = _neighbors(ground, rows, whole, clear)
    figures = [k for k in near if isinstance(ground.markings[k].shape, FigureShape)]
    if clear > 0 and shapely.dwithin(ground.shapes[figures], whole, clear).any():
        return False
    return not shapely.intersects(ground.shapes[near], whole).any()


def _neighbors(ground: _Ground, rows: Sequence[int], whole: Any, reach_ft: float) -> list[int]:
    """Rows of the same layer near a shape, as they stand now."""
    box = shapely.box(*shapely.bounds(whole)).buffer(reach_ft + 0.1)
    found = {*ground.tree.query(box).tolist(), *ground.moved} - {*rows, *ground.lost}
    return sorted(k for k in found if ground.layer[k] == ground.layer[rows[0]])


def _cut_back(ground: _Ground) -> list[Finding]:
    """Take from lines, grounds and rows of pieces what they met."""
    findings = []
    for k, others in sorted((k, o) for k, o in ground.cut.items() if o and k not in ground.lost):
        whole = ground.shapes[k]
        cutter = _cutter(ground, k, [j for j in others if j not in ground.lost] or others)
        rest = _rest(whole, cutter, ground.gives[k])
        findings.append(_trimmed(ground.ids[k], whole.area - rest.area, whole))
        # points that nearly coincide could cross once the layout is written in another CRS
        ground.shapes[k] = _polygons(shapely.set_precision(rest, _GRID_FT))
    return findings


def _cutter(ground: _Ground, row: int, others: Sequence[int]) -> Any:
    """What is cut out of a marking; out of a ground the whole of a crosswalk, gaps and all."""
    if not ground.layer[row]:
        return _union(ground.shapes[list(others)])
    whole = [ground.markings[j].kind == "crosswalk" for j in others]
    shapes = ground.shapes[list(others)]
    return _union(np.where(whole, shapely.convex_hull(shapes), shapes))


def _polygons(shape: Any) -> Any:
    return shapely.MultiPolygon(_pieces(shape))


def _pieces(shape: Any) -> list[Any]:
    """Its polygons, without slivers that no gun could paint."""
    parts = shapely.get_parts(shape)
    return [p for p in parts if p.geom_type == "Polygon" and p.area > _SLIVER_SQFT]


def _union(shapes: Shapes) -> Any:
    return shapes[0] if len(shapes) == 1 else shapely.union_all(shapes)


def _rest(whole: Any, cutter: Any, gives: str) -> Any:
    """What stays of a marking beside other paint.

    A bar of a crosswalk that meets other paint is left out. Other pieces are trimmed where they
    lose little, so that a bar across a lane ends at the center line, else left out as well.
    """
    if gives == "length":
        return shapely.difference(whole, cutter)
    parts = shapely.get_parts(whole)
    met = shapely.intersects(parts, cutter)
    if gives == "parts":
        rests = shapely.difference(parts[met], cutter)
        kept = shapely.area(rests) >= _KEPT * shapely.area(parts[met])
        return shapely.MultiPolygon([*parts[~met], *_pieces(rests[kept])])
    return shapely.MultiPolygon(list(parts[~met]))


def _settled(table: gpd.GeoDataFrame, ground: _Ground) -> tuple[gpd.GeoDataFrame, list[int]]:
    """Table with what is left, measured anew; and the rows it kept."""
    shapes = ground.shapes
    keep = ~np.isin(np.arange(len(table)), list(ground.lost)) & ~shapely.is_empty(shapes)
    frame = table.set_geometry(gpd.GeoSeries(shapes, index=table.index, crs=table.crs))[keep]
    area = shapely.area(frame.geometry.to_numpy())
    out = frame.assign(area_sqft=area, length_ft=area / frame["width_ft"].to_numpy(dtype=float))
    return out.reset_index(drop=True), np.flatnonzero(keep).tolist()


def _coats(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """White and yellow over a ground are its second coat."""
    is_ground = table["color"].isin(GROUNDS).to_numpy()
    below, above = np.flatnonzero(is_ground), np.flatnonzero(~is_ground)
    if not len(below) or not len(above):
        return table
    shapes, level = table.geometry.to_numpy(), table["level"].to_numpy()
    tree = shapely.STRtree(shapes[below])
    a, b = tree.query(shapes[above], predicate="intersects")
    a, b = above[a], below[b]
    shared = shapely.area(shapely.intersection(shapes[a], shapes[b]))
    pairs = pd.DataFrame({"a": a, "b": b, "shared": shared})
    pairs = pairs[(shared > _TOUCH_SQFT) & (level[a] == level[b])]
    most = pairs.sort_values(["a", "shared", "b"], ascending=[True, False, True])
    most = most.drop_duplicates("a")
    coat, over = table["coat"].to_numpy().copy(), table["over_id"].to_numpy().copy()
    coat[most["a"]] = 2
    over[most["a"]] = table["marking_id"].to_numpy()[most["b"]]
    return table.assign(coat=coat, over_id=over)


def _trimmed(marking_id: str, area_sqft: float, shape: Any) -> Finding:
    text = f"{marking_id} was cut back by {area_sqft:.1f} sq ft where it met another marking"
    return Finding("trimmed", "notice", "markings", marking_id, text, "", shape)


def _left_out(ground: _Ground, row: int, stronger: int) -> Finding:
    own, other = ground.ids[row], ground.ids[stronger]
    text = f"{own} would be painted over {other}; it was left out"
    if ground.markings[row].clear_ft or ground.markings[stronger].clear_ft:
        text = f"{own} would stand on or too near {other}; it was left out"
    fix = "change a spacing or a setback, or mark one of them by hand"
    return Finding("collision", "warning", "markings", own, text, fix, ground.shapes[row])


def _moved(ground: _Ground, row: int) -> Finding:
    by = abs(ground.moved[row].station_ft - ground.markings[row].station_ft)
    text = f"{ground.ids[row]} was moved {by:.0f} ft along the street, clear of other markings"
    own = ground.ids[row]
    return Finding("moved", "notice", "markings", own, text, "", ground.shapes[row])

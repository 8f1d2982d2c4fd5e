"""Street lines -> network: segments from node to node, and the nodes where they meet.

Ends that nearly meet are snapped, lines are split where another line ends on them or shares a
vertex, and pieces that differ in nothing are joined again, so that a block is one segment.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layoutgen.config import Params, length
from layoutgen.errors import Finding
from layoutgen.geometry.noding import (
    Levels,
    cluster,
    end_points,
    move_ends,
    shared_vertices,
    split,
    touched,
)
from layoutgen.geometry.polyline import Floats, Ints, Polylines
from layoutgen.street.joining import join_pieces, join_stubs
from layoutgen.street.street_row import StreetRow, street_rows

#: shorter pieces arise only from snapping and carry nothing
_MIN_PIECE_FT = 0.5


class NetworkParams(Params):
    """`[network]`: how lines become a network."""

    snap_ft: float = length(
        "2 ft",
        low="0 ft",
        high="20 ft",
        source="common practice",
        text="ends closer than this meet",
    )
    stub_ft: float = length(
        "40 ft",
        low="0 ft",
        high="200 ft",
        source="common practice",
        text="a shorter piece between an intersection and a line that goes on from it, with the "
        "same name, class and direction, takes the attributes of that line",
    )


@dataclass(frozen=True)
class Network:
    """Segments in order of their id, with the nodes they run between.

    Attributes:
        rows: attributes per segment.
        axes: geometry per segment (ft).
        ends: (n, 2) node number of the first and last point.
        nodes: (k, 2) place of every node.
        used: source ids that ended up in some segment.
    """

    rows: tuple[StreetRow, ...]
    axes: Polylines
    ends: Ints
    nodes: Floats
    used: frozenset[str]


def build_network(table: gpd.GeoDataFrame, params: NetworkParams) -> tuple[Network, list[Finding]]:
    """Network of cleaned street lines (see `gis.clean`); feet on the working plane."""
    rows = _rows(table)
    lines = Polylines.from_lines(table.geometry.to_numpy())
    pieces, parent, findings = _split_lines(lines, rows, params.snap_ft)
    own = piece_rows(rows, pieces, parent)
    shapes, ends, nodes, found = _snap(pieces, own, params.snap_ft)
    findings += found + _both_ways(table)
    keep = shapely.length(shapes) >= _MIN_PIECE_FT
    own = [row for row, kept in zip(own, keep, strict=True) if kept]
    joined = join_pieces(own, shapes[keep], ends[keep])
    joined, found = join_stubs(*joined, params.stub_ft)
    findings += found
    used = frozenset(source for row in joined[0] for source in row.source_ids)
    findings += _lost(rows, used)
    return _sorted_network(*joined, nodes, used), findings


def _rows(table: gpd.GeoDataFrame) -> list[StreetRow]:
    own = ("segment_id", "source_id", "source_row", table.geometry.name)
    names = [str(name) for name in table.columns if name not in own]
    ids = zip(table["segment_id"].to_list(), table["source_id"].to_list(), strict=True)
    columns = [_plain_values(table[name]) for name in names]
    return street_rows(ids, names, zip(*columns, strict=True))


def _plain_values(column: pd.Series[Any]) -> list[Any]:
    """Values of a column as Python has them, None where nothing is known."""
    if column.isna().all():
        return [None] * len(column)
    return column.astype(object).where(column.notna(), None).to_list()


def _both_ways(table: gpd.GeoDataFrame) -> list[Finding]:
    """One finding about turn lanes that do not say for which direction of a two-way street."""
    told = zip(_plain_values(table["turn_lanes"]), _plain_values(table["oneway"]), strict=True)
    two_way = [bool(turns) and way in (None, "both") for turns, way in told]
    ids = [str(i) for i in table["source_id"].to_numpy()[np.array(two_way, dtype=bool)]]
    if not ids:
        return []
    text = (
        f"turn_lanes on two-way streets: {len(ids)} rows do not say for which direction; not used"
    )
    fix = "use turn_lanes_forward and turn_lanes_backward there"
    return [Finding("turn_lanes_two_way", "warning", "streets", ids[0], text, fix)]


def _levels(rows: Sequence[StreetRow]) -> Levels:
    return Levels(
        np.array([level for row in rows for level in row.levels], dtype=np.int64),
        np.array([row.inside for row in rows], dtype=np.int64),
        np.array([tied for row in rows for tied in row.tied], dtype=bool),
    )


def _split_lines(
    lines: Polylines, rows: Sequence[StreetRow], tolerance: float
) -> tuple[NDArray[np.object_], Ints, list[Finding]]:
    """Pieces cut at shared vertices and touching ends, with the line each came from."""
    levels = _levels(rows)
    v_line, v_at, meets = shared_vertices(lines, levels)
    t_line, t_at = touched(lines, levels, tolerance)
    pieces, parent = split(
        lines,
        np.concatenate([v_line[meets], t_line]),
        np.concatenate([v_at[meets], t_at]),
    )
    text = "another street ends on the inside of this line; the line was split there"
    points = shapely.points(lines.locate(t_line, t_at)) if len(t_line) else []
    # lines that share a vertex meet by design (OpenStreetMap); only the others are a repair
    shared = {(i, round(s, 1)) for i, s in zip(v_line.tolist(), v_at.tolist(), strict=True)}
    findings = [
        Finding("split_at_touch", "notice", "streets", rows[i].source_ids[0], text, "", p)
        for i, s, p in zip(t_line.tolist(), t_at.tolist(), points, strict=True)
        if (i, round(s, 1)) not in shared
    ]
    return pieces, parent, findings + _apart(lines, rows, v_line[~meets], v_at[~meets])


def _apart(
    lines: Polylines, rows: Sequence[StreetRow], line: Ints, station: Floats
) -> list[Finding]:
    """One finding per line with vertices shared across grade levels, where it was not split."""
    text = "shares {} with lines of other grade levels only; they do not meet there"
    fix = "where they do meet, give both the same level"
    out = []
    for i in np.unique(line).tolist():
        at = station[line == i]
        said = text.format("a vertex" if len(at) == 1 else f"{len(at)} vertices")
        place = shapely.multipoints(lines.locate(np.full(len(at), i), at))
        out.append(
            Finding("levels_apart", "notice", "streets", rows[i].source_ids[0], said, fix, place)
        )
    return out


def piece_rows(
    rows: Sequence[StreetRow], pieces: NDArray[np.object_], parent: Ints
) -> list[StreetRow]:
    """Attributes per piece; pieces of one line are numbered from its lesser end point.

    Turn lanes and grade levels hold on the piece at their end only.
    """
    count = np.bincount(parent, minlength=len(rows))
    start = np.concatenate([[0], np.cumsum(count)])
    out: list[StreetRow] = []
    for i, row in enumerate(rows):
        n = int(count[i])
        if n == 1:
            out.append(row)
            continue
        first = shapely.get_coordinates(pieces[start[i]])[0]
        last = shapely.get_coordinates(pieces[start[i + 1] - 1])[-1]
        numbers = range(1, n + 1) if tuple(first) <= tuple(last) else range(n, 0, -1)
        out += [_part(row, k, number, n) for k, number in enumerate(numbers)]
    return out


def _part(row: StreetRow, k: int, number: int, n: int) -> StreetRow:
    """The k-th piece of a line of n pieces: turn lanes hold only on the piece at their end."""
    return replace(
        row,
        segment_id=f"{row.segment_id}.{number}",
        turn_lanes_forward=row.turn_lanes_forward if k == n - 1 else "",
        turn_lanes_backward=row.turn_lanes_backward if k == 0 else "",
        levels=(
            row.levels[0] if k == 0 else row.inside,
            row.levels[1] if k == n - 1 else row.inside,
        ),
        tied=(row.tied[0] and k == 0, row.tied[1] and k == n - 1),
    )


def _snap(
    pieces: NDArray[np.object_], rows: Sequence[StreetRow], tolerance: float
) -> tuple[NDArray[np.object_], Ints, Floats, list[Finding]]:
    """Ends moved onto their node; a finding for every end that moved visibly."""
    levels = _levels(rows)
    points = end_points(Polylines.from_lines(pieces))
    label, nodes = cluster(points, levels.ends, tolerance, levels.tied)
    shift = np.hypot(*(nodes[label] - points).T)
    shapes = move_ends(pieces, nodes[label])
    moved = np.flatnonzero(shift > 0.05).tolist()
    text = "the end was moved {:.1f} ft onto the node it nearly meets"
    findings = [
        Finding("snapped_end", "notice", "streets", rows[i // 2].source_ids[0],
                text.format(shift[i]), "snap the line ends in the source",
                shapely.Point(points[i]))
        for i in moved
    ]  # fmt: skip
    return shapes, label.reshape(-1, 2), nodes, findings


def _lost(rows: Sequence[StreetRow], used: frozenset[str]) -> list[Finding]:
    text = "nothing was left of the line after its ends were snapped"
    return [
        Finding("lost_in_snapping", "error", "streets", s, text, "lower network.snap", None, 1)
        for row in rows
        for s in row.source_ids
        if s not in used
    ]


def _sorted_network(
    rows: list[StreetRow],
    lines: NDArray[np.object_],
    ends: list[tuple[int, int]],
    nodes: Floats,
    used: frozenset[str],
) -> Network:
    order = sorted(range(len(rows)), key=lambda i: rows[i].segment_id)
    shapes = lines[order]
    pairs = np.array([ends[i] for i in order], dtype=np.int64).reshape(-1, 2)
    return Network(tuple(rows[i] for i in order), Polylines.from_lines(shapes), pairs, nodes, used)

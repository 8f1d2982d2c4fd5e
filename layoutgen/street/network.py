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

_FLIP_SIDE = {"left": "right", "right": "left"}
_FLIP_WAY = {"forward": "backward", "backward": "forward"}
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
class StreetRow:
    """Attributes of one piece, relative to its own direction; None = unknown."""

    segment_id: str
    source_ids: tuple[str, ...]
    name: str
    street_class: str | None
    oneway: str
    lanes: int | None
    lanes_forward: int | None
    lanes_backward: int | None
    width_ft: float | None
    speed_mph: float | None
    parking: str | None
    bike_lane: str | None
    center_turn_lane: bool
    turn_lanes_forward: str
    turn_lanes_backward: str
    levels: tuple[int, int]
    paved: bool
    roundabout: bool
    #: grade level of the inside, and which ends meet whatever they share a point with
    inside: int = 0
    tied: tuple[bool, bool] = (False, False)
    #: what is said of each side alone; empty where nothing is
    bike_left: str = ""
    bike_right: str = ""
    parking_left: str = ""
    parking_right: str = ""

    @property
    def says_parking(self) -> bool:
        """Whether the data say anything about parking."""
        return bool(self.parking or self.parking_left or self.parking_right)

    def flipped(self) -> StreetRow:
        """The same street walked the other way."""
        return replace(
            self,
            oneway=_FLIP_WAY.get(self.oneway, self.oneway),
            lanes_forward=self.lanes_backward,
            lanes_backward=self.lanes_forward,
            parking=_FLIP_SIDE.get(self.parking or "", self.parking),
            bike_lane=_FLIP_SIDE.get(self.bike_lane or "", self.bike_lane),
            turn_lanes_forward=self.turn_lanes_backward,
            turn_lanes_backward=self.turn_lanes_forward,
            levels=(self.levels[1], self.levels[0]),
            tied=(self.tied[1], self.tied[0]),
            bike_left=self.bike_right,
            bike_right=self.bike_left,
            parking_left=self.parking_right,
            parking_right=self.parking_left,
        )

    def continues(self, other: StreetRow) -> bool:
        """Whether two consecutive pieces are one street, though lanes or widths may change."""
        names = {self.name, other.name} - {""}
        kind = ("street_class", "oneway", "paved", "roundabout")
        return len(names) <= 1 and all(getattr(self, k) == getattr(other, k) for k in kind)

    def alike(self, other: StreetRow) -> bool:
        """Whether two consecutive pieces differ in nothing that a layout depends on."""
        blank: dict[str, Any] = {"segment_id": "", "source_ids": (), "levels": (0, 0)}
        blank |= {"inside": 0, "tied": (False, False)}
        return replace(self, **blank) == replace(other, **blank)


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
    records = _records(table)
    rows = [_street_row(record) for record in records]
    lines = Polylines.from_lines(table.geometry.to_numpy())
    pieces, parent, findings = _split_lines(lines, rows, params.snap_ft)
    piece_rows = _piece_rows(rows, pieces, parent)
    shapes, ends, nodes, found = _snap(pieces, piece_rows, params.snap_ft)
    findings += found + _both_ways(records)
    keep = shapely.length(shapes) >= _MIN_PIECE_FT
    piece_rows = [row for row, kept in zip(piece_rows, keep, strict=True) if kept]
    joined = join_pieces(piece_rows, shapes[keep], ends[keep])
    joined, found = join_stubs(*joined, params.stub_ft)
    findings += found
    used = frozenset(source for row in joined[0] for source in row.source_ids)
    findings += _lost(rows, used)
    return _sorted_network(*joined, nodes, used), findings


def _records(table: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    plain = table.drop(columns=table.geometry.name)
    return [
        {str(k): None if v is None or v != v else v for k, v in row.items()}
        for row in plain.to_dict("records")
    ]


def _both_ways(records: Sequence[dict[str, Any]]) -> list[Finding]:
    """One finding about turn lanes that do not say for which direction of a two-way street."""
    ids = [
        str(r["source_id"]) for r in records if r["turn_lanes"] and r["oneway"] in (None, "both")
    ]
    if not ids:
        return []
    text = (
        f"turn_lanes on two-way streets: {len(ids)} rows do not say for which direction; not used"
    )
    fix = "use turn_lanes_forward and turn_lanes_backward there"
    return [Finding("turn_lanes_two_way", "warning", "streets", ids[0], text, fix)]


def _turn_lanes(row: dict[str, Any], way: str) -> str:
    """Turn lanes of one direction: said so, or those of a one-way street that runs that way."""
    own = row["turn_lanes_" + way]
    return own or (row["turn_lanes"] if row["oneway"] == way else "") or ""


def _level(row: dict[str, Any]) -> int | None:
    """Grade level of the line as a whole, where it is known."""
    if row["level"] is not None:
        return int(row["level"])
    return 1 if row["bridge"] else -1 if row["tunnel"] else None


def _street_row(row: dict[str, Any]) -> StreetRow:
    level = _level(row)
    ends = [row["level_from"], row["level_to"]]
    tied = level is not None and ends == [None, None]
    levels = tuple(int((level if end is None else end) or 0) for end in ends)
    return StreetRow(
        segment_id=str(row["segment_id"]),
        source_ids=(str(row["source_id"]),),
        name=str(row["name"] or ""),
        street_class=row["street_class"],
        oneway=row["oneway"] or "both",
        lanes=row["lanes"] or None,
        lanes_forward=row["lanes_forward"],
        lanes_backward=row["lanes_backward"],
        width_ft=row["width_ft"] or None,
        speed_mph=row["speed_mph"] or None,
        parking=row["parking"],
        bike_lane=row["bike_lane"],
        center_turn_lane=bool(row["center_turn_lane"]),
        turn_lanes_forward=_turn_lanes(row, "forward"),
        turn_lanes_backward=_turn_lanes(row, "backward"),
        levels=(levels[0], levels[1]),
        paved=row["surface"] != "unpaved",
        roundabout=bool(row["roundabout"]),
        inside=min(levels) if level is None else level,
        tied=(tied, tied),
        bike_left=row["bike_left"] or "",
        bike_right=row["bike_right"] or "",
        parking_left=row["parking_left"] or "",
        parking_right=row["parking_right"] or "",
    )


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


def _piece_rows(
    rows: Sequence[StreetRow], pieces: NDArray[np.object_], parent: Ints
) -> list[StreetRow]:
    """Attributes per piece; pieces of one line are numbered from its lesser end point."""
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
    lines: list[Any],
    ends: list[tuple[int, int]],
    nodes: Floats,
    used: frozenset[str],
) -> Network:
    order = sorted(range(len(rows)), key=lambda i: rows[i].segment_id)
    shapes = np.empty(len(order), dtype=object)
    shapes[:] = [lines[i] for i in order]
    pairs = np.array([ends[i] for i in order], dtype=np.int64).reshape(-1, 2)
    return Network(tuple(rows[i] for i in order), Polylines.from_lines(shapes), pairs, nodes, used)

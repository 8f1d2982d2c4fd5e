"""What other layers say of stretches of streets, brought onto the network.

A claim is a kind for one side of a stretch of a segment. Where claims end inside a segment it is
split; where they contradict each other, one that speaks of one side only holds, then the nearer
line, then the stronger kind.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layoutgen.geometry.noding import split
from layoutgen.geometry.polyline import Floats, Ints, Polylines
from layoutgen.street.network import Network, piece_rows
from layoutgen.street.street_row import StreetRow

#: what a state says, in this order
_SIDES = ("bike_left", "bike_right", "parking_left", "parking_right")
#: columns of claims: `field` is the role, `side` 0 = left and 1 = right of the axis,
#: `sides` how many sides the row speaks of, `key` the id of the row for texts and ties
CLAIMS = [
    *("field", "row", "key", "segment", "start_ft", "stop_ft", "side", "kind"),
    *("sides", "strength", "gap_ft"),
]
#: lines whose distances from the axis differ less are equally near
_ALIKE_FT = 5.0


def with_claims(
    network: Network, claims: pd.DataFrame, uncovered_ft: float
) -> tuple[Network, pd.DataFrame]:
    """The network with segments split and sides filled in, and what became of the claims.

    Args:
        network: as built from the streets.
        claims: columns `CLAIMS`, stations along the segments.
        uncovered_ft: no piece is made shorter than this.

    Returns:
        The network, and per field, row, segment and stretch between cuts whether the row `holds`
        a side there, or else the key of the row that does (`taken_by`).
    """
    lengths = network.axes.lengths
    claims = _rounded(claims, lengths, uncovered_ft)
    segment, start, stop = _cells(claims, lengths)
    spoken = _winners(claims, (segment, start, stop))
    state = np.full((len(segment), 4), "", dtype=object)
    won = spoken[spoken["holds"]]
    column = won["side"].to_numpy() + 2 * (won["field"] == "parking").to_numpy()
    state[won["cell"].to_numpy(), column] = won["kind"].to_numpy()
    # a cut is one only where something changes
    turns = np.zeros(len(segment), dtype=bool)
    turns[1:] = (segment[1:] == segment[:-1]) & (state[1:] != state[:-1]).any(axis=1)
    begins = turns | (start == 0.0)
    cut = _cut(network, segment[turns], start[turns], state[begins])
    fate = spoken.groupby(["field", "row", "cell"], sort=False).agg(
        segment=("segment", "first"), start_ft=("cell_start", "first"),
        stop_ft=("cell_stop", "first"), holds=("holds", "max"), taken_by=("winner", "first"),
    )  # fmt: skip
    return cut, fate.reset_index()


def _rounded(claims: pd.DataFrame, lengths: Floats, least_ft: float) -> pd.DataFrame:
    """Claims whose ends lie at an end of their segment or, together with others, well inside."""
    full = lengths[claims["segment"].to_numpy(dtype=np.int64)]
    start, stop = claims["start_ft"].to_numpy(), claims["stop_ft"].to_numpy()
    start = np.where(start <= least_ft, 0.0, start)
    stop = np.where(stop >= full - least_ft, full, stop)
    segment = np.tile(claims["segment"].to_numpy(dtype=np.int64), 2)
    at = np.concatenate([start, stop])
    inside = np.flatnonzero((at > 0.0) & (at < lengths[segment]))
    order = inside[np.lexsort([at[inside], segment[inside]])]
    fresh = np.ones(len(order), dtype=bool)
    fresh[1:] = (np.diff(segment[order]) != 0) | (np.diff(at[order]) > least_ft)
    group = np.cumsum(fresh) - 1
    if len(order):
        spread = (np.bincount(group, at[order]) / np.bincount(group))[group]
        at[order] = spread
    out = claims.assign(start_ft=at[: len(claims)], stop_ft=at[len(claims) :])
    return out[out["stop_ft"] > out["start_ft"]]


def _cells(claims: pd.DataFrame, lengths: Floats) -> tuple[Ints, Floats, Floats]:
    """(segment, start, stop) of the stretches between all ends of claims, for every segment."""
    whole = np.arange(len(lengths))
    own = claims["segment"].to_numpy(dtype=np.int64)
    segment = np.concatenate([whole, own, own])
    at = np.concatenate([np.zeros(len(lengths)), claims["start_ft"], claims["stop_ft"]])
    ends = np.unique(np.column_stack([segment, at]), axis=0)
    which = ends[:, 0].astype(np.int64)
    begins = ends[:, 1] < lengths[which] - 1e-9
    which, start = which[begins], ends[begins, 1]
    stop = lengths[which].copy()
    same = which[1:] == which[:-1]
    stop[:-1][same] = start[1:][same]
    return which, start, stop


def _winners(claims: pd.DataFrame, cells: tuple[Ints, Floats, Floats]) -> pd.DataFrame:
    """Every claim in every cell, with whether it holds there and the key of the one that does."""
    segment, start, stop = cells
    frame = pd.DataFrame({"segment": segment, "cell": np.arange(len(segment))})
    frame = frame.assign(cell_start=start, cell_stop=stop)
    pairs = claims.merge(frame, on="segment")
    middle = (pairs["cell_start"] + pairs["cell_stop"]) / 2
    pairs = pairs[(pairs["start_ft"] <= middle) & (middle <= pairs["stop_ft"])]
    size = (pairs["stop_ft"] - pairs["start_ft"]).round()
    near = (pairs["gap_ft"] / _ALIKE_FT).round()
    pairs = pairs.assign(weak=-pairs["strength"], short=-size, near=near)
    order = ["sides", "near", "weak", "short", "key"]
    pairs = pairs.sort_values(["cell", "field", "side", *order], kind="stable")
    place = ["cell", "field", "side"]
    holds = ~pairs.duplicated(place)
    return pairs.assign(holds=holds, winner=pairs.groupby(place)["key"].transform("first"))


def _told(row: StreetRow, kinds: Sequence[str]) -> StreetRow:
    """A row with what layers of their own say; what they do not say stays as it is."""
    said: dict[str, Any] = {name: kind for name, kind in zip(_SIDES, kinds, strict=True) if kind}
    return replace(row, **said, layered=frozenset(said)) if said else row


def _cut(network: Network, segment: Ints, station: Floats, state: NDArray[np.object_]) -> Network:
    """Network split at stations; `state` holds left and right bike, left and right parking."""
    shapes, parent = split(network.axes, segment, station)
    rows = piece_rows(network.rows, shapes, parent)
    rows = [_told(row, kinds) for row, kinds in zip(rows, state.tolist(), strict=True)]
    first = np.append(True, parent[1:] != parent[:-1])
    last = np.append(first[1:], True)
    joints = len(network.nodes) + np.cumsum(~first) - 1
    ends = np.column_stack([network.ends[parent, 0], network.ends[parent, 1]])
    ends[~first, 0] = joints[~first]
    ends[~last, 1] = joints[~first]
    places = shapely.get_coordinates(shapely.get_point(shapes[~first], 0))
    nodes = np.vstack([network.nodes, places])
    by_place = np.lexsort([nodes[:, 1], nodes[:, 0]])
    rank = np.empty(len(nodes), dtype=np.int64)
    rank[by_place] = np.arange(len(nodes))
    order = np.array(sorted(range(len(rows)), key=lambda i: rows[i].segment_id), dtype=np.int64)
    return Network(
        tuple(rows[i] for i in order), Polylines.from_lines(shapes[order]), rank[ends][order],
        nodes[by_place], network.used,
    )  # fmt: skip

"""Pieces of streets joined to segments: like pieces, and short pieces at intersections."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.errors import Finding
from layoutgen.geometry.polyline import Ints
from layoutgen.records import changed
from layoutgen.street.street_row import LIKENESS, StreetRow

#: rows, lines and end nodes of segments
_Segments = tuple[list[StreetRow], NDArray[np.object_], list[tuple[int, int]]]


def join_pieces(rows: Sequence[StreetRow], shapes: NDArray[np.object_], ends: Ints) -> _Segments:
    """Chains of like pieces through nodes where nothing else meets, each as one segment."""
    return _joined(rows, shapes, ends, _onward(rows, ends))


def join_stubs(
    rows: list[StreetRow], shapes: NDArray[np.object_], pairs: list[tuple[int, int]], stub_ft: float
) -> tuple[_Segments, list[Finding]]:
    """Short pieces at intersections joined to the street that goes on from them.

    Sources split lines a few feet before an intersection; on such a stub nothing would have room.
    """
    ends = np.array(pairs, dtype=np.int64).reshape(-1, 2)
    joint = np.bincount(ends.ravel())[ends] == 2
    stub = (shapely.length(shapes) < stub_ft) & (joint.sum(axis=1) == 1)
    onward = _onward_of_stubs(rows, ends, stub)
    if not onward:
        return (rows, shapes, pairs), []
    gone = len({piece for piece, _ in onward if stub[piece]})
    text = (
        f"{gone} short pieces at intersections differ from the street that goes on from them; they "
        "took its lanes, width and turn lanes"
    )
    fix = "if they are right, lower network.stub"
    place = shapely.multipoints(shapely.centroid(shapes[stub])) if gone else None
    found = Finding("short_piece", "notice", "streets", "", text, fix, place)
    return _joined(rows, shapes, ends, onward), [found]


def _onward_of_stubs(
    rows: Sequence[StreetRow], ends: Ints, stub: NDArray[np.bool_]
) -> dict[tuple[int, int], tuple[int, int]]:
    """(piece, end) -> (piece, end) where a stub meets the street that goes on, alone."""
    touched = set(ends[stub].ravel().tolist())
    at_node: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for i, end in np.argwhere(np.isin(ends, list(touched))).tolist():
        at_node[int(ends[i, end])].append((i, end))
    out: dict[tuple[int, int], tuple[int, int]] = {}
    for pair in at_node.values():
        if len(pair) != 2 or pair[0][0] == pair[1][0]:
            continue
        (p, p_end), (q, q_end) = pair
        arriving = rows[p] if p_end == 1 else rows[p].flipped()
        leaving = rows[q] if q_end == 0 else rows[q].flipped()
        if (stub[p] or stub[q]) and arriving.continues(leaving):
            out[pair[0]], out[pair[1]] = pair[1], pair[0]
    return out


def _joined(
    rows: Sequence[StreetRow],
    shapes: NDArray[np.object_],
    ends: Ints,
    onward: Mapping[tuple[int, int], tuple[int, int]],
) -> _Segments:
    chains = _chains(rows, ends, onward)
    lengths = np.round(shapely.length(shapes), 2).tolist()
    return (
        [_chain_row(rows, chain, lengths) for chain in chains],
        _chain_lines(shapes, chains),
        [_chain_ends(ends, chain) for chain in chains],
    )


def _onward(rows: Sequence[StreetRow], ends: Ints) -> dict[tuple[int, int], tuple[int, int]]:
    """(piece, end) -> (piece, end) it goes on with, where two like pieces meet alone."""
    node = ends.ravel()
    order = np.argsort(node, kind="stable")
    two = np.bincount(node)[node[order]] == 2 if len(node) else np.empty(0, dtype=bool)
    pairs = order[two].reshape(-1, 2)
    pairs = pairs[pairs[:, 0] // 2 != pairs[:, 1] // 2]
    kind, turned = _kinds(rows)
    arriving = np.where(pairs[:, 0] % 2 == 1, kind[pairs[:, 0] // 2], turned[pairs[:, 0] // 2])
    leaving = np.where(pairs[:, 1] % 2 == 0, kind[pairs[:, 1] // 2], turned[pairs[:, 1] // 2])
    out: dict[tuple[int, int], tuple[int, int]] = {}
    for p, q in pairs[arriving == leaving].tolist():
        one, other = (p // 2, p % 2), (q // 2, q % 2)
        out[one], out[other] = other, one
    return out


def _kinds(rows: Sequence[StreetRow]) -> tuple[Ints, Ints]:
    """One number for all rows that are alike, as drawn and walked the other way."""
    number: dict[Any, int] = {}
    kind = np.array([number.setdefault(LIKENESS(row), len(number)) for row in rows], dtype=np.int64)
    _, first = np.unique(kind, return_index=True)
    turned = [number.setdefault(LIKENESS(rows[i].flipped()), len(number)) for i in first.tolist()]
    return kind, np.array(turned, dtype=np.int64)[kind]


def _chains(
    rows: Sequence[StreetRow], ends: Ints, onward: Mapping[tuple[int, int], tuple[int, int]]
) -> list[list[tuple[int, bool]]]:
    """Every piece once, as chains of (piece, walked backward?) along the piece of least id."""
    done: set[int] = set()
    chains: list[list[tuple[int, bool]]] = []
    for i in sorted(range(len(ends)), key=lambda k: rows[k].segment_id):
        if i in done:
            continue
        ahead = _walk(i, 1, onward)
        ring = bool(ahead) and ahead[-1][0] == i
        behind = [] if ring else _walk(i, 0, onward)
        chain = [(p, not back) for p, back in reversed(behind)] + [(i, False)]
        chain += ahead[:-1] if ring else ahead
        done.update(p for p, _ in chain)
        chains.append(chain)
    return chains


def _walk(
    piece: int, end: int, onward: Mapping[tuple[int, int], tuple[int, int]]
) -> list[tuple[int, bool]]:
    """Pieces that follow one end, with whether each is walked backward; ends where it began."""
    out: list[tuple[int, bool]] = []
    here = (piece, end)
    while here in onward:
        nxt, came_in = onward[here]
        out.append((nxt, came_in == 1))
        if nxt == piece:
            break
        here = (nxt, 1 - came_in)
    return out


def _chain_row(
    rows: Sequence[StreetRow], chain: list[tuple[int, bool]], lengths: Sequence[float]
) -> StreetRow:
    """Attributes of a chain: those of its longest piece."""
    if len(chain) == 1 and not chain[0][1]:
        return rows[chain[0][0]]
    walked = [rows[p] for p, _ in chain]
    sources = tuple(dict.fromkeys(s for row in walked for s in row.source_ids))
    lead, back = max(chain, key=lambda link: lengths[link[0]])
    first, last = (rows[p].flipped() if b else rows[p] for p, b in (chain[0], chain[-1]))
    return changed(
        rows[lead].flipped() if back else rows[lead],
        segment_id=min(row.segment_id for row in walked),
        source_ids=sources,
        levels=(first.levels[0], last.levels[1]),
        tied=(first.tied[0], last.tied[1]),
        # a count holds for a stretch: the largest one decides for the whole street
        adt=max((row.adt for row in walked if row.adt is not None), default=None),
        tabled=frozenset.intersection(*(row.tabled for row in walked)),
    )


def _chain_lines(
    shapes: NDArray[np.object_], chains: Sequence[list[tuple[int, bool]]]
) -> NDArray[np.object_]:
    """One line per chain; where two pieces meet, their shared point is kept once."""
    piece = np.array([p for chain in chains for p, _ in chain], dtype=np.int64)
    back = np.array([b for chain in chains for _, b in chain], dtype=bool)
    lines = shapes[piece]
    lines[back] = shapely.reverse(lines[back])
    chain_of = np.repeat(np.arange(len(chains)), [len(chain) for chain in chains])
    xy, owner = shapely.get_coordinates(lines, return_index=True)
    # the first point of a piece that follows another one of its chain
    again = np.zeros(len(xy), dtype=bool)
    again[1:] = np.diff(owner) != 0
    again &= np.isin(owner, np.flatnonzero(np.diff(chain_of, prepend=-1) == 0))
    return np.asarray(
        shapely.linestrings(xy[~again], indices=chain_of[owner][~again]), dtype=object
    )


def _chain_ends(ends: Ints, chain: list[tuple[int, bool]]) -> tuple[int, int]:
    (first, first_back), (last, last_back) = chain[0], chain[-1]
    return int(ends[first][1 if first_back else 0]), int(ends[last][0 if last_back else 1])

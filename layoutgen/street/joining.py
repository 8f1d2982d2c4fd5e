"""Pieces of streets joined to segments: like pieces, and short pieces at intersections."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.errors import Finding
from layoutgen.geometry.polyline import Floats, Ints

if TYPE_CHECKING:
    from layoutgen.street.network import StreetRow


def join_pieces(
    rows: Sequence[StreetRow], shapes: NDArray[np.object_], ends: Ints
) -> tuple[list[StreetRow], list[Any], list[tuple[int, int]]]:
    """Chains of like pieces through nodes where nothing else meets, each as one segment."""
    return _joined(rows, shapes, ends, _onward(rows, ends, lambda _, a, b: a.alike(b)))


def join_stubs(
    rows: list[StreetRow], lines: list[Any], pairs: list[tuple[int, int]], stub_ft: float
) -> tuple[tuple[list[StreetRow], list[Any], list[tuple[int, int]]], list[Finding]]:
    """Short pieces at intersections joined to the street that goes on from them.

    Sources split lines a few feet before an intersection; on such a stub nothing would have room.
    """
    ends = np.array(pairs, dtype=np.int64).reshape(-1, 2)
    shapes = np.empty(len(lines), dtype=object)
    shapes[:] = lines
    joint = np.bincount(ends.ravel())[ends] == 2
    stub = (shapely.length(shapes) < stub_ft) & (joint.sum(axis=1) == 1)
    onward = _onward(rows, ends, lambda p, a, b: bool(stub[list(p)].any()) and a.continues(b))
    if not onward:
        return (rows, lines, pairs), []
    gone = len({piece for piece, _ in onward if stub[piece]})
    text = (
        f"{gone} short pieces at intersections differ from the street that goes on from them; they "
        "took its lanes, width and turn lanes"
    )
    fix = "if they are right, lower network.stub"
    place = shapely.multipoints(shapely.centroid(shapes[stub])) if gone else None
    found = Finding("short_piece", "notice", "streets", "", text, fix, place)
    return _joined(rows, shapes, ends, onward), [found]


def _joined(
    rows: Sequence[StreetRow],
    shapes: NDArray[np.object_],
    ends: Ints,
    onward: dict[tuple[int, int], tuple[int, int]],
) -> tuple[list[StreetRow], list[Any], list[tuple[int, int]]]:
    chains = _chains(rows, ends, onward)
    lengths = shapely.length(shapes)
    return (
        [_chain_row(rows, chain, lengths) for chain in chains],
        [_chain_line(shapes, chain) for chain in chains],
        [_chain_ends(ends, chain) for chain in chains],
    )


def _onward(
    rows: Sequence[StreetRow],
    ends: Ints,
    same: Callable[[tuple[int, int], StreetRow, StreetRow], bool],
) -> dict[tuple[int, int], tuple[int, int]]:
    """(piece, end) -> (piece, end) it goes on with, where two pieces that count as the same meet
    alone; `same` is asked with both numbers and both rows, walked one way."""
    at_node: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for i, (a, b) in enumerate(ends.tolist()):
        at_node[a].append((i, 0))
        at_node[b].append((i, 1))
    out: dict[tuple[int, int], tuple[int, int]] = {}
    for pair in at_node.values():
        if len(pair) != 2 or pair[0][0] == pair[1][0]:
            continue
        (p, p_end), (q, q_end) = pair
        arriving = rows[p] if p_end == 1 else rows[p].flipped()
        leaving = rows[q] if q_end == 0 else rows[q].flipped()
        if same((p, q), arriving, leaving):
            out[pair[0]], out[pair[1]] = pair[1], pair[0]
    return out


def _chains(
    rows: Sequence[StreetRow], ends: Ints, onward: dict[tuple[int, int], tuple[int, int]]
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
    piece: int, end: int, onward: dict[tuple[int, int], tuple[int, int]]
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
    rows: Sequence[StreetRow], chain: list[tuple[int, bool]], lengths: Floats
) -> StreetRow:
    """Attributes of a chain: those of its longest piece."""
    walked = [rows[p].flipped() if back else rows[p] for p, back in chain]
    sources = tuple(dict.fromkeys(s for row in walked for s in row.source_ids))
    lead = max(range(len(chain)), key=lambda k: (round(lengths[chain[k][0]], 2), -k))
    return replace(
        walked[lead],
        segment_id=min(row.segment_id for row in walked),
        source_ids=sources,
        levels=(walked[0].levels[0], walked[-1].levels[1]),
        tied=(walked[0].tied[0], walked[-1].tied[1]),
    )


def _chain_line(shapes: NDArray[np.object_], chain: list[tuple[int, bool]]) -> Any:
    if len(chain) == 1:
        return shapes[chain[0][0]]
    parts = [shapely.get_coordinates(shapes[p])[:: -1 if back else 1] for p, back in chain]
    return shapely.LineString(np.vstack([parts[0]] + [part[1:] for part in parts[1:]]))


def _chain_ends(ends: Ints, chain: list[tuple[int, bool]]) -> tuple[int, int]:
    (first, first_back), (last, last_back) = chain[0], chain[-1]
    return int(ends[first][1 if first_back else 0]), int(ends[last][0 if last_back else 1])

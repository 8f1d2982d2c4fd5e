"""Whole intersections: which nodes belong together, and which streets lead out of them.

A crossing is often drawn with several nodes: a divided road has one for each carriageway, two
streets that nearly face each other have one each, a roundabout has one for every street that
enters. People and drivers meet one intersection there. Nodes whose curb lines leave no room for a
layout between them are one intersection; what runs between them is inside it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, pairwise

import numpy as np

from layoutgen.street.design import Side
from layoutgen.street.ends import End, left_neighbor, offset_ft, right_neighbor, turn_deg
from layoutgen.street.intersection import IntersectionParams, curb_cut

#: joined by a pass-through street these do not make an intersection
_DRIVEWAY_LIKE = ("alley", "path")
#: where only these meet, traffic merges and diverges; nobody crosses
_FAST = ("freeway", "ramp")
#: neighbors of different nodes within this angle run side by side; they make no corner
_PARALLEL_DEG = 25.0
#: the two carriageways of one street leave an intersection within this angle
_TWIN_DEG = 40.0
#: a slip lane leaves and joins at less than this angle, and is no longer than this
_SLIP_DEG, _SLIP_FT = 60.0, 250.0
#: a shorter loop that comes back to its node is the turning circle of a cul-de-sac
_BULB_FT = 600.0
#: the halves of a street that ends on a roundabout part at up to this angle
_SPLITTER_DEG = 80.0
#: longer links between carriageways are streets of their own
_CROSSOVER_FT = 160.0
#: the order of ends around an intersection is read this far out, or half way along the segment
_ORDER_FT = 150.0


@dataclass(frozen=True)
class Junction:
    """Nodes that make one intersection, and the ends of streets that lead out, clockwise.

    Attributes:
        nodes: node numbers, rising.
        places: where each of them lies.
        ends: streets outward.
        inside: segments between the nodes.
        ring: whether it is a roundabout.
        around: all ends at each node, as if it stood alone; corners of a ring are its own.
        pairs: (approach, departure) carriageways of one street, as numbers of `ends`.
        crossovers: segments that lead across a median to the opposite carriageway.
    """

    nodes: tuple[int, ...]
    places: tuple[tuple[float, float], ...]
    ends: tuple[End, ...]
    inside: tuple[int, ...]
    ring: bool
    around: Mapping[int, Sequence[End]]
    pairs: tuple[tuple[int, int], ...]
    crossovers: frozenset[int] = frozenset()

    def neighbors(self, i: int) -> tuple[End, End]:
        """Ends whose curbs make the left and the right corner of end i."""
        here = self.ends[i]
        ring = self.around[here.node] if self.ring else self.ends
        k = [e.key for e in ring].index(here.key)
        twin = {self.ends[b if a == i else a].key for a, b in self.pairs if i in (a, b)}
        others = [ring[(k + step) % len(ring)] for step in range(1, len(ring))]
        others = [e for e in others if e.key not in twin] or [here]
        after = next((e for e in others if _makes_corner(here, e)), others[0])
        before = next((e for e in reversed(others) if _makes_corner(here, e)), others[-1])
        return before, after


def _makes_corner(here: End, other: End) -> bool:
    """Whether two ends are not merely side by side, as the carriageways of one street are."""
    return here.node == other.node or _between(here, other) > _PARALLEL_DEG


def junctions_of(
    ends: Mapping[int, Sequence[End]], params: IntersectionParams, side: Side
) -> list[Junction]:
    """Whole intersections, by their least node number.

    Args:
        ends: ends at every node.
        params: gaps below which nodes belong together.
        side: driving side.
    """
    rings = {e.node for own in ends.values() for e in own if e.segment.roundabout}
    parts = {n for n in ends if _splits(ends[n], rings, side)}
    crossing = {n for n in ends if n not in parts and _crosses(ends[n])}
    crossing -= _slip_ends(ends, crossing)
    forks = parts - crossing
    groups = _Groups({n: ends[n][0].xy for n in crossing | forks}, params.whole_extent_ft)
    for a, b in _ring_links(ends, crossing):
        groups.join(a, b, whatever=True)
    for _, _, a, b in sorted(_short_links(ends, crossing, forks, params)):
        groups.join(a, b, whatever=bool(rings & {a, b}) and bool(forks & {a, b}))
    made = (
        _junction(nodes, ends, side)
        for nodes in groups.members()
        if any(node in crossing for node in nodes)
    )
    across = frozenset(_crossovers(ends, crossing))
    return [replace(junction, crossovers=across) for junction in made if junction.ends]


def _crossovers(ends: Mapping[int, Sequence[End]], crossing: set[int]) -> Iterable[int]:
    """Segments through a median too wide for one intersection; nobody crosses them on foot."""
    for one, other in _links(ends):
        short = one.segment.length_ft < _CROSSOVER_FT and not one.segment.roundabout
        known = one.node in crossing and other.node in crossing
        if short and known and _crosses_carriageways(one, other, ends):
            yield one.segment.index


def slip_lanes(ends: Mapping[int, Sequence[End]]) -> list[int]:
    """Segments that cut the corner of a crossing; they get no leg of their own."""
    crossing = {n for n in ends if _crosses(ends[n])}
    nodes = _slip_ends(ends, crossing)
    links = (_slip_at(ends[n]) for n in sorted(nodes))
    return sorted({link.segment.index for link in links if link is not None})


def _real(ends: Iterable[End]) -> list[End]:
    return [e for e in ends if e.segment.street_class not in _DRIVEWAY_LIKE]


def _crosses(ends: Sequence[End]) -> bool:
    """At least three streets that are more than driveways meet, and somebody may cross there."""
    real = [e for e in _real(ends) if not _bulb(e)]
    return len(real) >= 3 and not all(e.segment.street_class in _FAST for e in real)


def _bulb(end: End) -> bool:
    """Whether a segment is the loop at the end of a cul-de-sac."""
    own = end.segment
    return end.other_node == end.node and own.length_ft < _BULB_FT and not own.roundabout


def _splits(ends: Sequence[End], rings: set[int], side: Side) -> bool:
    """Whether a street merely parts into its two carriageways here.

    Before a roundabout they part at any angle, round the splitter island.
    """
    real = _real(ends)
    if len(real) != 3:
        return False
    whole = [e for e in real if e.inbound and e.outbound]
    if len(whole) != 1 or any(e.segment.roundabout for e in real):
        return False
    halves = [e for e in real if e is not whole[0]]
    limit = _SPLITTER_DEG if all(e.other_node in rings for e in halves) else None
    most = _TWIN_DEG if limit is None else limit
    return pair_of(halves[0], halves[1], side, limit) is not None and all(
        abs(turn_deg(whole[0], e) - 180.0) < most and _same_street(whole[0], e) for e in halves
    )


def pair_of(
    one: End, other: End, side: Side, limit_deg: float | None = None
) -> tuple[End, End] | None:
    """(approach, departure) carriageway of one street that two ends are, or None."""
    if one.inbound == one.outbound or other.inbound == other.outbound:
        return None
    toward, away = (one, other) if one.inbound else (other, one)
    if not (toward.inbound and away.outbound) or toward.segment.index == away.segment.index:
        return None
    apart = (turn_deg(toward, away) + 180.0) % 360.0 - 180.0
    # seen from the intersection, departing traffic keeps to the driving side
    right = offset_ft(away, toward) if toward.node != away.node else apart
    keeps = right > 0 if side == "right" else right < 0
    named = one.segment.name != "" and one.segment.name == other.segment.name
    limit = limit_deg or (_TWIN_DEG if named else _PARALLEL_DEG)
    if abs(apart) > limit or not keeps or not _same_street(one, other):
        return None
    return toward, away


def _same_street(one: End, other: End) -> bool:
    names = {one.segment.name, other.segment.name} - {""}
    return len(names) < 2


class _Groups:
    """Disjoint sets of nodes that do not grow beyond an extent."""

    def __init__(self, places: Mapping[int, tuple[float, float]], extent_ft: float) -> None:
        self._places = places
        self._extent = extent_ft
        self._sets = {n: {n} for n in places}

    def join(self, a: int, b: int, *, whatever: bool = False) -> None:
        """Unite the sets of two nodes, unless they would reach too far."""
        if self._sets[a] is self._sets[b]:
            return
        united = self._sets[a] | self._sets[b]
        if whatever or self._reach(united) <= self._extent:
            for node in united:
                self._sets[node] = united

    def members(self) -> list[list[int]]:
        """Every set once, nodes rising."""
        return [sorted(own) for n, own in sorted(self._sets.items()) if n == min(own)]

    def _reach(self, nodes: Iterable[int]) -> float:
        pairs = combinations([self._places[n] for n in nodes], 2)
        return max(math.dist(p, q) for p, q in pairs)


def _links(ends: Mapping[int, Sequence[End]]) -> Iterable[tuple[End, End]]:
    """Both ends of every segment between two nodes."""
    first: dict[int, End] = {}
    for own in ends.values():
        for end in own:
            other = first.setdefault(end.segment.index, end)
            if other is not end and other.node != end.node:
                yield other, end


def _ring_links(ends: Mapping[int, Sequence[End]], crossing: set[int]) -> Iterable[tuple[int, int]]:
    """Pairs of crossing nodes that one roundabout joins, also past nodes where nobody crosses."""
    rings: dict[int, set[int]] = {}
    for one, other in _links(ends):
        if one.segment.roundabout:
            united = rings.get(one.node, {one.node}) | rings.get(other.node, {other.node})
            rings.update(dict.fromkeys(united, united))
    for nodes in {id(own): own for own in rings.values()}.values():
        own = sorted(nodes & crossing)
        yield from pairwise(own)


def _short_links(
    ends: Mapping[int, Sequence[End]],
    crossing: set[int],
    forks: set[int],
    params: IntersectionParams,
) -> Iterable[tuple[float, str, int, int]]:
    """(gap, segment id, node, node) of the links between curb lines that nearly touch."""
    known = crossing | forks
    for one, other in _links(ends):
        if one.node not in known or other.node not in known or one.segment.roundabout:
            continue
        if one.segment.length_ft > params.median_gap_ft + 2 * params.corner_limit_ft:
            continue
        reach = [
            _reach(e, ends[e.node], params) if e.node in crossing else 0.0 for e in (one, other)
        ]
        gap = one.segment.length_ft - sum(reach)
        limit = params.jog_gap_ft
        if _crosses_carriageways(one, other, ends):
            limit = params.median_gap_ft
        if gap < limit:
            nodes = sorted((one.node, other.node))
            yield gap, one.segment.segment_id, nodes[0], nodes[1]


def _reach(end: End, around: Sequence[End], params: IntersectionParams) -> float:
    """Station of the curb line on an end, its node standing alone."""
    k = [e.key for e in around].index(end.key)
    after, before = around[(k + 1) % len(around)], around[k - 1]
    left, right = end.halves
    cut = curb_cut(end.halves, right_neighbor(end, after), left_neighbor(end, before), params)
    return min(cut.farthest(-left, right), end.segment.length_ft)


def _crosses_carriageways(one: End, other: End, ends: Mapping[int, Sequence[End]]) -> bool:
    """Whether a link leads from one carriageway of a divided road to the opposite one."""
    ways = [_carriageway(e, ends[e.node]) for e in (one, other)]
    if ways[0] is None or ways[1] is None:
        return False
    return abs((ways[0] - ways[1]) % 360.0 - 180.0) < _TWIN_DEG


def _carriageway(link: End, around: Sequence[End]) -> float | None:
    """Direction of travel of the one-way street that passes across a link, if one does."""
    others = [e for e in _real(around) if e.key != link.key]
    away = [e for e in others if e.outbound and not e.inbound]
    toward = [e for e in others if e.inbound and not e.outbound]
    pairs = (a.bearing_deg for a in away for t in toward if abs(turn_deg(t, a) - 180.0) < _TWIN_DEG)
    return next(pairs, None)


def _slip_ends(ends: Mapping[int, Sequence[End]], crossing: set[int]) -> set[int]:
    """Nodes where only a slip lane leaves or joins a street that leads to the same crossing.

    A slip lane cuts the corner of a crossing X: it leaves one street at D, joins the other at M,
    and both D and M are joined to X.
    """
    forks = {n: link for n in crossing if (link := _slip_at(ends[n])) is not None}
    out: set[int] = set()
    for node, link in forks.items():
        other = forks.get(link.other_node)
        if other is None or other.segment.index != link.segment.index:
            continue
        shared = _next_nodes(ends[node]) & _next_nodes(ends[other.node])
        if (shared & crossing) - {node, other.node} - out:
            out |= {node, other.node}
    return out


def _slip_at(ends: Sequence[End]) -> End | None:
    """The one-way end that leaves a straight street at a small angle, at a node of three."""
    real = _real(ends)
    if len(real) != 3:
        return None
    for link in real:
        one, other = (e for e in real if e is not link)
        apart = min(_between(link, one), _between(link, other))
        straight = _between(one, other) > 180.0 - _TWIN_DEG
        named = _same_street(link, one) or _same_street(link, other)
        if straight and apart < _SLIP_DEG and link.inbound != link.outbound and named:
            return link if link.segment.length_ft <= _SLIP_FT else None
    return None


def _between(one: End, other: End) -> float:
    """Angle between two ends, 0..180."""
    turn = turn_deg(one, other)
    return min(turn, 360.0 - turn)


def _next_nodes(ends: Sequence[End]) -> set[int]:
    return {e.other_node for e in ends}


def _junction(nodes: Sequence[int], ends: Mapping[int, Sequence[End]], side: Side) -> Junction:
    own = set(nodes)
    ring = _ring_nodes(nodes, ends)
    flat = [e for n in [*nodes, *sorted(ring - own)] for e in ends[n]]
    inside = _inside(flat, own | ring)
    out = [e for e in flat if e.segment.index not in inside]
    places = tuple(ends[n][0].xy for n in nodes)
    if len(nodes) > 1:
        out = _around(out, places)
    return Junction(
        tuple(nodes),
        places,
        tuple(out),
        tuple(sorted(inside)),
        bool(ring),
        {n: ends[n] for n in own | ring},
        tuple(_pairs(out, side)),
    )


def _pairs(ends: Sequence[End], side: Side) -> Iterable[tuple[int, int]]:
    """Neighboring ends that are the two carriageways of one street; each end at most once."""
    taken: set[int] = set()
    for i in range(len(ends)):
        k = (i + 1) % len(ends)
        found = None if {i, k} & taken or i == k else pair_of(ends[i], ends[k], side)
        if found is not None:
            taken |= {i, k}
            yield (i, k) if found[0] is ends[i] else (k, i)


def _ring_nodes(nodes: Sequence[int], ends: Mapping[int, Sequence[End]]) -> set[int]:
    """All nodes of the roundabout that passes some of the nodes."""
    found: set[int] = set()
    todo = [n for n in nodes if any(e.segment.roundabout for e in ends[n])]
    while todo:
        node = todo.pop()
        if node not in found:
            found.add(node)
            todo += [e.other_node for e in ends[node] if e.segment.roundabout]
    return found


def _inside(flat: Sequence[End], nodes: set[int]) -> set[int]:
    """Segments between nodes of one intersection; not those that come back the long way round."""
    if len(nodes) < 2:
        return {e.segment.index for e in flat if e.segment.roundabout}
    extent = max(math.dist(a.xy, b.xy) for a, b in combinations(flat, 2))
    return {
        e.segment.index
        for e in flat
        if e.segment.roundabout
        or (e.other_node in nodes and e.other_node != e.node
            and e.segment.length_ft <= 1.5 * extent + 20.0)
    }  # fmt: skip


def _around(ends: Sequence[End], places: Sequence[tuple[float, float]]) -> list[End]:
    """Ends clockwise, seen from the middle; parallel ends in the order in which they lie."""
    middle = np.mean(places, axis=0)

    def angle(end: End) -> tuple[float, str, bool]:
        far = min(_ORDER_FT, end.segment.length_ft / 2)
        x = end.xy[0] + far * end.ahead[0] - middle[0]
        y = end.xy[1] + far * end.ahead[1] - middle[1]
        return math.degrees(math.atan2(x, y)) % 360.0, end.segment.segment_id, end.at_end

    return sorted(ends, key=angle)


def inside_segments(junctions: Iterable[Junction]) -> frozenset[int]:
    """Segments that run within intersections."""
    return frozenset(i for junction in junctions for i in junction.inside)

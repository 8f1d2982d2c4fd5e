"""Drives against a shortest-path search on a graph built here, street by street."""

from __future__ import annotations

import math
import random

import networkx as nx
import numpy as np
import pytest
import shapely
from shapely.geometry import Point
from tours.hand_streets import design_of, lattice

from layoutgen.street.design import Design
from layoutgen.tours.drives import drives
from layoutgen.tours.travel import UNREACHABLE, TravelParams, build, matrix, place
from layoutgen.work.jobs import Job

PARAMS = TravelParams()


def job(design: Design, index: int, travel: int, entry: float, exit_: float) -> Job:
    name = f"job/{design.segments[index].segment_id}/{travel}/{entry}"
    return Job(name, index, travel, entry, exit_, (name,), ("white",), 1.0, {}, 0.0, 5.0, "")


def random_jobs(design: Design, count: int, seed: int) -> list[Job]:
    pick = random.Random(seed)
    out = []
    for _ in range(count):
        s = pick.choice([one for one in design.segments if one.street_class != "path"])
        travel = {"forward": 1, "backward": -1, "both": pick.choice((1, -1))}[s.oneway]
        a, b = sorted((pick.uniform(0, s.length_ft), pick.uniform(0, s.length_ft)))
        out.append(job(design, s.index, travel, *((a, b) if travel > 0 else (b, a))))
    return out


def _speed(design: Design, index: int) -> float:
    """ft/s by the settings, read again here."""
    s = design.segments[index]
    return min(s.speed_mph, getattr(PARAMS, f"{s.street_class}_mph")) * 5280 / 3600


def _heading(design: Design, index: int, travel: int, *, at_end: bool) -> float:
    """Mathematical angle of travel at the begin or end of a directed segment."""
    points = list(design.axes.lines()[index].coords)[::travel]
    (x0, y0), (x1, y1) = points[-2:] if at_end else points[:2]
    return math.atan2(y1 - y0, x1 - x0)


def _reference_graph(design: Design) -> nx.DiGraph:
    """Nodes are (segment, travel); an arc weighs the turn plus the segment it leads onto."""
    graph = nx.DiGraph()
    ways = [
        (s.index, d)
        for s in design.segments
        for d in (1, -1)
        if s.street_class != "path" and s.oneway in ("both", "forward" if d > 0 else "backward")
    ]
    graph.add_nodes_from(ways)
    ends: dict[str, int] = {}
    for s in design.segments:
        if s.street_class != "path":
            ends[s.start] = ends.get(s.start, 0) + 1
            ends[s.end] = ends.get(s.end, 0) + 1
    for i, d in ways:
        node = design.segments[i].end if d > 0 else design.segments[i].start
        following = [
            (k, e)
            for k, e in ways
            if (design.segments[k].start if e > 0 else design.segments[k].end) == node
        ]
        others = [way for way in following if way != (i, -d)]
        for k, e in others or following:
            turn = _turn_seconds(design, (i, d), (k, e), ends[node])
            drive = design.segments[k].length_ft / _speed(design, k)
            graph.add_edge((i, d), (k, e), weight=turn + drive)
    return graph


def _turn_seconds(design: Design, a: tuple[int, int], b: tuple[int, int], ends: int) -> float:
    if a[0] == b[0] and a[1] != b[1]:
        return PARAMS.u_turn_min * 60
    if ends <= 2:
        return 0.0
    change = math.degrees(_heading(design, *b, at_end=False) - _heading(design, *a, at_end=True))
    left_deg = (change + 180) % 360 - 180
    if abs(left_deg) <= PARAMS.straight_within_deg:
        return PARAMS.straight_min * 60
    to_left = left_deg > 0
    if design.driving_side == "left":
        to_left = not to_left
    return (PARAMS.left_turn_min if to_left else PARAMS.right_turn_min) * 60


def _reference_seconds(design: Design, graph: nx.DiGraph, a: Job, b: Job) -> float:
    """Seconds from the exit of one job to the entry of another."""
    start, goal = (a.segment_index, a.travel), (b.segment_index, b.travel)
    gap = (b.entry_ft - a.exit_ft) * a.travel
    if start == goal and gap >= 0:
        return gap / _speed(design, start[0])
    length_a, length_b = (design.segments[k[0]].length_ft for k in (start, goal))
    rest = length_a - a.exit_ft if a.travel > 0 else a.exit_ft
    begin = b.entry_ft if b.travel > 0 else length_b - b.entry_ft
    own = length_b / _speed(design, goal[0])
    ways = [
        graph.edges[start, k]["weight"] + nx.dijkstra_path_length(graph, k, goal)
        for k in graph.successors(start)
        if nx.has_path(graph, k, goal)
    ]
    if not ways:
        return math.inf
    return rest / _speed(design, start[0]) + min(ways) - own + begin / _speed(design, goal[0])


@pytest.mark.parametrize("side", ["right", "left"])
def test_matrix_equals_a_search_on_an_independent_graph(side: str) -> None:
    base = lattice(5)
    design = Design(base.segments, base.axes, base.nodes, (), (), side)  # type: ignore[arg-type]
    jobs = random_jobs(design, 14, 3)
    jobs.append(jobs[0])  # the same place twice
    network = build(design, PARAMS)
    got = matrix(network, place(network, jobs, (810.0, 700.0))).seconds[1:, 1:]
    graph = _reference_graph(design)
    expected = np.array([[_reference_seconds(design, graph, a, b) for b in jobs] for a in jobs])
    off = ~np.eye(len(jobs), dtype=bool)
    assert np.isfinite(expected).all()
    assert np.abs(got - expected)[off].max() <= 0.51  # whole seconds


def test_left_hand_traffic_is_the_mirror_image() -> None:
    base = lattice(4)
    jobs = random_jobs(base, 10, 1)
    mirrored = design_of(
        {name: (-x, y) for name, (x, y) in base.nodes.items()},
        [
            (s.segment_id, s.start, s.end,
             {"oneway": s.oneway, "street_class": s.street_class, "speed_mph": s.speed_mph})
            for s in base.segments
        ],
        "left",
    )  # fmt: skip
    results = []
    for design, x in ((base, 500.0), (mirrored, -500.0)):
        network = build(design, PARAMS)
        results.append(matrix(network, place(network, jobs, (x, 300.0))))
    assert np.array_equal(results[0].seconds, results[1].seconds)
    assert np.array_equal(results[0].feet, results[1].feet)


#: a 400 ft block between two nodes, and the square it belongs to
SQUARE = {"a": (0.0, 0.0), "b": (400.0, 0.0), "c": (400.0, 300.0), "d": (0.0, 300.0)}
RING = [("ab", "a", "b", {}), ("bc", "b", "c", {}), ("cd", "c", "d", {}), ("da", "d", "a", {})]


def test_behind_is_a_loop_and_ahead_is_driving_on() -> None:
    """Round the block: 1400 ft less the 100 ft between the places; no turn costs at mere joints."""
    design = design_of(SQUARE, RING)
    jobs = [job(design, 0, 1, 100.0, 100.0), job(design, 0, 1, 200.0, 200.0)]
    network = build(design, PARAMS)
    ways = matrix(network, place(network, jobs, (0.0, 0.0)))
    feet_per_s = 20 * 5280 / 3600
    assert ways.feet[1, 2] == 100
    assert ways.seconds[1, 2] == round(100 / feet_per_s)
    assert ways.feet[2, 1] == 1300
    assert ways.seconds[2, 1] == round(1300 / feet_per_s)


def test_dead_end_is_the_only_place_to_turn_round() -> None:
    """A street with a dead end: back to a place behind is to the end and back, turned twice."""
    design = design_of({"a": (0.0, 0.0), "b": (500.0, 0.0)}, [("ab", "a", "b", {})])
    jobs = [job(design, 0, 1, 100.0, 100.0), job(design, 0, -1, 100.0, 100.0)]
    network = build(design, PARAMS)
    ways = matrix(network, place(network, jobs, (0.0, 0.0)))
    assert ways.feet[1, 2] == 800
    assert ways.seconds[1, 2] == round(800 / (20 * 5280 / 3600) + PARAMS.u_turn_min * 60)


def _u_turns(design: Design) -> set[tuple[str, int]]:
    """(segment, travel) at whose end trucks may turn round."""
    network = build(design, PARAMS)
    a, b = network.turns.nonzero()
    back = (network.segment[a] == network.segment[b]) & (a != b)
    ids = [design.segments[k].segment_id for k in network.segment[a[back]]]
    return set(zip(ids, network.direction[a[back]].tolist(), strict=True))


def test_trucks_turn_round_only_where_nothing_else_leads_back() -> None:
    r"""A ring with a through street, a dead end at a, and a one-way street out of the district.

    p --- a ----- b          the dead end ap lets trucks turn at p; the stem cs ends at a one-way
          |   \   |          street that leads out for good, so they may turn at s too
          d ----- c --- s ->- t
    """
    nodes = SQUARE | {"p": (-90.0, 10.0), "s": (500.0, 320.0), "t": (700.0, 300.0)}
    rows = [*RING, ("ac", "a", "c", {})]
    assert _u_turns(design_of(nodes, rows)) == set()
    rows += [("ap", "a", "p", {}), ("cs", "c", "s", {}), ("st", "s", "t", {"oneway": "forward"})]
    assert _u_turns(design_of(nodes, rows)) == {("ap", 1), ("cs", 1)}


def test_one_way_streets_and_paths_are_respected() -> None:
    design = design_of(
        SQUARE, [(n, a, b, {"oneway": "forward"}) for n, a, b, _ in RING[:3]]
        + [("da", "d", "a", {"street_class": "path"})],
    )  # fmt: skip
    network = build(design, PARAMS)
    assert network.courses.tolist() == [[0, -1], [1, -1], [2, -1], [-1, -1]]
    jobs = [job(design, 0, 1, 10.0, 20.0), job(design, 2, 1, 10.0, 20.0), job(design, 3, 1, 0, 1)]
    ways = matrix(network, place(network, jobs, (0.0, -10.0)))
    assert ways.seconds[1, 2] < 100
    assert ways.seconds[2, 1] == UNREACHABLE  # the path does not close the ring
    assert (ways.seconds[3, [0, 1, 2]] == UNREACHABLE).all()
    assert (ways.feet[[0, 1, 2], 3] == UNREACHABLE).all()


def test_truck_speed_is_the_lower_of_posted_and_cap() -> None:
    rows = [
        ("fast", "a", "b", {"speed_mph": 60.0, "street_class": "arterial"}),
        ("slow", "b", "c", {"speed_mph": 10.0, "street_class": "arterial"}),
    ]
    network = build(design_of(SQUARE, rows), PARAMS)
    mph = network.length_ft / network.seconds * 3600 / 5280
    assert mph.tolist() == pytest.approx([30.0, 10.0, 30.0, 10.0])


def test_yard_leaves_and_enters_both_ways() -> None:
    """The yard lies 30 ft beside the street, 100 ft from its start."""
    design = design_of(SQUARE, RING)
    jobs = [job(design, 0, 1, 150.0, 160.0), job(design, 0, -1, 50.0, 40.0)]
    network = build(design, PARAMS)
    ways = matrix(network, place(network, jobs, (100.0, -30.0)))
    assert ways.feet[0, 1:].tolist() == [80, 80]
    assert ways.feet[1, 0] == 30 + 1400 - 60
    assert ways.feet[2, 0] == 30 + 1400 - 60


def test_drive_lines_have_the_length_of_the_matrix_and_meet_the_jobs() -> None:
    design = lattice(6)
    jobs = random_jobs(design, 25, 8)
    network = build(design, PARAMS)
    places = place(network, jobs, (333.0, 410.0))
    ways = matrix(network, places)
    pairs = [(i, j) for i in range(26) for j in range(26) if i != j]
    lines = drives(network, places, ways, pairs)
    feet = np.array([ways.feet[pair] for pair in pairs])
    assert np.abs(shapely.length(lines) - feet).max() < 5.0  # whole tenths per segment
    ends = design.axes.locate([j.segment_index for j in jobs], [j.exit_ft for j in jobs])
    entries = design.axes.locate([j.segment_index for j in jobs], [j.entry_ft for j in jobs])
    for (i, j), line in zip(pairs, lines, strict=True):
        first = ends[i - 1] if i else (333.0, 410.0)
        last = entries[j - 1] if j else (333.0, 410.0)
        assert Point(line.coords[0]).distance(Point(first)) < 1e-3
        assert Point(line.coords[-1]).distance(Point(last)) < 1e-3


def test_drive_lines_follow_connected_streets_in_allowed_directions() -> None:
    design = lattice(5)
    jobs = random_jobs(design, 12, 2)
    network = build(design, PARAMS)
    places = place(network, jobs, (333.0, 410.0))
    ways = matrix(network, places)
    pairs = [(i, j) for i in range(1, 13) for j in range(1, 13) if i != j]
    axes = design.axes.lines()
    for line in drives(network, places, ways, pairs):
        points = np.array(line.coords)
        middle = (points[:-1] + points[1:]) / 2
        for a, b, m in zip(points[:-1], points[1:], middle, strict=True):
            k = int(np.argmin(shapely.distance(axes, shapely.Point(m))))
            along = axes[k].project(Point(b)) - axes[k].project(Point(a))
            assert design.segments[k].oneway in ("both", "forward" if along > 0 else "backward")


def test_no_jobs_and_no_streets_to_drive() -> None:
    design = design_of(SQUARE, [("ab", "a", "b", {"street_class": "path"})])
    network = build(design, PARAMS)
    ways = matrix(network, place(network, [job(design, 0, 1, 0, 1)], (0.0, 0.0)))
    assert ways.seconds.tolist() == [[0, UNREACHABLE], [UNREACHABLE, 0]]
    assert matrix(network, place(network, [], (0.0, 0.0))).seconds.shape == (1, 1)

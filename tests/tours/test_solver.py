"""Plans against exhaustive search."""

from __future__ import annotations

import ast
import itertools
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import layoutgen
from layoutgen.tours import solver
from layoutgen.tours.solver import Budget, Problem, cost, solve

BUDGET = Budget(seed=1, iterations=400)


def problem(count: int, seed: int, **changes: object) -> Problem:
    """Random asymmetric drives, 10-30 min of work each, three tanks."""
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, 9000, (count + 1, 2))
    away = np.hypot(*(xy[:, None] - xy[None, :]).transpose(2, 0, 1))
    seconds = (away / 20 * rng.uniform(1.0, 1.7, away.shape)).astype(np.int64) + 5
    np.fill_diagonal(seconds, 0)
    loads = rng.integers(10, 60, (count + 1, 3)) * (rng.random((count + 1, 3)) < 0.6)
    loads[0] = 0
    service = rng.integers(600, 1800, count + 1)
    service[0] = 0
    base = Problem(
        seconds=seconds,
        feet=(away * 1.2).astype(np.int64),
        service_s=service,
        loads=loads.astype(np.int64),
        tanks=np.array([400, 400, 400]),
        shift_s=8 * 3600,
        refill_s=900,
        max_tours=4,
        fixed_s=3600,
        xy=xy,
    )
    return replace(base, **changes)  # type: ignore[arg-type]


def _splits(order: tuple[int, ...]) -> Iterator[list[list[int]]]:
    """All ways to cut an order into tours and trips: 0 between trips of one tour."""
    for cuts in itertools.product("-|r", repeat=len(order) - 1):
        tours: list[list[int]] = [[order[0]]]
        for cut, job in zip(cuts, order[1:], strict=True):
            if cut == "|":
                tours.append([job])
            else:
                tours[-1] += [0, job] if cut == "r" else [job]
        yield tours


def _fits(case: Problem, tour: list[int]) -> bool:
    """Shift, tanks and windows, by plain walking."""
    clock, left = case.refill_s, case.tanks.copy()
    for a, b in itertools.pairwise([0, *tour, 0]):
        clock += int(case.seconds[a, b])
        if b and case.windows is not None:
            clock = max(clock, int(case.windows[b, 0]))
            if clock > case.windows[b, 1]:
                return False
        clock += int(case.service_s[b])
        left = left - case.loads[b]
        if (left < 0).any():
            return False
        if b == 0:
            clock, left = clock + case.refill_s, case.tanks.copy()
    return clock - case.refill_s <= case.shift_s


def _price(case: Problem, tours: list[list[int]]) -> int:
    """300 per paid second of drive and loading, 1 per foot, and the fixed price of a tour."""
    total = 0
    for tour in tours:
        pairs = list(itertools.pairwise([0, *tour, 0]))
        paid_s = sum(int(case.seconds[p]) for p in pairs) + case.fixed_s
        paid_s += case.refill_s * (1 + tour.count(0))
        total += 300 * paid_s + sum(int(case.feet[p]) for p in pairs)
    return total


def _best(case: Problem, count: int) -> int:
    known: dict[tuple[int, ...], bool] = {}

    def fits(tour: list[int]) -> bool:
        key = tuple(tour)
        if key not in known:
            known[key] = _fits(case, tour)
        return known[key]

    return min(
        _price(case, tours)
        for order in itertools.permutations(range(1, count + 1))
        for tours in _splits(order)
        if len(tours) <= case.max_tours and all(fits(tour) for tour in tours)
    )


@pytest.mark.parametrize(
    "seed, changes",
    [
        (1, {}),
        (2, {"tanks": np.array([90, 90, 90])}),  # refills on the way
        (3, {"shift_s": 5400}),  # several tours
        (4, {"tanks": np.array([120, 80, 100]), "shift_s": 9000}),
    ],
)
def test_plan_costs_what_exhaustive_search_finds(seed: int, changes: dict[str, object]) -> None:
    case = problem(6, seed, **changes)
    found = solve(case, BUDGET)
    assert found.unserved == ()
    assert all(_fits(case, list(route)) for route in found.routes)
    assert cost(case, found.routes) == _price(case, [list(route) for route in found.routes])
    assert cost(case, found.routes) == _best(case, 6)


def test_windows_are_kept() -> None:
    windows = np.tile([0, 8 * 3600], (7, 1))
    windows[2], windows[5] = (0, 1500), (12_000, 13_000)
    case = problem(6, 9, windows=windows, max_tours=2)
    found = solve(case, BUDGET)
    assert found.unserved == ()
    assert all(_fits(case, list(route)) for route in found.routes)


def test_no_job_is_served_twice_and_none_is_lost() -> None:
    case = problem(60, 5, tanks=np.array([150, 150, 150]), max_tours=8)
    found = solve(case, BUDGET)
    served = [job for route in found.routes for job in route if job]
    assert sorted(served + list(found.unserved)) == list(range(1, 61))
    assert all(_fits(case, list(route)) for route in found.routes)


def test_too_few_tours_leave_jobs_and_the_fleet_grows_only_as_needed() -> None:
    case = problem(40, 6)
    assert solve(case, BUDGET).unserved == ()
    assert len(solve(case, BUDGET).routes) == solver._fleet_bound(case, np.arange(1, 41))
    scarce = solve(replace(case, max_tours=1), BUDGET)
    assert len(scarce.routes) == 1
    assert _fits(case, list(scarce.routes[0]))
    assert 10 < len(scarce.unserved) < 30


def test_job_without_a_way_is_left_out() -> None:
    case = problem(6, 7)
    seconds = case.seconds.copy()
    seconds[:, 3] = 10_000_000
    found = solve(replace(case, seconds=seconds), BUDGET)
    assert found.unserved == (3,)


def test_equal_seeds_give_equal_plans() -> None:
    case = problem(50, 8)
    assert solve(case, BUDGET) == solve(case, BUDGET)


def test_zones_cover_all_jobs_with_equal_work() -> None:
    case = problem(500, 10)
    zones = solver._zones(case, 100)
    assert len(zones) == 5
    assert sorted(np.concatenate(zones).tolist()) == list(range(1, 501))
    work = [int(case.service_s[zone].sum()) for zone in zones]
    assert max(work) < 1.15 * min(work)
    assert len(solver._zones(case, 500)) == 1
    assert solver._zones(problem(0, 1), 100) == []


def test_zones_share_the_tours() -> None:
    case = problem(120, 11, max_tours=6)
    found = solve(case, Budget(1, 60, 40))
    assert len(found.routes) <= 6
    assert all(_fits(case, list(route)) for route in found.routes)
    served = [job for route in found.routes for job in route if job]
    assert sorted(served + list(found.unserved)) == list(range(1, 121))
    assert len(served) > 60


def test_interrupt_keeps_the_best_plan_so_far(monkeypatch: pytest.MonkeyPatch) -> None:
    calls = 0

    def stop_soon(*_: object) -> bool:
        nonlocal calls
        calls += 1
        if calls == 30:
            raise KeyboardInterrupt
        return calls > 100

    monkeypatch.setattr(solver._Watch, "__call__", stop_soon)
    found = solve(problem(40, 6), BUDGET)
    assert found.interrupted
    assert calls == 30
    assert sum(1 for route in found.routes for job in route if job) > 20


def test_only_the_seam_imports_the_library() -> None:
    root = Path(layoutgen.__file__).parent
    users = set()
    for file in root.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            if any(name.split(".")[0] == "pyvrp" for name in names):
                users.add(file.relative_to(root).as_posix())
    assert users == {"tours/solver.py"}

"""The seam to the vehicle-routing library: the only module that imports it.

Paid time is folded into the cost of the drives (`SECOND_COST` per second, `FOOT_COST` per foot), so
that the search is several times faster than with a cost on route durations; time at jobs is the
same in every plan. The search counts iterations, not seconds: equal input gives equal plans.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
import pyvrp
from numpy.typing import NDArray
from pyvrp.exceptions import PenaltyBoundWarning

Longs = NDArray[np.int64]

#: cost units; 300 per second against 1 per foot weighs 1 km driven like 11 s paid (from memory)
SECOND_COST = 300
FOOT_COST = 1
_MAX_REFILLS = 12
#: share of the iterations after which a fleet that still leaves jobs out is judged too small
_PROBE = 0.25


@dataclass(frozen=True)
class Problem:
    """What to plan; index 0 is the yard, 1 to n are jobs.

    Attributes:
        seconds, feet: (n + 1, n + 1) whole numbers; seconds hold color changes too.
        service_s: (n + 1,) time at each job.
        loads: (n + 1, tanks) whole units of paint.
        tanks: (tanks,) capacities in the same units.
        shift_s: longest tour, from the begin of loading to the return.
        refill_s: loading at the yard, before every departure.
        max_tours: vehicle-days.
        fixed_s: a tour costs as much as this paid time.
        xy: (n + 1, 2) places, to split large problems.
        windows: (n + 1, 2) earliest and latest start of work, seconds of the shift; or None.
        prizes: (n + 1,) cost of leaving each job out; None = more than any detour.
    """

    seconds: Longs
    feet: Longs
    service_s: Longs
    loads: Longs
    tanks: Longs
    shift_s: int
    refill_s: int
    max_tours: int
    fixed_s: int
    xy: NDArray[np.float64]
    windows: Longs | None = None
    prizes: Longs | None = None


@dataclass(frozen=True)
class Budget:
    """How long to search.

    Attributes:
        seed: of the search.
        iterations: of each search of one zone.
        zone_jobs: above a third more jobs than this, the problem is split into zones of this size.
    """

    seed: int = 1
    iterations: int = 3000
    zone_jobs: int = 300


@dataclass(frozen=True)
class Plan:
    """Tours as job numbers in order, 0 = refill at the yard; jobs in none; stopped by the user."""

    routes: tuple[tuple[int, ...], ...]
    unserved: tuple[int, ...]
    interrupted: bool = False


def solve(problem: Problem, budget: Budget) -> Plan:
    """Tours that serve as many jobs as possible at the least cost found.

    Zones of neighbouring jobs are planned one by one when there are many. Ctrl-C ends the search
    with the best plan so far; zones not yet searched get a quick one.
    """
    zones = _zones(problem, budget.zone_jobs)
    bounds = [_fleet_bound(problem, zone) for zone in zones]
    routes: list[tuple[int, ...]] = []
    stopped = False
    for k, zone in enumerate(zones):
        later = sum(bounds[k + 1 :])
        limit = _fleet_limit(problem.max_tours - len(routes), bounds[k], later)
        quick = replace(budget, iterations=1) if stopped else budget
        found, stop = _plan_zone(problem, zone, (bounds[k], limit), quick)
        routes, stopped = routes + found, stopped or stop
    served = {job for route in routes for job in route}
    unserved = tuple(job for job in range(1, len(problem.seconds)) if job not in served)
    return Plan(tuple(routes), unserved, stopped)


def cost(problem: Problem, routes: Sequence[Sequence[int]]) -> int:
    """Cost of tours, prizes not counted: paid drives and refills, feet, and the fixed price."""
    total = problem.fixed_s * SECOND_COST * len(routes)
    drives = _drive_cost(problem.seconds, problem.feet, problem.refill_s)
    for route in routes:
        way = [0, *route, 0]
        total += sum(int(drives[i, j]) for i, j in pairwise(way))
    return total


def _drive_cost(seconds: Longs, feet: Longs, refill_s: int) -> Longs:
    """Cost of every drive; leaving the yard includes the loading."""
    out = seconds.astype(np.int64) * SECOND_COST + feet.astype(np.int64) * FOOT_COST
    out[0, 1:] += refill_s * SECOND_COST
    return out


def _zones(problem: Problem, size: int) -> list[Longs]:
    """Jobs in groups of neighbours, about equally much work in each."""
    jobs = np.arange(1, len(problem.seconds))
    if len(jobs) * 3 <= size * 4:
        return [jobs] if len(jobs) else []
    return _split(problem, jobs, -(-len(jobs) // size))


def _split(problem: Problem, jobs: Longs, parts: int) -> list[Longs]:
    """Cut across the longer side so that the parts have work in proportion; again within each."""
    if parts <= 1:
        return [np.sort(jobs)]
    xy = problem.xy[jobs]
    side = int(np.argmax(np.ptp(xy, axis=0)))
    order = jobs[np.lexsort((jobs, xy[:, side]))]
    work = np.cumsum(problem.service_s[order] + 120)
    low = parts // 2
    at = int(np.searchsorted(work, work[-1] * low / parts))
    at = min(max(at, low), len(order) - (parts - low))
    return _split(problem, order[:at], low) + _split(problem, order[at:], parts - low)


def _fleet_bound(problem: Problem, zone: Longs) -> int:
    """Fewest tours the jobs can take: their work, and to each job the shortest drive there is."""
    part = np.concatenate([[0], zone])
    seconds = problem.seconds[np.ix_(part, part)].astype(float)
    np.fill_diagonal(seconds, np.inf)
    nearest = float(seconds[:, 1:].min(axis=0).sum()) if len(zone) else 0.0
    room = max(problem.shift_s - problem.refill_s - float(seconds[1:, 0].min(initial=0.0)), 1.0)
    work = float(problem.service_s[zone].sum()) + nearest
    tanks = np.ceil(problem.loads[zone].sum(axis=0) / np.maximum(problem.tanks, 1))
    loading = float(tanks.max(initial=0.0)) * problem.refill_s  # one load comes with each tour
    return max(1, int(np.ceil(max(work / room, (work + loading) / (room + problem.refill_s)))))


def _fleet_limit(left: int, bound: int, later: int) -> int:
    """Tours a zone may use: what the bounds of later zones spare, or its share of a shortage."""
    if left >= bound + later:
        return left - later
    return round(left * bound / (bound + later))


def _plan_zone(
    problem: Problem, zone: Longs, fleet: tuple[int, int], budget: Budget
) -> tuple[list[tuple[int, ...]], bool]:
    """Tours of a zone: the bound's fleet first, larger ones while jobs are left out."""
    size, limit = min(fleet), fleet[1]
    if limit < 1:
        return [], False
    part = np.concatenate([[0], zone])
    local = _sub_problem(problem, part)
    while True:
        routes, missing_s, stopped = _search(local, size, budget, final=size >= limit)
        if missing_s == 0 or size >= limit or stopped:
            break
        size = min(limit, size + max(1, int(missing_s / problem.shift_s)))
    return [tuple(int(part[job]) for job in route) for route in routes], stopped


def _sub_problem(problem: Problem, part: Longs) -> Problem:
    cells = np.ix_(part, part)
    return replace(
        problem,
        seconds=problem.seconds[cells].astype(np.int64),
        feet=problem.feet[cells].astype(np.int64),
        service_s=problem.service_s[part],
        loads=problem.loads[part],
        xy=problem.xy[part],
        windows=None if problem.windows is None else problem.windows[part],
        prizes=None if problem.prizes is None else problem.prizes[part],
    )


class _Watch(pyvrp.IteratedLocalSearchCallbacks):
    """Remembers the best plan, so that Ctrl-C loses nothing, and says when to stop."""

    def __init__(self, iterations: int, *, final: bool) -> None:
        self.best: Any = None
        self.left = iterations
        self.probe = 0 if final else iterations - max(1, int(iterations * _PROBE))

    def on_start(self, ils: Any) -> None:
        self.best = ils.initial_solution

    def on_best(self, best: Any) -> None:
        self.best = best

    def __call__(self, best_cost: int) -> bool:  # noqa: ARG002
        """Stop: no iterations left, or a probe that still leaves jobs out."""
        self.left -= 1
        short = self.left == self.probe and self.probe > 0
        return self.left < 0 or (short and len(self.best.unplanned()) > 0)


def _search(
    problem: Problem, tours: int, budget: Budget, *, final: bool
) -> tuple[list[tuple[int, ...]], int, bool]:
    """Tours, seconds of work left out, and whether the user stopped the search."""
    model = _model(problem, tours)
    watch, stopped = _Watch(budget.iterations, final=final), False
    try:
        _run(model, watch, budget.seed)
    except KeyboardInterrupt:
        stopped = True
    if watch.best is None:  # stopped before the first plan was complete
        _run(model, watch := _Watch(1, final=True), budget.seed)
    found = watch.best.routes()
    routes = [_route(one) for one in found if one.is_feasible()]
    routes = sorted(route for route in routes if route)
    served = {job for route in routes for job in route}
    left = [job for job in range(1, len(problem.seconds)) if job not in served]
    return routes, int(problem.service_s[left].sum()) + len(left), stopped


def _run(model: Any, watch: _Watch, seed: int) -> None:
    params = pyvrp.SolveParams(ils=pyvrp.IteratedLocalSearchParams(callbacks=watch))
    with warnings.catch_warnings():
        # a fleet too small for all jobs drives the penalties to their bound: seen in the result
        warnings.simplefilter("ignore", PenaltyBoundWarning)
        pyvrp.solve(model, watch, seed=seed, collect_stats=False, display=False, params=params)


def _model(problem: Problem, tours: int) -> Any:
    """The library's record of the problem, from whole arrays."""
    seconds, feet = problem.seconds.copy(), problem.feet.copy()
    no_way = seconds > problem.shift_s
    seconds[no_way] = problem.shift_s + 1  # never fits, and does not blow up the penalties
    feet[no_way] = feet[~no_way].max(initial=0)
    np.fill_diagonal(seconds, 0)
    drives = _drive_cost(seconds, feet, problem.refill_s)
    np.fill_diagonal(drives, 0)
    used = problem.loads.sum(axis=0) > 0
    truck = pyvrp.VehicleType(
        tours,
        capacity=[int(one) for one in problem.tanks[used]],
        fixed_cost=problem.fixed_s * SECOND_COST,
        tw_early=0,
        tw_late=problem.shift_s,
        shift_duration=problem.shift_s,
        unit_distance_cost=1,
        unit_duration_cost=0,
        reload_depots=[0] if used.any() else [],
        max_reloads=_MAX_REFILLS if used.any() else 0,
    )
    matrices: list[Any] = [drives, seconds]
    return pyvrp.ProblemData(
        [pyvrp.Location(float(x), float(y)) for x, y in problem.xy],
        _clients(problem, used),
        [pyvrp.Depot(0, service_duration=problem.refill_s)],
        [truck],
        matrices[:1],
        matrices[1:],
    )


def _clients(problem: Problem, used: NDArray[np.bool_]) -> list[Any]:
    count = len(problem.seconds)
    prize = 2 * SECOND_COST * (problem.shift_s + problem.fixed_s)
    prizes = np.full(count, prize) if problem.prizes is None else problem.prizes
    windows = np.tile([0, problem.shift_s], (count, 1))
    windows = windows if problem.windows is None else problem.windows
    return [
        pyvrp.Client(
            job,
            delivery=[int(one) for one in problem.loads[job, used]],
            service_duration=int(problem.service_s[job]),
            tw_early=int(windows[job, 0]),
            tw_late=int(windows[job, 1]),
            prize=int(prizes[job]),
            required=False,
        )
        for job in range(1, count)
    ]


def _route(route: Any) -> tuple[int, ...]:
    """Job numbers of a tour; refills that serve nothing are left out."""
    visits = [0 if one.is_depot() else one.idx + 1 for one in route]
    out: list[int] = []
    for job in visits:
        if job or (out and out[-1]):
            out.append(job)
    return tuple(out[:-1] if out and out[-1] == 0 else out)

"""Routes that searches have seen, and the best plan that can be put together of them.

A search drops good routes together with the bad ones beside them. Choosing among all that it ever held is a
set packing problem: each visit at most once, each day of a technician at most once. Its linear relaxation
says which routes cannot be in a better plan than the one at hand (by their reduced costs); the rest is timed
on the real clock, and solved exactly.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain, islice

import numpy as np
import numpy.typing as npt
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import csc_array

from fleet.routing.problem import Problem
from fleet.routing.schedule import schedule_route

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
# A vehicle, and its visits in order.
Seen = tuple[int, tuple[int, ...]]
# The newest routes are kept: more only slow the choice down.
MOST_ROUTES = 20_000
# Routes that the exact choice is given, those of best reduced cost: few first, since what they win already
# leaves fewer of the others; twice as many each time, at most so many.
FIRST_CHOICES, MOST_CHOICES = 150, 1_500
# The choice may end this near to the best there is, as a share of its value.
GAP = 1e-6


class RoutePool:
    """Routes seen, each once, the newest last; with what each wins where the search said so [points]."""

    def __init__(self) -> None:
        self._seen: dict[Seen, float | None] = {}

    def add(self, vehicle: int, visits: Iterable[int], worth: float | None = None) -> None:
        """Note a route."""
        key = (vehicle, tuple(visits))
        if key[1]:
            known = self._seen.pop(key, None)
            self._seen[key] = known if worth is None else worth
            if len(self._seen) >= 2 * MOST_ROUTES:
                self._seen = dict(islice(self._seen.items(), MOST_ROUTES, None))

    def add_all(self, routes: Iterable[Seen]) -> None:
        """Note routes."""
        for vehicle, visits in routes:
            self.add(vehicle, visits)

    @property
    def routes(self) -> tuple[Seen, ...]:
        """The newest routes, the newest last."""
        return tuple(self._seen)[-MOST_ROUTES:]

    def worth(self, route: Seen) -> float | None:
        """What a search said that a route wins [points]; None where it was not told."""
        return self._seen[route]


@dataclass(frozen=True, slots=True)
class _Columns:
    """Routes, what each is worth [points], and which bounds it uses up."""

    routes: tuple[Seen, ...]
    worth: FloatArray
    uses: csc_array  # shaped (visits + kinds of day, routes)
    most: FloatArray  # bound of each row
    alike: tuple[tuple[int, ...], ...]  # vehicles of each kind of day


def best_of_routes(
    problem: Problem, pool: RoutePool, *, at_least: float, seconds: float
) -> dict[int, list[int]] | None:
    """Orders (vehicle -> visits) that win most, put together of seen routes; None where none wins more.

    Parameters
    ----------
    problem
        What is planned.
    pool
        Routes; those that cannot be driven are left out.
    at_least
        What the plan at hand wins by `worth_of` [points]: only more than that is an answer.
    seconds
        Time for it [s]; a first choice is made in any case.
    """
    until = time.perf_counter() + seconds
    columns = _columns(problem, pool)
    if columns is None:
        return None
    # Its type hints know no sparse matrix; the function does.
    relaxed = linprog(  # type: ignore[call-overload]
        -columns.worth, A_ub=columns.uses, b_ub=columns.most, bounds=(0, None), method="highs"
    )
    if not relaxed.success:
        return None
    reduced = columns.worth + columns.uses.T @ relaxed.ineqlin.marginals
    order = np.argsort(-reduced, kind="stable")
    best: list[int] | None = None
    size = FIRST_CHOICES
    while True:
        # Gained is at most what the relaxation says; a route that costs more of it is in no better plan.
        near = order[reduced[order] >= at_least + relaxed.fun]
        found = _exactly(problem, columns, near[:size], at_least + 1, until - time.perf_counter())
        if found is not None:
            best, at_least = found
        if size >= min(len(near), MOST_CHOICES) or time.perf_counter() >= until:
            return _orders(columns, best) if best is not None else None
        size *= 2


def _exactly(
    problem: Problem, columns: _Columns, near: IntArray, at_least: float, seconds: float
) -> tuple[list[int], float] | None:
    """The best plan of these columns, and what it wins on the real clock; None where none wins so much."""
    chosen, worth = _timed(problem, columns, near)
    if not len(chosen):
        return None
    found = milp(
        -worth,
        constraints=[
            LinearConstraint(columns.uses[:, chosen], ub=columns.most),
            LinearConstraint(worth[None, :], lb=at_least),
        ],
        integrality=np.ones(len(chosen), dtype=np.int64),
        bounds=Bounds(0, 1),
        options={"time_limit": max(0.05, seconds), "mip_rel_gap": GAP},
    )
    if found.x is None or -found.fun < at_least:
        return None
    taken = found.x > 0.5
    return chosen[taken].tolist(), float(worth[taken].sum())


def _timed(problem: Problem, columns: _Columns, near: IntArray) -> tuple[IntArray, FloatArray]:
    """Those columns that can be driven on the real clock, and what they win there [points]."""
    bonus = problem.points_of_a_must
    routes = [columns.routes[number] for number in near.tolist()]
    worths = [_worth(problem, vehicle, order, bonus) for vehicle, order in routes]
    holds = np.array([worth is not None for worth in worths], dtype=bool)
    return near[holds], np.array([worth for worth in worths if worth is not None])


def worth_of(problem: Problem, orders: Mapping[int, Sequence[int]]) -> float:
    """What orders win: prizes less travel, and more than any detour for each `must` [points]."""
    bonus = problem.points_of_a_must
    return sum(_worth(problem, vehicle, order, bonus) or 0.0 for vehicle, order in orders.items())


def _worth(problem: Problem, vehicle: int, order: Sequence[int], bonus: float) -> float | None:
    """What one route wins [points]; None where it cannot be driven."""
    route = schedule_route(problem, vehicle, order)
    if route is None:
        return None
    musts = sum(problem.visits[visit].must for visit in order)
    return sum(stop.prize for stop in route.stops) - route.travel_cost + musts * bonus


def _columns(problem: Problem, pool: RoutePool) -> _Columns | None:
    """Seen routes as columns: of those with the same visits on the same kind of day, the best."""
    alike = _alike(problem)
    kind_of = {vehicle: kind for kind, group in enumerate(alike) for vehicle in group}
    bonus = problem.points_of_a_must
    best: dict[tuple[int, frozenset[int]], tuple[float, Seen]] = {}
    for vehicle, visits in pool.routes:
        kind = kind_of[vehicle]
        seen = (alike[kind][0], visits)
        worth = pool.worth((vehicle, visits))
        if worth is None:
            worth = _worth(problem, *seen, bonus)
        key = (kind, frozenset(visits))
        if worth is not None and (key not in best or worth > best[key][0]):
            best[key] = (worth, seen)
    if not best:
        return None
    rows = [[*visits, len(problem.visits) + kind] for kind, visits in best]
    ends = np.cumsum([0, *(len(row) for row in rows)])
    members = np.fromiter(chain.from_iterable(rows), dtype=np.int64, count=int(ends[-1]))
    shape = (len(problem.visits) + len(alike), len(best))
    return _Columns(
        routes=tuple(seen for _, seen in best.values()),
        worth=np.array([worth for worth, _ in best.values()]),
        uses=csc_array((np.ones(len(members)), members, ends), shape=shape),
        most=np.array([1.0] * len(problem.visits) + [float(len(group)) for group in alike]),
        alike=alike,
    )


def _alike(problem: Problem) -> tuple[tuple[int, ...], ...]:
    """Vehicles that can drive each other's routes, in groups."""
    locks = {visit.vehicle for visit in problem.visits if visit.vehicle is not None}
    groups: dict[object, list[int]] = {}
    for number, who in enumerate(problem.vehicles):
        own = who.key if who.key in locks else ""
        groups.setdefault(replace(who, key=own, technician=""), []).append(number)
    return tuple(tuple(group) for group in groups.values())


def _orders(columns: _Columns, chosen: Iterable[int]) -> dict[int, list[int]]:
    """Chosen columns as orders; vehicles that are alike take them in turn."""
    free = {group[0]: list(group) for group in columns.alike}
    return {free[vehicle].pop(0): list(visits) for vehicle, visits in (columns.routes[n] for n in chosen)}

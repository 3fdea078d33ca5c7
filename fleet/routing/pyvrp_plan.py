"""A better plan until the time is up, by PyVRP. With `pyvrp_data` alone it knows that library.

A search holds thousands of routes that its own best plan has no use for. Two thirds of the way they are put
together anew as well as can be, and the search goes on from there.
"""

from __future__ import annotations

import math
import time
import warnings
from collections.abc import Callable, Mapping, Sequence

import pyvrp
from pyvrp.exceptions import PenaltyBoundWarning
from pyvrp.search import OPERATORS, LocalSearch, PerturbationManager, PerturbationParams, compute_neighbours
from pyvrp.stop import MaxIterations, MaxRuntime, StoppingCriterion

from fleet.routing.problem import Problem
from fleet.routing.pyvrp_data import Encoded, encode, orders_of, solution_of, visits_of
from fleet.routing.route_pool import MOST_ROUTES, RoutePool, best_of_routes, worth_of

# How many of the last improvements are tried on the real clock before the warm start is kept.
KEPT_BESTS = 40
# Penalty of a unit of lateness or load at the start of the search [points]; it then moves by itself.
FIRST_PENALTY = 15.0
# Most visits that a step shakes, and how far back lies the plan that the next must beat: the library's,
# and those of shorter searches; in 3 s the latter won 0.3 % more on invented days of other seeds.
LONG, SHORT, SHORT_S = (25, 300), (10, 30), 8.0
# Where routes are gathered: so much of the search before they are put together anew, and so much for that.
FIRST_LEG, CHOICE_SHARE, CHOICE_MOST_S = 0.65, 0.08, 3.0

Orders = dict[int, list[int]]
Newest = Callable[[], Orders | None]


def improved_orders(
    problem: Problem,
    start: Mapping[int, Sequence[int]],
    *,
    seconds: float | None,
    seed: int,
    iterations: int | None = None,
    is_over: Callable[[Newest], bool] | None = None,
    pool: RoutePool | None = None,
) -> list[Orders]:
    """Plans found from a warm start, best first, as visits of each vehicle in order.

    They hold on the clock without breaks; the caller proves them on the real one and takes the first that
    holds. The warm start itself is not among them.

    Parameters
    ----------
    problem
        What is planned.
    start
        Visits of each vehicle in order, empty to begin from nothing; must be driveable.
    seconds
        Time to search [s]; None: only `iterations` end the search.
    seed
        Seed of the search.
    iterations
        Number of iterations to search; makes the answer repeat exactly.
    is_over
        Asked at every iteration whether to end the search before its time; is given a function that tells
        the newest improvement (None where there is none).
    pool
        Gathers every route that the search held, where there is one; the search then puts them together
        anew on its way.
    """
    if seconds is None and iterations is None:
        raise ValueError("say how long to search: seconds or iterations")
    encoded = encode(problem, start)
    if encoded is None:
        return []
    began = time.perf_counter()
    bests = _Bests(encoded, pool)
    rng = pyvrp.RandomNumberGenerator(seed=seed)
    first = solution_of(problem, encoded, start)
    for share in (FIRST_LEG, 1.0) if pool is not None else (1.0,):
        left_s = math.inf if seconds is None else began + seconds * share - time.perf_counter()
        rounds = None if iterations is None else math.ceil(iterations * share) - bests.iterations
        inner: StoppingCriterion = MaxRuntime(max(0.0, left_s)) if rounds is None else MaxIterations(rounds)
        stop = _Stop(inner, lambda: _newest(encoded, bests), is_over)
        with warnings.catch_warnings():
            # Prizes of money beside seconds of lateness: the penalty may reach its bound, which does no harm.
            warnings.simplefilter("ignore", PenaltyBoundWarning)
            _search(encoded.data, bests, rng, first, seconds).run(stop, collect_stats=False, display=False)
        if pool is None:
            break
        bests.hand_over()
        if stop.was_told or share == 1.0:
            break
        choice_s = CHOICE_MOST_S if seconds is None else min(CHOICE_MOST_S, CHOICE_SHARE * seconds)
        first = _put_together(problem, encoded, bests, pool, choice_s)
    return [orders_of(encoded, found) for found in reversed(bests.found) if found.is_feasible()]


def _put_together(
    problem: Problem, encoded: Encoded, bests: _Bests, pool: RoutePool, seconds: float
) -> pyvrp.Solution | None:
    """The best plan of all routes that were held, where it is better than the best one found; else that."""
    best = next((one for one in reversed(bests.found) if one.is_feasible()), None)
    at_hand = worth_of(problem, orders_of(encoded, best)) if best is not None else 0.0
    chosen = best_of_routes(problem, pool, at_least=at_hand, seconds=seconds)
    made = solution_of(problem, encoded, chosen) if chosen is not None else None
    if made is None or not made.is_feasible():
        return best
    bests.found.append(made)
    return made


def _search(
    data: pyvrp.ProblemData,
    bests: _Bests,
    rng: pyvrp.RandomNumberGenerator,
    start: pyvrp.Solution | None,
    seconds: float | None,
) -> pyvrp.IteratedLocalSearch:
    """The library's own search, but with penalties that begin near the size of our costs.

    Its default begins at 50,000 points a second of lateness, against some 1.5 points that a second of driving
    costs here: it then spends most of a short search on coming down.
    """
    shaken, history = LONG if seconds is None or seconds >= SHORT_S else SHORT
    local = LocalSearch(
        data, rng, compute_neighbours(data), PerturbationManager(PerturbationParams(1, shaken))
    )
    for operator in OPERATORS:
        if operator.supports(data):
            local.add_operator(operator(data))
    loads = [FIRST_PENALTY] * data.num_load_dimensions
    penalties = pyvrp.PenaltyManager((loads, FIRST_PENALTY, FIRST_PENALTY))
    first = start
    if first is None:
        first = local(pyvrp.Solution.make_random(data, rng), penalties.max_cost_evaluator(), exhaustive=True)
    params = pyvrp.IteratedLocalSearchParams(callbacks=bests, history_length=history)
    return pyvrp.IteratedLocalSearch(data, penalties, local, first, params)


class _Stop:
    """The library's own criterion, and the caller's word before it."""

    def __init__(
        self, inner: StoppingCriterion, newest: Newest, is_over: Callable[[Newest], bool] | None
    ) -> None:
        self._inner, self._newest, self._is_over = inner, newest, is_over
        self.was_told = False

    def __call__(self, best_cost: int) -> bool:
        """Tell whether the search ends."""
        if self._is_over is not None and self._is_over(self._newest):
            self.was_told = True
        return self.was_told or self._inner(best_cost)


def _newest(encoded: Encoded, bests: _Bests) -> Orders | None:
    """The last improvement that keeps all bounds of the short clock."""
    found = next((one for one in reversed(bests.found) if one.is_feasible()), None)
    return orders_of(encoded, found) if found is not None else None


class _Bests(pyvrp.IteratedLocalSearchCallbacks):
    """Keeps the last improvements, and all routes of all plans that were looked at.

    Routes are told apart by what can be asked of them quickly, type, cost, prizes and time, as they come by
    the ten thousand a second; their visits are read when they are handed over.
    """

    def __init__(self, encoded: Encoded, pool: RoutePool | None) -> None:
        self.found: list[pyvrp.Solution] = []
        self.iterations = 0
        self._encoded, self._pool = encoded, pool
        self._seen: dict[tuple[int, int, int, int], pyvrp.Route | None] = {}

    def on_best(self, best: pyvrp.Solution) -> None:
        """Keep it."""
        self.found.append(best)
        del self.found[:-KEPT_BESTS]

    def on_iteration(self, _current: pyvrp.Solution, candidate: pyvrp.Solution, *_others: object) -> None:
        """Keep the routes of the plan that was looked at."""
        self.iterations += 1
        if self._pool is None:
            return
        seen = self._seen
        for route in candidate.routes():
            key = (route.vehicle_type(), route.distance(), route.prizes(), route.duration())
            if key not in seen and route.is_feasible():
                seen[key] = route
        if len(seen) > MOST_ROUTES:
            self.hand_over()
            seen.clear()

    def hand_over(self) -> None:
        """Put the routes that are new into the pool, each with what it wins on the short clock [points]."""
        if self._pool is None:
            return
        for key, route in self._seen.items():
            if route is not None:
                own = self._encoded.vehicles_of[key[0]]
                self._pool.add(own[0], visits_of(self._encoded, route), float(key[2] - key[1]))
                self._seen[key] = None

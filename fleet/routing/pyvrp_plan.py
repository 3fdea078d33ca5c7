"""A better plan until the time is up, by PyVRP. The only module that knows that library."""

from __future__ import annotations

import warnings
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pyvrp
from pyvrp.exceptions import PenaltyBoundWarning
from pyvrp.search import OPERATORS, LocalSearch, PerturbationManager, PerturbationParams, compute_neighbours
from pyvrp.stop import MaxIterations, MaxRuntime, StoppingCriterion

from fleet.routing.compressed import CompressedClock, compress_breaks
from fleet.routing.problem import UNREACHABLE_S, IntArray, Problem, Window
from fleet.routing.profiles import Profiles, find_profiles, usable_windows
from fleet.routing.route_pool import RoutePool
from fleet.routing.schedule import schedule_route

# How many of the last improvements are tried on the real clock before the warm start is kept.
KEPT_BESTS = 40
# Penalty of a unit of lateness or load at the start of the search [points]; it then moves by itself.
FIRST_PENALTY = 15.0
# Most visits that a step shakes, and how far back lies the plan that the next must beat: the library's,
# and those of shorter searches; in 3 s the latter won 0.3 % more on invented days of other seeds.
LONG, SHORT, SHORT_S = (25, 300), (10, 30), 8.0

Newest = Callable[[], dict[int, list[int]] | None]


@dataclass(frozen=True, slots=True)
class _Encoded:
    """The problem in the library's words, and the way back from its numbers."""

    data: pyvrp.ProblemData
    client_visit: tuple[int, ...]
    clients_of: dict[int, tuple[tuple[Window, int], ...]]
    type_of: dict[int, int]
    vehicles_of: tuple[tuple[int, ...], ...]


def improved_orders(
    problem: Problem,
    start: Mapping[int, Sequence[int]],
    *,
    seconds: float | None,
    seed: int,
    iterations: int | None = None,
    is_over: Callable[[Newest], bool] | None = None,
    pool: RoutePool | None = None,
) -> list[dict[int, list[int]]]:
    """Plans found from a warm start, best first, as visits of each vehicle in order.

    They hold on the clock without breaks; the caller proves them on the real one and takes the first that
    holds. The warm start itself is not among them.

    Parameters
    ----------
    problem
        What is planned.
    start
        Visits of each vehicle in order; must be driveable.
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
        Gathers every route that the search held, where there is one.
    """
    if seconds is None and iterations is None:
        raise ValueError("say how long to search: seconds or iterations")
    encoded = _encode(problem, start)
    if encoded is None:
        return []
    bests = _Bests(encoded, pool)
    inner: StoppingCriterion = MaxRuntime(seconds) if iterations is None else MaxIterations(iterations)  # type: ignore[arg-type]
    stop = _Stop(inner, lambda: _newest(encoded, bests), is_over)
    with warnings.catch_warnings():
        # Prizes of money beside seconds of lateness: the penalty may reach its bound, which does no harm.
        warnings.simplefilter("ignore", PenaltyBoundWarning)
        _search(encoded.data, bests, seed, _warm_start(problem, encoded, start), seconds).run(
            stop, collect_stats=False, display=False
        )
    return [_decode(encoded, found) for found in reversed(bests.found) if found.is_feasible()]


def _search(
    data: pyvrp.ProblemData, bests: _Bests, seed: int, start: pyvrp.Solution | None, seconds: float | None
) -> pyvrp.IteratedLocalSearch:
    """The library's own search, but with penalties that begin near the size of our costs.

    Its default begins at 50,000 points a second of lateness, against some 1.5 points that a second of driving
    costs here: it then spends most of a short search on coming down.
    """
    shaken, history = LONG if seconds is None or seconds >= SHORT_S else SHORT
    rng = pyvrp.RandomNumberGenerator(seed=seed)
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

    def __call__(self, best_cost: int) -> bool:
        """Tell whether the search ends."""
        return self._inner(best_cost) or (self._is_over is not None and self._is_over(self._newest))


def _newest(encoded: _Encoded, bests: _Bests) -> dict[int, list[int]] | None:
    """The last improvement that keeps all bounds of the short clock."""
    found = next((one for one in reversed(bests.found) if one.is_feasible()), None)
    return _decode(encoded, found) if found is not None else None


class _Bests(pyvrp.IteratedLocalSearchCallbacks):
    """Keeps the last improvements, and all routes of the plans that the search went on from."""

    def __init__(self, encoded: _Encoded, pool: RoutePool | None) -> None:
        self.found: list[pyvrp.Solution] = []
        self._encoded, self._pool = encoded, pool
        self._last: pyvrp.Solution | None = None

    def on_best(self, best: pyvrp.Solution) -> None:
        """Keep it."""
        self.found.append(best)
        del self.found[:-KEPT_BESTS]

    def on_iteration(self, current: pyvrp.Solution, *_others: object) -> None:
        """Keep the routes of a plan that the search goes on from."""
        if self._pool is None or current is self._last:
            return
        self._last = current
        for route in current.routes():
            if route.is_feasible():
                own = self._encoded.vehicles_of[route.vehicle_type()]
                self._pool.add(own[0], _visits(self._encoded, route))


def _encode(problem: Problem, start: Mapping[int, Sequence[int]]) -> _Encoded | None:
    """Build the library's data; None where nothing can be planned."""
    clock = compress_breaks(problem)
    profiles = find_profiles(problem)
    types, vehicles_of = _vehicle_types(problem, clock, profiles)
    served = {visit for order in start.values() for visit in order}
    all_musts = all(number in served for number, visit in enumerate(problem.visits) if visit.must)
    lost = problem.points_of_a_must
    clients: list[pyvrp.Client] = []
    groups: list[pyvrp.ClientGroup] = []
    client_visit: list[int] = []
    clients_of: dict[int, tuple[tuple[Window, int], ...]] = {}
    for number, visit in enumerate(problem.visits):
        windows = usable_windows(problem, number)
        if not windows:
            continue
        required = visit.must and all_musts
        bonus = lost if visit.must else 0
        group = len(groups) if len(windows) > 1 else None
        first = len(clients)
        for window in windows:
            short = clock.short_window(window)
            clients.append(
                pyvrp.Client(
                    location=number,
                    delivery=[visit.demand],
                    service_duration=visit.service_s,
                    tw_early=short.start_s,
                    tw_late=short.end_s,
                    prize=window.prize + bonus,
                    required=required and group is None,
                    group=group,
                )
            )
            client_visit.append(number)
        clients_of[number] = tuple((window, first + k) for k, window in enumerate(windows))
        if group is not None:
            groups.append(pyvrp.ClientGroup(list(range(first, len(clients))), required=required))
    if not clients or not problem.vehicles:
        return None
    depots = sorted({place for v in problem.vehicles for place in (v.start_place, v.end_place)})
    nodes = [visit.place for visit in problem.visits] + depots
    distances, durations = _matrices(problem, nodes, profiles)
    data = pyvrp.ProblemData(
        locations=[pyvrp.Location(0, 0)] * len(nodes),
        clients=clients,
        depots=[pyvrp.Depot(len(problem.visits) + k) for k in range(len(depots))],
        vehicle_types=[_vehicle_type(problem, clock, depots, profiles, group) for group in vehicles_of],
        distance_matrices=distances,  # type: ignore[arg-type]
        duration_matrices=durations,  # type: ignore[arg-type]
        groups=groups,
    )
    return _Encoded(data, tuple(client_visit), clients_of, types, vehicles_of)


def _vehicle_types(
    problem: Problem, clock: CompressedClock, profiles: Profiles
) -> tuple[dict[int, int], tuple[tuple[int, ...], ...]]:
    """Group vehicles that are alike: type of each vehicle, vehicles of each type."""
    groups: dict[tuple[object, ...], list[int]] = defaultdict(list)
    for number, who in enumerate(problem.vehicles):
        span = (who.shift_start_s, clock.short_end(who))
        groups[(who.start_place, who.end_place, *span, who.capacity, profiles.of[number])].append(number)
    vehicles_of = tuple(tuple(group) for group in groups.values())
    return {number: kind for kind, group in enumerate(vehicles_of) for number in group}, vehicles_of


def _matrices(
    problem: Problem, nodes: Sequence[int], profiles: Profiles
) -> tuple[list[IntArray], list[IntArray]]:
    """Cost (as the library's distance) and time between nodes, with no way into forbidden visits."""
    index = np.ix_(nodes, nodes)
    cost, duration = problem.cost[index].copy(), problem.duration_s[index].copy()
    np.fill_diagonal(cost, 0)
    np.fill_diagonal(duration, 0)
    costs, durations = [], []
    for closed in profiles.forbidden:
        shut = sorted(closed)
        one_cost, one_duration = cost.copy(), duration.copy()
        one_duration[:, shut] = one_duration[shut, :] = UNREACHABLE_S
        one_cost[:, shut] = one_cost[shut, :] = UNREACHABLE_S
        np.fill_diagonal(one_cost, 0)
        np.fill_diagonal(one_duration, 0)
        costs.append(one_cost)
        durations.append(one_duration)
    return costs, durations


def _vehicle_type(
    problem: Problem,
    clock: CompressedClock,
    depots: Sequence[int],
    profiles: Profiles,
    group: Sequence[int],
) -> pyvrp.VehicleType:
    """A type of vehicles that are alike."""
    who = problem.vehicles[group[0]]
    demand = sum(visit.demand for visit in problem.visits)
    return pyvrp.VehicleType(
        num_available=len(group),
        capacity=[demand if who.capacity is None else who.capacity],
        start_depot=depots.index(who.start_place),
        end_depot=depots.index(who.end_place),
        tw_early=clock.to_short(who.shift_start_s),
        tw_late=clock.short_end(who),
        profile=profiles.of[group[0]],
    )


def _warm_start(
    problem: Problem, encoded: _Encoded, start: Mapping[int, Sequence[int]]
) -> pyvrp.Solution | None:
    """The start plan in the library's words; each visit in the window that it uses."""
    routes = []
    for vehicle, order in start.items():
        timed = schedule_route(problem, vehicle, order) if order else None
        if timed is None:
            continue
        clients = []
        for stop in timed.stops:
            options = encoded.clients_of[stop.visit]
            clients.append(next(c for w, c in options if w.start_s <= stop.start_s <= w.end_s))
        routes.append(pyvrp.Route(encoded.data, clients, encoded.type_of[vehicle]))
    return pyvrp.Solution(encoded.data, routes) if routes else None


def _decode(encoded: _Encoded, solution: pyvrp.Solution) -> dict[int, list[int]]:
    """Visits of each vehicle in order."""
    free = [list(group) for group in encoded.vehicles_of]
    orders: dict[int, list[int]] = {}
    for route in solution.routes():
        vehicle = free[route.vehicle_type()].pop(0)
        orders[vehicle] = _visits(encoded, route)
    return orders


def _visits(encoded: _Encoded, route: pyvrp.Route) -> list[int]:
    """Visits of a route in order."""
    return [encoded.client_visit[act.idx] for act in route if act.is_client()]

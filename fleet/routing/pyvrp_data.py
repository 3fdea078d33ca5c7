"""A routing problem in PyVRP's words, and the way back. With `pyvrp_plan` alone it knows that library."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pyvrp

from fleet.routing.compressed import CompressedClock, compress_breaks
from fleet.routing.problem import UNREACHABLE_S, IntArray, Problem, Window
from fleet.routing.profiles import Profiles, find_profiles, usable_windows
from fleet.routing.schedule import schedule_route


@dataclass(frozen=True, slots=True)
class Encoded:
    """The problem in the library's words, and the way back from its numbers."""

    data: pyvrp.ProblemData
    client_visit: tuple[int, ...]
    clients_of: dict[int, tuple[tuple[Window, int], ...]]
    type_of: dict[int, int]
    vehicles_of: tuple[tuple[int, ...], ...]


def encode(problem: Problem, start: Mapping[int, Sequence[int]]) -> Encoded | None:
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
    return Encoded(data, tuple(client_visit), clients_of, types, vehicles_of)


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


def solution_of(
    problem: Problem, encoded: Encoded, start: Mapping[int, Sequence[int]]
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


def orders_of(encoded: Encoded, solution: pyvrp.Solution) -> dict[int, list[int]]:
    """Visits of each vehicle in order."""
    free = [list(group) for group in encoded.vehicles_of]
    orders: dict[int, list[int]] = {}
    for route in solution.routes():
        vehicle = free[route.vehicle_type()].pop(0)
        orders[vehicle] = visits_of(encoded, route)
    return orders


def visits_of(encoded: Encoded, route: pyvrp.Route) -> list[int]:
    """Visits of a route in order."""
    return [encoded.client_visit[act.idx] for act in route if act.is_client()]

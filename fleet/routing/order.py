"""Small repairs of orders: nearest neighbour as a yardstick, and dropping what does not pay."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from fleet.routing.bench import Bench
from fleet.routing.plan import PlannedRoute
from fleet.routing.problem import Problem
from fleet.routing.schedule import schedule_route


def nearest_neighbour_order(problem: Problem, vehicle: int, visits: Sequence[int]) -> list[int]:
    """Visits of a route, always going to the cheapest next one.

    Parameters
    ----------
    problem
        What is planned.
    vehicle
        Index of the vehicle; the order starts at its start place.
    visits
        Indexes of visits in any order.
    """
    left = sorted(visits)
    place = problem.vehicles[vehicle].start_place
    order = []
    while left:
        nearest = min(left, key=lambda v: (int(problem.cost[place, problem.visits[v].place]), v))
        left.remove(nearest)
        order.append(nearest)
        place = problem.visits[nearest].place
    return order


def not_worse_than_nearest(problem: Problem, route: PlannedRoute) -> PlannedRoute:
    """The route, or its visits in nearest-neighbour order where that can be driven and costs less."""
    order = nearest_neighbour_order(problem, route.vehicle, route.visits)
    other = schedule_route(problem, route.vehicle, order)
    return other if other is not None and _balance(other) > _balance(route) else route


def repaired(problem: Problem, orders: Mapping[int, Sequence[int]]) -> Mapping[int, Sequence[int]]:
    """Orders found with trips as long at any hour, less what their true times do not let in.

    Where driving takes as long at any hour they stay as they are. Else a route that is late keeps its firmest
    visits (locked, told, then by value); the last step of the search looks for other places.

    Parameters
    ----------
    problem
        What is planned.
    orders
        Vehicle -> visits in order.
    """
    if problem.hours is None:
        return orders
    bench = Bench(problem)
    return {
        vehicle: order if bench.route(vehicle, order) is not None else bench.rebuilt(vehicle, order)
        for vehicle, order in orders.items()
    }


def without_losers(problem: Problem, vehicle: int, order: Sequence[int]) -> list[int]:
    """The order without visits whose detour costs more than they win; musts stay.

    Parameters
    ----------
    problem
        What is planned.
    vehicle
        Index of the vehicle.
    order
        Indexes of visits; driveable.
    """
    kept = list(order)
    now = schedule_route(problem, vehicle, kept)
    while now is not None and kept:
        best: tuple[int, list[int]] | None = None
        for visit in kept:
            if problem.visits[visit].must:
                continue
            rest = [other for other in kept if other != visit]
            route = schedule_route(problem, vehicle, rest)
            worth = _balance(route) if route is not None else 0
            if (not rest or route is not None) and worth > (best[0] if best else _balance(now)):
                best = (worth, rest)
        if best is None:
            break
        kept = best[1]
        now = schedule_route(problem, vehicle, kept)
    return kept


def _balance(route: PlannedRoute) -> int:
    """Prizes less travel [points]."""
    return sum(stop.prize for stop in route.stops) - route.travel_cost

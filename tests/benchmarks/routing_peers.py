"""Other ways to plan the same day in the same time, as yardsticks: each library alone, and OR-Tools.

All have the same wall time and, but for PyVRP as it comes, two processor cores: ours and PyVRP as two
processes, pyvroom as two threads, OR-Tools as two processes with different first solutions, of which the
better plan counts.
"""

from __future__ import annotations

import multiprocessing
import warnings
from collections.abc import Callable
from typing import Any

import pyvrp
from ortools.constraint_solver import pywrapcp, routing_enums_pb2
from pyvrp.exceptions import PenaltyBoundWarning
from pyvrp.stop import MaxRuntime

from fleet.routing.check import plan_faults
from fleet.routing.plan import Plan
from fleet.routing.problem import UNREACHABLE_S, Problem
from fleet.routing.pyvrp_data import encode, orders_of
from fleet.routing.pyvrp_plan import improved_orders
from fleet.routing.schedule import assemble_plan, plan_from_orders, schedule_route
from fleet.routing.solve import solve
from fleet.routing.vroom_plan import driveable, first_orders

Orders = dict[int, list[int]]


def ours(problem: Problem, seconds: float) -> Plan:
    """What the product does."""
    return solve(problem, seconds=seconds, seed=1)


def vroom_alone(problem: Problem, seconds: float) -> Plan:
    """pyvroom with all the time; it ends by itself when its search is done."""
    return _plan(problem, first_orders(problem, seconds=seconds))


def pyvrp_as_it_comes(problem: Problem, seconds: float) -> Plan:
    """PyVRP as its own users run it: one search by the library's steps and penalties, one core.

    Only the problem is ours, breaks and skills included, which the library does not know. What does not hold
    on the real clock loses its least visits.
    """
    encoded = encode(problem, {})
    if encoded is None:
        return assemble_plan(problem, [])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", PenaltyBoundWarning)
        found = pyvrp.solve(
            encoded.data, MaxRuntime(seconds), seed=1, collect_stats=False, display=False
        ).best
    orders = orders_of(encoded, found) if found.is_feasible() else {}
    return _plan(problem, {vehicle: driveable(problem, vehicle, order) for vehicle, order in orders.items()})


def pyvrp_alone(problem: Problem, seconds: float) -> Plan:
    """PyVRP from nothing by two seeds side by side, through our encoding and with our steps."""
    with multiprocessing.get_context("fork").Pool(2) as pool:
        found = pool.starmap(_pyvrp_from, [(problem, seconds, seed) for seed in (1, 2)])
    firsts = [next((plan for orders in one if (plan := _held(problem, orders))), None) for one in found]
    plans = [plan for plan in firsts if plan is not None]
    return min(plans, key=lambda plan: plan.rank, default=assemble_plan(problem, []))


def _pyvrp_from(problem: Problem, seconds: float, seed: int) -> list[Orders]:
    """One search of PyVRP."""
    return improved_orders(problem, {}, seconds=seconds, seed=seed)


def _held(problem: Problem, orders: Orders) -> Plan | None:
    """The plan of orders, where it holds on the real clock."""
    plan = plan_from_orders(problem, orders)
    return plan if plan is not None and not plan_faults(problem, plan) else None


def or_tools(problem: Problem, seconds: float) -> Plan:
    """OR-Tools' routing library from two first solutions, one a process, then guided local search."""
    first = routing_enums_pb2.FirstSolutionStrategy
    starts = [first.PARALLEL_CHEAPEST_INSERTION, first.SAVINGS]
    with multiprocessing.get_context("fork").Pool(2) as pool:
        plans = pool.starmap(_or_tools_from, [(problem, seconds, int(start)) for start in starts])
    return min(plans, key=lambda plan: plan.rank)


def _or_tools_from(problem: Problem, seconds: float, first: int) -> Plan:
    """OR-Tools from one first solution."""
    nodes = [visit.place for visit in problem.visits]
    count = len(nodes)
    starts = [count + 2 * n for n in range(len(problem.vehicles))]
    places = nodes + [p for v in problem.vehicles for p in (v.start_place, v.end_place)]
    manager = pywrapcp.RoutingIndexManager(len(places), len(starts), starts, [s + 1 for s in starts])
    model = pywrapcp.RoutingModel(manager)
    cost = problem.cost.tolist()
    drive = problem.duration_s.tolist()
    service = [visit.service_s for visit in problem.visits] + [0] * (2 * len(starts))

    def between(matrix: list[list[int]], a: int, b: int) -> int:
        row: list[int] = matrix[places[manager.IndexToNode(a)]]
        return int(row[places[manager.IndexToNode(b)]])

    arc = model.RegisterTransitCallback(lambda a, b: between(cost, a, b))
    model.SetArcCostEvaluatorOfAllVehicles(arc)
    transit = model.RegisterTransitCallback(
        lambda a, b: between(drive, a, b) + service[manager.IndexToNode(a)]
    )
    model.AddDimension(transit, UNREACHABLE_S, UNREACHABLE_S, False, "time")
    clock = model.GetDimensionOrDie("time")
    for number, visit in enumerate(problem.visits):
        index = manager.NodeToIndex(number)
        window = visit.windows[0]
        clock.CumulVar(index).SetRange(window.start_s, window.end_s)
        able = [n for n in range(len(starts)) if problem.may_serve(n, number)]
        model.VehicleVar(index).SetValues([-1, *able])
        model.AddDisjunction([index], window.prize)
    visits_s = [0] * model.Size()
    for number in range(count):
        visits_s[manager.NodeToIndex(number)] = service[number]
    for number, who in enumerate(problem.vehicles):
        clock.CumulVar(model.Start(number)).SetRange(who.shift_start_s, who.shift_end_s)
        clock.CumulVar(model.End(number)).SetRange(who.shift_start_s, who.shift_end_s)
        if who.pause is not None:
            pause = model.solver().FixedDurationIntervalVar(
                who.pause.earliest_s, who.pause.latest_s, who.pause.duration_s, False, f"pause{number}"
            )
            clock.SetBreakIntervalsOfVehicle([pause], number, visits_s)
    how = pywrapcp.DefaultRoutingSearchParameters()
    how.first_solution_strategy = first
    how.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    how.time_limit.FromMilliseconds(round(seconds * 1000))
    answer = model.SolveWithParameters(how)
    return _plan(problem, _orders(model, manager, answer, count) if answer else {})


def _orders(model: Any, manager: Any, answer: Any, count: int) -> Orders:
    """Visits of each vehicle in an answer of OR-Tools."""
    orders: Orders = {}
    for vehicle in range(model.vehicles()):
        index = model.Start(vehicle)
        while not model.IsEnd(index):
            node = manager.IndexToNode(index)
            if node < count:
                orders.setdefault(vehicle, []).append(node)
            index = answer.Value(model.NextVar(index))
    return orders


def _plan(problem: Problem, orders: Orders) -> Plan:
    """Orders on our clock, where each route holds there."""
    routes = [schedule_route(problem, vehicle, order) for vehicle, order in orders.items() if order]
    return assemble_plan(problem, [route for route in routes if route is not None])


def net(problem: Problem, plan: Plan) -> float:
    """Value served minus cost of travel [money]."""
    return (sum(visit.best_prize for visit in problem.visits) - plan.cost) / 100


PEERS: dict[str, Callable[[Problem, float], Plan]] = {
    "ours": ours,
    "pyvroom alone": vroom_alone,
    "PyVRP as it comes": pyvrp_as_it_comes,
    "PyVRP by two seeds, our steps": pyvrp_alone,
    "OR-Tools": or_tools,
}

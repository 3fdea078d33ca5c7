"""The end of a search: small moves, all routes put together anew, and the proof of what comes out."""

from __future__ import annotations

import time
from typing import Final

from fleet.routing.check import plan_faults
from fleet.routing.order import not_worse_than_nearest
from fleet.routing.plan import Plan
from fleet.routing.polish import polished
from fleet.routing.problem import Problem
from fleet.routing.route_pool import RoutePool, best_of_routes, worth_of
from fleet.routing.schedule import assemble_plan, plan_from_orders

# The exact choice among routes gets at most this [s].
MOST_CHOICE_S: Final = 10.0
# And this share of what is left; the rest is for small moves afterwards.
CHOICE_SHARE: Final = 0.8


class PlanRefuted(RuntimeError):
    """The checker found a fault in a plan that a solver called feasible. Never to be written down."""


def finished(problem: Problem, plan: Plan, pool: RoutePool, *, seconds: float) -> Plan:
    """The plan after small moves on the real clock, and put together anew of all routes that were seen."""
    until = time.perf_counter() + seconds
    best = _after_moves(problem, plan, until)
    pool.add_all((route.vehicle, route.visits) for route in (*plan.routes, *best.routes))
    left_s = until - time.perf_counter()
    if left_s <= 0:
        return proven(problem, best)
    at_hand = worth_of(problem, {route.vehicle: route.visits for route in best.routes})
    orders = best_of_routes(
        problem, pool, at_least=at_hand, seconds=min(CHOICE_SHARE * left_s, MOST_CHOICE_S)
    )
    chosen = plan_from_orders(problem, orders) if orders is not None else None
    if chosen is not None and chosen.rank < best.rank:
        best = _after_moves(problem, chosen, until)
    return proven(problem, best)


def _after_moves(problem: Problem, plan: Plan, until: float) -> Plan:
    """The plan after small moves on the real clock, where that ranks better."""
    orders = polished(
        problem,
        {route.vehicle: route.visits for route in plan.routes},
        is_over=lambda: time.perf_counter() >= until,
    )
    other = plan_from_orders(problem, orders)
    other = tidied(problem, other) if other is not None else None
    return other if other is not None and other.rank < plan.rank else plan


def tidied(problem: Problem, plan: Plan) -> Plan:
    """The plan with no route worse than its visits in nearest-neighbour order."""
    return assemble_plan(problem, [not_worse_than_nearest(problem, route) for route in plan.routes])


def proven(problem: Problem, plan: Plan) -> Plan:
    """The plan, or `PlanRefuted` where the checker finds a fault."""
    faults = plan_faults(problem, plan)
    if faults:
        raise PlanRefuted("; ".join(faults[:5]))
    return plan

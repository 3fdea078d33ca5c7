"""The one door to routing: a problem in, a proven plan out, never worse than the first one found.

vroom gives a plan within moments, PyVRP searches until the time is up, on two cores; routes of both searches
are put together anew, small moves polish them on the real clock, and an independent checker proves what comes
out. Solvers hold the interpreter for their whole run: call this in a worker process
or a command, never inside a web request.
"""

from __future__ import annotations

import math
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from fleet.routing.check import plan_faults
from fleet.routing.days_first import BOTH_VISITS, needs_days_first, solve_by_days
from fleet.routing.finish import finished, proven, tidied
from fleet.routing.order import repaired, without_losers
from fleet.routing.plan import Plan
from fleet.routing.problem import Problem
from fleet.routing.pyvrp_plan import Newest, improved_orders
from fleet.routing.reasons import explain_unserved
from fleet.routing.route_pool import RoutePool
from fleet.routing.schedule import assemble_plan, plan_from_orders
from fleet.routing.second_core import start_second
from fleet.routing.vroom_plan import first_orders
from fleet.routing.watching import Lookout, Observer

# The first solver gets at most this share of the time.
FIRST_SHARE = 0.1
# And never more than this [s]: it cannot be stopped on the way.
FIRST_MOST_S = 60.0
# So much of the time is for the last step, putting routes together anew and small moves: a larger share of
# short times, since reading and relaxing some ten thousand routes takes half a second.
FINISH_SHARE, FINISH_LONG_SHARE, FINISH_SHORT_S = 0.18, 0.1, 1.5
# So much of the time is kept for reasons, by the number of visits [s], and at most this share of all.
REASON_S, REASONS_SHARE = 0.001, 0.1
# What the second search adds to the seed.
SECOND_SEED = 1_000_003
# Told to stop, it still gets this much for each day that has no plan yet [s].
FIRST_STOPPED_S = 0.5


def solve(
    problem: Problem,
    *,
    seconds: float,
    seed: int,
    iterations: int | None = None,
    previous: Mapping[int, Sequence[int]] | None = None,
    points_per_money: int = 100,
    observer: Observer | None = None,
) -> Plan:
    """The best plan found, proven by the checker, with a reason for each visit that was left out.

    Parameters
    ----------
    problem
        What is to be planned.
    seconds
        Time to search and to give reasons [s]; not looked at when `iterations` is given.
    seed
        Seed of the search.
    iterations
        Iterations to search instead of a time, so that the answer repeats exactly.
    previous
        An earlier plan (vehicle -> visits in order); a warm start where it still can be driven.
    points_per_money
        Cost points in one unit of money, for the reasons' sentences.
    observer
        Told about every second how far the search is; where it answers true, the search ends and the best
        plan so far is the answer.
    """
    if iterations is None and seconds <= 0:
        raise ValueError(f"seconds is {seconds}, expected more than 0")
    reasons_s = min(REASONS_SHARE * seconds, REASON_S * len(problem.visits))
    plan = search(
        problem,
        seconds=seconds - reasons_s,
        seed=seed,
        iterations=iterations,
        previous=previous,
        observer=observer,
    )
    explained = explain_unserved(problem, plan, points_per_money=points_per_money)
    return proven(problem, explained)


def search(
    problem: Problem,
    *,
    seconds: float,
    seed: int,
    iterations: int | None = None,
    previous: Mapping[int, Sequence[int]] | None = None,
    observer: Observer | None = None,
) -> Plan:
    """The best plan found, without reasons; parameters as in `solve`."""
    if not problem.visits or not problem.vehicles:
        return assemble_plan(problem, [])
    effort = _Effort(seconds, seed, iterations, Lookout(len(problem.visits), observer))
    if not needs_days_first(problem):
        return _search_at_once(problem, effort, previous)
    began = time.perf_counter()
    both = len(problem.visits) <= BOTH_VISITS
    half = replace(effort, seconds=seconds / 2 if both else seconds)
    start = _better(problem, _by_days(problem, half), previous)
    effort.lookout.begin_anew(problem, start)
    if not both or effort.lookout.is_stopped:
        return start
    effort.lookout.phase = "improving the week"
    orders = {route.vehicle: route.visits for route in start.routes}
    left_s = max(seconds / 4, began + seconds - time.perf_counter())
    return _search_at_once(problem, replace(effort, seconds=left_s), orders)


@dataclass(frozen=True, slots=True)
class _Effort:
    """How long and how to search, and who watches."""

    seconds: float
    seed: int
    iterations: int | None
    lookout: Lookout


def _by_days(problem: Problem, effort: _Effort) -> Plan:
    """Each day by itself, in its share of the time that is left."""
    count = 0
    until = time.perf_counter() + effort.seconds

    def solve_day(part: Problem, share: float) -> Plan:
        nonlocal count
        days_left = round(1 / share) - count
        count += 1
        effort.lookout.phase = f"day {count} of {round(1 / share)}"
        left_s = max(effort.seconds * share / 2, (until - time.perf_counter()) / days_left)
        plan = _search_at_once(part, replace(effort, seconds=left_s), None)
        effort.lookout.see(part, plan)
        effort.lookout.bank()
        return plan

    return solve_by_days(problem, solve_day)


def _better(problem: Problem, plan: Plan, previous: Mapping[int, Sequence[int]] | None) -> Plan:
    """The plan, or an earlier one that can still be driven and ranks better."""
    earlier = plan_from_orders(problem, previous) if previous else None
    return earlier if earlier is not None and earlier.rank < plan.rank else plan


def warm_start(
    problem: Problem,
    *,
    seconds: float | None,
    previous: Mapping[int, Sequence[int]] | None = None,
    threads: int = 2,
) -> Plan:
    """The better of vroom's plan and an earlier one, tidied.

    Parameters
    ----------
    problem
        What is planned.
    seconds
        Most time for vroom [s]; None lets it end by itself.
    previous
        An earlier plan (vehicle -> visits in order).
    threads
        Processor threads that vroom may use.
    """
    plans = []
    found = repaired(problem, first_orders(problem.at_mean_hours(), seconds=seconds, threads=threads))
    # The earlier plan comes first: where another is only as good, nobody's day changes.
    for orders in (previous or {}, found):
        kept = {vehicle: without_losers(problem, vehicle, order) for vehicle, order in orders.items()}
        plan = plan_from_orders(problem, kept)
        if plan is not None:
            plans.append(tidied(problem, plan))
    return min(plans, key=lambda plan: plan.rank)


def _search_at_once(problem: Problem, effort: _Effort, previous: Mapping[int, Sequence[int]] | None) -> Plan:
    """Warm start and improvement of all days together, a second search beside them."""
    began = time.perf_counter()
    lookout = effort.lookout
    timed = effort.iterations is None
    searching_s = effort.seconds - _finish_s(effort.seconds)
    second = None
    if timed and not lookout.is_stopped:
        second = start_second(problem.at_mean_hours(), seconds=searching_s, seed=effort.seed + SECOND_SEED)
    pool = RoutePool()
    model = problem.at_mean_hours()
    try:
        first_seconds = (
            FIRST_STOPPED_S if lookout.is_stopped else min(effort.seconds * FIRST_SHARE, FIRST_MOST_S)
        )
        first = warm_start(
            problem,
            seconds=first_seconds if timed else None,
            previous=previous,
            threads=1 if second is not None else 2,
        )
        lookout.see(problem, first)
        if lookout.is_stopped or lookout.tell():
            return proven(problem, first)
        lookout.improves()
        better = improved_orders(
            model,
            _begins(first, previous),
            seconds=max(0.0, searching_s - (time.perf_counter() - began)) if timed else None,
            seed=effort.seed,
            iterations=effort.iterations,
            is_over=lambda newest: _is_over(problem, lookout, newest),
            pool=pool,
        )
        best = _best_that_holds(problem, better, first)
        if second is not None:
            left_s = searching_s - (time.perf_counter() - began)
            told = second.collect(wait_s=_wait_s(lookout, left_s))
            for route, worth in told.routes:
                pool.add(*route, worth)
            best = _best_that_holds(problem, told.plans, best)
    finally:
        if second is not None:
            second.close()
    left_s = effort.seconds - (time.perf_counter() - began) if timed else math.inf
    return finished(problem, best, pool, seconds=_wait_s(lookout, left_s))


def _finish_s(seconds: float) -> float:
    """Time of the last step [s] of so long a search."""
    return min(FINISH_SHARE * seconds, max(FINISH_SHORT_S, FINISH_LONG_SHARE * seconds))


def _begins(first: Plan, previous: Mapping[int, Sequence[int]] | None) -> Mapping[int, Sequence[int]]:
    """What the search begins with: the first plan, or nothing where that chose among visits by itself.

    A search that begins with a good plan accepts little that is worse, and stays in its valley: where visits
    are left out, one from nothing ends better. A plan that people know stays the beginning.
    """
    if first.unserved and not previous:
        return {}
    return {route.vehicle: route.visits for route in first.routes}


def _wait_s(lookout: Lookout, left_s: float) -> float:
    """Time left, none where somebody said to stop [s]."""
    return 0.0 if lookout.is_stopped else left_s


def _best_that_holds(problem: Problem, found: Sequence[Mapping[int, Sequence[int]]], first: Plan) -> Plan:
    """The first of the found plans that holds on the real clock and ranks better, else the one at hand."""
    for orders in found:
        plan = plan_from_orders(problem, repaired(problem, orders))
        if plan is None:
            continue
        plan = tidied(problem, plan)
        if plan.rank < first.rank and not plan_faults(problem, plan):
            return plan
    return first


def _is_over(problem: Problem, lookout: Lookout, newest: Newest) -> bool:
    """Tell how far the improvement is, once it is time to; whether it shall end."""
    if not lookout.is_due():
        return lookout.is_stopped
    orders = newest()
    plan = plan_from_orders(problem, repaired(problem, orders)) if orders is not None else None
    if plan is not None:
        lookout.see(problem, plan)
    return lookout.tell()

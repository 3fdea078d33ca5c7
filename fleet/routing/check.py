"""Feasibility of a plan, worked out anew. Shares no code with the solvers or the scheduler."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise
from math import ceil

from fleet.routing.plan import Plan, PlannedRoute, PlannedStop
from fleet.routing.problem import UNREACHABLE_S, Problem

DAY_S = 86_400
SATURDAY = 5  # clocks begin on a Monday
# Drives through slower hours are whole seconds by rounding.
ROUNDING_S = 1


def plan_faults(problem: Problem, plan: Plan) -> tuple[str, ...]:
    """Sentences that say what is wrong with a plan; empty when it can be driven as written.

    Checked: each visit once or in the list of those left out; locks, skills and capacity; windows, shifts
    and driving times; the break; and the plan's own sums.

    Parameters
    ----------
    problem
        What was to be planned.
    plan
        Times [s], ways [m] and costs [points] to be checked.
    """
    faults = [*_counts(problem, plan)]
    for route in plan.routes:
        faults += [f"{problem.vehicles[route.vehicle].key}: {fault}" for fault in _route(problem, route)]
    faults += _sums(problem, plan)
    return tuple(faults)


def _counts(problem: Problem, plan: Plan) -> list[str]:
    """Each visit once, each vehicle once, nothing forgotten."""
    served = Counter(stop.visit for route in plan.routes for stop in route.stops)
    left = Counter(one.visit for one in plan.unserved)
    faults = [f"visit {problem.visits[v].key} comes {n} times" for v, n in (served + left).items() if n > 1]
    missing = set(range(len(problem.visits))) - set(served) - set(left)
    faults += [f"visit {problem.visits[v].key} is neither served nor named as left out" for v in missing]
    used = Counter(route.vehicle for route in plan.routes)
    faults += [f"vehicle {problem.vehicles[v].key} has {n} routes" for v, n in used.items() if n > 1]
    return faults


def _route(problem: Problem, route: PlannedRoute) -> list[str]:
    """Faults of one route."""
    who = problem.vehicles[route.vehicle]
    faults = []
    if route.leave_s < who.shift_start_s:
        faults.append("leaves before the shift")
    if route.back_s > who.shift_end_s:
        faults.append("is back after the shift")
    demand = sum(problem.visits[stop.visit].demand for stop in route.stops)
    if who.capacity is not None and demand > who.capacity:
        faults.append(f"carries {demand} of {who.capacity}")
    if who.pause is not None:
        faults += _pause(problem, route)
    elif route.pause is not None:
        faults.append("has a break that nobody asked for")
    place, free_at = who.start_place, route.leave_s
    for number, stop in enumerate(route.stops):
        visit = problem.visits[stop.visit]
        name = f"visit {visit.key}"
        faults += [f"{name} {fault}" for fault in _stop(problem, route, stop)]
        base = int(problem.duration_s[place, visit.place])
        travel, ready = _trip(problem, route, number, free_at, base)
        faults += [f"{name} {fault}" for fault in _drive(problem, stop, place, base, travel)]
        if stop.start_s < ready:
            faults.append(f"{name} starts before the drive and the break are over")
        place, free_at = visit.place, stop.depart_s
    base = int(problem.duration_s[place, who.end_place])
    travel, ready = _trip(problem, route, len(route.stops), free_at, base)
    if base >= UNREACHABLE_S or not _is_as_long(problem, route.back_drive_s, travel):
        faults.append(f"drives back in {route.back_drive_s} s, the matrix says {travel}")
    if route.back_s < ready:
        faults.append("is back before the drive and the break are over")
    return faults


def _trip(problem: Problem, route: PlannedRoute, number: int, free_at: int, base: int) -> tuple[int, int]:
    """Length [s] of the drive before the stop of this number, and when that stop may begin."""
    pause = route.pause if route.pause is not None and route.pause.after == number else None
    if problem.hours is None:
        return base, free_at + base + (pause.end_s - pause.start_s if pause is not None else 0)
    there = _driven_until(problem, free_at, base)
    if pause is None:
        return there - free_at, there - ROUNDING_S
    if there <= pause.start_s:
        return there - free_at, pause.end_s
    there = _driven_until(problem, pause.end_s, base)
    return there - pause.end_s, there - ROUNDING_S


def _driven_until(problem: Problem, leave: int, base: int) -> int:
    """Arrival [s] of a drive, piece by piece through hours at which it is slower."""
    hours = problem.hours
    if hours is None:
        return leave + base
    still = min(float(base), hours.settle_s)
    to_drive, clock = base - still, float(leave)
    while to_drive > 1e-9:
        midnight = clock // DAY_S * DAY_S
        is_weekend = clock // DAY_S % 7 >= SATURDAY
        factor, until = 1.0, midnight + DAY_S
        for span in hours.spans:
            if is_weekend and not span.every_day:
                continue
            if midnight + span.from_s <= clock < midnight + span.to_s:
                factor, until = span.factor, midnight + span.to_s
                break
            if clock < midnight + span.from_s:
                until = min(until, midnight + span.from_s)
        driven = min(to_drive, (until - clock) / factor)
        clock += driven * factor
        to_drive -= driven
    return ceil(clock + still - 1e-6)


def _is_as_long(problem: Problem, told_s: int, expected_s: int) -> bool:
    """Tell whether two lengths of a drive agree; through slower hours but for rounding."""
    return abs(told_s - expected_s) <= (0 if problem.hours is None else ROUNDING_S)


def _stop(problem: Problem, route: PlannedRoute, stop: PlannedStop) -> list[str]:
    """Faults of one stop by itself."""
    who, visit = problem.vehicles[route.vehicle], problem.visits[stop.visit]
    faults = []
    if visit.vehicle is not None and visit.vehicle != who.key:
        faults.append(f"is locked to {visit.vehicle}")
    if visit.skills - who.skills:
        faults.append("lacks the skill " + ", ".join(sorted(visit.skills - who.skills)))
    prizes = [w.prize for w in visit.windows if w.start_s <= stop.start_s <= w.end_s]
    if not prizes:
        faults.append(f"starts at {stop.start_s} s, outside its windows")
    elif stop.prize != prizes[0]:
        faults.append(f"wins {stop.prize} points, its window gives {prizes[0]}")
    if stop.arrive_s > stop.start_s:
        faults.append("is served before arrival")
    if stop.depart_s - stop.start_s != visit.service_s:
        faults.append(f"takes {stop.depart_s - stop.start_s} s, expected {visit.service_s}")
    return faults


def _drive(problem: Problem, stop: PlannedStop, place: int, base: int, travel: int) -> list[str]:
    """Faults of the way to a stop."""
    metres = int(problem.distance_m[place, problem.visits[stop.visit].place])
    faults = []
    if base >= UNREACHABLE_S:
        faults.append("cannot be reached")
    if not _is_as_long(problem, stop.drive_s, travel) or stop.drive_m != metres:
        faults.append(f"is {stop.drive_s} s and {stop.drive_m} m away, expected {travel} and {metres}")
    return faults


def _pause(problem: Problem, route: PlannedRoute) -> list[str]:
    """Faults of the break."""
    asked, got = problem.vehicles[route.vehicle].pause, route.pause
    if asked is None:
        return []
    if got is None:
        return ["has no break"]
    faults = []
    if not asked.earliest_s <= got.start_s <= asked.latest_s:
        faults.append(f"breaks at {got.start_s} s, outside {asked.earliest_s} to {asked.latest_s}")
    if got.end_s - got.start_s != asked.duration_s:
        faults.append(f"breaks for {got.end_s - got.start_s} s, expected {asked.duration_s}")
    if not 0 <= got.after <= len(route.stops):
        return [*faults, "breaks after a stop that it does not have"]
    before = route.stops[got.after - 1].depart_s if got.after else route.leave_s
    then = route.stops[got.after].start_s if got.after < len(route.stops) else route.back_s
    if got.start_s < before or got.end_s > then:
        faults.append("breaks during a visit")
    return faults


def _sums(problem: Problem, plan: Plan) -> list[str]:
    """The plan's own sums against the matrices."""
    travel = won = 0
    for route in plan.routes:
        who = problem.vehicles[route.vehicle]
        places = [who.start_place, *(problem.visits[s.visit].place for s in route.stops), who.end_place]
        travel += sum(int(problem.cost[a, b]) for a, b in pairwise(places))
        if problem.hours is not None:
            usual = sum(int(problem.duration_s[a, b]) for a, b in pairwise(places))
            drive = sum(stop.drive_s for stop in route.stops) + route.back_drive_s
            travel += round((drive - usual) / 3600 * problem.hours.points_per_hour)
        won += sum(stop.prize for stop in route.stops)
    served = {stop.visit for route in plan.routes for stop in route.stops}
    lost = sum(max(w.prize for w in visit.windows) for visit in problem.visits) - won
    missed = sum(visit.must for number, visit in enumerate(problem.visits) if number not in served)
    faults = []
    if plan.travel_cost != travel:
        faults.append(f"travel costs {travel} points, the plan says {plan.travel_cost}")
    if plan.lost_prize != lost:
        faults.append(f"lost value is {lost} points, the plan says {plan.lost_prize}")
    if plan.missed_musts != missed:
        faults.append(f"{missed} musts are missed, the plan says {plan.missed_musts}")
    return faults

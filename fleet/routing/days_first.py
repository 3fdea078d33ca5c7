"""Big weeks: choose the day of each visit first, then plan each day by itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from fleet.routing.plan import Plan, PlannedRoute
from fleet.routing.problem import UNREACHABLE_S, Problem
from fleet.routing.schedule import assemble_plan

DAY_S = 86_400

# Up to so many visits all days are planned at once; above, days are chosen first, and up to the second number
# the result is then improved at once in the other half of the time. Measured in 10 s on invented weeks, cost
# of at once / days first / both: 40 visits 71.0 / 73.5 / 73.5 thousand, 100: 179.0 / 169.1 / 166.3, 170:
# 405.7 / 351.0 / 348.9, 250: 714.1 / 621.1 / 624.0.
AT_ONCE_VISITS = 60
BOTH_VISITS = 200

# Driving and finding the way between two visits that a day's capacity reckons with at first [s].
ASSUMED_DRIVE_S = 600

Solver = Callable[[Problem, float], Plan]


def needs_days_first(problem: Problem) -> bool:
    """Tell whether a problem is so big, and has so many days, that days are chosen first."""
    return len(problem.visits) > AT_ONCE_VISITS and len(_days(problem)) > 1


def solve_by_days(problem: Problem, solver: Solver) -> Plan:
    """Plan each day by itself; what one day leaves out may go to the next.

    Parameters
    ----------
    problem
        What is planned.
    solver
        Plans one day's problem in its share of the time.
    """
    days = _days(problem)
    chosen = choose_days(problem)
    routes: list[PlannedRoute] = []
    waiting: set[int] = set()
    for day in days:
        today = {visit for visit, its_day in chosen.items() if its_day == day}
        today |= {visit for visit in waiting if _may_be_on(problem, visit, day)}
        part = _day_problem(problem, day, sorted(today))
        plan = solver(part.problem, 1 / len(days))
        routes += [_in_week(part, route) for route in plan.routes]
        waiting |= today
        waiting -= {part.visits[stop.visit] for route in plan.routes for stop in route.stops}
    return assemble_plan(problem, routes)


def choose_days(problem: Problem) -> dict[int, int]:
    """A day for each visit that can be on one: worth by the day, nearness to what is there, and room.

    Locked and narrow visits choose first, then those of most value. A visit goes to the day on which lost
    value and the way from the nearest visit already there cost least, as long as that day has working time
    left; visits for which no day has room choose the day they like best, and the day's solver leaves out
    what does not pay.

    Parameters
    ----------
    problem
        What is planned.

    Returns
    -------
    dict of int to int
        Day number (0 is the first day of the clock) by visit index.
    """
    days = _days(problem)
    room_s = {day: _working_time(problem, day) for day in days}
    nearest = {day: _from_starts(problem, day) for day in days}
    chosen: dict[int, int] = {}
    for visit in _by_choice(problem, days):
        what = problem.visits[visit]
        options = [day for day in days if _may_be_on(problem, visit, day)]
        if not options:
            continue
        need_s = what.service_s + ASSUMED_DRIVE_S
        roomy = [day for day in options if room_s[day] >= need_s] or options
        day = min(roomy, key=lambda d: (_cost_on(problem, visit, d, int(nearest[d][what.place])), d))
        chosen[visit] = day
        room_s[day] -= need_s
        np.minimum(nearest[day], problem.cost[what.place], out=nearest[day])
    return chosen


@dataclass(frozen=True, slots=True)
class _Part:
    """One day's problem and the week's numbers of its visits and vehicles."""

    problem: Problem
    visits: tuple[int, ...]
    vehicles: tuple[int, ...]


def _days(problem: Problem) -> list[int]:
    """Numbers of the days on which somebody works."""
    return sorted({vehicle.shift_start_s // DAY_S for vehicle in problem.vehicles})


def _by_choice(problem: Problem, days: list[int]) -> list[int]:
    """Visits in the order in which they choose."""

    def key(visit: int) -> tuple[bool, bool, int, int]:
        what = problem.visits[visit]
        options = sum(_may_be_on(problem, visit, day) for day in days)
        return (what.vehicle is None, not what.must, options, -what.best_prize)

    return sorted(range(len(problem.visits)), key=key)


def _may_be_on(problem: Problem, visit: int, day: int) -> bool:
    """Tell whether somebody who may serve it works on that day within its windows."""
    return any(
        vehicle.shift_start_s // DAY_S == day
        and problem.may_serve(number, visit)
        and any(
            w.start_s <= vehicle.shift_end_s and w.end_s >= vehicle.shift_start_s
            for w in problem.visits[visit].windows
        )
        for number, vehicle in enumerate(problem.vehicles)
    )


def _working_time(problem: Problem, day: int) -> int:
    """Working time of all shifts of a day, breaks taken off [s]."""
    return sum(
        vehicle.shift_end_s - vehicle.shift_start_s - (vehicle.pause.duration_s if vehicle.pause else 0)
        for vehicle in problem.vehicles
        if vehicle.shift_start_s // DAY_S == day
    )


def _from_starts(problem: Problem, day: int) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Cost from the nearest start place of a day to each place [points]."""
    starts = sorted({v.start_place for v in problem.vehicles if v.shift_start_s // DAY_S == day})
    cost = np.where(problem.duration_s < UNREACHABLE_S, problem.cost, UNREACHABLE_S)
    nearest: np.ndarray[tuple[int], np.dtype[np.int64]] = cost[starts].min(axis=0)
    return nearest


def _cost_on(problem: Problem, visit: int, day: int, way: int) -> int:
    """Lost value and way of a visit on a day [points]."""
    what = problem.visits[visit]
    prizes = [w.prize for w in what.windows if w.start_s < (day + 1) * DAY_S and w.end_s >= day * DAY_S]
    return what.best_prize - max(prizes, default=0) + way


def _day_problem(problem: Problem, day: int, visits: list[int]) -> _Part:
    """The day's vehicles and visits as a problem of its own, with the places that it needs."""
    vehicles = [n for n, v in enumerate(problem.vehicles) if v.shift_start_s // DAY_S == day]
    people = [problem.vehicles[number] for number in vehicles]
    calls = [problem.visits[visit] for visit in visits]
    ends = [place for who in people for place in (who.start_place, who.end_place)]
    places = sorted({call.place for call in calls} | set(ends))
    new = {place: number for number, place in enumerate(places)}
    index = np.ix_(places, places)
    part = replace(
        problem,
        visits=tuple(replace(call, place=new[call.place]) for call in calls),
        vehicles=tuple(
            replace(who, start_place=new[who.start_place], end_place=new[who.end_place]) for who in people
        ),
        duration_s=problem.duration_s[index],
        distance_m=problem.distance_m[index],
        cost=problem.cost[index],
    )
    return _Part(part, tuple(visits), tuple(vehicles))


def _in_week(part: _Part, route: PlannedRoute) -> PlannedRoute:
    """A day's route with the week's numbers."""
    stops = tuple(replace(stop, visit=part.visits[stop.visit]) for stop in route.stops)
    return replace(route, vehicle=part.vehicles[route.vehicle], stops=stops)

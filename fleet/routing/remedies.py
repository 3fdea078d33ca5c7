"""How much longer somebody's day would have to be for a visit that was left out: tried, not guessed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np

from fleet.routing.plan import Plan, PlannedRoute
from fleet.routing.problem import UNREACHABLE_S, IntArray, Problem
from fleet.routing.schedule import schedule_route

MOST_EXTRA_S: Final = 2 * 3600
STEP_S: Final = 900
# Days of somebody that are tried for a visit, those that lack least first.
DAYS_TRIED: Final = 4


@dataclass(frozen=True, slots=True)
class LongerDay:
    """A day on which a visit would have room.

    Parameters
    ----------
    vehicle
        Index of the technician's day.
    extra_s
        How much later its shift would end [s], in steps of a quarter of an hour.
    """

    vehicle: int
    extra_s: int


@dataclass(frozen=True, slots=True)
class _Day:
    """A vehicle's day as it stands: its order, its gaps, and the time that it has left [s]."""

    order: tuple[int, ...]
    before: IntArray
    after: IntArray
    way_s: IntArray
    slack_s: int


def longer_days(problem: Problem, plan: Plan, visits: Iterable[int]) -> dict[int, LongerDay]:
    """The least lengthening of one shift that lets each visit in, all else as planned.

    A visit for which no shift two hours longer would do is not there.

    Parameters
    ----------
    problem
        What was planned.
    plan
        Its plan.
    visits
        Indexes of visits that were left out.
    """
    routes = {route.vehicle: route for route in plan.routes}
    days = [_day(problem, routes, number) for number in range(len(problem.vehicles))]
    longer = [_longer(problem, extra) for extra in range(STEP_S, MOST_EXTRA_S + 1, STEP_S)]
    found = {}
    for visit in visits:
        lacks = sorted(
            (lack, number)
            for number, day in enumerate(days)
            if problem.may_serve(number, visit) and (lack := _lack(problem, day, visit)) <= MOST_EXTRA_S
        )
        best: LongerDay | None = None
        for lack, number in lacks[:DAYS_TRIED]:
            most = MOST_EXTRA_S if best is None else best.extra_s - STEP_S
            extra = _extra(longer, days[number], number, visit, lack, most)
            best = best if extra is None else LongerDay(number, extra)
        if best is not None:
            found[visit] = best
    return found


def _longer(problem: Problem, extra_s: int) -> Problem:
    """The same problem with every shift ending later."""
    people = tuple(replace(one, shift_end_s=one.shift_end_s + extra_s) for one in problem.vehicles)
    return replace(problem, vehicles=people)


def _day(problem: Problem, routes: Mapping[int, PlannedRoute], number: int) -> _Day:
    """A vehicle's day."""
    who = problem.vehicles[number]
    order = tuple(routes[number].visits) if number in routes else ()
    stops = [problem.visits[visit] for visit in order]
    places = [who.start_place, *(stop.place for stop in stops), who.end_place]
    before, after = np.array(list(pairwise(places)), dtype=np.int64).T
    way = problem.duration_s[before, after]
    rest = who.pause.duration_s if who.pause is not None else 0
    work = sum(stop.service_s for stop in stops) + rest + int(way.sum())
    return _Day(order, before, after, way, who.shift_end_s - who.shift_start_s - work)


def _lack(problem: Problem, day: _Day, visit: int) -> int:
    """Least time that the day lacks for one more visit [s], waiting not counted; huge where no road leads."""
    what, way = problem.visits[visit], problem.duration_s
    there, on = way[day.before, what.place], way[what.place, day.after]
    if int(np.minimum(there, on).min()) >= UNREACHABLE_S:
        return UNREACHABLE_S
    return int((there + on - day.way_s).min()) + what.service_s - day.slack_s


def _extra(
    longer: Sequence[Problem], day: _Day, number: int, visit: int, lack_s: int, most_s: int
) -> int | None:
    """The least lengthening, up to a most, that lets the visit in at some place; None: none does."""
    for step, problem in enumerate(longer, start=1):
        extra = step * STEP_S
        if extra > most_s:
            return None
        if extra >= lack_s and any(
            schedule_route(problem, number, [*day.order[:place], visit, *day.order[place:]])
            for place in range(len(day.order) + 1)
        ):
            return extra
    return None

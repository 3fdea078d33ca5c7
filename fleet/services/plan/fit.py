"""The search of a plan, and what people changed meanwhile by telling, locking, moving and beginning visits.

A plan is written only onto the state that it was made for. Where that has moved on, the found plan is fitted
onto the new one: what was told, locked or begun counts, and what was moved by hand stays where it was put.
"""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime

from fleet.calc.visits.settings import VisitSettings
from fleet.models import Planning
from fleet.routing.plan import Plan
from fleet.routing.problem import Problem
from fleet.routing.solve import solve
from fleet.routing.watching import Observer
from fleet.services.plan.problem import POINTS_PER_MONEY, build_problem
from fleet.services.plan.state import WeekState, previous_orders
from fleet.streets.travel_source import TravelSource

Homes = Mapping[int, str]
# How long a plan is fitted onto what changed [s].
FIT_SECONDS = 2.0
# The time asked for is the whole planning's: so much of it is for lines and writing, at most so long [s].
WRITE_SHARE, WRITE_MOST_S = 0.04, 4.0
# What is left for the search at least, where streets that are new took long.
LEAST_SEARCH_SHARE = 0.5


class PlanOvertaken(RuntimeError):
    """The plan changed faster than it could be fitted; nothing was written."""


@dataclass(frozen=True, slots=True)
class PlanWork:
    """One planning under way."""

    row: Planning
    now: datetime
    days: tuple[date, ...]
    settings: VisitSettings
    iterations: int | None
    observer: Observer
    began_s: float  # by the clock of `time.perf_counter`

    def search_s(self) -> float:
        """Time for the search [s]: what reading and streets have left of the time that was asked for."""
        asked = self.row.seconds
        used = time.perf_counter() - self.began_s + min(WRITE_SHARE * asked, WRITE_MOST_S)
        return max(LEAST_SEARCH_SHARE * asked, asked - used)


@dataclass(frozen=True, slots=True)
class FoundPlan:
    """A proven plan, what it was made for, and the mark by which a state that has moved on is told."""

    state: WeekState
    problem: Problem
    plan: Plan
    mark: tuple[object, ...]
    homes: dict[int, str]


def search_plan(work: PlanWork, state: WeekState, travel: TravelSource) -> FoundPlan:
    """The plan of a state."""
    problem = build_problem(state.given, work.settings, travel)
    previous = previous_orders(problem, state.given)
    plan = solve(
        problem,
        seconds=work.search_s(),
        seed=work.row.seed,
        iterations=work.iterations,
        previous=previous,
        points_per_money=POINTS_PER_MONEY,
        observer=work.observer,
    )
    homes = homes_of(problem, state, previous)
    return FoundPlan(state, problem, plan, fingerprint(state, homes), homes)


def fit_plan(work: PlanWork, found: FoundPlan, state: WeekState, travel: TravelSource) -> FoundPlan:
    """The found plan, fitted onto a state that has moved on."""
    first = build_problem(state.given, work.settings, travel)
    homes = homes_of(first, state, previous_orders(first, state.given))
    fitted = with_moves_kept(state, before=found.homes, now=homes)
    problem = build_problem(fitted.given, work.settings, travel)
    plan = solve(
        problem,
        seconds=min(FIT_SECONDS, work.row.seconds),
        seed=work.row.seed,
        iterations=work.iterations,
        previous=carried_orders(found.plan, found.problem, found.state, onto=problem, onto_state=fitted),
        points_per_money=POINTS_PER_MONEY,
    )
    return FoundPlan(fitted, problem, plan, fingerprint(state, homes), homes)


def fingerprint(state: WeekState, homes: Homes) -> tuple[object, ...]:
    """All that a plan rests on: equal for two states onto which the same plan may be written.

    Parameters
    ----------
    state
        What is fixed, begun and to be placed.
    homes
        Vehicle key by visit id, of the plan as it stands.
    """
    given = state.given
    visits = tuple(
        (v.pk, v.state, v.told_at, v.window_from, v.window_to, v.is_locked, v.service_min, v.skill)
        for v in given.visits
    )
    people = tuple(
        (p.code, p.skills, p.shift_start, p.shift_end, p.workdays, p.days_off, p.break_min)
        for p in given.technicians
    )
    begun = tuple(sorted((key, at.latitude, at.longitude, at.free_s) for key, at in given.begun.items()))
    fixed = (tuple(sorted(given.locked_to.items())), begun, tuple(sorted(given.on_break)))
    supplied = (
        tuple(sorted((pk, tuple(sorted(trucks))) for pk, trucks in given.trucks.items())),
        tuple(sorted((who, tuple(sorted(own.items()))) for who, own in given.certificates.items())),
    )
    return (
        visits,
        people,
        fixed,
        supplied,
        tuple(sorted(state.held_orders.items())),
        tuple(sorted(homes.items())),
    )


def homes_of(problem: Problem, state: WeekState, orders: Mapping[int, list[int]]) -> dict[int, str]:
    """Vehicle key of each visit (by id) in orders of a problem."""
    visits = state.given.visits
    return {visits[n].pk: problem.vehicles[vehicle].key for vehicle, own in orders.items() for n in own}


def with_moves_kept(state: WeekState, *, before: Homes, now: Homes) -> WeekState:
    """The state with every visit locked to where a person moved it while the search ran."""
    here = {visit.pk for visit in state.given.visits}
    moved = {pk: key for pk, key in now.items() if pk in here and before.get(pk, key) != key}
    return replace(state, given=replace(state.given, locked_to={**state.given.locked_to, **moved}))


def carried_orders(
    plan: Plan, problem: Problem, state: WeekState, *, onto: Problem, onto_state: WeekState
) -> dict[int, list[int]]:
    """A plan's orders in another problem's numbers; what does not exist there any more is left out."""
    numbers = {visit.pk: number for number, visit in enumerate(onto_state.given.visits)}
    orders: dict[int, list[int]] = {}
    for route in plan.routes:
        vehicle = onto.vehicle_index.get(problem.vehicles[route.vehicle].key)
        if vehicle is None:
            continue
        ids = (state.given.visits[visit].pk for visit in route.visits)
        own = [numbers[pk] for pk in ids if pk in numbers]
        orders[vehicle] = [number for number in own if onto.may_serve(vehicle, number)]
    return orders

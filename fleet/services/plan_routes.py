"""Visit needs to routes: who drives where and when, for a week or a day.

The search runs for seconds, so it stands between two short transactions instead of inside one: a database
that is locked for so long would stop every phone. Call this from a command or a worker, never in a request.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.db.models import prefetch_related_objects

from fleet.calc.visit_settings import VisitSettings, visit_settings
from fleet.calc.workdays import monday_of
from fleet.models import Company, PlanRun, Technician, Visit
from fleet.routing.plan import Plan
from fleet.routing.problem import Problem
from fleet.routing.solve import solve
from fleet.selectors.company import company_day
from fleet.services.plan_problem import POINTS_PER_MONEY, build_problem
from fleet.services.plan_snapshot import CannotUndo, keep_run, restore_snapshot, snapshot
from fleet.services.plan_state import (
    NothingToPlan,
    WeekState,
    days_to_plan,
    previous_orders,
    week_state,
)
from fleet.services.plan_write import write_plan
from fleet.services.raise_needs import refresh_prerequisites
from fleet.services.visits_of_week import merge_needs, plannable_needs, split_skills, write_visits
from fleet.streets.store import travel_source
from fleet.streets.travel_source import TravelSource

DEFAULT_SECONDS = 10.0


@dataclass(frozen=True, slots=True)
class RoutesPlanned:
    """What came of a planning."""

    week: date
    day: date | None
    routes: int
    visits: int
    unserved: int
    drive_min: float
    drive_km: float
    is_estimated: bool
    told: int
    told_moved: int

    def summary(self) -> str:
        """One line for the end of a command."""
        what = f"day {self.day}" if self.day else f"week of {self.week}"
        estimated = ", driving times estimated" if self.is_estimated else ""
        return (
            f"{what}: {self.visits} visits on {self.routes} routes, {self.unserved} left out, "
            f"{self.drive_min / 60:.1f} h and {self.drive_km:.0f} km of driving{estimated}; "
            f"{self.told_moved} of {self.told} told customers moved"
        )


@dataclass(frozen=True, slots=True)
class PlanUndone:
    """A planning or a move that was taken back."""

    week: date
    stops: int


def plan_routes(
    *,
    now: datetime,
    week: date | None = None,
    day: date | None = None,
    seconds: float = DEFAULT_SECONDS,
    seed: int = 0,
    iterations: int | None = None,
    by: str = "",
) -> RoutesPlanned:
    """Plan a week or one day of it; what is told, locked, begun or done stays.

    Parameters
    ----------
    now
        Time of the planning.
    week, day
        Monday of the week, or one day.
    seconds, seed, iterations
        Time, seed and (instead of the time) number of iterations of the search.
    by
        Who plans, for the record.
    """
    if (week is None) == (day is None):
        raise NothingToPlan("give a week or a day, one of them")
    monday = monday_of(week or day or now.date())
    today = company_day(now=now)
    settings = company_settings()
    travel = travel_source(settings=settings)
    days = days_to_plan(monday=monday, day=day, today=today)
    state = _prepare(monday=monday, days=days, now=now, today=today)
    problem = build_problem(state.given, settings, travel)
    plan = solve(
        problem,
        seconds=seconds,
        seed=seed,
        iterations=iterations,
        previous=previous_orders(problem, state.given),
        points_per_money=POINTS_PER_MONEY,
    )
    return _keep(
        state=state, problem=problem, plan=plan, travel=travel, now=now, day=day, by=by, seconds=seconds
    )


@transaction.atomic
def undo_plan(*, week: date, now: datetime) -> PlanUndone:
    """Take back the last planning or move of a week; raises `CannotUndo` where a day of it has begun."""
    run = PlanRun.objects.filter(week=week, undone_at__isnull=True, before__isnull=False).first()
    if run is None or run.before is None:
        raise CannotUndo("There is nothing to undo in this week.")
    stops = restore_snapshot(before=run.before, monday=week)
    PlanRun.objects.filter(pk=run.pk, undone_at__isnull=True).update(undone_at=now, before=None)
    return PlanUndone(week, stops)


def company_settings() -> VisitSettings:
    """Settings of needs and routes with the company's own numbers."""
    company = Company.objects.only("settings").first()
    return visit_settings(company.settings if company else {})


@transaction.atomic
def _prepare(*, monday: date, days: tuple[date, ...], now: datetime, today: date) -> WeekState:
    """Merge needs into visits and read what is fixed."""
    refresh_prerequisites(day=days[0])
    able = [frozenset(split_skills(p.skills)) for p in Technician.objects.filter(is_active=True)]
    write_visits(monday=monday, merged=merge_needs(plannable_needs(monday=monday, day=None), able))
    visits = list(
        Visit.objects.filter(week=monday, state__in=(Visit.State.PLANNED, Visit.State.TOLD))
        .select_related("site")
        .order_by("site__code", "number")
    )
    prefetch_related_objects(visits, "needs")
    return week_state(monday=monday, days=days, visits=visits, now=now, today=today)


@transaction.atomic
def _keep(
    *,
    state: WeekState,
    problem: Problem,
    plan: Plan,
    travel: TravelSource,
    now: datetime,
    day: date | None,
    by: str,
    seconds: float,
) -> RoutesPlanned:
    """Write the plan, and beside it the way back."""
    given = state.given
    monday = given.clock.monday
    before = snapshot(days=given.days, monday=monday)
    unserved = write_plan(state=state, problem=problem, plan=plan, travel=travel, now=now)
    told = [number for number, visit in enumerate(given.visits) if visit.told_at is not None]
    left = {one.visit for one in plan.unserved}
    done = RoutesPlanned(
        week=monday,
        day=day,
        routes=len(plan.routes),
        visits=sum(len(route.stops) for route in plan.routes),
        unserved=unserved,
        drive_min=round(sum(route.drive_s for route in plan.routes) / 60, 1),
        drive_km=round(sum(route.drive_m for route in plan.routes) / 1000, 1),
        is_estimated=travel.is_estimated,
        told=len(told),
        told_moved=sum(number in left for number in told),
    )
    keep_run(
        monday=monday,
        day=day,
        now=now,
        by=by,
        before=before,
        figures={
            "what": "plan",
            "routes": done.routes,
            "visits": done.visits,
            "unserved": done.unserved,
            "drive_min": done.drive_min,
            "drive_km": done.drive_km,
            "is_estimated": done.is_estimated,
            "travel_words": travel.words,
            "told": done.told,
            "told_moved": done.told_moved,
            "seconds": seconds,
        },
    )
    return done

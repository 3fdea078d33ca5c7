"""Visit needs to routes: who drives where and when, for a week or a day.

The search runs for seconds, so it stands between two short transactions instead of inside one: a database
that is locked for so long would stop every phone. Call this from a command or a worker, never in a request.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import transaction
from django.db.models import prefetch_related_objects

from fleet.calc.plan.workdays import monday_of
from fleet.calc.visits.settings import VisitSettings, visit_settings
from fleet.models import Company, Planning, PlanRun, Technician, Visit
from fleet.selectors.company.company import company_day
from fleet.services.plan.customer_calls import turn_back_calls
from fleet.services.plan.fit import (
    FoundPlan,
    PlanOvertaken,
    PlanWork,
    fingerprint,
    fit_plan,
    homes_of,
    search_plan,
)
from fleet.services.plan.held_windows import free_expired
from fleet.services.plan.lock import hold_plan
from fleet.services.plan.problem import POINTS_PER_MONEY
from fleet.services.plan.revision import places_of
from fleet.services.plan.snapshot import CannotUndo, keep_run, restore_snapshot, snapshot
from fleet.services.plan.state import (
    NothingToPlan,
    WeekState,
    days_to_plan,
    previous_orders,
    week_state,
)
from fleet.services.plan.told_kept import told_hours, told_kept
from fleet.services.plan.travel_told import tell_travel
from fleet.services.plan.visits_of_week import merge_needs, plannable_needs, split_skills, write_visits
from fleet.services.plan.watched import (
    PlanningStopped,
    claim_planning,
    close_kept,
    close_unkept,
    watcher,
)
from fleet.services.plan.write import draw_ways, try_changes, write_plan
from fleet.services.visits.raise_needs import refresh_prerequisites
from fleet.streets.kept_travel import KeptTravel
from fleet.streets.store import travel_source
from fleet.streets.travel_source import TravelSource

DEFAULT_SECONDS = 10.0
# How often a plan is fitted onto what changed while it was searched.
FITS = 3


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
    told: int  # visits whose customers were told hours
    told_lost: int  # those of them left out
    told_moved: int  # those on another day or outside their hours

    def summary(self) -> str:
        """One line for the end of a command."""
        what = f"day {self.day}" if self.day else f"week of {self.week}"
        estimated = ", driving times estimated" if self.is_estimated else ""
        return (
            f"{what}: {self.visits} visits on {self.routes} routes, {self.unserved} left out, "
            f"{self.drive_min / 60:.1f} h and {self.drive_km:.0f} km of driving{estimated}; "
            f"of {self.told} told customers {self.told_lost} lost their hours, {self.told_moved} were moved"
        )


@dataclass(frozen=True, slots=True)
class PlanUndone:
    """A planning or a move that was taken back."""

    week: date
    stops: int
    to_ring: int = 0  # customers who know the taken-back hours already


def plan_routes(
    *,
    now: datetime,
    week: date | None = None,
    day: date | None = None,
    seconds: float = DEFAULT_SECONDS,
    seed: int = 0,
    iterations: int | None = None,
    by: str = "",
    run_id: int | None = None,
    meanwhile: Callable[[], None] | None = None,
) -> RoutesPlanned:
    """Plan a week or one day of it; what is told, locked, begun or done stays.

    Raises `AlreadyPlanning` where that week is being planned, and `PlanningStopped` where a person threw the
    search away.

    Parameters
    ----------
    now
        Time of the planning.
    week, day
        Monday of the week, or one day.
    seconds, seed, iterations
        Time of the whole planning, seed and (instead of the time) number of iterations of the search. A
        planning of that week that was asked for on a page brings its own time and seed.
    by
        Who plans, for the record.
    run_id
        The stage's run whose heart beats along.
    meanwhile
        Called between search and writing.
    """
    if (week is None) == (day is None):
        raise NothingToPlan("give a week or a day, one of them")
    began = time.perf_counter()
    monday = monday_of(week or day or now.date())
    row = claim_planning(
        week=monday, day=day, now=now, seconds=seconds, seed=seed, by=by, takes_up=run_id is not None
    )
    try:
        work = PlanWork(
            row=row,
            now=now,
            days=days_to_plan(monday=monday, day=day, today=company_day(now=now)),
            settings=company_settings(),
            iterations=iterations,
            observer=watcher(planning=row, now=now, points_per_money=POINTS_PER_MONEY, run_id=run_id),
            began_s=began,
        )
        return _search_and_keep(work, meanwhile)
    except Exception as error:
        ended_at = now + timedelta(seconds=time.perf_counter() - began)
        is_discarded = isinstance(error, PlanningStopped)
        close_unkept(planning=row, ended_at=ended_at, is_discarded=is_discarded, words=str(error))
        raise


def _search_and_keep(work: PlanWork, meanwhile: Callable[[], None] | None) -> RoutesPlanned:
    """Search, and write what was found; where people changed the plan meanwhile, fit it and try again."""
    travel = KeptTravel(travel_source(settings=work.settings))
    found = search_plan(work, _prepare(work), travel)
    for _ in range(FITS):
        if Planning.objects.values_list("stop", flat=True).get(pk=work.row.pk) == Planning.Stop.DISCARD:
            raise PlanningStopped("The planning was thrown away; the plan stays as it was.")
        if meanwhile is not None:
            meanwhile()
        draw_ways(state=found.state, problem=found.problem, plan=found.plan, travel=travel)
        changes = try_changes(state=found.state, problem=found.problem, plan=found.plan)
        kept = _keep(work, found, travel, changes)
        if isinstance(kept, RoutesPlanned):
            return kept
        found = fit_plan(work, found, kept, travel)
    raise PlanOvertaken("The plan was changed again and again while it was worked out; plan once more.")


@transaction.atomic
def undo_plan(*, week: date, now: datetime) -> PlanUndone:
    """Take back the last planning or move of a week; raises `CannotUndo` where a day of it has begun."""
    hold_plan()
    runs = PlanRun.objects.filter(week=week, undone_at__isnull=True, before__isnull=False)
    run = runs.order_by("-planned_at", "-pk").first()
    if run is None or run.before is None:
        raise CannotUndo("There is nothing to undo in this week.")
    stops = restore_snapshot(before=run.before, monday=week)
    rung = turn_back_calls(run=run, now=now)
    PlanRun.objects.filter(pk=run.pk, undone_at__isnull=True).update(undone_at=now, before=None)
    return PlanUndone(week, stops, rung)


def company_settings() -> VisitSettings:
    """Settings of needs and routes with the company's own numbers."""
    company = Company.objects.only("settings").first()
    return visit_settings(company.settings if company else {})


@transaction.atomic
def _prepare(work: PlanWork) -> WeekState:
    """Merge needs into visits and read what is fixed."""
    monday = work.row.week
    free_expired(now=work.now)
    refresh_prerequisites(day=work.days[0])
    able = [frozenset(split_skills(p.skills)) for p in Technician.objects.filter(is_active=True)]
    write_visits(monday=monday, merged=merge_needs(plannable_needs(monday=monday, day=None), able))
    return _read(work)


def _read(work: PlanWork) -> WeekState:
    """The week as it stands."""
    visits = list(
        Visit.objects.filter(week=work.row.week, state__in=(Visit.State.PLANNED, Visit.State.TOLD))
        .select_related("site")
        .order_by("site__code", "number")
    )
    prefetch_related_objects(visits, "needs")
    return week_state(
        monday=work.row.week, days=work.days, visits=visits, now=work.now, today=company_day(now=work.now)
    )


@transaction.atomic
def _keep(
    work: PlanWork, found: FoundPlan, travel: TravelSource, changes: Mapping[int, str]
) -> RoutesPlanned | WeekState:
    """Write the plan, and beside it the way back; the state as it is now where that has moved on."""
    hold_plan()
    fresh = _read(work)
    standing = homes_of(found.problem, fresh, previous_orders(found.problem, fresh.given))
    if fingerprint(fresh, standing) != found.mark:
        return fresh
    row, given, plan = work.row, found.state.given, found.plan
    before = snapshot(days=given.days, monday=row.week)
    hours = told_hours((*given.visits, *found.state.without_place))
    stood = places_of(hours)
    unserved = write_plan(
        state=found.state, problem=found.problem, plan=plan, travel=travel, now=work.now, changes=changes
    )
    told = told_kept(told=hours, before=stood, after=places_of(hours), zone=given.clock.zone)
    done = RoutesPlanned(
        week=row.week,
        day=row.day,
        routes=len(plan.routes),
        visits=sum(len(route.stops) for route in plan.routes),
        unserved=unserved,
        drive_min=round(sum(route.drive_s for route in plan.routes) / 60, 1),
        drive_km=round(sum(route.drive_m for route in plan.routes) / 1000, 1),
        is_estimated=travel.is_estimated,
        told=told.told,
        told_lost=told.lost,
        told_moved=told.moved,
    )
    keep_run(
        monday=row.week,
        day=row.day,
        now=work.now,
        by=row.by,
        before=before,
        figures={
            "what": "plan",
            "routes": done.routes,
            "visits": done.visits,
            "unserved": done.unserved,
            "drive_min": done.drive_min,
            "drive_km": done.drive_km,
            "is_estimated": done.is_estimated,
            "travel_words": tell_travel(plan=plan, given=given, travel=travel, settings=work.settings),
            "told": done.told,
            "told_lost": done.told_lost,
            "told_moved": done.told_moved,
            "seconds": row.seconds,
            "seed": row.seed,
        },
    )
    close_kept(planning=row, ended_at=_ended(row, work.now), words=done.summary())
    return done


def _ended(row: Planning, now: datetime) -> datetime:
    """When a planning ended: at its last heartbeat, or when it began."""
    return Planning.objects.values_list("heartbeat_at", flat=True).get(pk=row.pk) or now

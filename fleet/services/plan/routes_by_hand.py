"""Changes of the plan by hand: each checked at once, with what it costs, and undone in one step."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime

from django.db import transaction
from django.db.models import Prefetch, prefetch_related_objects

from fleet.calc.plan.workdays import monday_of
from fleet.calc.visits.settings import VisitSettings
from fleet.models import HeldWindow, Route, Stop, Technician, Visit, VisitNeed
from fleet.routing.plan import Plan, Unserved
from fleet.routing.problem import Problem
from fleet.routing.schedule import plan_from_orders, schedule_route
from fleet.selectors.company.company import company_day
from fleet.services.plan.held_windows import free_expired
from fleet.services.plan.known_ways import NeverStill, write_on_known_ways
from fleet.services.plan.lock import hold_plan
from fleet.services.plan.plan_routes import company_settings
from fleet.services.plan.problem import POINTS_PER_MONEY, build_problem, vehicle_key
from fleet.services.plan.snapshot import keep_run, snapshot
from fleet.services.plan.state import WeekState, previous_orders, week_state
from fleet.services.plan.visits_of_week import SETTLED
from fleet.services.plan.write import write_plan
from fleet.streets.kept_travel import KeptTravel

STUCK = (
    "As it stands that day can no longer be driven in time: stops that should be over are not reported yet. "
    "Report them, or use “The day breaks?” above the board, which takes them as done by the plan."
)


NO_PLACE = (
    "It does not fit there: hours, shift or break would be missed. Choose another day or place, "
    "or free a stop of that day first."
)
NO_FIT = "The rest of the days no longer fits together with this move."


class CannotMove(ValueError):
    """The move is not possible; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class StopMoved:
    """What a move did, or would do.

    Parameters
    ----------
    visit_id
        The visit.
    arrive
        When it would be served.
    extra_cost
        Money that the days cost more (negative: less) [money].
    extra_drive_min
        Driving that the days take more [min].
    late
        Sites whose stops change their time by more than a quarter of an hour.
    written
        False: only tried.
    """

    visit_id: int
    arrive: datetime
    extra_cost: float
    extra_drive_min: float
    late: tuple[str, ...]
    written: bool


@dataclass(frozen=True, slots=True)
class Marked:
    """How many rows a mark changed."""

    changed: int


def move_stop(
    *,
    visit_id: int,
    technician_id: int,
    day: date,
    now: datetime,
    position: int | None = None,
    by: str = "",
    try_only: bool = False,
) -> StopMoved:
    """Put a visit on another technician's day, or elsewhere in its own; raises `CannotMove`.

    Parameters
    ----------
    visit_id
        The visit, planned or left out.
    technician_id, day
        Where it shall be.
    now, by
        When and who, for the record.
    position
        Its place among the stops ahead on that day (1 = first); None: where it costs least.
    try_only
        Tell what it would cost, write nothing.
    """
    settings = company_settings()
    move = _Move(visit_id, technician_id, day, now, position, by, try_only, settings)
    try:
        return write_on_known_ways(work=lambda travel: _moved(move, travel), settings=settings)
    except NeverStill as error:
        raise CannotMove(str(error)) from error


@dataclass(frozen=True, slots=True)
class _Move:
    """What was asked for, as in `move_stop`."""

    visit_id: int
    technician_id: int
    day: date
    now: datetime
    position: int | None
    by: str
    try_only: bool
    settings: VisitSettings


def _moved(move: _Move, travel: KeptTravel) -> StopMoved:
    """Try a move, and write it where that is asked for."""
    day, now = move.day, move.now
    if not move.try_only:
        hold_plan()
    free_expired(now=now)
    person = Technician.objects.filter(pk=move.technician_id, is_active=True).first()
    visit = Visit.objects.filter(pk=move.visit_id).select_related("site").first()
    if person is None or visit is None:
        raise CannotMove("That visit or technician does not exist any more. Load the page again.")
    old_stop = Stop.objects.filter(visit=visit).select_related("route").first()
    if visit.state in SETTLED or (old_stop is not None and old_stop.state != Stop.State.AHEAD):
        raise CannotMove(f"{visit.site.code} is under way or done and stays where it is.")
    if monday_of(day) != visit.week:
        raise CannotMove("A visit moves within its week; plan the other week to have it there.")
    if HeldWindow.objects.filter(place=visit).exists():
        raise CannotMove("This place is held for a customer on the phone; confirm it or give it back first.")
    days = sorted({day, *([old_stop.route.day] if old_stop is not None else [])})
    before = snapshot(days=days, monday=visit.week)
    state, problem = _state(move, visit, days, travel)
    orders = previous_orders(problem, state.given)
    old = plan_from_orders(problem, orders)
    new_orders = _moved_orders(state, problem, orders, visit, vehicle_key(person, day), move.position)
    new = plan_from_orders(problem, new_orders) if new_orders is not None else None
    if new is None:
        raise CannotMove(_refusal(problem, _without(orders, _number(state, visit)), new_orders is not None))
    moved = _compare(state, old, new, visit, try_only=move.try_only)
    if not move.try_only:
        write_plan(state=state, problem=problem, plan=_with_reasons(state, new), travel=travel, now=now)
        figures: dict[str, object] = {"what": "move", "site": visit.site.code, "extra": moved.extra_cost}
        keep_run(monday=visit.week, day=day, now=now, by=move.by, figures=figures, before=before)
    return moved


@transaction.atomic
def lock_stop(*, visit_id: int, is_locked: bool) -> Marked:
    """Lock a visit to its technician's day, or free it; a new planning does not move a locked one."""
    hold_plan()
    changed = Visit.objects.filter(pk=visit_id).exclude(state__in=SETTLED).update(is_locked=is_locked)
    return Marked(changed)


@transaction.atomic
def publish_routes(*, days: list[date]) -> Marked:
    """Show the routes of these days to their technicians."""
    changed = Route.objects.filter(day__in=days, state=Route.State.DRAFT).update(state=Route.State.PUBLISHED)
    return Marked(changed)


@transaction.atomic
def withdraw_routes(*, days: list[date]) -> Marked:
    """Make published routes drafts again, unseen by technicians; days under way stay as they are."""
    begun = Stop.objects.filter(route__day__in=days).exclude(state=Stop.State.AHEAD).values("route_id")
    changed = (
        Route.objects.filter(day__in=days, state=Route.State.PUBLISHED)
        .exclude(pk__in=begun)
        .update(state=Route.State.DRAFT)
    )
    return Marked(changed)


def _state(move: _Move, visit: Visit, days: list[date], travel: KeptTravel) -> tuple[WeekState, Problem]:
    """The days of a move as a problem; the visit's own lock and told window are the mover's to break."""
    own = Stop.objects.filter(route__day__in=days, visit__isnull=False).values_list("visit_id", flat=True)
    visits = list(
        Visit.objects.filter(pk__in={visit.pk, *own}, week=visit.week)
        .select_related("site")
        .defer("site__geometry")
        .order_by("site__code", "number")
    )
    prefetch_related_objects(visits, Prefetch("needs", queryset=VisitNeed.objects.defer("value_parts")))
    for one in visits:
        one.is_locked = one.is_locked and one.pk != visit.pk
    state = week_state(
        monday=visit.week, days=days, visits=visits, now=move.now, today=company_day(now=move.now)
    )
    if visit.pk not in {one.pk for one in state.given.visits}:
        raise CannotMove(f"{visit.site.code} has no coordinates; add its point to the site book.")
    return state, build_problem(state.given, move.settings, travel)


def _moved_orders(
    state: WeekState,
    problem: Problem,
    orders: dict[int, list[int]],
    visit: Visit,
    key: str,
    position: int | None,
) -> dict[int, list[int]] | None:
    """Orders with the visit at its new place; None where it does not fit there."""
    if key not in problem.vehicle_index:
        raise CannotMove("That person is not at work on that day.")
    vehicle = problem.vehicle_index[key]
    number = _number(state, visit)
    missing = problem.visits[number].skills - problem.vehicles[vehicle].skills
    if missing:
        raise CannotMove(f"That person may not do it: {', '.join(sorted(missing))}.")
    rest = _without(orders, number)
    own = rest.get(vehicle, [])
    places = range(len(own) + 1) if position is None else [min(max(position - 1, 0), len(own))]
    best: tuple[int, list[int]] | None = None
    for place in places:
        order = [*own[:place], number, *own[place:]]
        route = schedule_route(problem, vehicle, order)
        if route is None:
            continue
        worth = sum(stop.prize for stop in route.stops) - route.travel_cost
        if best is None or worth > best[0]:
            best = (worth, order)
    if best is None:
        return None
    rest[vehicle] = best[1]
    return rest


def _number(state: WeekState, visit: Visit) -> int:
    """Position of the visit in the problem."""
    return [one.pk for one in state.given.visits].index(visit.pk)


def _without(orders: dict[int, list[int]], number: int) -> dict[int, list[int]]:
    """The orders without a visit."""
    return {who: [v for v in order if v != number] for who, order in orders.items()}


def _refusal(problem: Problem, rest: dict[int, list[int]], has_place: bool) -> str:
    """Why a move cannot be: the days cannot be driven even without it, or it has no place among them."""
    if plan_from_orders(problem, rest) is None:
        return STUCK
    return NO_FIT if has_place else NO_PLACE


def _compare(state: WeekState, old: Plan | None, new: Plan, visit: Visit, *, try_only: bool) -> StopMoved:
    """What the move changes."""
    visits, clock = state.given.visits, state.given.clock
    starts = {visits[s.visit].pk: s.start_s for route in new.routes for s in route.stops}
    was = {visits[s.visit].pk: s.start_s for r in old.routes for s in r.stops} if old is not None else {}
    late = [
        visits[s.visit].site.code
        for route in new.routes
        for s in route.stops
        if visits[s.visit].pk != visit.pk
        and abs(s.start_s - was.get(visits[s.visit].pk, s.start_s)) > 15 * 60
    ]
    cost = (new.cost - old.cost) / POINTS_PER_MONEY if old is not None else 0.0
    drive = sum(r.drive_s for r in new.routes) - (sum(r.drive_s for r in old.routes) if old else 0)
    return StopMoved(
        visit_id=visit.pk,
        arrive=clock.moment(starts[visit.pk]),
        extra_cost=round(cost, 2),
        extra_drive_min=round(drive / 60, 1),
        late=tuple(late),
        written=not try_only,
    )


def _with_reasons(state: WeekState, plan: Plan) -> Plan:
    """The plan; visits that were left out before the move keep the reason that they have."""
    visits = state.given.visits
    unserved = tuple(
        Unserved(one.visit, visits[one.visit].unserved_code, visits[one.visit].unserved_reason)
        for one in plan.unserved
    )
    return replace(plan, unserved=unserved)

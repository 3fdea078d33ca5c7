"""The day that breaks: a new plan is proposed, shown, and then accepted or discarded.

A proposal changes nothing. What it asks for is written, read and rolled back, then planned around; accepting
writes the same again, and only onto the plan that the proposal was made for.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from django.db import transaction

from fleet.calc.plan.workdays import monday_of
from fleet.calc.visits.settings import VisitSettings
from fleet.models import DayBreak, PlanRun, Route, Stop
from fleet.routing.check import plan_faults
from fleet.routing.mend import opened
from fleet.routing.plan import Plan, Unserved
from fleet.routing.problem import Problem
from fleet.routing.schedule import plan_from_orders
from fleet.selectors.plan.day_breaks import GOOD_FOR
from fleet.services.plan.break_change import BookChanged, BreakAsked, CannotBreak, change_book
from fleet.services.plan.break_plan import BreakPlan, break_problem, plan_break
from fleet.services.plan.break_state import BrokenDay, broken_day, plan_mark, today_states
from fleet.services.plan.customer_calls import raise_calls
from fleet.services.plan.held_windows import free_expired
from fleet.services.plan.known_ways import NEVER_STILL, TRIES, NeverStill, write_on_known_ways
from fleet.services.plan.lock import hold_plan
from fleet.services.plan.plan_routes import company_settings
from fleet.services.plan.proposal_data import figures_data, orders_data, told_data
from fleet.services.plan.snapshot import keep_run, snapshot
from fleet.services.plan.write import write_plan
from fleet.streets.kept_travel import KeptTravel, UnknownPlaces
from fleet.streets.store import travel_source
from fleet.streets.travel_source import TravelSource

DECIDED = "This proposal was decided already. Look at the board for the plan as it is."


class Overtaken(ValueError):
    """The plan has changed since the proposal was made; nothing was saved. The message says what changed."""


@dataclass(frozen=True, slots=True)
class Proposed:
    """A proposal that waits for a word."""

    break_id: int
    moves: int
    told_moved: int


@dataclass(frozen=True, slots=True)
class Accepted:
    """What accepting wrote."""

    break_id: int
    moves: int
    calls: int


@dataclass(frozen=True, slots=True)
class Discarded:
    """A proposal that was put away; False: it was decided already."""

    break_id: int
    changed: bool


def propose_break(*, asked: BreakAsked, day: date, moment: datetime, by: str, now: datetime) -> Proposed:
    """Work out how the rest of the day goes on; nothing but the proposal is saved. Raises `CannotBreak`.

    Parameters
    ----------
    asked
        What happened.
    day, moment
        Today, and from when on it is planned.
    by, now
        Who asks, and when.
    """
    free_expired(now=now)
    settings = company_settings()
    travel = KeptTravel(travel_source(settings=settings))
    travel.is_closed = True
    asking = _Asking(asked, day, moment, settings, travel, by, now)
    for _ in range(TRIES):
        # No road is searched and nothing is planned while the database is held.
        try:
            made = _keep_proposal(asking, *_worked_out(asking))
        except UnknownPlaces:
            travel.look_up()
            continue
        if made is not None:
            return made
    raise CannotBreak(NEVER_STILL)


@dataclass(frozen=True, slots=True)
class _Asking:
    """A proposal in the making."""

    asked: BreakAsked
    day: date
    moment: datetime
    settings: VisitSettings
    travel: TravelSource
    by: str
    now: datetime

    def mark(self) -> str:
        """Mark of the plan as it stands."""
        return plan_mark(day=self.day, moment=self.moment, settings=self.settings, travel=self.travel)


def _worked_out(asking: _Asking) -> tuple[str, BookChanged, BrokenDay, BreakPlan]:
    """The mark of the plan, the day as it would be (rolled back again), and how it goes on."""
    mark = asking.mark()
    with transaction.atomic():
        changed = change_book(asked=asking.asked, day=asking.day, by=asking.by, now=asking.now)
        broken = broken_day(
            asked=asking.asked,
            changed=changed,
            day=asking.day,
            moment=asking.moment,
            settings=asking.settings,
            travel=asking.travel,
        )
        transaction.set_rollback(True)
    found = plan_break(
        broken=broken,
        changed=changed,
        day=asking.day,
        moment=asking.moment,
        settings=asking.settings,
    )
    return mark, changed, broken, found


@transaction.atomic
def _keep_proposal(
    asking: _Asking, mark: str, changed: BookChanged, broken: BrokenDay, found: BreakPlan
) -> Proposed | None:
    """Keep a proposal; None where the plan has changed since it was read."""
    hold_plan()
    if asking.mark() != mark:
        return None
    asked, day = asking.asked, asking.day
    row = DayBreak.objects.create(
        kind=asked.kind,
        day=day,
        week=monday_of(day),
        asked_at=asking.now,
        asked_by=asking.by[:150],
        moment=asking.moment,
        asked=asked.as_data(),
        basis=mark,
        states=today_states(day=day),
        orders=orders_data(broken, found, changed.urgent_id),
        told=told_data(found, changed.urgent_id),
        rows=found.rows,
        figures=figures_data(broken, found, asked, day, changed.urgent_id),
    )
    return Proposed(row.pk, len(found.rows), len(found.mended.freed))


def accept_break(*, break_id: int, by: str, now: datetime) -> Accepted:
    """Put a proposal in force, with the calls that it asks for; undo takes it back.

    Raises `Overtaken` where the plan has changed since, and `CannotBreak` where it was decided already.
    """
    row = DayBreak.objects.filter(pk=break_id).first()
    if row is None:
        raise CannotBreak(DECIDED)
    settings = company_settings()
    try:
        return write_on_known_ways(
            work=lambda travel: _accept(break_id=break_id, travel=travel, settings=settings, by=by, now=now),
            settings=settings,
        )
    except NeverStill:
        raise Overtaken(what_changed(row)) from None


def _accept(
    *, break_id: int, travel: TravelSource, settings: VisitSettings, by: str, now: datetime
) -> Accepted:
    """Write a proposal, onto the plan that it was made for."""
    hold_plan()
    row = DayBreak.objects.select_for_update().filter(pk=break_id).first()
    if row is None or row.state != DayBreak.State.OPEN:
        raise CannotBreak(DECIDED)
    if plan_mark(day=row.day, moment=row.moment, settings=settings, travel=travel) != row.basis:
        raise Overtaken(what_changed(row))
    if now - row.asked_at > GOOD_FOR:
        raise Overtaken("The proposal is older than a quarter of an hour, and everybody has moved on.")
    asked = BreakAsked(**row.asked)
    before = snapshot(days=_days_left(row), monday=row.week)
    changed = change_book(asked=asked, day=row.day, by=by, now=now)
    broken = broken_day(
        asked=asked, changed=changed, day=row.day, moment=row.moment, settings=settings, travel=travel
    )
    problem, plan = _as_proposed(row, broken, changed)
    before |= {"needs": list(changed.needs), "people": list(changed.people), "break": row.pk}
    before["made_visits"] = [changed.urgent_id] if changed.is_new else []
    write_plan(state=broken.state, problem=problem, plan=plan, travel=travel, now=now)
    _close_route(row.day, changed)
    calls = raise_calls(row=row, urgent_id=changed.urgent_id, now=now)
    run = keep_run(
        monday=row.week,
        day=row.day,
        now=now,
        by=by,
        figures={"what": row.kind, "moves": len(row.rows), **row.figures},
        before=before,
    )
    DayBreak.objects.filter(pk=row.pk).update(
        state=DayBreak.State.ACCEPTED, decided_at=now, decided_by=by[:150], run=run
    )
    return Accepted(row.pk, len(row.rows), calls)


@transaction.atomic
def discard_break(*, break_id: int, by: str, now: datetime, overtaken: bool = False) -> Discarded:
    """Put a proposal away; the plan stays as it is."""
    state = DayBreak.State.OVERTAKEN if overtaken else DayBreak.State.DISCARDED
    changed = DayBreak.objects.filter(pk=break_id, state=DayBreak.State.OPEN).update(
        state=state, decided_at=now, decided_by=by[:150]
    )
    return Discarded(break_id, bool(changed))


def what_changed(row: DayBreak) -> str:
    """What happened to the plan since a proposal was made, in a sentence."""
    stops = Stop.objects.filter(route__day=row.day, visit__isnull=False).select_related("visit__site")
    words = [
        f"{stop.visit.site.code} is {stop.get_state_display()}"
        for stop in stops.order_by("pk")
        if stop.visit is not None and row.states.get(str(stop.pk), stop.state) != stop.state
    ]
    runs = PlanRun.objects.filter(week=row.week, planned_at__gte=row.asked_at).defer("before")
    words += [f"{run.by or 'the night’s plan'} changed the plan" for run in runs[:3]]
    if not words:
        words = ["somebody told, locked or moved a visit"]
    return f"The plan has changed since this was worked out: {'; '.join(words[:6])}."


def _days_left(row: DayBreak) -> list[date]:
    """Days of the week from the day on."""
    days = [row.week + timedelta(days=number) for number in range(7)]
    return [day for day in days if day >= row.day]


def _as_proposed(row: DayBreak, broken: BrokenDay, changed: BookChanged) -> tuple[Problem, Plan]:
    """The proposal's plan in the numbers of the book as it is now, proven again."""
    visits = broken.state.given.visits
    number = {(0 if visit.pk == changed.urgent_id else visit.pk): n for n, visit in enumerate(visits)}
    problem, _, wider = break_problem(broken=broken, changed=changed, day=row.day, moment=row.moment)
    try:
        problem = opened(problem, wider, {number[pk] for pk in row.figures["freed"]})
        orders = {problem.vehicle_index[key]: [number[pk] for pk in own] for key, own in row.orders.items()}
    except KeyError:
        raise Overtaken(what_changed(row)) from None
    plan = plan_from_orders(problem, orders)
    if plan is None or plan_faults(problem, plan):
        raise Overtaken(what_changed(row))
    key_of = {n: str(pk) for pk, n in number.items()}
    left = row.figures["left"]
    unserved = tuple(Unserved(one.visit, *left.get(key_of[one.visit], ("", ""))) for one in plan.unserved)
    return problem, replace(plan, unserved=unserved)


def _close_route(day: date, changed: BookChanged) -> None:
    """Let the route of somebody who is away end with their last stop."""
    if not changed.away:
        return
    route = Route.objects.filter(technician__code=changed.away, day=day).first()
    last = route.stops.order_by("order").last() if route is not None else None
    if route is None or last is None:
        return
    driven = list(route.stops.values_list("drive_min", "drive_km"))
    route.end_at, route.way = last.depart, None
    route.end_drive_min = route.end_drive_km = 0.0
    route.drive_min = round(sum(row[0] for row in driven), 1)
    route.drive_km = round(sum(row[1] for row in driven), 2)
    route.save(update_fields=["end_at", "way", "end_drive_min", "end_drive_km", "drive_min", "drive_km"])

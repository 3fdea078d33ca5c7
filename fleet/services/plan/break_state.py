"""Today as it stands at a moment: what has begun or is taken to have begun, and what may still change."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from django.db.models import prefetch_related_objects

from fleet.calc.plan.workdays import monday_of
from fleet.calc.visits.settings import VisitSettings
from fleet.models import DayBreak, Stop, Visit
from fleet.routing.problem import Break, Problem
from fleet.services.plan.break_change import BookChanged, BreakAsked, CannotBreak, person_of
from fleet.services.plan.fit import fingerprint, homes_of
from fleet.services.plan.problem import FixedStart, build_problem, vehicle_key
from fleet.services.plan.state import WeekState, previous_orders, week_state
from fleet.streets.travel_source import TravelSource

OPEN = (Visit.State.PLANNED, Visit.State.TOLD)


@dataclass(frozen=True, slots=True)
class BrokenDay:
    """The rest of the week as a problem, and the plan as it stands.

    Parameters
    ----------
    state, problem
        What may still change.
    orders
        The plan: vehicle -> visits in order.
    lost
        Visits that were planned with somebody who is away now.
    presumed
        Sites whose stops nobody reported, taken as begun by the plan.
    """

    state: WeekState
    problem: Problem
    orders: dict[int, list[int]]
    lost: tuple[int, ...]
    presumed: tuple[str, ...]


def broken_day(
    *,
    asked: BreakAsked,
    changed: BookChanged,
    day: date,
    moment: datetime,
    settings: VisitSettings,
    travel: TravelSource,
) -> BrokenDay:
    """Read today and what is left of the week, after the book was changed.

    Parameters
    ----------
    asked, changed
        What happened, and what that changed in the book.
    day
        Today.
    moment
        From when on it is planned.
    settings, travel
        Costs and ways.
    """
    return settled_week(
        day=day, moment=moment, settings=settings, travel=travel, asked=asked, away=changed.away
    )


def settled_week(
    *,
    day: date,
    moment: datetime,
    settings: VisitSettings,
    travel: TravelSource,
    asked: BreakAsked | None = None,
    away: str = "",
) -> BrokenDay:
    """Read today and what is left of the week as it stands.

    Parameters
    ----------
    day
        Today.
    moment
        From when on it is planned.
    settings, travel
        Costs and ways.
    asked
        What happened; None: nothing.
    away
        Code of a technician who is away from now on.
    """
    state, stops = read_week(day=day, moment=moment)
    late = asked if asked is not None and asked.kind == DayBreak.Kind.LATE else None
    presumed_at = {late.technician_id: moment - timedelta(minutes=late.minutes)} if late else {}
    state, presumed = _presume(state, stops, day, moment, presumed_at, away)
    state = _known_late(state, day)
    if late is not None:
        state = _late(state, stops, late, day, moment)
    problem = _with_break(build_problem(state.given, settings, travel), state, settings)
    orders = previous_orders(problem, state.given)
    here = {visit.pk: number for number, visit in enumerate(state.given.visits)}
    placed = {number for own in orders.values() for number in own}
    gone = {here[s.visit_id] for s in stops if s.visit_id in here and s.route.day >= day} - placed
    return BrokenDay(state, problem, orders, tuple(sorted(gone)), presumed)


def read_week(*, day: date, moment: datetime) -> tuple[WeekState, list[Stop]]:
    """What is left of the week from a day on, and all its stops."""
    monday = monday_of(day)
    days = tuple(
        monday + timedelta(days=number) for number in range(7) if monday + timedelta(days=number) >= day
    )
    visits = list(Visit.objects.filter(week=monday, state__in=OPEN).select_related("site").order_by("pk"))
    prefetch_related_objects(visits, "needs")
    state = week_state(monday=monday, days=days, visits=visits, now=moment, today=day)
    stops = list(
        Stop.objects.filter(route__day__in=days)
        .select_related("route__technician", "visit__site")
        .defer("route__way", "visit__site__geometry")
        .order_by("route_id", "order")
    )
    return state, stops


def plan_mark(*, day: date, moment: datetime, settings: VisitSettings, travel: TravelSource) -> str:
    """Mark of the plan as it stands: equal as long as nothing that a proposal rests on has changed."""
    state, stops = read_week(day=day, moment=moment)
    problem = build_problem(state.given, settings, travel)
    homes = homes_of(problem, state, previous_orders(problem, state.given))
    order = [(s.pk, s.order, s.state, s.arrive.isoformat()) for s in stops]
    return hashlib.sha256(repr((fingerprint(state, homes), order)).encode()).hexdigest()


def _presume(
    state: WeekState,
    stops: list[Stop],
    day: date,
    moment: datetime,
    presumed_at: dict[int, datetime],
    away: str,
) -> tuple[WeekState, tuple[str, ...]]:
    """Stops of today that nobody reported count as begun once the plan says so.

    A phone without network reports hours later: to take its silence for standing still would break every day
    at its first change. Of somebody who is away only what was over by the plan counts; who is late stands
    where the plan had them so much earlier (`presumed_at`).
    """
    given, held = state.given, dict(state.held_orders)
    begun, on_break, taken = dict(given.begun), set(given.on_break), set()
    names: list[str] = []
    by_key: dict[str, list[Stop]] = defaultdict(list)
    for stop in stops:
        if stop.route.day == day:
            by_key[vehicle_key(stop.route.technician, day)].append(stop)
    for key, own in by_key.items():
        is_away = away == own[0].route.technician.code
        until = presumed_at.get(own[0].route.technician_id, moment)
        ahead = [s for s in own if s.order > held.get(key, 0)]
        over = [
            s for s in ahead if (s.depart if is_away else s.arrive - timedelta(minutes=s.drive_min)) <= until
        ]
        if not over or _is_under_way(own, held.get(key, 0)):
            continue
        last = over[-1]
        held[key] = last.order
        if any(s.is_break for s in own if s.order <= last.order):
            on_break.add(key)
        visits = [s for s in over if s.visit is not None]
        taken |= {s.visit_id for s in visits}
        names += [s.visit.site.code for s in visits if s.visit is not None]
        place = _place(visits[-1]) if visits else None
        free_s = max(given.clock.seconds(last.depart), given.clock.seconds(moment))
        if place is not None:
            begun[key] = FixedStart(*place, free_s)
        elif key in begun:
            begun[key] = replace(begun[key], free_s=max(begun[key].free_s, free_s))
    rest = tuple(visit for visit in given.visits if visit.pk not in taken)
    new = replace(given, visits=rest, begun=begun, on_break=frozenset(on_break))
    return replace(state, given=new, held_orders=held), tuple(names)


def _is_under_way(stops: list[Stop], last_order: int) -> bool:
    """Tell whether the last stop that was begun is reported as not left yet."""
    under_way = (Stop.State.ON_THE_WAY, Stop.State.AT_THE_GATE)
    return any(s.order == last_order and s.state in under_way for s in stops)


def _place(stop: Stop) -> tuple[float, float] | None:
    """Where a stop is."""
    site = stop.visit.site if stop.visit is not None else None
    if site is None or site.latitude is None or site.longitude is None:
        return None
    return site.latitude, site.longitude


def _late(state: WeekState, stops: list[Stop], asked: BreakAsked, day: date, moment: datetime) -> WeekState:
    """Somebody whose next step begins so much later than planned."""
    person = person_of(asked.technician_id, day)
    key = vehicle_key(person, day)
    own = [s for s in stops if s.route.day == day and s.route.technician_id == person.pk]
    ahead = [s for s in own if s.order > state.held_orders.get(key, 0)]
    if not [s for s in ahead if not s.is_break]:
        raise CannotBreak(f"{person.name} has no visit ahead today; nothing has to be planned again.")
    step = ahead[0]
    planned = step.arrive - timedelta(minutes=0 if step.is_break else step.drive_min)
    free_s = state.given.clock.seconds(max(moment, planned + timedelta(minutes=asked.minutes)))
    return _free_at(state, key, free_s, (person.start_latitude, person.start_longitude))


def _known_late(state: WeekState, day: date) -> WeekState:
    """Who was said to be late today, as long as they have begun nothing since."""
    rows = DayBreak.objects.filter(
        day=day, kind=DayBreak.Kind.LATE, state=DayBreak.State.ACCEPTED, run__undone_at__isnull=True
    )
    people = {person.pk: person for person in state.given.technicians}
    for row in rows.order_by("asked_at", "pk"):
        person = people.get(int(row.asked.get("technician_id", 0)))
        if person is None or "free_at" not in row.figures:
            continue
        key = vehicle_key(person, day)
        if state.held_orders.get(key, 0) != row.figures.get("after_order"):
            continue
        free_s = state.given.clock.seconds(datetime.fromisoformat(row.figures["free_at"]))
        state = _free_at(state, key, free_s, (person.start_latitude, person.start_longitude))
    return state


def _free_at(state: WeekState, key: str, free_s: int, start: tuple[float, float]) -> WeekState:
    """The state with one vehicle free no earlier than then."""
    begun = dict(state.given.begun)
    known = begun.get(key)
    begun[key] = (
        FixedStart(*start, free_s) if known is None else replace(known, free_s=max(known.free_s, free_s))
    )
    return replace(state, given=replace(state.given, begun=begun))


def _with_break(problem: Problem, state: WeekState, settings: VisitSettings) -> Problem:
    """Whoever is so late that the hours of the break are over takes it at once, instead of not at all."""
    vehicles = []
    for vehicle in problem.vehicles:
        person = next(p for p in state.given.technicians if p.code == vehicle.technician)
        day = date.fromisoformat(vehicle.key.rsplit("/", 1)[1])
        whole = state.given.clock.at(day, person.shift_end) - state.given.clock.at(day, person.shift_start)
        missed = vehicle.pause is None and vehicle.key in state.given.begun
        rest_s = person.break_min * 60
        owed = rest_s > 0 and whole >= settings.break_from_shift_h * 3600
        room = vehicle.shift_end_s - vehicle.shift_start_s >= rest_s
        if missed and owed and room and vehicle.key not in state.given.on_break:
            start = vehicle.shift_start_s
            vehicle = replace(vehicle, pause=Break(start, start, rest_s))
        vehicles.append(vehicle)
    return replace(problem, vehicles=tuple(vehicles))


def today_states(*, day: date) -> dict[str, str]:
    """State of each stop of a day, by its number."""
    rows = Stop.objects.filter(route__day=day, visit__isnull=False).values_list("pk", "state")
    return {str(pk): state for pk, state in rows}

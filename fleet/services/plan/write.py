"""Writes a proven plan as routes and stops, keeping ids, and what has begun."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from django.db.models import Q

from fleet.models import Route, Stop, Technician, Visit
from fleet.routing.plan import Plan, PlannedRoute
from fleet.routing.problem import Problem
from fleet.services.plan.problem import PlanInput, vehicle_key
from fleet.services.plan.revision import count_changes, places_of
from fleet.services.plan.state import NO_COORDINATES, NO_COORDINATES_WORDS, WeekState
from fleet.services.plan.unserved_change import CHANGES, changes_of
from fleet.streets.travel_source import TravelSource

ROUTE_COLUMNS: Final = (
    "start_at",
    "end_at",
    "drive_min",
    "drive_km",
    "end_drive_min",
    "end_drive_km",
    "travel_is_estimated",
    "planned_at",
    "way",
)


@dataclass(frozen=True, slots=True)
class _Written:
    """What a route becomes."""

    route: Route
    stops: list[Stop]


def write_plan(
    *,
    state: WeekState,
    problem: Problem,
    plan: Plan,
    travel: TravelSource,
    now: datetime,
    changes: Mapping[int, str] | None = None,
) -> int:
    """Replace what lies ahead on the planned days by the plan; how many visits are left out.

    Stops that have begun stay as they are. A visit that keeps being served keeps the id of its stop. What
    would let a left-out visit in is what `try_changes` found; without that it stays as it was told while its
    reason does.
    """
    given = state.given
    all_ids = [visit.pk for visit in given.visits]
    before = places_of(all_ids)
    ids = dict(
        Stop.objects.filter(route__day__in=given.days, visit__isnull=False).values_list("visit_id", "id")
    )
    held_routes = {
        (route.technician_id, route.day): route for route in Route.objects.filter(day__in=given.days)
    }
    served = [given.visits[stop.visit].pk for route in plan.routes for stop in route.stops]
    Stop.objects.filter(_ahead(state), route__day__in=given.days).delete()
    # Missed on a day that is over: the stop moves with its visit.
    Stop.objects.filter(visit_id__in=served, state=Stop.State.AHEAD).delete()
    people = {vehicle_key(p, d): (p, d) for p in given.technicians for d in given.days}
    written = [
        _route(state, problem, route, people[problem.vehicles[route.vehicle].key], held_routes, travel, now)
        for route in plan.routes
    ]
    kept_keys = {route.pk for route in held_routes.values()}
    Route.objects.bulk_create([one.route for one in written if one.route.pk not in kept_keys])
    Route.objects.bulk_update(
        [one.route for one in written if one.route.pk in kept_keys], list(ROUTE_COLUMNS)
    )
    known: list[Stop] = []
    fresh: list[Stop] = []
    for one in written:
        for stop in one.stops:
            stop.route = one.route
            old_id = ids.get(stop.visit_id or 0)
            if old_id is None:
                fresh.append(stop)
            else:
                stop.pk = old_id
                known.append(stop)
    Stop.objects.bulk_create(known, batch_size=1_000)
    Stop.objects.bulk_create(fresh, batch_size=1_000)
    Route.objects.filter(day__in=given.days, stops__isnull=True).delete()
    count_changes(before=before, visit_ids=all_ids)
    return _write_reasons(state, plan, changes)


def _ahead(state: WeekState) -> Q:
    """What may be replaced: everything after what has begun."""
    fixed = Q(pk__in=[])
    for key, order in state.held_orders.items():
        code, day = key.rsplit("/", 1)
        fixed |= Q(route__technician__code=code, route__day=date.fromisoformat(day), order__lte=order)
    return ~fixed


def _route(
    state: WeekState,
    problem: Problem,
    planned: PlannedRoute,
    who: tuple[Technician, date],
    held: dict[tuple[int, date], Route],
    travel: TravelSource,
    now: datetime,
) -> _Written:
    """A route row and its stops."""
    technician, day = who
    clock = state.given.clock
    route = held.get((technician.pk, day)) or Route(technician=technician, day=day)
    first = state.held_orders.get(vehicle_key(technician, day), 0)
    begun = first > 0
    if not begun:
        route.start_at = clock.moment(planned.leave_s)
    route.end_at = clock.moment(planned.back_s)
    done_min, done_km = _driven(route, first) if begun else (0.0, 0.0)
    route.drive_min = round(planned.drive_s / 60 + done_min, 1)
    route.drive_km = round(planned.drive_m / 1000 + done_km, 2)
    route.end_drive_min = round(planned.back_drive_s / 60, 1)
    route.end_drive_km = round(planned.back_drive_m / 1000, 2)
    route.travel_is_estimated = travel.is_estimated
    route.planned_at = now
    route.way = _way(state.given, problem, planned, who, travel)
    stops = []
    for number, stop in enumerate(planned.stops):
        if planned.pause is not None and planned.pause.after == number:
            stops.append(_break(state, planned))
        stops.append(
            Stop(
                visit=state.given.visits[stop.visit],
                arrive=clock.moment(stop.start_s),
                depart=clock.moment(stop.depart_s),
                drive_min=round(stop.drive_s / 60, 1),
                drive_km=round(stop.drive_m / 1000, 2),
            )
        )
    if planned.pause is not None and planned.pause.after == len(planned.stops):
        stops.append(_break(state, planned))
    for order, row in enumerate(stops, start=first + 1):
        row.order = order
    return _Written(route, stops)


def _break(state: WeekState, planned: PlannedRoute) -> Stop:
    """The break as a stop."""
    clock, pause = state.given.clock, planned.pause
    if pause is None:
        raise ValueError("the route has no break")
    return Stop(is_break=True, arrive=clock.moment(pause.start_s), depart=clock.moment(pause.end_s))


def _driven(route: Route, last_order: int) -> tuple[float, float]:
    """Driving of the stops that have begun [min], [km]."""
    rows = Stop.objects.filter(route=route, order__lte=last_order).values_list("drive_min", "drive_km")
    return sum(row[0] for row in rows), sum(row[1] for row in rows)


def _way(
    given: PlanInput,
    problem: Problem,
    planned: PlannedRoute,
    who: tuple[Technician, date],
    travel: TravelSource,
) -> list[list[float]] | None:
    """Line of a route along the streets; None where they are not known."""
    if travel.is_estimated:
        return None
    person, begun = who[0], given.begun.get(problem.vehicles[planned.vehicle].key)
    start = (begun.latitude, begun.longitude) if begun else (person.start_latitude, person.start_longitude)
    sites = [given.visits[stop.visit].site for stop in planned.stops]
    places = [(site.latitude or 0.0, site.longitude or 0.0) for site in sites]
    points = [start, *places, (person.end_latitude, person.end_longitude)]
    line = travel.route([point[0] for point in points], [point[1] for point in points])
    return [[round(lon, 6), round(lat, 6)] for lon, lat in line]


def draw_ways(*, state: WeekState, problem: Problem, plan: Plan, travel: TravelSource) -> None:
    """Look the lines of a plan up in a source that remembers, before the database is held for writing.

    Parameters
    ----------
    state, problem, plan
        What will be written.
    travel
        Streets that remember.
    """
    people = {vehicle_key(p, d): (p, d) for p in state.given.technicians for d in state.given.days}
    for route in plan.routes:
        _way(state.given, problem, route, people[problem.vehicles[route.vehicle].key], travel)


def try_changes(*, state: WeekState, problem: Problem, plan: Plan) -> dict[int, str]:
    """What would let each left-out visit in, by its id; tried before the database is held for writing.

    Parameters
    ----------
    state, problem, plan
        What will be written.
    """
    codes = {pk: code for pk, (code, _) in _reasons(state, plan).items()}
    return changes_of(given=state.given, problem=problem, plan=plan, codes=codes)


def _reasons(state: WeekState, plan: Plan) -> dict[int, tuple[str, str]]:
    """Code and sentence of each visit that no route serves, by its id."""
    visits = state.given.visits
    reasons = {visits[one.visit].pk: (one.code, one.reason) for one in plan.unserved}
    return reasons | {visit.pk: (NO_COORDINATES, NO_COORDINATES_WORDS) for visit in state.without_place}


def _write_reasons(state: WeekState, plan: Plan, changes: Mapping[int, str] | None) -> int:
    """Note on each visit why no route serves it, and what would change that; how many there are."""
    visits, reasons = state.given.visits, _reasons(state, plan)
    found = changes if changes is not None else {pk: CHANGES.get(c, "") for pk, (c, _) in reasons.items()}
    changed: list[Visit] = []
    for visit in (*visits, *state.without_place):
        code, words = reasons.get(visit.pk, ("", ""))
        is_known = changes is None and code == visit.unserved_code and visit.unserved_change
        change = visit.unserved_change if is_known else found.get(visit.pk, "")
        new = (code, words[:300], change[:160])
        if (visit.unserved_code, visit.unserved_reason, visit.unserved_change) != new:
            visit.unserved_code, visit.unserved_reason, visit.unserved_change = new
            changed.append(visit)
    Visit.objects.bulk_update(
        changed, ["unserved_code", "unserved_reason", "unserved_change"], batch_size=500
    )
    return len(reasons)

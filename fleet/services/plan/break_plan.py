"""The plan around a break of the day, and what it changes for whom."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta

from fleet.calc.plan.told_window import window_around
from fleet.calc.visits.settings import VisitSettings
from fleet.models import Stop, Visit
from fleet.routing.mend import Mended, Urgency, mend
from fleet.routing.plan import PlannedRoute, PlannedStop
from fleet.routing.problem import Problem, Window
from fleet.selectors.plan.stop_rows import KIND_WORDS, window_of, zone_of
from fleet.services.plan.break_change import BookChanged
from fleet.services.plan.break_state import BrokenDay
from fleet.services.plan.problem import DAY_S, HORIZON_DAYS, POINTS_PER_MONEY, WeekClock

# A visit changes person or order only to save more than this [money]: what the disquiet of a changed day is
# worth to a technician. Planning assumption, no source.
LEAST_GAIN = 3.0
# Less than this is no change worth a line [min].
NOTED_MIN = 10
HOURS_A_DAY = 24


@dataclass(frozen=True, slots=True)
class BreakPlan:
    """A mended day.

    Parameters
    ----------
    mended
        Plan and problem.
    told
        New hours of customers whose told ones gave way, by visit; None: no place at all.
    rows
        Old and new place of each visit that changes, as JSON can hold it.
    figures
        Totals before and after.
    """

    mended: Mended
    told: dict[int, tuple[datetime, datetime] | None]
    rows: list[dict[str, object]]
    figures: dict[str, object]


def plan_break(
    *, broken: BrokenDay, changed: BookChanged, day: date, moment: datetime, settings: VisitSettings
) -> BreakPlan:
    """Mend the day, and tell what changes.

    Parameters
    ----------
    broken
        The rest of the week as it stands.
    changed
        What the break changed in the book.
    day, moment
        Today, and from when on it is planned.
    settings
        Costs.
    """
    clock = broken.state.given.clock
    problem, urgency, wider = break_problem(broken=broken, changed=changed, day=day, moment=moment)
    mended = mend(
        problem,
        broken.orders,
        lost=broken.lost,
        wider=wider,
        urgent=urgency,
        least_gain=round(LEAST_GAIN * POINTS_PER_MONEY),
        points_per_money=POINTS_PER_MONEY,
    )
    told = _told(broken, mended, changed.urgent_id)
    rows = _rows(broken, mended, told, changed.urgent_id)
    return BreakPlan(mended, told, rows, _figures(broken, mended, settings, clock, changed.urgent_id))


def break_problem(
    *, broken: BrokenDay, changed: BookChanged, day: date, moment: datetime
) -> tuple[Problem, Urgency | None, dict[int, tuple[Window, ...]]]:
    """The problem to mend, what is urgent in it, and the hours that count where told ones give way."""
    wider = _wider(broken, moment)
    if changed.urgent_id is None:
        return broken.problem, None, wider
    problem, urgency = _urgent(broken, changed.urgent_id, day, moment, wider)
    return problem, urgency, wider


def _wider(broken: BrokenDay, moment: datetime) -> dict[int, tuple[Window, ...]]:
    """Hours that count for a customer once the told ones cannot be kept: the garden's own, from now on."""
    given = broken.state.given
    now_s = max(0, given.clock.seconds(moment))
    wider = {}
    for number, visit in enumerate(given.visits):
        start, _ = window_of(visit, list(visit.needs.all()))
        if visit.told_at is None and start is None:
            continue
        windows = []
        for one in given.days:
            opens = max(now_s, given.clock.at(one, visit.site.visit_from or time(0, 0)))
            closes = given.clock.at(one, visit.site.visit_to or time(23, 59))
            if opens <= closes:
                waits = max(1, HORIZON_DAYS - (one - given.clock.monday).days)
                worth = round(visit.value_per_day * waits * POINTS_PER_MONEY)
                windows.append(Window(opens, closes, worth))
        if windows:
            wider[number] = tuple(windows)
    return wider


def _urgent(
    broken: BrokenDay, urgent_id: int, day: date, moment: datetime, wider: dict[int, tuple[Window, ...]]
) -> tuple[Problem, Urgency]:
    """The problem with the urgent visit bound to today, later days as its way out."""
    given, problem = broken.state.given, broken.problem
    number = next(n for n, visit in enumerate(given.visits) if visit.pk == urgent_id)
    what = problem.visits[number]
    now_s = max(0, given.clock.seconds(moment))
    midnight = given.clock.at(day, time()) + DAY_S
    worth = max((w.prize for w in what.windows), default=0)
    later = tuple(w for w in what.windows if w.start_s >= midnight)
    wider[number] = (Window(now_s, midnight - 1, worth), *later)
    visits = list(problem.visits)
    visits[number] = replace(what, windows=(Window(now_s, midnight - 1, worth),), must=True)
    again = replace(problem, visits=tuple(visits))
    per_hour = given.visits[number].value_per_day / HOURS_A_DAY * POINTS_PER_MONEY
    return again, Urgency(number, now_s, round(per_hour))


def _told(
    broken: BrokenDay, mended: Mended, urgent_id: int | None
) -> dict[int, tuple[datetime, datetime] | None]:
    """New hours to tell: of those whose hours gave way, and of the urgent visit."""
    given = broken.state.given
    starts = {stop.visit: stop.start_s for route in mended.plan.routes for stop in route.stops}
    left = {one.visit for one in mended.plan.unserved}
    told: dict[int, tuple[datetime, datetime] | None] = {}
    for number, visit in enumerate(given.visits):
        promised, _ = window_of(visit, list(visit.needs.all()))
        is_told = visit.told_at is not None or promised is not None
        gave_way = number in mended.freed or (is_told and number in left)
        if not gave_way and visit.pk != urgent_id:
            continue
        if number not in starts:
            if is_told:
                told[visit.pk] = None
            continue
        arrive = given.clock.moment(starts[number]).astimezone(zone_of(visit.site.timezone, given.clock.zone))
        told[visit.pk] = window_around(arrive)
    return told


def _rows(
    broken: BrokenDay,
    mended: Mended,
    told: Mapping[int, tuple[datetime, datetime] | None],
    urgent_id: int | None,
) -> list[dict[str, object]]:
    """One row for each visit whose person, day or time changes."""
    given = broken.state.given
    stops = Stop.objects.filter(visit_id__in=[v.pk for v in given.visits])
    stops = stops.select_related("route__technician").defer("route__way")
    old = {stop.visit_id: stop for stop in stops}
    new = {s.visit: (route, s) for route in mended.plan.routes for s in route.stops}
    names = {p.code: p.name for p in given.technicians}
    why = {one.visit: one.reason for one in mended.plan.unserved}
    rows = []
    for number, visit in enumerate(given.visits):
        was, now = old.get(visit.pk), new.get(number)
        if not _differs(given.clock, mended.problem, was, now):
            continue
        start, end = window_of(visit, list(visit.needs.all()))
        hours = told.get(visit.pk)
        row: dict[str, object] = {
            "visit": 0 if visit.pk == urgent_id else visit.pk,
            "site": visit.site.code,
            "name": visit.site.name,
            "kinds": ", ".join(dict.fromkeys(KIND_WORDS.get(n.kind, n.kind) for n in visit.needs.all())),
            "old_who": was.route.technician.name if was else "",
            "old_at": was.arrive.isoformat() if was else "",
            "told_from": start.isoformat() if start else "",
            "told_to": end.isoformat() if end else "",
            "gave_way": visit.pk in told and visit.pk != urgent_id,
            "new_from": hours[0].isoformat() if hours else "",
            "new_to": hours[1].isoformat() if hours else "",
            "is_urgent": visit.pk == urgent_id,
            "why": why.get(number, ""),
            "new_who": "",
            "new_at": "",
        }
        if now is not None:
            row["new_who"] = names[mended.problem.vehicles[now[0].vehicle].technician]
            row["new_at"] = given.clock.moment(now[1].start_s).isoformat()
        rows.append(row)
    rows.sort(key=_row_order)
    return rows


def _row_order(row: dict[str, object]) -> tuple[bool, bool, str, str]:
    """The urgent visit first, then told customers, then by the new time."""
    return (not row["is_urgent"], not row["gave_way"], str(row["new_at"]) or "9", str(row["site"]))


def _differs(
    clock: WeekClock, problem: Problem, was: Stop | None, now: tuple[PlannedRoute, PlannedStop] | None
) -> bool:
    """Tell whether a visit's person, day or time changes."""
    if was is None or now is None:
        return (was is None) != (now is None)
    key = problem.vehicles[now[0].vehicle].key
    if key != f"{was.route.technician.code}/{was.route.day.isoformat()}":
        return True
    moved = abs(clock.moment(now[1].start_s) - was.arrive)
    return moved >= timedelta(minutes=NOTED_MIN)


def _figures(
    broken: BrokenDay,
    mended: Mended,
    settings: VisitSettings,
    clock: WeekClock,
    urgent_id: int | None,
) -> dict[str, object]:
    """What is still to be driven, before and after, and the value that the visits win."""
    given = broken.state.given
    routes = {}
    ahead = Stop.objects.filter(route__day__in=given.days).select_related("route__technician")
    ahead = ahead.defer("route__way")
    old_min = old_km = 0.0
    for stop in ahead:
        key = f"{stop.route.technician.code}/{stop.route.day.isoformat()}"
        if stop.order > broken.state.held_orders.get(key, 0):
            old_min += stop.drive_min
            old_km += stop.drive_km
            routes[stop.route_id] = stop.route
    old_min += sum(route.end_drive_min for route in routes.values())
    old_km += sum(route.end_drive_km for route in routes.values())
    new_min = sum(route.drive_s for route in mended.plan.routes) / 60
    new_km = sum(route.drive_m for route in mended.plan.routes) / 1000
    money = (new_km - old_km) * settings.cost_per_km + (new_min - old_min) / 60 * settings.cost_per_hour
    old_value = _value(given.visits, {s.visit_id: s.route.day for s in ahead}, clock)
    days: dict[int | None, date] = {
        given.visits[s.visit].pk: clock.moment(s.start_s).date()
        for route in mended.plan.routes
        for s in route.stops
        if given.visits[s.visit].pk != urgent_id
    }
    return {
        "old_km": round(old_km, 1),
        "new_km": round(new_km, 1),
        "old_drive_min": round(old_min),
        "new_drive_min": round(new_min),
        "drive_money": round(money, 2),
        "wait_money": round(old_value - _value(given.visits, days, clock), 2),
        "visits": sum(len(route.stops) for route in mended.plan.routes),
        "told": sum(visit.told_at is not None for visit in given.visits),
        "told_moved": len(mended.freed),
    }


def _value(visits: tuple[Visit, ...], days: Mapping[int | None, date], clock: WeekClock) -> float:
    """Value of waiting that these days save until the next week's plan [money]."""
    return sum(
        visit.value_per_day * max(1, HORIZON_DAYS - (days[visit.pk] - clock.monday).days)
        for visit in visits
        if visit.pk in days
    )

"""Where a week stands before it is planned again: what is fixed, what has begun, what was there before."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from fleet.calc.visits.prerequisites import PartsWanted
from fleet.models import Company, Stop, Technician, Visit
from fleet.routing.problem import Problem
from fleet.selectors.visits.prerequisites import Supplies, parts_shares, supplies
from fleet.services.plan.problem import FixedStart, PlanInput, WeekClock, vehicle_key
from fleet.services.plan.visits_of_week import SETTLED

BEGUN = (Stop.State.ON_THE_WAY, Stop.State.AT_THE_GATE, Stop.State.FINISHED, Stop.State.NOT_POSSIBLE)
NO_COORDINATES = "no_coordinates"
NO_COORDINATES_WORDS = "The site has no coordinates: add its point to the site book."


class NothingToPlan(ValueError):
    """The span cannot be planned; the message says why."""


@dataclass(frozen=True, slots=True)
class WeekState:
    """The input of a planning, and what is left out of it from the start.

    Parameters
    ----------
    given
        Days, people, visits to place.
    without_place
        Visits whose site has no coordinates.
    held_orders
        Highest order number of what has begun, by vehicle key.
    today
        The day that counts as today.
    """

    given: PlanInput
    without_place: tuple[Visit, ...]
    held_orders: dict[str, int]
    today: date


def days_to_plan(*, monday: date, day: date | None, today: date) -> tuple[date, ...]:
    """Days of a planning: one, or those of the week that are not over."""
    if day is not None:
        return (day,)
    week = tuple(monday + timedelta(days=number) for number in range(7))
    return tuple(d for d in week if d >= today) if monday <= today <= week[-1] else week


def week_state(
    *, monday: date, days: Sequence[date], visits: Sequence[Visit], now: datetime, today: date
) -> WeekState:
    """Read what is fixed and what has begun.

    Parameters
    ----------
    monday
        The week.
    days
        Days to plan.
    visits
        Visits of the week that somebody should make.
    now
        Time of the planning.
    today
        The day that counts as today.
    """
    company = Company.objects.only("timezone").first()
    clock = WeekClock(monday, ZoneInfo(company.timezone if company else "UTC"))
    technicians = tuple(Technician.objects.filter(is_active=True).order_by("code"))
    stops = list(
        Stop.objects.filter(route__day__gte=monday, route__day__lt=monday + timedelta(days=7))
        .select_related("route__technician", "visit__site")
        .defer("route__way", "visit__site__geometry")  # long, and read once for each stop
        .order_by("route_id", "order")
    )
    elsewhere = {
        stop.visit_id
        for stop in stops
        if stop.route.day not in days
        # What was missed on a day that is over is planned again.
        and not (stop.route.day < min(today, days[0]) and stop.state == Stop.State.AHEAD)
    }
    begun, held, on_break = _begun(stops, clock, now)
    for person in technicians:
        _late_start(person, days, clock, now, begun)
    placed, without = [], []
    locked: dict[int, str] = {}
    homes = {s.visit_id: vehicle_key(s.route.technician, s.route.day) for s in stops if s.visit_id}
    for visit in visits:
        if visit.state in SETTLED or visit.pk in elsewhere:
            continue
        if visit.site.latitude is None or visit.site.longitude is None:
            without.append(visit)
            continue
        placed.append(visit)
        if visit.is_locked and visit.pk in homes:
            locked[visit.pk] = homes[visit.pk]
    supplied = supplies()
    given = PlanInput(
        certificates=supplied.certificates,
        trucks=_trucks(placed, locked, supplied),
        clock=clock,
        days=tuple(days),
        technicians=technicians,
        visits=tuple(placed),
        locked_to=locked,
        begun=begun,
        on_break=frozenset(on_break),
    )
    return WeekState(given, tuple(without), held, today)


def _trucks(visits: Sequence[Visit], locked: Mapping[int, str], held: Supplies) -> dict[int, frozenset[str]]:
    """Whose trucks can make each visit that needs parts; told and locked ones are served first."""
    if not held.by_kind:
        return {}
    wanted = [
        PartsWanted(
            visit.pk,
            held.parts_of(need.kind for need in visit.needs.all()),
            locked.get(visit.pk, "").partition("/")[0],
        )
        for visit in sorted(
            visits, key=lambda v: (v.pk not in locked, v.told_at is None, -v.value_per_day, v.pk)
        )
    ]
    shares = parts_shares([one for one in wanted if one.parts], held)
    return {pk: share.trucks for pk, share in shares.items() if share.trucks is not None}


def _begun(
    stops: Sequence[Stop], clock: WeekClock, now: datetime
) -> tuple[dict[str, FixedStart], dict[str, int], set[str]]:
    """Where begun days stand, how far their order is fixed, and whose break is over."""
    by_key: dict[str, list[Stop]] = defaultdict(list)
    for stop in stops:
        by_key[vehicle_key(stop.route.technician, stop.route.day)].append(stop)
    begun: dict[str, FixedStart] = {}
    held: dict[str, int] = {}
    on_break: set[str] = set()
    for key, own in by_key.items():
        started = [stop for stop in own if stop.state in BEGUN]
        if not started:
            continue
        last = max(started, key=lambda stop: stop.order)
        held[key] = last.order
        if any(stop.is_break and stop.order <= last.order for stop in own):
            on_break.add(key)
        visits = [stop for stop in started if stop.visit_id is not None]
        if not visits:
            continue
        here = max(visits, key=lambda stop: stop.order)
        site = here.visit.site if here.visit is not None else None
        if site is None or site.latitude is None or site.longitude is None:
            continue
        begun[key] = FixedStart(site.latitude, site.longitude, max(0, _free_at(here, clock, now)))
    return begun, held, on_break


def _free_at(stop: Stop, clock: WeekClock, now: datetime) -> int:
    """Clock [s] at which the technician leaves a begun stop."""
    if stop.state in (Stop.State.FINISHED, Stop.State.NOT_POSSIBLE):
        return clock.seconds(stop.state_at or stop.depart)
    planned_s = clock.seconds(stop.depart)
    same_day = now.astimezone(clock.zone).date() == stop.route.day
    return max(planned_s, clock.seconds(now)) if same_day else planned_s


def _late_start(
    person: Technician, days: Sequence[date], clock: WeekClock, now: datetime, begun: dict[str, FixedStart]
) -> None:
    """A shift that runs already, without a stop begun, starts now from the start place."""
    day = now.astimezone(clock.zone).date()
    key = vehicle_key(person, day)
    if day in days and key not in begun and clock.seconds(now) > clock.at(day, person.shift_start):
        begun[key] = FixedStart(person.start_latitude, person.start_longitude, clock.seconds(now))


def previous_orders(problem: Problem, given: PlanInput) -> dict[int, list[int]]:
    """The plan as it stands now, in the problem's numbers: a warm start."""
    number = {visit.pk: index for index, visit in enumerate(given.visits)}
    orders: dict[int, list[int]] = defaultdict(list)
    stops = (
        Stop.objects.filter(visit_id__in=number, route__day__in=given.days)
        .select_related("route__technician")
        .defer("route__way")
        .order_by("route_id", "order")
    )
    for stop in stops:
        vehicle = problem.vehicle_index.get(vehicle_key(stop.route.technician, stop.route.day))
        if vehicle is not None and stop.visit_id is not None:
            orders[vehicle].append(number[stop.visit_id])
    return dict(orders)

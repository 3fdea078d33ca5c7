"""From visits and technicians of the database to a routing problem, and the clock between them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from fleet.calc.plan.travel import TravelMatrix, row_blocks
from fleet.calc.plan.workdays import off_words
from fleet.calc.visits.prerequisites import able_on
from fleet.calc.visits.settings import VisitSettings, travel_hours
from fleet.models import Technician, Visit, VisitNeed
from fleet.routing.problem import UNREACHABLE_S, Break, IntArray, Problem, Vehicle, Window
from fleet.routing.problem import Visit as Call
from fleet.services.plan.visits_of_week import hours_of, split_skills
from fleet.streets.travel_source import TravelSource

DAY_S = 86_400
POINTS_PER_MONEY = 100  # cost points are cents
# A week's value of waiting: what is left out waits for the next week's plan.
HORIZON_DAYS = 7


@dataclass(frozen=True, slots=True)
class WeekClock:
    """Seconds from Monday 00:00 by the wall clock of the company's time zone."""

    monday: date
    zone: ZoneInfo

    def seconds(self, moment: datetime) -> int:
        """Clock [s] of a moment; negative before the week."""
        wall = moment.astimezone(self.zone).replace(tzinfo=None)
        return int((wall - datetime.combine(self.monday, time())).total_seconds())

    def moment(self, seconds: int) -> datetime:
        """Moment of a clock reading [s]."""
        wall = datetime.combine(self.monday, time()) + timedelta(seconds=seconds)
        return wall.replace(tzinfo=self.zone)

    def at(self, day: date, hour: time) -> int:
        """Clock [s] of a time of day."""
        moment = datetime.combine(day, hour)
        return int((moment - datetime.combine(self.monday, time())).total_seconds())


@dataclass(frozen=True, slots=True)
class FixedStart:
    """A day that has begun: the technician stands somewhere and is free from then on."""

    latitude: float
    longitude: float
    free_s: int


@dataclass(frozen=True, slots=True)
class PlanInput:
    """What one planning looks at."""

    clock: WeekClock
    days: tuple[date, ...]
    technicians: tuple[Technician, ...]
    visits: tuple[Visit, ...]  # with `site` and prefetched `needs`
    locked_to: dict[int, str]  # visit id -> vehicle key
    begun: dict[str, FixedStart]  # vehicle key -> where the day stands
    on_break: frozenset[str]  # vehicles whose break is over
    # Last day of certificates by technician code and skill, and whose trucks can make a visit with the parts
    # that they hold (a visit that is not here needs none, or anybody's will do).
    certificates: Mapping[str, Mapping[str, date]] = field(default_factory=dict)
    trucks: Mapping[int, frozenset[str]] = field(default_factory=dict)


def vehicle_key(technician: Technician, day: date) -> str:
    """Name of a technician's day."""
    return f"{technician.code}/{day.isoformat()}"


def works_on(technician: Technician, day: date) -> bool:
    """Tell whether a technician is at work on a day."""
    return technician.is_active and not off_words(technician.workdays, technician.days_off, day)


def build_problem(given: PlanInput, settings: VisitSettings, travel: TravelSource) -> Problem:
    """The routing problem of a planning; visits and vehicles stand in the order of the input.

    Parameters
    ----------
    given
        Days, people and visits; each visit's site has coordinates.
    settings
        Costs and breaks.
    travel
        Where times come from.
    """
    points: dict[tuple[float, float], int] = {}

    def place(latitude: float, longitude: float) -> int:
        return points.setdefault((latitude, longitude), len(points))

    vehicles = tuple(
        _vehicle(given, settings, person, day, place)
        for day in given.days
        for person in given.technicians
        if works_on(person, day)
    )
    calls = tuple(
        Call(
            key=str(visit.pk),
            place=place(visit.site.latitude or 0.0, visit.site.longitude or 0.0),
            service_s=round(visit.service_min * 60),
            windows=windows_of(given, settings, visit),
            skills=frozenset(split_skills(visit.skill)) | _truck_skill(given, visit),
            must=visit.pk in given.locked_to or visit.told_at is not None,
            vehicle=given.locked_to.get(visit.pk),
        )
        for visit in given.visits
    )
    coordinates = np.array(list(points)).reshape(-1, 2)
    matrix = travel.matrix(coordinates[:, 0], coordinates[:, 1])
    hours = travel_hours(settings, points_per_money=POINTS_PER_MONEY)
    return Problem(calls, vehicles, *whole_matrices(matrix, settings), hours=hours)


def whole_matrices(travel: TravelMatrix, settings: VisitSettings) -> tuple[IntArray, IntArray, IntArray]:
    """Times [s], ways [m] and costs [points] as whole numbers, some rows at a time: few copies at once."""
    whole = tuple(np.empty(travel.duration_s.shape, dtype=np.int64) for _ in range(3))
    for rows in row_blocks(len(travel.duration_s)):
        duration_s, distance_m = travel.duration_s[rows], travel.distance_m[rows]
        reachable = np.isfinite(duration_s)
        time_s = np.where(reachable, np.minimum(duration_s, UNREACHABLE_S), UNREACHABLE_S)
        way_m = np.where(reachable, distance_m, 0.0)
        money = way_m / 1000 * settings.cost_per_km + time_s / 3600 * settings.cost_per_hour
        cost = np.where(reachable, money * POINTS_PER_MONEY, UNREACHABLE_S)
        for into, values in zip(whole, (np.ceil(time_s), np.rint(way_m), np.rint(cost)), strict=True):
            into[rows] = values
    first, second, third = whole
    return first, second, third


def windows_of(given: PlanInput, settings: VisitSettings, visit: Visit) -> tuple[Window, ...]:
    """When service may start, with the value that starting then saves [points].

    A told window binds. Else each day of the plan within the needs' earliest and latest and the site's usual
    hours counts, and is worth the value of the days of waiting that it saves until the next week's plan.
    """
    if visit.window_from is not None and visit.window_to is not None and visit.told_at is not None:
        start, end = given.clock.seconds(visit.window_from), given.clock.seconds(visit.window_to)
        return (Window(max(0, start), max(0, start, end), _prize(settings, visit, start // DAY_S)),)
    needs = list(visit.needs.all())
    earliest, latest = hours_of(needs)
    low = max(0, given.clock.seconds(earliest)) if earliest else 0
    high = given.clock.seconds(latest) if latest else HORIZON_DAYS * DAY_S - 1
    windows = []
    for day in given.days:
        opens = given.clock.at(day, visit.site.visit_from or time(0, 0))
        closes = given.clock.at(day, visit.site.visit_to or time(23, 59))
        start, end = max(low, opens), min(high, closes, _ticket_end(given, needs))
        if start <= end:
            number = (day - given.clock.monday).days
            windows.append(Window(start, end, _prize(settings, visit, number)))
    # Nothing left: an empty hour before the week, so that the reason "outside every shift" is told.
    return tuple(windows) or (Window(0, 0, _prize(settings, visit, 0)),)


def _ticket_end(given: PlanInput, needs: Sequence[VisitNeed]) -> int:
    """Last second [s] on which a dig is still covered by its locate ticket."""
    ends = [n.locate_valid_until for n in needs if n.locate_valid_until is not None and n.locate_ticket]
    return min((given.clock.at(end, time(23, 59)) for end in ends), default=HORIZON_DAYS * DAY_S - 1)


def _prize(settings: VisitSettings, visit: Visit, day_number: int) -> int:
    """Value saved by serving on that day instead of waiting for the next week's plan [points]."""
    saved = visit.value_per_day * max(1, HORIZON_DAYS - day_number)
    promised = any(need.promised for need in visit.needs.all())
    return round((saved + (settings.promise_per_day if promised else 0.0)) * POINTS_PER_MONEY)


def _vehicle(
    given: PlanInput,
    settings: VisitSettings,
    person: Technician,
    day: date,
    place: Callable[[float, float], int],
) -> Vehicle:
    """A technician's day; a day that has begun starts where the person stands."""
    key = vehicle_key(person, day)
    start_s, end_s = given.clock.at(day, person.shift_start), given.clock.at(day, person.shift_end)
    begun = given.begun.get(key)
    start = place(person.start_latitude, person.start_longitude)
    if begun is not None:
        start, start_s = place(begun.latitude, begun.longitude), begun.free_s
        end_s = max(start_s, end_s)
    return Vehicle(
        key=key,
        technician=person.code,
        start_place=start,
        end_place=place(person.end_latitude, person.end_longitude),
        shift_start_s=start_s,
        shift_end_s=end_s,
        skills=able_on(frozenset(split_skills(person.skills)), given.certificates.get(person.code, {}), day)
        | _trucks_that_are(given, person),
        pause=None if key in given.on_break else _pause(given, settings, person, day, start_s),
    )


def _truck_skill(given: PlanInput, visit: Visit) -> frozenset[str]:
    """The truck that a visit's parts ask for, as if it were a skill."""
    trucks = given.trucks.get(visit.pk)
    return frozenset() if trucks is None else frozenset({truck_words(trucks)})


def _trucks_that_are(given: PlanInput, person: Technician) -> frozenset[str]:
    """All such skills that a technician's truck has."""
    return frozenset(truck_words(trucks) for trucks in given.trucks.values() if person.code in trucks)


def truck_words(trucks: frozenset[str]) -> str:
    """A set of trucks in words, as they stand in the sentence of an unserved visit."""
    if not trucks:
        return "its parts on a truck"
    return f"its parts on the truck of {' or '.join(sorted(trucks))}"


def _pause(
    given: PlanInput, settings: VisitSettings, person: Technician, day: date, start_s: int
) -> Break | None:
    """The break of a day, unless the shift is short or has passed it already."""
    length = (given.clock.at(day, person.shift_end) - given.clock.at(day, person.shift_start)) / 3600
    midnight = given.clock.at(day, time())
    first = midnight + round(settings.break_from_h * 3600)
    last = midnight + round(settings.break_to_h * 3600)
    if person.break_min == 0 or length < settings.break_from_shift_h or start_s > last:
        return None
    return Break(first, last, person.break_min * 60)

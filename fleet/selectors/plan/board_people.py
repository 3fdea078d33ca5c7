"""Whose lanes stand on the board: a page of people, and what the others have, counted."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Final

from django.db.models import Count

from fleet.calc.plan.board_pages import page_sizes
from fleet.calc.plan.workdays import days_with_work, off_words
from fleet.models import Route, Stop, Technician, Visit
from fleet.selectors.plan.stop_rows import hours_counted_on, minutes_late

# Orders in which the lanes may stand, with their words.
ORDERS: Final[tuple[tuple[str, str], ...]] = (
    ("number", "By number"),
    ("trouble", "Trouble first"),
    ("free", "Most free time first"),
)


@dataclass(frozen=True, slots=True)
class BoardAsked:
    """Which lanes are wanted; `person` opens the page on which that technician stands."""

    order: str = "number"
    skill: str = ""
    page: int = 1
    person: int = 0


@dataclass(frozen=True, slots=True)
class PersonDay:
    """A person's wide day in figures. `number` tells routes apart; `free_min` is None without work."""

    technician_id: int
    technician: str
    number: int
    name: str
    skills: tuple[str, ...]
    visits: int = 0
    late: int = 0
    not_possible: int = 0
    free_min: int | None = None

    @property
    def trouble(self) -> int:
        """Stops that are late for a promise or could not be made."""
        return self.late + self.not_possible


@dataclass(frozen=True, slots=True)
class PeoplePage:
    """One page of the board: who is first and last on it, and what the wide day holds for its people."""

    number: int
    first: PersonDay
    last: PersonDay
    visits: int
    trouble: int


@dataclass(frozen=True, slots=True)
class BoardPeople:
    """People of the board in order, cut into pages; figures are of all of them, not of the page."""

    asked: BoardAsked
    shown: tuple[PersonDay, ...]
    pages: tuple[PeoplePage, ...]
    everyone: int
    chosen: int  # those with the wanted skill
    skills: tuple[str, ...]
    stops_of_day: dict[date, int]
    columns: tuple[date, ...]  # days with a column: Monday to Friday, and those with work
    focus_stops: int
    focus_km: float
    trouble: int
    is_published: bool  # a route of today or later
    is_draft: bool

    @property
    def is_paged(self) -> bool:
        """Whether there are more people than one page holds."""
        return len(self.pages) > 1 or self.chosen < self.everyone or bool(self.asked.skill)

    @property
    def before(self) -> int | None:
        """The page before."""
        return self.asked.page - 1 if self.asked.page > 1 else None

    @property
    def after(self) -> int | None:
        """The next page."""
        return self.asked.page + 1 if self.asked.page < len(self.pages) else None


def numbered_people(with_route: set[int]) -> dict[int, Technician]:
    """Technicians with a lasting number: active ones and those who have a route here."""
    everyone = enumerate(Technician.objects.order_by("code"), start=1)
    return {n: person for n, person in everyone if person.is_active or person.pk in with_route}


def people_with_lanes(*, week: date) -> tuple[PersonDay, ...]:
    """Everybody who has a lane on a week's board, by number, without figures."""
    routes = Route.objects.filter(day__gte=week, day__lt=week + timedelta(days=7)).order_by()
    people = numbered_people(set(routes.values_list("technician_id", flat=True)))
    return tuple(_person(number, person) for number, person in people.items())


def board_people(*, week: date, focus: date, today: date, asked: BoardAsked) -> BoardPeople:
    """People of a week's board, cut into pages.

    Parameters
    ----------
    week, focus
        A Monday, and the wide day.
    today
        The company's day.
    asked
        Which lanes are wanted; what is not there becomes the nearest that is.
    """
    days = [week + timedelta(days=number) for number in range(7)]
    routes = list(
        Route.objects.filter(day__in=days)
        .order_by()
        .values_list("technician_id", "day", "state", "end_drive_min", "end_drive_km")
    )
    people = numbered_people({route[0] for route in routes})
    back = {who: (minutes, km) for who, day, _, minutes, km in routes if day == focus}
    stops = _stops_of(focus)
    figures = [_figures(number, person, focus, back, stops) for number, person in people.items()]
    skills = sorted({skill for one in figures for skill in one.skills})
    order = asked.order if asked.order in dict(ORDERS) else "number"
    skill = asked.skill if asked.skill in skills else ""
    chosen = sorted((one for one in figures if not skill or skill in one.skills), key=_KEYS[order])
    pages, groups = _pages(chosen)
    page = next(
        (page.number for page, group in zip(pages, groups, strict=True) if _holds(group, asked.person)),
        min(max(asked.page, 1), max(len(pages), 1)),
    )
    return BoardPeople(
        asked=replace(asked, order=order, skill=skill, page=page),
        shown=tuple(groups[page - 1]) if groups else (),
        pages=pages,
        everyone=len(figures),
        chosen=len(chosen),
        skills=tuple(skills),
        stops_of_day=_visits_by_day(days),
        columns=days_with_work(
            days,
            [(one.workdays, one.days_off) for one in people.values() if one.is_active],
            {focus} | {day for _, day, _, _, _ in routes},
        ),
        focus_stops=sum(one.visits for one in figures),
        focus_km=sum(stop.drive_km for own in stops.values() for stop in own)
        + sum(km for _, km in back.values()),
        trouble=sum(one.trouble for one in figures),
        is_published=any(state == Route.State.PUBLISHED and day >= today for _, day, state, _, _ in routes),
        is_draft=any(state != Route.State.PUBLISHED for _, _, state, _, _ in routes),
    )


def _holds(group: Sequence[PersonDay], person: int) -> bool:
    """Whether somebody stands on a page."""
    return any(one.technician_id == person for one in group)


def _key_of_number(one: PersonDay) -> tuple[float, int]:
    return (0.0, one.number)


def _key_of_trouble(one: PersonDay) -> tuple[float, int]:
    return (-one.trouble, one.number)


def _key_of_free(one: PersonDay) -> tuple[float, int]:
    return (1.0 if one.free_min is None else -one.free_min, one.number)


_KEYS: Final[dict[str, Callable[[PersonDay], tuple[float, int]]]] = {
    "number": _key_of_number,
    "trouble": _key_of_trouble,
    "free": _key_of_free,
}


def _pages(chosen: Sequence[PersonDay]) -> tuple[tuple[PeoplePage, ...], list[list[PersonDay]]]:
    """The pages, and who stands on each."""
    groups, left = [], 0
    for size in page_sizes(len(chosen)):
        groups.append(list(chosen[left : left + size]))
        left += size
    pages = tuple(
        PeoplePage(
            number=number,
            first=group[0],
            last=group[-1],
            visits=sum(one.visits for one in group),
            trouble=sum(one.trouble for one in group),
        )
        for number, group in enumerate(groups, start=1)
    )
    return pages, groups


@dataclass(frozen=True, slots=True)
class _Stop:
    """What a stop of the wide day counts with."""

    visit_id: int | None
    minutes: float
    drive_min: float
    drive_km: float
    is_late: bool
    is_not_possible: bool


def _stops_of(day: date) -> dict[int, list[_Stop]]:
    """Stops of a day by technician."""
    promised: dict[int, list[tuple[datetime | None, datetime | None]]] = defaultdict(list)
    needs = Visit.needs.through.objects.filter(visit__stops__route__day=day, visitneed__promised=True)
    for visit_id, earliest, latest in needs.values_list(
        "visit_id", "visitneed__earliest", "visitneed__latest"
    ):
        promised[visit_id].append((earliest, latest))
    found: dict[int, list[_Stop]] = defaultdict(list)
    rows = Stop.objects.filter(route__day=day).order_by()
    for who, visit_id, arrive, depart, drive_min, drive_km, state, told_from, told_to in rows.values_list(
        "route__technician_id", "visit_id", "arrive", "depart", "drive_min", "drive_km", "state",
        "visit__window_from", "visit__window_to",
    ):  # fmt: skip
        _, end = hours_counted_on((told_from, told_to), promised.get(visit_id or 0, ()))
        found[who].append(
            _Stop(
                visit_id=visit_id,
                minutes=(depart - arrive).total_seconds() / 60,
                drive_min=drive_min,
                drive_km=drive_km,
                is_late=minutes_late(arrive, end) > 0 and state != Stop.State.FINISHED,
                is_not_possible=state == Stop.State.NOT_POSSIBLE,
            )
        )
    return found


def _figures(
    number: int,
    person: Technician,
    day: date,
    back: dict[int, tuple[float, float]],
    stops: dict[int, list[_Stop]],
) -> PersonDay:
    """One person's wide day."""
    own = stops.get(person.pk, [])
    free: int | None = None
    if person.pk in back or not off_words(person.workdays, person.days_off, day):
        shift = datetime.combine(day, person.shift_end) - datetime.combine(day, person.shift_start)
        taken = sum(stop.minutes + stop.drive_min for stop in own) + back.get(person.pk, (0.0, 0.0))[0]
        free = max(0, round(shift.total_seconds() / 60 - taken))
    return replace(
        _person(number, person),
        visits=sum(stop.visit_id is not None for stop in own),
        late=sum(stop.is_late and not stop.is_not_possible for stop in own),
        not_possible=sum(stop.is_not_possible for stop in own),
        free_min=free,
    )


def _person(number: int, person: Technician) -> PersonDay:
    """A person without figures."""
    skills = tuple(part.strip() for part in person.skills.split(";") if part.strip())
    return PersonDay(person.pk, person.code, number, person.name, skills)


def _visits_by_day(days: Sequence[date]) -> dict[date, int]:
    """Visits of each day."""
    counted = dict(
        Stop.objects.filter(route__day__in=days, visit__isnull=False)
        .order_by()
        .values_list("route__day")
        .annotate(count=Count("pk"))
    )
    return {day: counted.get(day, 0) for day in days}

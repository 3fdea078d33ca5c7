"""What the pages of a broken day show: whom and what it can hit, and a proposal with its old and new plan."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from fleet.calc.plan.workdays import monday_of, off_words
from fleet.models import DayBreak, Stop, Technician
from fleet.selectors.plan.stop_rows import company_zone

# A proposal rests on where everybody stands: after this time it is worked out again.
GOOD_FOR: Final = timedelta(minutes=15)


@dataclass(frozen=True, slots=True)
class PersonChoice:
    """Somebody at work today, and how much lies ahead."""

    technician_id: int
    name: str
    ahead: int


@dataclass(frozen=True, slots=True)
class VisitChoice:
    """A visit that can still be cancelled. Its time is the company's."""

    visit_id: int
    site: str
    site_name: str
    technician: str
    arrive: datetime


@dataclass(frozen=True, slots=True)
class MoveRow:
    """Old and new place of a visit. Times are the company's; None where it has no place."""

    site: str
    name: str
    kinds: str
    old_who: str
    old_at: datetime | None
    new_who: str
    new_at: datetime | None
    told_from: datetime | None
    told_to: datetime | None
    new_from: datetime | None
    new_to: datetime | None
    gave_way: bool
    is_urgent: bool
    why: str


@dataclass(frozen=True, slots=True)
class BreakPage:
    """A proposal as its page shows it."""

    row: DayBreak
    moves: tuple[MoveRow, ...]
    moment: datetime
    told_moved: int
    taken_in: int
    left_out: int
    figures: dict[str, object]
    is_undone: bool
    calls: int


def people_today(*, day: date) -> tuple[PersonChoice, ...]:
    """Technicians who are at work on a day, those with stops ahead first."""
    ahead: dict[int, int] = {}
    stops = Stop.objects.filter(route__day=day, visit__isnull=False, state=Stop.State.AHEAD)
    for technician_id in stops.values_list("route__technician_id", flat=True):
        ahead[technician_id] = ahead.get(technician_id, 0) + 1
    people = [
        PersonChoice(person.pk, person.name, ahead.get(person.pk, 0))
        for person in Technician.objects.filter(is_active=True).order_by("code")
        if not off_words(person.workdays, person.days_off, day)
    ]
    return tuple(sorted(people, key=lambda one: one.ahead == 0))


def visits_ahead(*, day: date) -> tuple[VisitChoice, ...]:
    """Visits from a day to the end of its week that nobody has begun, today's first."""
    here = company_zone()
    stops = (
        Stop.objects.filter(
            route__day__gte=day,
            route__day__lt=monday_of(day) + timedelta(days=7),
            visit__isnull=False,
            visit__hold__isnull=True,
            state=Stop.State.AHEAD,
        )
        .select_related("route__technician", "visit__site")
        .defer("route__way", "visit__site__geometry")
        .order_by("arrive", "pk")
    )
    return tuple(
        VisitChoice(
            stop.visit.pk,
            stop.visit.site.code,
            stop.visit.site.name,
            stop.route.technician.name,
            stop.arrive.astimezone(here),
        )
        for stop in stops
        if stop.visit is not None
    )


def break_page(*, break_id: int) -> BreakPage | None:
    """A proposal; None where there is none."""
    row = DayBreak.objects.select_related("run").filter(pk=break_id).first()
    if row is None:
        return None
    here = company_zone()
    moves = tuple(_move(entry, here) for entry in row.rows)
    return BreakPage(
        row=row,
        moves=moves,
        moment=row.moment.astimezone(here),
        told_moved=sum(move.gave_way for move in moves),
        taken_in=sum(move.old_at is None and move.new_at is not None for move in moves),
        left_out=sum(move.old_at is not None and move.new_at is None for move in moves),
        figures=row.figures,
        is_undone=row.run is not None and row.run.undone_at is not None,
        calls=row.calls.count(),
    )


def open_breaks(*, day: date, now: datetime) -> tuple[DayBreak, ...]:
    """Proposals of a day that nobody has decided and that can still be accepted."""
    rows = DayBreak.objects.filter(day=day, state=DayBreak.State.OPEN, asked_at__gte=now - GOOD_FOR)
    return tuple(rows.order_by("asked_at", "pk"))


def _move(entry: dict[str, object], here: ZoneInfo) -> MoveRow:
    """A row of a proposal with its times."""

    def at(name: str) -> datetime | None:
        text = str(entry.get(name) or "")
        return datetime.fromisoformat(text).astimezone(here) if text else None

    return MoveRow(
        site=str(entry["site"]),
        name=str(entry["name"]),
        kinds=str(entry["kinds"]),
        old_who=str(entry["old_who"]),
        old_at=at("old_at"),
        new_who=str(entry["new_who"]),
        new_at=at("new_at"),
        told_from=at("told_from"),
        told_to=at("told_to"),
        new_from=at("new_from"),
        new_to=at("new_to"),
        gave_way=bool(entry["gave_way"]),
        is_urgent=bool(entry["is_urgent"]),
        why=str(entry["why"]),
    )

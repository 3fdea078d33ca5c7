"""What a break of the day changes in the book: a need more, a person away, a visit cancelled."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from fleet.calc.plan.workdays import monday_of, off_words
from fleet.models import DayBreak, Stop, Technician, Visit, VisitNeed
from fleet.selectors.plan.stop_rows import company_zone
from fleet.services.plan.visits_of_week import SETTLED, split_skills
from fleet.services.visits.needs_by_hand import NeedInput, add_need, withdraw_need
from sites.models import Site
from sites.services.history import ChangeNote, record_changes

MOST_LATE_MIN = 480
# A leak that floods a garden; a planning assumption, no source. Entered by hand where more is known.
LEAK_PER_DAY = 480.0
PLACE_FROM = 900  # visit numbers of places held for customers


class CannotBreak(ValueError):
    """What was asked cannot be planned; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class BreakAsked:
    """What the dispatcher entered.

    Parameters
    ----------
    kind
        One of `DayBreak.Kind`.
    technician_id
        Who is late or ill.
    minutes
        How late: the next step of that day begins so much after its plan [min].
    visit_id
        The visit that was cancelled.
    again_from
        First day on which the customer wants to be planned again; empty: not at all, the needs are withdrawn.
    site_id, reason, service_min, value_per_day, skill
        The urgent visit: where, why, how long [min], what a day of waiting loses [money/day], what it takes.
    """

    kind: str
    technician_id: int = 0
    minutes: int = 0
    visit_id: int = 0
    again_from: str = ""
    site_id: int = 0
    reason: str = ""
    service_min: float = 60.0
    value_per_day: float = LEAK_PER_DAY
    skill: str = ""

    def __post_init__(self) -> None:
        if self.kind not in DayBreak.Kind.values:
            raise CannotBreak("What happened is none of the four things that can be planned here.")
        if self.kind == DayBreak.Kind.LATE and not 1 <= self.minutes <= MOST_LATE_MIN:
            raise CannotBreak(f"Minutes late: a whole number from 1 to {MOST_LATE_MIN} is expected.")
        if self.kind == DayBreak.Kind.URGENT:
            if not self.reason.strip():
                raise CannotBreak("Say in a sentence what happened; the technician reads it.")
            if not 5 <= self.service_min <= 480:
                raise CannotBreak("Minutes on the spot: a number from 5 to 480 is expected.")
            if not 0 <= self.value_per_day <= 1e6:
                raise CannotBreak("Cost of waiting: a number from 0 to 1,000,000 is expected.")

    def as_data(self) -> dict[str, object]:
        """The same as JSON can hold it."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class BookChanged:
    """What was changed before planning.

    Parameters
    ----------
    urgent_id
        The urgent visit, or None.
    is_new
        Whether that visit was made for it.
    away
        Code of the technician who is away, or empty.
    needs
        Needs as they were, for undo.
    people
        Days off of technicians as they were, for undo.
    """

    urgent_id: int | None = None
    is_new: bool = False
    away: str = ""
    needs: tuple[dict[str, object], ...] = ()
    people: tuple[dict[str, object], ...] = ()


def change_book(*, asked: BreakAsked, day: date, by: str, now: datetime) -> BookChanged:
    """Write what a break changes, before the day is planned around it. Raises `CannotBreak`."""
    if asked.kind == DayBreak.Kind.ILL:
        return _away(person_of(asked.technician_id, day), day, by, now)
    if asked.kind == DayBreak.Kind.CANCELLED:
        return _cancelled(asked, day, by, now)
    if asked.kind == DayBreak.Kind.URGENT:
        return _urgent(asked, day, by, now)
    person_of(asked.technician_id, day)
    return BookChanged()


def person_of(technician_id: int, day: date) -> Technician:
    """A technician who is at work on that day. Raises `CannotBreak`."""
    person = Technician.objects.filter(pk=technician_id, is_active=True).first()
    if person is None:
        raise CannotBreak("Choose the technician.")
    if off_words(person.workdays, person.days_off, day):
        raise CannotBreak(f"{person.name} is not at work today; nothing has to be planned again.")
    return person


def _away(person: Technician, day: date, by: str, now: datetime) -> BookChanged:
    """A day off from now on; what is locked to that day may go to others."""
    before = person.days_off
    person.days_off = ";".join([*split_skills(before), day.isoformat()])
    person.save(update_fields=["days_off"])
    stops = Stop.objects.filter(route__technician=person, route__day=day, state=Stop.State.AHEAD)
    Visit.objects.filter(stops__in=stops).exclude(state__in=SETTLED).update(is_locked=False)
    note = ChangeNote(
        "technician", person.code, "", {"days_off": before}, {"days_off": person.days_off}, "ill today"
    )
    record_changes(notes=[note], by=by, at=now)
    return BookChanged(away=person.code, people=({"id": person.pk, "days_off": before},))


def _cancelled(asked: BreakAsked, day: date, by: str, now: datetime) -> BookChanged:
    """The visit is not made; its needs are withdrawn, or put off to a day."""
    visit = Visit.objects.filter(pk=asked.visit_id).exclude(state__in=SETTLED).select_related("site").first()
    if visit is None:
        raise CannotBreak("That visit is under way, done or gone; there is nothing left to cancel.")
    if Stop.objects.filter(visit=visit).exclude(state=Stop.State.AHEAD).exists():
        raise CannotBreak(f"The technician is at {visit.site.code} or has left for it; ring them instead.")
    start = _again(asked.again_from, day)
    needs = list(visit.needs.filter(state=VisitNeed.State.OPEN))
    kept = tuple(_need_row(need) for need in needs)
    for need in needs:
        if start is None:
            withdraw_need(
                need_id=need.pk, why="The customer cancelled.", rests_until=None, by=by, now=now, day=day
            )
        else:
            _put_off(need, visit.site, start, by, now)
    before: dict[str, object] = {"state": visit.state}
    visit.state, visit.is_locked = Visit.State.CANCELLED, False
    visit.save(update_fields=["state", "is_locked"])
    key = f"{visit.site.code}/{visit.week.isoformat()}/{visit.number}"
    note = ChangeNote("visit", key, visit.site.code, before, {"state": "cancelled"}, "the customer cancelled")
    record_changes(notes=[note], by=by, at=now)
    return BookChanged(needs=kept)


def _again(text: str, day: date) -> date | None:
    """The first day on which the customer wants to be planned again."""
    if not text:
        return None
    try:
        start = date.fromisoformat(text)
    except ValueError:
        raise CannotBreak("Plan again from: a day is expected, or nothing.") from None
    if start <= day:
        raise CannotBreak("Plan again from: a day after today is expected.")
    return start


def _put_off(need: VisitNeed, site: Site, start: date, by: str, now: datetime) -> None:
    """A need that waits until a day; hours promised before that day are off."""
    before = {"earliest": need.earliest.isoformat() if need.earliest else None}
    need.earliest = datetime.combine(start, time(), tzinfo=zone_of_site(site))
    if need.latest is not None and need.latest < need.earliest:
        need.latest = None
    need.promised = need.promised and need.latest is not None
    need.save(update_fields=["earliest", "latest", "promised"])
    after: dict[str, object] = {"earliest": need.earliest.isoformat()}
    note = ChangeNote("need", need.key, site.code, dict(before), after, "the customer cancelled")
    record_changes(notes=[note], by=by, at=now)


def _urgent(asked: BreakAsked, day: date, by: str, now: datetime) -> BookChanged:
    """A need of today, with a visit of its own."""
    site = Site.objects.filter(pk=asked.site_id).first()
    if site is None:
        raise CannotBreak("Choose the garden: its code, as in the book.")
    if site.latitude is None or site.longitude is None:
        raise CannotBreak(f"{site.code} has no coordinates; add its point to the site book.")
    need = NeedInput(
        kind="repair",
        reason=asked.reason,
        service_min=asked.service_min,
        value_per_day=asked.value_per_day,
    )
    made = add_need(site_id=site.pk, need=need, by=by, now=now, day=day)
    row = VisitNeed.objects.get(pk=made.need_id)
    if asked.skill.strip():
        row.skill = ";".join(split_skills(asked.skill.replace(",", ";")))
        row.save(update_fields=["skill"])
    week = monday_of(day)
    number = 1 + max(
        Visit.objects.filter(site=site, week=week, number__lt=PLACE_FROM).values_list("number", flat=True),
        default=0,
    )
    visit = Visit.objects.create(
        site=site,
        week=week,
        number=number,
        service_min=row.service_min,
        value_per_day=row.value_per_day,
        skill=row.skill,
    )
    visit.needs.add(row)
    return BookChanged(urgent_id=visit.pk, is_new=True)


def zone_of_site(site: Site) -> ZoneInfo:
    """Time zone of a site."""
    try:
        return ZoneInfo(site.timezone)
    except (KeyError, ValueError):
        return company_zone()


def _need_row(need: VisitNeed) -> dict[str, object]:
    """What undo puts back of a need."""
    return {
        "id": need.pk,
        "state": need.state,
        "closed_on": need.closed_on.isoformat() if need.closed_on else None,
        "withdrawn_why": need.withdrawn_why,
        "rests_until": need.rests_until.isoformat() if need.rests_until else None,
        "earliest": need.earliest.isoformat() if need.earliest else None,
        "latest": need.latest.isoformat() if need.latest else None,
        "promised": need.promised,
    }

"""Needs that a person enters, changes, withdraws or opens again; each leaves its mark in the history."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from fleet.calc.visits.settings import visit_settings
from fleet.calc.visits.value import stated_value
from fleet.models import Company, VisitKind, VisitNeed
from fleet.selectors.visits.prerequisites import DIG_KINDS
from fleet.selectors.visits.service_times import service_times
from fleet.services.visits.need_wants import service_min, skill_of
from fleet.services.visits.raise_needs import refresh_prerequisites
from sites.services.history import record_difference


class NoSuchNeed(LookupError):
    """The need does not exist, or is not in the state that this asks for."""


class BadNeed(ValueError):
    """A need that cannot be kept; the message says what was expected."""


@dataclass(frozen=True, slots=True)
class NeedInput:
    """What a person says about a need.

    Parameters
    ----------
    kind
        One of `VisitKind`, but no missing log: that comes from the data.
    reason
        Why somebody must go, in words for the technician.
    service_min
        Time on the spot [min]; None: the kind's own.
    priority
        Step 1 to 5; None: what the value says.
    value_per_day
        Value of a day of waiting [money/day]; None: from the priority.
    earliest, latest
        Bounds of the start of service, aware.
    promised
        The customer was told these hours.
    """

    kind: str
    reason: str
    service_min: float | None = None
    priority: int | None = None
    value_per_day: float | None = None
    earliest: datetime | None = None
    latest: datetime | None = None
    promised: bool = False
    note: str = ""

    def __post_init__(self) -> None:
        if self.kind not in VisitKind.values:
            raise BadNeed(f"kind: expected one of {', '.join(VisitKind.values)}")
        if not self.reason.strip():
            raise BadNeed("reason: say in a sentence why somebody must go")
        if self.service_min is not None and not 1 <= self.service_min <= 720:
            raise BadNeed("minutes: expected a number from 1 to 720")
        if self.value_per_day is not None and not 0 <= self.value_per_day <= 1e6:
            raise BadNeed("value: expected a number from 0 to 1,000,000")
        if self.priority is not None and not 1 <= self.priority <= 5:
            raise BadNeed("priority: expected a step from 1 to 5")
        if self.earliest and self.latest and self.latest < self.earliest:
            raise BadNeed("latest: it lies before the earliest start")
        if self.promised and self.latest is None:
            raise BadNeed("promised: a promise needs its hours, at least the latest start")


@dataclass(frozen=True, slots=True)
class NeedChanged:
    """A need after a person's hand; `blocked_by` says what still keeps it from being planned."""

    need_id: int
    blocked_by: str


@transaction.atomic
def add_need(*, site_id: int, need: NeedInput, by: str, now: datetime, day: date) -> NeedChanged:
    """Enter a need of a site; a second one of the same words is one of its own. Raises `BadNeed`."""
    if need.kind == VisitKind.LOG_MISSING:
        raise BadNeed("kind: a missing log comes from the data, nobody enters it")
    row = VisitNeed(site_id=site_id, kind=need.kind, origin=VisitNeed.Origin.PERSON, raised_on=day)
    row.key = f"person/{site_id}/{need.kind}/{now.isoformat()}"
    _lay_over(row, need, day)
    row.skill = skill_of(need.kind)
    row.save()
    _note(row, None, _facts(row), by, now)
    return _checked(row, day)


@transaction.atomic
def change_need(*, need_id: int, need: NeedInput, by: str, now: datetime, day: date) -> NeedChanged:
    """Change what a person may say of an open need; raises `NoSuchNeed` and `BadNeed`.

    Reason and value of a need that data raised stay the data's; its hours, minutes and note are the office's.
    """
    row = _open(need_id)
    before = _facts(row)
    if row.origin not in (VisitNeed.Origin.PERSON, VisitNeed.Origin.IMPORTED):
        need = NeedInput(
            kind=row.kind,
            reason=row.reason,
            service_min=need.service_min,
            value_per_day=row.value_per_day,
            earliest=need.earliest,
            latest=need.latest,
            promised=need.promised,
            note=need.note,
        )
    parts = row.value_parts
    _lay_over(row, need, day)
    if row.value_per_day == before["value_per_day"]:
        row.value_parts = parts
    row.save()
    _note(row, before, _facts(row), by, now)
    return _checked(row, day)


@transaction.atomic
def record_locate_ticket(
    *, need_id: int, ticket: str, valid_until: date, by: str, now: datetime, day: date
) -> NeedChanged:
    """Note a locate ticket on a need that digs; raises `NoSuchNeed` and `BadNeed`."""
    row = _open(need_id)
    if row.kind not in DIG_KINDS:
        raise BadNeed(f"ticket: a {row.get_kind_display()} does not dig")
    if not ticket.strip():
        raise BadNeed("ticket: expected the number that the locating service gave")
    if valid_until < day:
        raise BadNeed(f"valid until: {valid_until.isoformat()} is over; expected today or later")
    before = {"locate_ticket": row.locate_ticket, "valid_until": _iso(row.locate_valid_until)}
    row.locate_ticket, row.locate_valid_until = ticket.strip()[:60], valid_until
    row.save(update_fields=["locate_ticket", "locate_valid_until"])
    after = {"locate_ticket": row.locate_ticket, "valid_until": _iso(valid_until)}
    _note(row, before, after, by, now)
    return _checked(row, day)


@transaction.atomic
def withdraw_need(
    *, need_id: int, why: str, rests_until: date | None, by: str, now: datetime, day: date
) -> NeedChanged:
    """Close a need without a visit, with a reason; data raise it again only after `rests_until`."""
    row = _open(need_id)
    if not why.strip():
        raise BadNeed("reason: say why nobody has to go")
    if rests_until is not None and rests_until <= day:
        raise BadNeed(f"until: {rests_until.isoformat()} is not ahead; expected a later day, or none")
    row.state, row.closed_on = VisitNeed.State.WITHDRAWN, day
    row.withdrawn_why, row.rests_until = why.strip()[:300], rests_until
    row.save(update_fields=["state", "closed_on", "withdrawn_why", "rests_until"])
    after = {"state": "withdrawn", "rests_until": _iso(rests_until)}
    _note(row, {"state": "open"}, after, by, now, reason=row.withdrawn_why)
    return NeedChanged(row.pk, row.blocked_by)


@transaction.atomic
def reopen_need(*, need_id: int, by: str, now: datetime, day: date) -> NeedChanged:
    """Open a need that was withdrawn or met; raises `NoSuchNeed`."""
    row = VisitNeed.objects.select_for_update().filter(pk=need_id).exclude(state=VisitNeed.State.OPEN).first()
    if row is None:
        raise NoSuchNeed("This need is open already, or is gone. Load the page again.")
    before = {"state": row.state}
    row.state, row.closed_on = VisitNeed.State.OPEN, None
    row.withdrawn_why, row.rests_until = "", None
    row.save(update_fields=["state", "closed_on", "withdrawn_why", "rests_until"])
    _note(row, before, {"state": "open"}, by, now)
    return _checked(row, day)


def _open(need_id: int) -> VisitNeed:
    """The open need."""
    row = (
        VisitNeed.objects.select_for_update()
        .select_related("site")
        .filter(pk=need_id, state=VisitNeed.State.OPEN)
        .first()
    )
    if row is None:
        raise NoSuchNeed("This need is not open any more. Load the page again.")
    return row


def _lay_over(row: VisitNeed, need: NeedInput, day: date) -> None:
    """Write what a person said into the row."""
    company = Company.objects.first()
    settings = visit_settings(company.settings if company else {})
    row.kind, row.reason, row.note = need.kind, need.reason.strip()[:400], need.note.strip()[:300]
    row.minutes_by_hand = row.minutes_by_hand or need.service_min not in (None, row.service_min)
    learned = service_times(day=day, settings=settings) if need.service_min is None else None
    row.service_min = need.service_min or service_min(need.kind, settings, learned)
    row.value_per_day = stated_value(need.value_per_day, need.priority, settings.priority_value)
    row.value_parts = {"priority": row.value_per_day}
    row.earliest, row.latest, row.promised = need.earliest, need.latest, need.promised


def _checked(row: VisitNeed, day: date) -> NeedChanged:
    """The need with its prerequisites looked at again."""
    refresh_prerequisites(day=day)
    row.refresh_from_db(fields=["blocked_by"])
    return NeedChanged(row.pk, row.blocked_by)


def _facts(row: VisitNeed) -> dict[str, object]:
    """What the history keeps of a need."""
    return {
        "reason": row.reason,
        "service_min": row.service_min,
        "value_per_day": row.value_per_day,
        "earliest": _iso(row.earliest),
        "latest": _iso(row.latest),
        "promised": row.promised,
        "note": row.note,
    }


def _iso(moment: date | datetime | None) -> str | None:
    """A day or moment as text."""
    return moment.isoformat() if moment else None


def _note(
    row: VisitNeed,
    before: Mapping[str, object] | None,
    after: Mapping[str, object],
    by: str,
    now: datetime,
    reason: str = "",
) -> None:
    """Keep who changed what; nothing where nothing differs."""
    record_difference(
        kind="visit_need", key=row.key, site_code=row.site.code, before=before, after=after, by=by, at=now,
        reason=reason,
    )  # fmt: skip

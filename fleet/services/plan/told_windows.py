"""Which hours a customer was told: noted by hand, kept by every later plan, taken back where it was wrong."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from fleet.models import Visit
from fleet.services.plan.visits_of_week import SETTLED
from sites.services.history import ChangeNote, record_changes


class CannotTell(ValueError):
    """The window cannot be noted; the message says why."""


@dataclass(frozen=True, slots=True)
class WindowTold:
    """Whether the note changed anything."""

    visit_id: int
    changed: bool


@transaction.atomic
def tell_window(
    *, visit_id: int, window_from: datetime, window_to: datetime, by: str, now: datetime, day: date
) -> WindowTold:
    """Note the window that the customer was told; planning keeps it from now on. Raises `CannotTell`."""
    if window_to <= window_from:
        raise CannotTell("The window ends before it begins.")
    if window_to.date() < day:
        raise CannotTell("The window is over already.")
    visit = _open(visit_id)
    before = _facts(visit)
    visit.window_from, visit.window_to = window_from, window_to
    visit.told_at, visit.state = now, Visit.State.TOLD
    return _kept(visit, before, by, now)


@transaction.atomic
def take_back_window(*, visit_id: int, by: str, now: datetime) -> WindowTold:
    """Take a told window back: the customer was told otherwise, or not at all. Raises `CannotTell`."""
    visit = _open(visit_id)
    before = _facts(visit)
    visit.window_from = visit.window_to = visit.told_at = None
    visit.state = Visit.State.PLANNED
    return _kept(visit, before, by, now)


def _open(visit_id: int) -> Visit:
    """The visit, if it is still ahead."""
    visit = (
        Visit.objects.select_for_update()
        .select_related("site")
        .filter(pk=visit_id)
        .exclude(state__in=SETTLED)
        .first()
    )
    if visit is None:
        raise CannotTell("This visit is under way, done or gone. Load the page again.")
    return visit


def _kept(visit: Visit, before: dict[str, object], by: str, now: datetime) -> WindowTold:
    """Write the visit with its mark in the history."""
    after = _facts(visit)
    if after != before:
        visit.save(update_fields=["window_from", "window_to", "told_at", "state"])
        key = f"{visit.site.code}/{visit.week.isoformat()}/{visit.number}"
        note = ChangeNote("visit", key, visit.site.code, before, after)
        record_changes(notes=[note], by=by, at=now)
    return WindowTold(visit.pk, after != before)


def _facts(visit: Visit) -> dict[str, object]:
    """The told window as the history keeps it."""
    return {
        "window_from": visit.window_from.isoformat() if visit.window_from else None,
        "window_to": visit.window_to.isoformat() if visit.window_to else None,
    }

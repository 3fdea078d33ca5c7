"""Whom to ring because the hours they count on have changed, and what came of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from fleet.models import CustomerCall, DayBreak, PlanRun, Stop, Visit
from fleet.selectors.plan.stop_rows import window_of
from sites.services.history import ChangeNote, record_changes

WHY: dict[str, str] = {
    DayBreak.Kind.LATE: "The technician is held up.",
    DayBreak.Kind.URGENT: "An urgent leak came in between.",
    DayBreak.Kind.ILL: "The technician is ill.",
    DayBreak.Kind.CANCELLED: "Another customer cancelled, and the day was planned again.",
}
URGENT_WHY = "The leak is taken in today."


class CannotNote(ValueError):
    """The outcome cannot be noted; the message says why."""


@dataclass(frozen=True, slots=True)
class CallNoted:
    """A call with its outcome; `changed` False: it stood so already."""

    call_id: int
    visit_id: int
    changed: bool


def raise_calls(*, row: DayBreak, urgent_id: int | None, now: datetime) -> int:
    """Give told customers their new hours, with a call each; how many calls. Inside the plan's transaction.

    Parameters
    ----------
    row
        The accepted proposal.
    urgent_id
        The urgent visit.
    now
        When.
    """
    hours = {(urgent_id if key == "0" else int(key)): value for key, value in row.told.items()}
    visits = list(Visit.objects.filter(pk__in=[pk for pk in hours if pk]).select_related("site"))
    stops = Stop.objects.filter(visit__in=visits).select_related("route__technician")
    who = {stop.visit_id: stop.route.technician.name for stop in stops}
    for visit in visits:
        old = window_of(visit, list(visit.needs.all()))
        new = hours[visit.pk]
        start, end = (datetime.fromisoformat(new[0]), datetime.fromisoformat(new[1])) if new else (None, None)
        visit.window_from, visit.window_to = start, end
        visit.told_at = now if start else None
        visit.state = Visit.State.TOLD if start else Visit.State.PLANNED
        is_urgent = visit.pk == urgent_id
        _replace_open(
            CustomerCall(
                visit=visit,
                day_break=row,
                made_at=now,
                why=URGENT_WHY if is_urgent else WHY[row.kind],
                old_from=None if is_urgent else old[0],
                old_to=None if is_urgent else old[1],
                new_from=start,
                new_to=end,
                technician=who.get(visit.pk, ""),
            )
        )
    Visit.objects.bulk_update(visits, ["window_from", "window_to", "told_at", "state"], batch_size=500)
    return len(visits)


def turn_back_calls(*, run: PlanRun, now: datetime) -> int:
    """After an undo: calls not made are dropped; who was reached is to be rung with the old hours again.

    How many customers have to be rung once more.
    """
    calls = list(CustomerCall.objects.filter(day_break__run=run).select_related("visit"))
    for call in calls:
        if call.outcome in CustomerCall.WAITS:
            call.delete()
            continue
        _replace_open(
            CustomerCall(
                visit=call.visit,
                made_at=now,
                why="The change of the plan was taken back.",
                old_from=call.new_from,
                old_to=call.new_to,
                new_from=call.old_from,
                new_to=call.old_to,
                technician="",
            )
        )
    return sum(call.outcome not in CustomerCall.WAITS for call in calls)


@transaction.atomic
def note_call(*, call_id: int, outcome: str, note: str, by: str, now: datetime) -> CallNoted:
    """Note what came of a call; raises `CannotNote`."""
    call = CustomerCall.objects.select_for_update().select_related("visit__site").filter(pk=call_id).first()
    if call is None:
        raise CannotNote("This call is gone: the change that asked for it was taken back.")
    if outcome not in CustomerCall.Outcome.values:
        raise CannotNote("Choose what came of the call.")
    if (
        outcome in CustomerCall.WAITS
        and CustomerCall.objects.filter(visit=call.visit, outcome__in=CustomerCall.WAITS)
        .exclude(pk=call.pk)
        .exists()
    ):
        raise CannotNote("A newer call to this customer is open; note the outcome there.")
    before = {"outcome": call.outcome, "note": call.note}
    after: dict[str, object] = {"outcome": outcome, "note": note.strip()[:300]}
    if before == after:
        return CallNoted(call.pk, call.visit_id, False)
    call.outcome, call.note = outcome, note.strip()[:300]
    call.by, call.at = by[:150], now
    call.save(update_fields=["outcome", "note", "by", "at"])
    visit = call.visit
    key = f"{visit.site.code}/{visit.week.isoformat()}/{visit.number}"
    record_changes(notes=[ChangeNote("call", key, visit.site.code, dict(before), after)], by=by, at=now)
    return CallNoted(call.pk, call.visit_id, True)


def _replace_open(call: CustomerCall) -> None:
    """A newer call takes the place of an open one, and keeps the hours that the customer really knows."""
    old = CustomerCall.objects.filter(visit=call.visit, outcome__in=CustomerCall.WAITS).first()
    if old is not None:
        call.old_from, call.old_to = old.old_from, old.old_to
        old.delete()
        if (call.old_from, call.old_to) == (call.new_from, call.new_to) and call.new_from is not None:
            return
    call.save()

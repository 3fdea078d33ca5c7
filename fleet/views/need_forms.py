"""What a person types about a need, read and checked before a service sees it."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.http import QueryDict

from fleet.calc.plan.told_window import window_around
from fleet.models import VisitKind, VisitNeed
from fleet.selectors.visits.need_list import NeedCard, PlannedCall
from fleet.services.visits.needs_by_hand import NeedInput

PRIORITIES = [("", "as valued"), *((str(step), str(step)) for step in range(1, 6))]
_MOMENT = "%Y-%m-%dT%H:%M"


def moment_field(label: str) -> forms.DateTimeField:
    """Day and hour of the garden's own clock."""
    return forms.DateTimeField(
        label=label,
        required=False,
        input_formats=[_MOMENT, "%Y-%m-%d %H:%M"],
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format=_MOMENT),
    )


class HoursForm(forms.Form):
    """What the office may change of any need: hours, minutes and a note. Hours are the garden's."""

    service_min = forms.FloatField(
        label="Time on site, min", required=False, min_value=1, max_value=720, help_text="Empty: as usual."
    )
    earliest = moment_field("Not before")
    latest = moment_field("Start at the latest")
    promised = forms.BooleanField(label="The customer was promised these hours", required=False)
    note = forms.CharField(label="Note", max_length=300, required=False)

    def clean(self) -> dict[str, Any]:
        """Hours in order; a promise has hours."""
        cleaned = super().clean() or {}
        earliest, latest = cleaned.get("earliest"), cleaned.get("latest")
        if earliest and latest and latest < earliest:
            self.add_error("latest", "Lies before the earliest start.")
        if cleaned.get("promised") and not latest and "latest" not in self.errors:
            self.add_error("latest", "A promise needs its hours: say until when.")
        return cleaned

    def need(self, zone: ZoneInfo, held: VisitNeed | None = None) -> NeedInput:
        """The need with its hours in the garden's zone; kind, reason and value as held where not typed."""
        typed = self.cleaned_data
        priority, value = typed.get("priority"), typed.get("value_per_day")
        return NeedInput(
            kind=typed.get("kind") or (held.kind if held else ""),
            reason=typed.get("reason") or (held.reason if held else ""),
            service_min=typed["service_min"],
            priority=int(priority) if priority else None,
            value_per_day=value,
            earliest=_in_zone(typed["earliest"], zone),
            latest=_in_zone(typed["latest"], zone),
            promised=typed["promised"],
            note=typed["note"],
        )


class NeedForm(HoursForm):
    """A need as a person enters or changes it."""

    kind = forms.ChoiceField(
        label="Kind of visit",
        choices=[choice for choice in VisitKind.choices if choice[0] != VisitKind.LOG_MISSING],
    )
    reason = forms.CharField(
        label="Why must somebody go?",
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="A sentence for the technician.",
    )
    priority = forms.ChoiceField(
        label="Priority", choices=PRIORITIES, required=False, help_text="1 can wait, 5 cannot."
    )
    value_per_day = forms.FloatField(
        label="Or value of a day of waiting",
        required=False,
        min_value=0,
        max_value=1e6,
        help_text="Money; goes before the priority.",
    )
    field_order = ["kind", "reason", "priority", "value_per_day"]


class TicketForm(forms.Form):
    """A locate ticket."""

    ticket = forms.CharField(label="Ticket number", max_length=60)
    valid_until = forms.DateField(label="Valid until", widget=forms.DateInput(attrs={"type": "date"}))


class WithdrawForm(forms.Form):
    """Why nobody has to go."""

    why = forms.CharField(label="Why does nobody have to go?", max_length=300)
    rests_until = forms.DateField(
        label="Let it rest until",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}),
        help_text="Data may raise it again from that day; empty: from tomorrow.",
    )


class WindowForm(forms.Form):
    """Hours that a customer is told."""

    window_from = moment_field("From")
    window_to = moment_field("To")

    def clean(self) -> dict[str, Any]:
        """Both hours, in order."""
        cleaned = super().clean() or {}
        for name in ("window_from", "window_to"):
            if not cleaned.get(name) and name not in self.errors:
                self.add_error(name, "Needed.")
        if not self.errors and cleaned["window_to"] <= cleaned["window_from"]:
            self.add_error("window_to", "Ends before it begins.")
        return cleaned

    def hours(self, zone: ZoneInfo) -> tuple[datetime, datetime]:
        """Both hours in the garden's zone."""
        start, end = (_in_zone(self.cleaned_data[name], zone) for name in ("window_from", "window_to"))
        if start is None or end is None:
            raise ValueError("the form was not checked")
        return start, end


def change_form(card: NeedCard, typed: QueryDict | None = None) -> HoursForm:
    """The form of a need, as typed or filled with what is known.

    Kind, reason and value of a need that data raised stay the data's.
    """
    need = card.need
    own = need.origin in (VisitNeed.Origin.PERSON, VisitNeed.Origin.IMPORTED)
    known = {
        "kind": need.kind,
        "reason": need.reason,
        "service_min": round(need.service_min),
        "value_per_day": need.value_per_day,
        "earliest": _typed(need.earliest, card.zone),
        "latest": _typed(need.latest, card.zone),
        "promised": need.promised,
        "note": need.note,
    }
    return (NeedForm if own else HoursForm)(typed, initial=known)


def ticket_form(card: NeedCard, today: date) -> TicketForm:
    """The form with the ticket that is known; a ticket of ten days is usual (common practice, no source)."""
    need = card.need
    return TicketForm(
        initial={
            "ticket": need.locate_ticket,
            "valid_until": need.locate_valid_until or today + timedelta(days=10),
        }
    )


def window_form(card: NeedCard, call: PlannedCall) -> WindowForm:
    """The form with the told hours, else the promised ones, else two hours around the planned arrival."""
    if call.window_from and call.window_to:
        hours = (call.window_from, call.window_to)
    elif card.need.promised and card.earliest and card.latest:
        hours = (card.earliest, card.latest)
    elif call.arrive:
        hours = window_around(call.arrive)
    else:
        return WindowForm()
    return WindowForm(
        initial={"window_from": hours[0].replace(tzinfo=None), "window_to": hours[1].replace(tzinfo=None)}
    )


def _typed(moment: datetime | None, zone: ZoneInfo) -> datetime | None:
    """An hour as it stands in a field: of the garden's clock, without a zone."""
    return moment.astimezone(zone).replace(tzinfo=None) if moment else None


def _in_zone(moment: datetime | None, zone: ZoneInfo) -> datetime | None:
    """A typed hour as an hour of the garden."""
    return moment.replace(tzinfo=zone) if moment else None

"""The technician's day on the phone: stops in order, and everything needed at one of them."""

from __future__ import annotations

import secrets
from datetime import date, datetime
from typing import Final

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fleet.models import Cause, Finding, Stop, Technician, User
from fleet.selectors.company import company_day
from fleet.selectors.stop_sheet import stop_sheet, technician_day
from fleet.services.findings import BadFinding, FindingInput, record_finding
from fleet.services.stop_states import UnknownStopState, set_stop_state
from fleet.services.turf_found import TURF_WORDS
from fleet.views.asked import asked_number
from fleet.views.asked_day import asked_day
from sites.lot_map import lot_map_svg
from sites.services.found_on_site import NothingToKeyIn, ThresholdNotOffered

PHONE_MAP_PX: Final = (366, 300)


@require_safe
def day(request: HttpRequest) -> HttpResponse:
    """Show the stops of a day, `?date=`; the office chooses the person by `?technician=`."""
    today = company_day(now=timezone.now())
    person = _person(request)
    if person is None:
        return render(request, "fleet/day_none.html", {"people": Technician.objects.filter(is_active=True)})
    chosen = _date(request.GET.get("date"), today)
    found = technician_day(technician_id=person.pk, day=chosen)
    if found is None:
        raise Http404
    following = next((stop for stop in found.stops if stop.stop_id == found.next_stop_id), None)
    return render(
        request,
        "fleet/day.html",
        {"day": found, "today": today, "next": following, "is_office": request.user != person.user},
    )


@require_safe
def stop(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one stop: why, way in, cautions, map, checks, program, finding."""
    sheet = stop_sheet(stop_id=_own_stop(request, pk).pk)
    if sheet is None or sheet.stop.site_id is None:
        raise Http404
    is_today = sheet.date == company_day(now=timezone.now())
    return render(
        request,
        "fleet/stop.html",
        {
            "sheet": sheet,
            "lot_map": lot_map_svg(
                site_id=sheet.stop.site_id, width_px=PHONE_MAP_PX[0], height_px=PHONE_MAP_PX[1]
            ),
            "gate_code": sheet.gate_code if is_today or request.user.role != User.Role.TECHNICIAN else "",  # type: ignore[union-attr]
            "verdicts": Finding.Verdict.choices,
            "causes": Cause.choices,
            "turfs": TURF_WORDS,
            "client_key": secrets.token_hex(16),
        },
    )


@require_POST
def stop_state(request: HttpRequest, pk: int) -> HttpResponse:
    """Bring a stop forward: left for it, at the gate, finished, not possible."""
    own = _own_stop(request, pk)
    try:
        set_stop_state(
            stop_id=own.pk,
            state=request.POST.get("state", ""),
            at=timezone.now(),
            reason=request.POST.get("reason", "")[:200],
        )
    except UnknownStopState as error:
        messages.error(request, str(error))
    if request.POST.get("state") in (Stop.State.FINISHED, Stop.State.NOT_POSSIBLE):
        return redirect("fleet:day")
    return redirect("fleet:stop", pk=pk)


@require_POST
def stop_finding(request: HttpRequest, pk: int) -> HttpResponse:
    """Record what was found at a stop."""
    own = _own_stop(request, pk)
    try:
        done = record_finding(finding=_finding(request, own, timezone.now()), by=request.user.get_username())
        messages.success(request, " ".join(("The finding is recorded.", *done.changes)))
    except (BadFinding, NothingToKeyIn, ThresholdNotOffered) as error:
        messages.error(request, f"Nothing was recorded: {error}")
    return redirect("fleet:stop", pk=pk)


def _finding(request: HttpRequest, own: Stop, now: datetime) -> FindingInput:
    """The form as a finding."""
    form = request.POST
    return FindingInput(
        client_key=form.get("client_key", "")[:64] or secrets.token_hex(16),
        stop_id=own.pk,
        recorded_at=now,
        need_id=asked_number(form.get("need")) or None,
        verdict=form.get("verdict", Finding.Verdict.NOT_CHECKED),
        cause=form.get("cause", ""),
        resistance_kohm=_number(form.get("resistance_kohm")),
        soil_temperature_c=_number(form.get("soil_temperature_c")),
        threshold_kpa=_number(form.get("threshold_kpa")),
        program_keyed_in=form.get("program_keyed_in") == "yes",
        turf=form.get("turf", ""),
        parts_used=form.get("parts_used", "")[:200],
        service_min=_number(form.get("service_min")),
        follow_up=form.get("follow_up", "")[:300],
        note=form.get("note", "")[:4000],
        need_is_met=form.get("need_is_met", "yes") == "yes",
        answers={
            name.removeprefix("check-"): value[:200]
            for name, value in form.items()
            if name.startswith("check-") and value
        },
    )


def _number(text: str | None) -> float | None:
    """A number of a form, None where it is empty; a comma may stand for the point."""
    if not text or not text.strip():
        return None
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise BadFinding(f"{text[:20]!r}: expected a number") from None


def _person(request: HttpRequest) -> Technician | None:
    """The technician whose day is shown: one's own, or the office's choice."""
    user = request.user
    if not isinstance(user, User):
        return None
    if user.role == User.Role.TECHNICIAN:
        return Technician.objects.filter(user=user).first()
    return Technician.objects.filter(code=request.GET.get("technician", "")[:40]).first()


def _own_stop(request: HttpRequest, pk: int) -> Stop:
    """The stop, if this person may see it: technicians see their own only."""
    stops = Stop.objects.filter(pk=pk, visit__isnull=False)
    user = request.user
    if isinstance(user, User) and user.role == User.Role.TECHNICIAN:
        stops = stops.filter(route__technician__user=user)
    found = stops.first()
    if found is None:
        raise Http404
    return found


def _date(text: str | None, other: date) -> date:
    """The day of a text, or the other one."""
    try:
        return asked_day(text) if text else other
    except ValueError:
        return other

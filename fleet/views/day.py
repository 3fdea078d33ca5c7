"""The technician's day on the phone: stops in order, and everything needed at one of them."""

from __future__ import annotations

import secrets
from datetime import date, datetime, timedelta
from typing import Final

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_POST, require_safe

from fleet.models import Cause, Finding, Stop, Technician, User
from fleet.quantities import entered
from fleet.selectors.company.company import company_day, has_fixed_day
from fleet.selectors.on_site.phone_facts import company_phone
from fleet.selectors.on_site.photo_files import photo_folder
from fleet.selectors.on_site.stop_form import (
    REASONS_NOT,
    WIRES,
    audit_zones_of,
    boxes_of,
    reading_facts,
    recorded_at_visit,
    steps_of,
)
from fleet.selectors.on_site.stop_sheet import stop_sheet
from fleet.selectors.on_site.stop_ticket import ticket_for
from fleet.selectors.on_site.truck import truck_for
from fleet.selectors.plan.late_day import late_facts
from fleet.selectors.plan.routes import StopRow
from fleet.selectors.plan.technician_days import technician_day
from fleet.selectors.site.access import may_read_gate_code, own_stops
from fleet.services.on_site.findings import BadFinding, record_finding
from fleet.services.on_site.photos import BadPhoto, PhotoSent, keep_photo
from fleet.services.on_site.stop_states import UnknownStopState, set_stop_state
from fleet.services.visits.turf_found import TURF_WORDS
from fleet.templatetags.rootround import day_long
from fleet.views.asked import asking_user
from fleet.views.asked_day import asked_day
from fleet.views.audit_form import BOXES, OPENINGS
from fleet.views.finding_form import finding_of
from sites.lot_map import lot_map_svg
from sites.services.found_on_site import NothingToKeyIn, ThresholdNotOffered

PHONE_MAP_PX: Final = (366, 340)
NEXT_MAP_PX: Final = 220
MOST_PHOTOS: Final = 12


@gzip_page
@require_safe
def day(request: HttpRequest) -> HttpResponse:
    """Show the stops of a day, `?date=`; the office chooses the person by `?technician=`."""
    today = company_day(now=timezone.now())
    person = _person(request)
    if person is None:
        return render(request, "fleet/day_none.html", {"people": Technician.objects.filter(is_active=True)})
    chosen = _date(request.GET.get("date"), today)
    span = company_phone()
    first, last = today - timedelta(days=span.days_back), today + timedelta(days=span.days_ahead)
    if asking_user(request).role == User.Role.TECHNICIAN and not first <= chosen <= last:
        messages.info(request, f"Your days from {day_long(first)} to {day_long(last)} can be seen here.")
        return redirect("fleet:day")
    now = timezone.now() if chosen == today and not has_fixed_day() else None
    found = technician_day(technician_id=person.pk, day=chosen, now=now)
    if found is None:
        raise Http404
    ahead = [one.visit_id for one in found.stops if one.visit_id and one.state not in ("done", "not_done")]
    truck = truck_for(technician_id=person.pk, visit_ids=ahead)
    following = next((stop for stop in found.stops if stop.stop_id == found.next_stop_id), None)
    return render(
        request,
        "fleet/day.html",
        {
            "day": found,
            "today": today,
            "next": following,
            "is_office": request.user != person.user,
            "next_map": _map_of(following, is_us=asking_user(request).units == User.Units.US),
            "truck": truck,
            "late_facts": late_facts(
                stops=found.stops, now=now, is_12_hour=not asking_user(request).clock_24h
            )
            if now is not None
            else None,
            "rendered_ms": _now_ms(),
        },
    )


@gzip_page
@require_safe
def stop(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one stop: way in, cautions, why, map, checks, program, finding."""
    own, user = own_stop(request, pk), asking_user(request)
    is_us = user.units == User.Units.US
    sheet = stop_sheet(stop_id=own.pk, is_us=is_us)
    if sheet is None or sheet.stop.site_id is None:
        raise Http404
    today = company_day(now=timezone.now())
    may_read = may_read_gate_code(user=user, site_id=sheet.stop.site_id, today=today)
    back = reverse("fleet:day")
    if user.role != User.Role.TECHNICIAN or sheet.date != today:
        back = f"{back}?date={sheet.date.isoformat()}&technician={sheet.technician}"
    return render(
        request,
        "fleet/stop.html",
        {
            "sheet": sheet,
            "day_url": back,
            "ticket": ticket_for(stop=own, user=user),
            "lot_map": lot_map_svg(
                site_id=sheet.stop.site_id,
                width_px=PHONE_MAP_PX[0],
                height_px=PHONE_MAP_PX[1],
                is_us=is_us,
                is_large=True,
            ),
            "gate_code": sheet.gate_code if may_read else "",
            "boxes": boxes_of(sheet=sheet),
            "steps": steps_of(sheet=sheet),
            "findings": recorded_at_visit(sheet=sheet),
            "has_flag": any(reason.flag_id for reason in sheet.reasons),
            "verdicts": Finding.Verdict.choices,
            "causes": Cause.choices,
            "turfs": TURF_WORDS,
            "client_key": secrets.token_hex(16),
            "reasons_not": REASONS_NOT,
            "wires": WIRES,
            "to_si": {kind: entered(1.0, kind, is_us=is_us) for kind in ("length", "depth_whole")},
            "facts": reading_facts(is_us=is_us),
            "audit_zones": audit_zones_of(sheet=sheet),
            "can_numbers": range(1, BOXES + 1),
            "openings": OPENINGS,
            "measured_by": user.get_full_name() or user.get_username(),
            "phone": company_phone(),
            "truck": truck_for(technician_id=own.route.technician_id, visit_ids=[sheet.visit_id]).parts,
            "rendered_ms": _now_ms(),
        },
    )


def _now_ms() -> int:
    """Our clock, as a page says when it was made: what a phone sent later is newer [ms since 1970]."""
    return round(timezone.now().timestamp() * 1000)


def _map_of(row: StopRow | None, *, is_us: bool) -> str:
    """The lot of the next stop; empty where there is none."""
    if row is None or row.site_id is None:
        return ""
    return lot_map_svg(
        site_id=row.site_id, width_px=PHONE_MAP_PX[0], height_px=NEXT_MAP_PX, is_us=is_us, is_large=True
    )


@require_POST
def stop_state(request: HttpRequest, pk: int) -> HttpResponse:
    """Bring a stop forward: left for it, at the gate, finished, not possible."""
    own = own_stop(request, pk)
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
    """Record what was found at a stop, where no script runs; photos of the form along with it."""
    own, user, now = own_stop(request, pk), asking_user(request), timezone.now()
    key = request.POST.get("client_key", "")[:64] or secrets.token_hex(16)
    is_us = user.units == User.Units.US
    try:
        finding = finding_of(request.POST.dict(), key=key, stop_id=own.pk, now=now, is_us=is_us)
        done = record_finding(finding=finding, by=user.get_username())
        messages.success(request, " ".join(("The finding is recorded.", *done.changes)))
    except (BadFinding, NothingToKeyIn, ThresholdNotOffered) as error:
        messages.error(request, f"Nothing was recorded: {error}")
        return redirect("fleet:stop", pk=pk)
    _keep_photos(request, own, key, now)
    return redirect("fleet:stop", pk=pk)


def _keep_photos(request: HttpRequest, own: Stop, key: str, now: datetime) -> None:
    """Photos of a form that was sent without script."""
    for number, file in enumerate(request.FILES.getlist("photos")[:MOST_PHOTOS]):
        caption = request.POST.get("caption", "")[:200]
        sent = PhotoSent(f"{key}-{number}"[:64], file.read(), now, finding_key=key, caption=caption)
        try:
            keep_photo(
                sent=sent,
                visit_id=own.visit_id or 0,
                technician_id=own.route.technician_id,
                settings=company_phone(),
                folder=photo_folder(data_dir=settings.DATA_DIR),
                now=now,
            )
        except BadPhoto as error:
            messages.error(request, f"A photo was not kept: {error}.")


def _person(request: HttpRequest) -> Technician | None:
    """The technician whose day is shown: one's own, or the office's choice."""
    user = request.user
    if not isinstance(user, User):
        return None
    if user.role == User.Role.TECHNICIAN:
        return Technician.objects.filter(user=user).first()
    return Technician.objects.filter(code=request.GET.get("technician", "")[:40]).first()


def own_stop(request: HttpRequest, pk: int) -> Stop:
    """The stop, if this person may see it: technicians see their own only, of the days that they may see."""
    user = asking_user(request)
    stops = Stop.objects.filter(visit__isnull=False)
    if user.role == User.Role.TECHNICIAN:
        stops = own_stops(user=user, today=company_day(now=timezone.now()))
    found = stops.filter(pk=pk).select_related("route").first()
    if found is None:
        raise Http404
    return found


def _date(text: str | None, other: date) -> date:
    """The day of a text, or the other one."""
    try:
        return asked_day(text) if text else other
    except ValueError:
        return other

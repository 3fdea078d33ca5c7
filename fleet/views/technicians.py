"""Technicians: hours, places, skills, certificates; what the plan reads of each."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date, time
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.access import may_see
from fleet.calc.plan.workdays import NAMES, WEEKDAYS
from fleet.calc.visits.value import CERTIFIED, SKILLS
from fleet.models import Technician, User
from fleet.selectors.company.company import company_day, the_company
from fleet.selectors.company.technicians import technician_changes, technician_rows
from fleet.services.company.technicians import (
    BadTechnician,
    put_back_technician,
    remove_certificate,
    save_certificate,
    save_technician,
)
from fleet.views.asked import asked_number, asking_user

FIRST = {
    "shift_start": "07:30", "shift_end": "16:30", "break_min": "30", "workdays": "mon,tue,wed,thu,fri",
    "is_active": "yes",
}  # fmt: skip


@require_safe
def technicians(request: HttpRequest) -> HttpResponse:
    """List the technicians."""
    today = company_day(now=timezone.now())
    facts = {"rows": technician_rows(today=today), "today": today, "may_write": _may(request)}
    return render(request, "fleet/technicians/list.html", facts)


@require_http_methods(["GET", "HEAD", "POST"])
def technician_new(request: HttpRequest) -> HttpResponse:
    """Enter a technician."""
    return _edit(request, None)


@require_http_methods(["GET", "HEAD", "POST"])
def technician(request: HttpRequest, pk: int) -> HttpResponse:
    """Show and change a technician."""
    return _edit(request, get_object_or_404(Technician, pk=pk))


@require_POST
def technician_certificate(request: HttpRequest, pk: int) -> HttpResponse:
    """Note a certificate, or take one out."""
    row = get_object_or_404(Technician, pk=pk)
    by, now = request.user.get_username(), timezone.now()
    try:
        if gone := asked_number(request.POST.get("gone")):
            remove_certificate(certificate_id=gone, technician_id=row.pk, by=by, now=now)
            messages.success(request, "The certificate is out.")
        else:
            save_certificate(
                technician_id=row.pk,
                skill=_text(request.POST, "skill", 40),
                number=_text(request.POST, "number", 60),
                valid_until=_day(_text(request.POST, "valid_until", 10), "valid until"),
                by=by,
                now=now,
            )
            messages.success(request, "The certificate is noted; the plan counts it up to its last day.")
    except BadTechnician as error:
        messages.error(request, f"Nothing was changed. {error}.")
    return redirect("fleet:technician", pk=pk)


@require_POST
def technician_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a technician back as before a change."""
    try:
        saved = put_back_technician(change_id=pk, by=request.user.get_username(), now=timezone.now())
    except BadTechnician as error:
        messages.error(request, str(error))
        return redirect("fleet:technicians")
    messages.success(request, "Put back; the next plan reads it.")
    return redirect("fleet:technician", pk=saved.technician_id)


def _edit(request: HttpRequest, row: Technician | None) -> HttpResponse:
    """Show the form of a technician, and keep what it says."""
    error = ""
    if request.method == "POST":
        try:
            saved = save_technician(
                technician_id=row.pk if row else None,
                code=_text(request.POST, "code", 40),
                values=_values(request.POST),
                by=request.user.get_username(),
                now=timezone.now(),
            )
            messages.success(
                request, "Kept; the next plan reads it." if saved.changed else "Nothing was changed."
            )
            return redirect("fleet:technician", pk=saved.technician_id)
        except BadTechnician as problem:
            error = str(problem)
    today = company_day(now=timezone.now())
    company = the_company()
    depot = (
        {"start_latitude": company.depot_latitude, "start_longitude": company.depot_longitude}
        if company
        else {}
    )
    typed = request.POST.dict() if error else _plain(row) if row else {**FIRST, **depot}
    workdays = request.POST.getlist("workdays") if error else str(typed.get("workdays", "")).split(",")
    facts = {
        "row": row,
        "typed": typed,
        "error": error,
        "days": [(short, name, short in workdays) for short, name in zip(WEEKDAYS, NAMES, strict=True)],
        "known_skills": sorted({skill for own in SKILLS.values() for skill in own}),
        "certified": sorted(CERTIFIED),
        "accounts": User.objects.filter(role=User.Role.TECHNICIAN, is_active=True).order_by("username"),
        "certificates": list(row.certificates.all()) if row else [],
        "changes": technician_changes(code=row.code) if row else (),
        "today": today,
        "may_write": _may(request),
    }
    return render(request, "fleet/technicians/one.html", facts, status=422 if error else 200)


def _values(form: Any) -> dict[str, Any]:
    """The columns as typed; raises `BadTechnician`."""
    days = [day for day in WEEKDAYS if day in form.getlist("workdays")]
    if not days:
        raise BadTechnician("workdays: expected at least one")
    name = _text(form, "name", 120)
    if not name:
        raise BadTechnician("name: expected one")
    start = _place(form, "start")
    end = (
        _place(form, "end") if _text(form, "end_latitude", 20) or _text(form, "end_longitude", 20) else start
    )
    off = sorted(
        {
            _day(text, "days off").isoformat()
            for text in _text(form, "days_off", 4000).replace(",", ";").split(";")
            if text.strip()
        }
    )
    pause = _text(form, "break_min", 4)
    if not (pause.isascii() and pause.isdigit() and int(pause) <= 180):
        raise BadTechnician("break: expected whole minutes from 0 to 180")
    words = sorted(
        {
            part.strip().lower()
            for part in _text(form, "skills", 200).replace(",", ";").split(";")
            if part.strip()
        }
    )
    return {
        "name": name,
        "start_latitude": start[0],
        "start_longitude": start[1],
        "end_latitude": end[0],
        "end_longitude": end[1],
        "shift_start": _clock(form, "shift_start"),
        "shift_end": _clock(form, "shift_end"),
        "workdays": ",".join(days),
        "days_off": ";".join(off),
        "skills": ";".join(words)[:200],
        "break_min": int(pause),
        "is_active": form.get("is_active") == "yes",
        "user_id": _account(form),
    }


def _account(form: Mapping[str, str]) -> int | None:
    """The account, None: none."""
    number = asked_number(form.get("user"))
    if not number:
        return None
    if not User.objects.filter(pk=number, role=User.Role.TECHNICIAN).exists():
        raise BadTechnician("account: expected one with the role technician")
    return number


def _place(form: Mapping[str, str], which: str) -> tuple[float, float]:
    """Latitude and longitude."""
    found = []
    for name, most in (("latitude", 90), ("longitude", 180)):
        text = _text(form, f"{which}_{name}", 20).replace(",", ".")
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not -most <= value <= most:
            raise BadTechnician(f"{which} {name}: {text[:20]!r}, expected degrees from -{most} to {most}")
        found.append(value)
    return found[0], found[1]


def _clock(form: Mapping[str, str], name: str) -> time:
    """A time of day."""
    try:
        return time.fromisoformat(_text(form, name, 5))
    except ValueError:
        raise BadTechnician(f"{name.replace('_', ' ')}: expected a time such as 07:30") from None


def _day(text: str, word: str) -> date:
    """A day as 2026-07-04."""
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise BadTechnician(f"{word}: {text[:20]!r}, expected days as 2026-07-04") from None


def _text(form: Mapping[str, str], name: str, most: int) -> str:
    """A text of the form."""
    return form.get(name, "").replace("\x00", "").strip()[:most]


def _plain(row: Technician) -> dict[str, object]:
    """A stored technician as the form shows one."""
    return {
        "code": row.code, "name": row.name, "start_latitude": row.start_latitude,
        "start_longitude": row.start_longitude, "end_latitude": row.end_latitude,
        "end_longitude": row.end_longitude, "shift_start": f"{row.shift_start:%H:%M}",
        "shift_end": f"{row.shift_end:%H:%M}", "workdays": row.workdays.replace(";", ","),
        "skills": row.skills,
        "days_off": row.days_off, "break_min": row.break_min, "is_active": "yes" if row.is_active else "",
        "user": str(row.user_id or ""),
    }  # fmt: skip


def _may(request: HttpRequest) -> bool:
    """Whether the reader may change technicians."""
    return may_see(asking_user(request).role, "fleet:technician-new")

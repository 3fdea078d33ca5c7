"""Audits: the zones of a garden with what is measured and what assumed, and the entry of one audit."""

from __future__ import annotations

import secrets
from datetime import datetime
from typing import TYPE_CHECKING, cast

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.selectors.company.company import company_day
from fleet.selectors.site.access import SiteNotOpen, site_for
from fleet.views.audit_form import OPENINGS, AuditForm, empty_form, read_form
from sites.calc.audit.entry import AuditFigures, BadEntry, audit_figures
from sites.calc.audit.words import entry_cautions, mixed_words, rating
from sites.selectors.zone_audits import ZoneStanding, run_effects, run_splits, runoff_limits, zone_standings
from sites.services.zone_audits import AuditRecorded, NoSuchAudit, record_zone_audit, withdraw_zone_audit

if TYPE_CHECKING:
    from fleet.models import User
    from sites.models import Site


@require_safe
def site_audits(request: HttpRequest, code: str) -> HttpResponse:
    """Show the zones of a garden with their figures, and where these are from."""
    garden = _garden(request, code)
    standings = zone_standings(site=garden)
    assumed = sum("assumed" in (one.rate_from, one.uniformity_from) for one in standings)
    return render(
        request,
        "fleet/site_audits.html",
        {
            "site": garden,
            "zones": standings,
            "assumed": assumed,
            "measured": len(standings) - assumed,
            "mixed": [(one, mixed_words(one.mixed.heads)) for one in standings if one.mixed],
            "has_many_controllers": len({one.zone.controller_id for one in standings}) > 1,
        },
    )


@require_http_methods(["GET", "HEAD", "POST"])
def zone_audit(request: HttpRequest, code: str, controller: str, station: int) -> HttpResponse:
    """Take an audit: first what it would change is shown, then it is saved."""
    garden, user = _garden(request, code), cast("User", request.user)
    standings = zone_standings(site=garden)
    standing = next((one for one in standings if one.key == f"{controller}/{station}"), None)
    if standing is None:
        raise Http404
    is_us = user.units == "us"
    today = company_day(now=timezone.now())
    if request.method != "POST":
        with_cans = [one.newest for one in standings if one.newest and one.newest.throat_area_cm2]
        newest = max(with_cans, key=lambda audit: (audit.done_on, audit.pk), default=None)
        who = user.get_full_name() or user.get_username()
        form = empty_form(zone=standing.zone, newest=newest, today=today, who=who, is_us=is_us)
        return _page(request, garden, standings, standing, form)
    if "json" in request.headers.get("Accept", ""):
        return _from_phone(request, standing)
    form = read_form(request.POST, is_us=is_us)
    figures = _figures(form)
    if figures is None or request.POST.get("do") != "save":
        return _page(request, garden, standings, standing, form, figures)
    if request.POST.get("seen") != form.seen:
        messages.warning(request, "The entries changed since they were checked: look at the effect again.")
        return _page(request, garden, standings, standing, form, figures)
    return _save(request, garden, standings, standing, form, figures)


def _from_phone(request: HttpRequest, standing: ZoneStanding) -> JsonResponse:
    """Take an audit of a phone's queue: once, in the units it was written in."""
    form = read_form(request.POST, is_us=request.POST.get("units") == "us")
    key = request.POST.get("client_key", "")[:64]
    if not key:
        form.errors["client_key"] = "a key of the phone"
    if _figures(form) is None:
        words = "; ".join(f"{name.replace('_', ' ')}: {text}" for name, text in form.errors.items())
        return JsonResponse({"problem": words}, status=400)
    now = timezone.now()
    try:
        done = _recorded(request, standing, form, key, now)
    except BadEntry as error:
        return JsonResponse({"problem": str(error)}, status=400)
    return JsonResponse({"outcome": "taken", "words": [f"{_told(done)[0].upper()}{_told(done)[1:]}."]})


def _recorded(
    request: HttpRequest, standing: ZoneStanding, form: AuditForm, key: str, now: datetime
) -> AuditRecorded:
    """Record what the form says; raises `BadEntry`."""
    return record_zone_audit(
        zone_id=standing.zone.pk,
        entry=form.entry,
        done_on=form.done_on or company_day(now=now),
        done_by=form.values["done_by"],
        note=form.values["note"],
        client_key=key,
        today=company_day(now=now),
        by=request.user.get_username(),
        at=now,
    )


def _told(done: AuditRecorded) -> str:
    """What becomes of an audit, in words."""
    if done.changed:
        return "it counts from now on; the balance is computed again in the next run"
    if not done.is_new:
        return "it had come before"
    return "a newer audit counts already, or nothing of the zone was measured"


@require_POST
def zone_audit_withdraw(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Take an audit back."""
    garden = _garden(request, code)
    standing = next(
        (one for one in zone_standings(site=garden) if pk in {audit.pk for audit in one.audits}), None
    )
    if standing is None:
        raise Http404
    try:
        withdraw_zone_audit(audit_id=pk, by=request.user.get_username(), at=timezone.now())
        messages.success(request, "The audit is taken back; the zone carries what it did without it.")
    except NoSuchAudit as error:
        messages.error(request, str(error))
    return redirect("fleet:zone-audit", code, standing.zone.controller.code, standing.zone.station)


def _save(
    request: HttpRequest,
    garden: Site,
    standings: list[ZoneStanding],
    standing: ZoneStanding,
    form: AuditForm,
    figures: AuditFigures,
) -> HttpResponse:
    """Record the audit and go on to the list."""
    zone, now = standing.zone, timezone.now()
    try:
        key = request.POST.get("client_key", "")[:64] or secrets.token_hex(16)
        done = _recorded(request, standing, form, key, now)
    except BadEntry as error:
        form.errors[error.field] = str(error)
        return _page(request, garden, standings, standing, form, figures)
    name = zone.name or f"station {zone.station}"
    messages.success(request, f"The audit of {name} is kept: {_told(done)}.")
    return redirect("fleet:site-audits", garden.code)


def _figures(form: AuditForm) -> AuditFigures | None:
    """Figures of the entry; None with the errors noted where there are none."""
    if form.errors:
        return None
    try:
        return audit_figures(form.entry)
    except BadEntry as error:
        form.errors[error.field] = str(error)
        return None


def _page(
    request: HttpRequest,
    garden: Site,
    standings: list[ZoneStanding],
    standing: ZoneStanding,
    form: AuditForm,
    figures: AuditFigures | None = None,
) -> HttpResponse:
    """The form, with the result beside it where there is one."""
    place = standings.index(standing)
    facts: dict[str, object] = {
        "site": garden,
        "standing": standing,
        "zone": standing.zone,
        "next": standings[place + 1] if place + 1 < len(standings) else None,
        "form": form,
        "openings": OPENINGS,
        "figures": figures,
        "client_key": request.POST.get("client_key", "")[:64] or secrets.token_hex(16),
    }
    if figures is not None:
        before = (standing.precipitation_rate_mm_h, standing.distribution_uniformity)
        after = (
            figures.precipitation_rate_mm_h or before[0],
            figures.distribution_uniformity or before[1],
        )
        limits = runoff_limits(zone_id=standing.zone.pk, site_id=garden.pk, rates_mm_h=(before[0], after[0]))
        effects = run_effects(
            zone=standing.zone, before=before, after=after, day=company_day(now=timezone.now())
        )
        splits = run_splits(
            zone_id=standing.zone.pk,
            site_id=garden.pk,
            rate_mm_h=after[0],
            minutes=[one.same_depth_min for one in effects],
        )
        facts |= {
            "rating": rating(figures.distribution_uniformity, standing.zone.head),
            "cautions": entry_cautions(form.entry, figures, standing.zone.head),
            "effects": list(zip(effects, splits, strict=True)),
            "limits": limits,
            "is_change": before != after,
        }
    return render(request, "fleet/zone_audit.html", facts, status=400 if form.errors else 200)


def _garden(request: HttpRequest, code: str) -> Site:
    """The site, or the page that says it is not there."""
    try:
        return site_for(user=cast("User", request.user), code=code, today=company_day(now=timezone.now()))
    except SiteNotOpen as problem:
        raise Http404 from problem

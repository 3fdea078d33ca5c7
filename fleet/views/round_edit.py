"""A program changed by hand: checked against every limit, its cost shown, then kept with its reason."""

from __future__ import annotations

from datetime import date
from typing import cast

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from fleet.models import User
from fleet.selectors.company.company import company_day
from fleet.selectors.ledger.prices import water_price_per_m3
from fleet.selectors.programs.hand_form import HandForm, hand_form
from fleet.selectors.site.access import SiteNotOpen, site_for
from sites.calc.program.check import HandCheck
from sites.models import Recommendation
from sites.services.program_by_hand import (
    NothingToCheckWith,
    ProgramNotPossible,
    ReasonNeeded,
    check_program,
    edit_program,
)
from sites.services.programs import freeze_programs


@require_http_methods(["GET", "HEAD", "POST"])
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the form; `action=check` tries what is written, `action=save` keeps it."""
    row = get_object_or_404(Recommendation.objects.select_related("controller__site"), pk=pk)
    fields = {key: str(value) for key, value in request.POST.items()} if request.method == "POST" else None
    form = hand_form(recommendation=row, fields=fields)
    today = company_day(now=timezone.now())
    if request.POST.get("action") == "save" and not form.errors:
        try:
            edit_program(
                recommendation_id=row.pk,
                lines=form.lines,
                today=today,
                price_per_m3=water_price_per_m3(day=today),
                by=request.user.get_username(),
                at=timezone.now(),
                reason=request.POST.get("reason", ""),
            )
        except (ProgramNotPossible, ReasonNeeded, NothingToCheckWith) as error:
            messages.error(request, str(error))
        else:
            code = f"{row.controller.site.code} {row.controller.code}"
            messages.success(request, f"The program of {code} is kept as written, and accepted.")
            return redirect(f"{reverse('fleet:round')}?show=by_hand&pick={row.pk}")
    check, words = _check(row, form, today=today)
    return render(
        request,
        "fleet/round_edit.html",
        {"row": row, "form": form, "check": check, "cannot": words, "reason": request.POST.get("reason", "")},
    )


def _check(row: Recommendation, form: HandForm, *, today: date) -> tuple[HandCheck | None, str]:
    """What the written program breaks and does; None, with words, where it cannot be tried."""
    if form.errors:
        return None, ""
    try:
        return check_program(recommendation=row, lines=form.lines, today=today), ""
    except NothingToCheckWith as error:
        return None, str(error)


@require_POST
def freeze(request: HttpRequest, code: str) -> HttpResponse:
    """Keep a site's programs as they are, or let the round change them again."""
    try:
        site = site_for(user=cast("User", request.user), code=code)
    except SiteNotOpen as error:
        raise Http404 from error
    is_frozen = request.POST.get("frozen") == "yes"
    done = freeze_programs(
        site_id=site.pk,
        is_frozen=is_frozen,
        by=request.user.get_username(),
        at=timezone.now(),
        reason=request.POST.get("reason", "")[:300],
    )
    if is_frozen:
        words = f"{site.code} keeps its programs; {done.changed} waiting changes are held."
    else:
        words = f"The round may change the programs of {site.code} again; {done.changed} are to be decided."
    messages.success(request, words)
    return redirect(f"{reverse('fleet:round')}?show={'frozen' if is_frozen else 'decide'}&q={site.code}")

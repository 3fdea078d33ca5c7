"""Findings to check: the office accepts, corrects or takes back what technicians found."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.access import may_see
from fleet.models import Cause, Finding, User
from fleet.quantities import shown
from fleet.selectors.company.company import company_day
from fleet.selectors.company.stock import truck_parts
from fleet.selectors.on_site.finding_checks import finding_checks, said_of
from fleet.services.on_site.check_findings import (
    BadFinding,
    CannotCheck,
    Checked,
    accept_finding,
    accept_findings,
    correct_finding,
    settle_state,
    undo_finding,
)
from fleet.services.visits.turf_found import TURF_WORDS
from fleet.views.asked import asked_number, asking_user
from fleet.views.finding_form import finding_of

LONGEST_WORDS = 100


@require_safe
def findings(request: HttpRequest) -> HttpResponse:
    """Show what waits to be checked, with what each changed."""
    words = request.GET.get("q", "")[:LONGEST_WORDS].replace("\x00", "").strip()
    show = request.GET.get("show", "to_check")
    found = finding_checks(show=show, words=words, page=asked_number(request.GET.get("page"), 1))
    return render(
        request,
        "fleet/findings/list.html",
        {
            "found": found,
            "show": show,
            "q": words,
            "may_write": may_see(asking_user(request).role, "fleet:finding-decide"),
            "query": f"show={show}&q={words}&",
        },
    )


@require_POST
def decide(request: HttpRequest, pk: int) -> HttpResponse:
    """Accept a finding, or take back what it changed."""
    by, now = request.user.get_username(), timezone.now()
    try:
        if request.POST.get("do") == "undo":
            _tell(
                request,
                undo_finding(finding_id=pk, by=by, now=now, day=company_day(now=now)),
                "It is taken back.",
            )
        else:
            _tell(request, accept_finding(finding_id=pk, by=by, now=now), "It is accepted.")
    except (CannotCheck, BadFinding) as error:
        messages.error(request, f"Nothing was changed: {error}")
    return redirect(_back(request))


@require_POST
def decide_many(request: HttpRequest) -> HttpResponse:
    """Accept all that are shown."""
    ids = [asked_number(one) for one in request.POST.getlist("finding")[:100]]
    count = accept_findings(finding_ids=ids, by=request.user.get_username(), now=timezone.now())
    messages.success(request, f"{count} finding{'' if count == 1 else 's'} accepted.")
    return redirect(_back(request))


@require_POST
def decide_state(request: HttpRequest, pk: int) -> HttpResponse:
    """Decide on a state that came when the plan had changed."""
    holds = request.POST.get("do") == "holds"
    try:
        settle_state(submission_id=pk, holds=holds, by=request.user.get_username())
        messages.success(request, "What the technician said holds." if holds else "The plan holds.")
    except CannotCheck as error:
        messages.error(request, str(error))
    return redirect("fleet:findings")


@require_http_methods(["GET", "HEAD", "POST"])
def correct(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct a finding: the form with its values."""
    row = (
        Finding.objects.filter(pk=pk)
        .select_related("visit__site", "technician", "need__controller")
        .prefetch_related("visit__needs__controller")
        .first()
    )
    if row is None:
        raise Http404
    is_us = asking_user(request).units == User.Units.US
    if request.method == "POST":
        now = timezone.now()
        try:
            said = finding_of(
                request.POST.dict(),
                key=row.client_key,
                stop_id=row.stop_id or 0,
                now=row.recorded_at,
                is_us=is_us,
            )
            done = correct_finding(
                finding_id=pk, finding=said, by=request.user.get_username(), now=now, day=company_day(now=now)
            )
            _tell(request, done, "It is corrected.")
            return redirect("fleet:findings")
        except (CannotCheck, BadFinding) as error:
            messages.error(request, f"Nothing was changed: {error}")
    warm = row.soil_temperature_c
    return render(
        request,
        "fleet/findings/correct.html",
        {
            "row": row,
            "said": said_of(row),
            "dry": ", ".join(map(str, row.answers.get("dry_stations", ()))),
            "soggy": ", ".join(map(str, row.answers.get("soggy_stations", ()))),
            "warm": None if warm is None else round(shown(warm, "temperature", is_us=is_us), 1),
            "parts": [
                (one, row.parts.get(one.code, "")) for one in truck_parts(technician_id=row.technician_id)
            ],
            "needs": row.visit.needs.all(),
            "verdicts": Finding.Verdict.choices,
            "causes": Cause.choices,
            "turfs": TURF_WORDS,
        },
    )


def _tell(request: HttpRequest, done: Checked, head: str) -> None:
    """What the check did, and what stays."""
    messages.success(request, " ".join((head, *done.words)))
    if done.stays:
        messages.warning(
            request,
            f"This stays, because the book has changed since: {' '.join(done.stays)} Put it right by hand.",
        )


def _back(request: HttpRequest) -> str:
    """The list under its filter."""
    show = request.POST.get("show", "to_check")
    return f"{reverse('fleet:findings')}?show={show if show.isidentifier() else 'to_check'}"

"""The company itself: what it is called, whose clock counts, in which money it reckons."""

from __future__ import annotations

from collections.abc import Mapping
from zoneinfo import ZoneInfo

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from fleet.selectors.company.company import the_company
from fleet.selectors.company.page import company_history, zones_to_choose
from fleet.services.company.company import BadCompany, CompanyFacts, CompanySet, put_back_company, set_company
from fleet.views.asked import asked_number


@require_http_methods(["GET", "HEAD", "POST"])
def company(request: HttpRequest) -> HttpResponse:
    """Show what the company says of itself; POST keeps it, or puts an earlier state back."""
    if request.method != "POST":
        return _page(request)
    by, now = request.user.get_username(), timezone.now()
    try:
        if "back" in request.POST:
            done = put_back_company(change_id=asked_number(request.POST["back"]), by=by, at=now)
        else:
            done = set_company(facts=_typed(request.POST), by=by, at=now)
    except BadCompany as problem:
        return _page(request, typed=request.POST, problem=problem)
    messages.success(request, _said(done))
    return redirect("fleet:first-steps" if done.is_new else "fleet:company")


def _typed(form: Mapping[str, str]) -> CompanyFacts:
    """The facts as typed."""
    return CompanyFacts(
        name=form.get("name", "").strip(),
        timezone=form.get("timezone", ""),
        currency=form.get("currency", "").strip().upper(),
        depot_latitude=_degrees(form.get("depot_latitude", "")),
        depot_longitude=_degrees(form.get("depot_longitude", "")),
    )


def _degrees(text: str) -> float | None:
    """Degrees as typed, None where nothing was."""
    words = text.strip().replace(",", ".")
    if not words:
        return None
    try:
        return float(words)
    except ValueError:
        raise BadCompany("depot", f"Depot: {words[:20]!r} is no number of degrees") from None


def _said(done: CompanySet) -> str:
    """What came of it, as a sentence."""
    if not done.is_new:
        return "Kept." if done.is_changed else "Nothing was changed."
    clocks = ""
    if done.gardens == 1:
        clocks = " 1 garden that came in without a clock has its own now."
    elif done.gardens:
        clocks = f" {done.gardens} gardens that came in without a clock have its own now."
    return f"The company is founded; from tonight on the night's work runs by its clock.{clocks}"


def _page(
    request: HttpRequest, *, typed: Mapping[str, str] | None = None, problem: BadCompany | None = None
) -> HttpResponse:
    """The page, with what was typed."""
    found = the_company()
    facts = {
        "found": found,
        "typed": typed,
        "problem": problem,
        "zones": zones_to_choose(),
        "zone": typed.get("timezone", "") if typed else (found.timezone if found else ""),
        "there": timezone.now().astimezone(ZoneInfo(found.timezone)) if found else None,
        "nightly_min": settings.NIGHTLY_HOUR * 60,
        "history": company_history(),
    }
    return render(request, "fleet/company.html", facts, status=422 if problem else 200)

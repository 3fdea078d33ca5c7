"""The season's calendar: frost dates and deadlines by location, what is due when, backflow rules."""

from __future__ import annotations

from datetime import date

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fleet.calc.visits.buried_frost import PIPE_DEPTH_M
from fleet.charts.season import due_bars, frost_strip
from fleet.selectors.company.company import company_day
from fleet.selectors.visits.season_page import season_page
from fleet.services.visits.season import BadRule, set_backflow_rule
from fleet.views.asked_day import asked_day


@require_safe
def season(request: HttpRequest) -> HttpResponse:
    """Show the calendar: `?page=` of the locations, `?rule=` a supplier whose rule is to be changed."""
    today = company_day(now=timezone.now())
    number = request.GET.get("page", "1")
    found = season_page(
        today=today, page=int(number) if number.isascii() and number.isdigit() and len(number) < 5 else 1
    )
    wanted = request.GET.get("rule", "")
    return render(
        request,
        "fleet/season.html",
        {
            "found": found,
            "strip": frost_strip(found.rows, today=today),
            "bars": due_bars(found.weeks, today=today),
            "editing": next((row for row in found.suppliers if row.supplier == wanted), None),
            "pipe_mm": PIPE_DEPTH_M * 1000,
        },
    )


@require_POST
def season_rule(request: HttpRequest) -> HttpResponse:
    """Set what a supplier asks of backflow assemblies."""
    form = request.POST
    months, checked = form.get("every_months", "").strip(), form.get("checked_on", "").strip()
    try:
        done = set_backflow_rule(
            supplier=form.get("supplier", "")[:60],
            before_use=form.get("before_use") == "yes",
            every_months=_whole(months),
            who_may_test=form.get("who_may_test", ""),
            report_to=form.get("report_to", ""),
            source=form.get("source", ""),
            checked_on=_day(checked),
            by=request.user.get_username(),
            at=timezone.now(),
        )
    except BadRule as error:
        messages.error(request, f"Nothing was saved: expected {error}.")
    else:
        words = "is saved; needs follow in the next run" if done.changed else "stands as it was"
        messages.success(request, f"The rule of {done.supplier} {words}.")
    return redirect("fleet:season")


def _whole(text: str) -> int | None:
    """A whole number of a box, None where it is empty."""
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and len(text) < 5):
        raise BadRule("months between tests from 1 to 120, or none")
    return int(text)


def _day(text: str) -> date | None:
    """A day of a box, None where it is empty."""
    try:
        return asked_day(text) if text else None
    except ValueError:
        raise BadRule("a day as 2026-06-14") from None

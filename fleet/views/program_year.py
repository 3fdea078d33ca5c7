"""A program through the year: what each month asks for, and the seasonal-adjust figures."""

from __future__ import annotations

from typing import cast

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from fleet.charts.year_plot import year_bars
from fleet.models import User
from fleet.selectors.company.company import company_day
from fleet.selectors.programs.year import program_year as year_of
from fleet.selectors.site.access import SiteNotOpen, site_for


@require_safe
def program_year(request: HttpRequest, code: str, controller: str) -> HttpResponse:
    """Show the twelve months of one controller."""
    try:
        garden = site_for(user=cast("User", request.user), code=code)
    except SiteNotOpen as error:
        raise Http404 from error
    timer = get_object_or_404(garden.controllers, code=controller)
    found = year_of(controller=timer, today=company_day(now=timezone.now()))
    bars = ""
    if found is not None and found.peak is not None:
        top = found.peak.minutes_a_week
        bars = year_bars(
            [
                (
                    f"{month.first_day:%b}",
                    month.minutes_a_week,
                    top * month.adjust_pct / 100 if month.adjust_pct else None,
                )
                for month in found.plan.months
            ]
        )
    return render(
        request,
        "fleet/program_year.html",
        {"site": garden, "timer": timer, "found": found, "bars": bars},
    )

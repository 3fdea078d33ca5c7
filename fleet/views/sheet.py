"""The program sheet: what to key in, station by station, to be read beside a timer."""

from __future__ import annotations

from datetime import date, timedelta
from typing import cast

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_safe

from fleet.charts.round_plots import day_strip
from fleet.models import User
from fleet.selectors.company.company import company_day, the_company
from fleet.selectors.programs.day_sheets import day_sheets
from fleet.selectors.programs.home_sheet import home_sheet
from fleet.selectors.programs.sheet import program_sheet
from fleet.selectors.site.access import SiteNotOpen, site_for
from fleet.views.asked import asking_user
from fleet.views.asked_day import asked_day
from sites.lot_map import lot_map_svg


@gzip_page
@require_safe
def sheet(request: HttpRequest, code: str, controller: str) -> HttpResponse:
    """Show one controller's sheet."""
    try:
        garden = site_for(user=cast("User", request.user), code=code, today=company_day(now=timezone.now()))
    except SiteNotOpen as error:
        raise Http404 from error
    today = company_day(now=timezone.now())
    found = program_sheet(site=garden, controller_code=controller, day=today)
    if found is None:
        raise Http404
    passes = [("now", found.passes_now), ("new", found.passes_new)] if found.is_change else []
    return render(
        request,
        "fleet/sheet.html",
        {
            "site": garden,
            "sheet": found,
            "strip": day_strip(passes or [("set", found.passes_now)], width_px=330),
            "lot_map": _map(request, garden.pk),
            "today": today,
            "company": the_company(),
            "is_home": request.GET.get("for") == "home",
            "home": home_sheet(found),
        },
    )


def _map(request: HttpRequest, site_id: int) -> str:
    """The lot beside the stations, its scale in the reader's units."""
    is_us = asking_user(request).units == User.Units.US
    return lot_map_svg(site_id=site_id, width_px=344, height_px=252, with_labels=False, is_us=is_us)


@require_safe
def sheets_of_day(request: HttpRequest) -> HttpResponse:
    """All sheets that a day's routes need, to print in one go: `?date=`, `?for=home`."""
    today = company_day(now=timezone.now())
    day = _day(request.GET.get("date")) or today
    found = day_sheets(user=cast("User", request.user), day=day)
    pages = [
        {
            "site": one.site,
            "technician": one.technician,
            "order": one.order,
            "sheet": one.sheet,
            "home": home_sheet(one.sheet),
            "strip": day_strip([("now", one.sheet.passes_now), ("new", one.sheet.passes_new)], width_px=330),
            "lot_map": _map(request, one.site.pk),
        }
        for one in found
        if not one.sheet.barred
    ]
    return render(
        request,
        "fleet/sheets.html",
        {
            "pages": pages,
            "kept_back": [one for one in found if one.sheet.barred],
            "day": day,
            "before": day - timedelta(days=1),
            "after": day + timedelta(days=1),
            "today": today,
            "company": the_company(),
            "is_home": request.GET.get("for") == "home",
        },
    )


def _day(text: str | None) -> date | None:
    """The day of a text, None where it is none."""
    try:
        return asked_day(text) if text else None
    except ValueError:
        return None

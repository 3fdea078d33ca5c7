"""The weekly round: list of programs that change, with accept and hold."""

from __future__ import annotations

from datetime import date

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fleet.charts.round_plots import day_strip, two_dots
from fleet.selectors.company import company_day
from fleet.selectors.program_sheet import sheet_of
from fleet.selectors.round_page import FILTERS, newest_week, round_page
from sites.models import Recommendation
from sites.services.programs import NotToDecide, decide_program


@require_safe
def weekly_round(request: HttpRequest) -> HttpResponse:
    """Show a week's programs: `?week=`, `?show=` one of the filters, `?page=`."""
    show = request.GET.get("show", "decide")
    show = show if show in FILTERS else "decide"
    page_text = request.GET.get("page", "1")
    found = round_page(
        week=_week(request.GET.get("week")) or newest_week(),
        show=show,
        page=int(page_text) if page_text.isdigit() and len(page_text) < 6 else 1,
    )
    rows = [
        (row, two_dots(now=row.minutes_now, new=row.minutes_new, most=found.most_minutes))
        for row in found.page
    ]
    picked = _picked([row for row, _ in rows], request.GET.get("pick", ""))
    sheet = (
        sheet_of(controller=picked.controller, answer=picked, day=company_day(now=timezone.now()))
        if picked is not None
        else None
    )
    strip = day_strip([("now", sheet.passes_now), ("new", sheet.passes_new)]) if sheet is not None else ""
    return render(
        request,
        "fleet/round.html",
        {"found": found, "rows": rows, "show": show, "picked": picked, "sheet": sheet, "strip": strip},
    )


@require_POST
def decide(request: HttpRequest, pk: int) -> HttpResponse:
    """Accept, hold, or take a decision back."""
    status = request.POST.get("status", "")
    try:
        row = decide_program(
            recommendation_id=pk,
            status=status,
            by=request.user.get_username(),
            at=timezone.now(),
            note=request.POST.get("note", "")[:300],
        )
    except Recommendation.DoesNotExist as error:
        raise Http404 from error
    except (NotToDecide, ValueError) as error:
        messages.error(request, str(error))
    else:
        words = {"accepted": "accepted", "held": "held", "recommended": "to be decided again"}[row.status]
        code = f"{row.controller.site.code} {row.controller.code}"
        messages.success(request, f"The program of {code} is {words}.")
    show = request.POST.get("show", "decide")
    return redirect(f"{reverse('fleet:round')}?show={show if show in FILTERS else 'decide'}")


def _picked(rows: list[Recommendation], pick: str) -> Recommendation | None:
    """The row that was picked, else the first."""
    return next((row for row in rows if str(row.pk) == pick), rows[0] if rows else None)


def _week(text: str | None) -> date | None:
    """The Monday of a text, None where it is none."""
    try:
        day = date.fromisoformat(text) if text else None
    except ValueError:
        return None
    return day if day is not None and day.weekday() == 0 else None

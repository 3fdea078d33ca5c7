"""The weekly round: list of programs that change, with accept and hold, one by one or many at once."""

from __future__ import annotations

from datetime import date, datetime
from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fleet.charts.round_plots import day_strip, two_dots
from fleet.selectors.company.company import company_day
from fleet.selectors.ledger.prices import water_price_per_m3
from fleet.selectors.programs.change_worth import change_worth
from fleet.selectors.programs.round_page import (
    FILTERS,
    KINDS,
    ORDERS,
    RoundAsked,
    newest_week,
    round_page,
    settings_of_year,
    waiting_ids,
)
from fleet.selectors.programs.sheet import sheet_of
from fleet.views.asked_day import asked_day
from sites.models import Recommendation
from sites.selectors.program_rules import recommendation_breaks
from sites.services.programs import (
    Decided,
    NotToDecide,
    decide_program,
    decide_programs,
    take_back_programs,
)
from sites.services.weekly_round import weekly_round as run_round

_LONGEST_WORDS = 60


@require_safe
def weekly_round(request: HttpRequest) -> HttpResponse:
    """Show a week's programs: `?week=`, `?show=` one of the filters, `?kind=`, `?order=`, `?q=`, `?page=`."""
    asked, today = _asked(request.GET), company_day(now=timezone.now())
    week = _week(request.GET.get("week")) or newest_week()
    found = round_page(week=week, asked=asked)
    rows = [
        (row, two_dots(now=row.minutes_now, new=row.minutes_new, most=found.most_minutes))
        for row in found.page
    ]
    picked = _picked([row for row, _ in rows], request.GET.get("pick", ""))
    sheet = sheet_of(controller=picked.controller, answer=picked, day=today) if picked is not None else None
    strip = day_strip([("now", sheet.passes_now), ("new", sheet.passes_new)]) if sheet is not None else ""
    return render(
        request,
        "fleet/round.html",
        {
            "found": found,
            "rows": rows,
            "asked": asked,
            "query": _query(asked, week),
            "kinds": [(key, word) for key, (word, _) in KINDS.items()],
            "orders": list(ORDERS.items()),
            "picked": picked,
            "of_year": settings_of_year(controller_id=picked.controller_id, day=today) if picked else None,
            "sheet": sheet,
            "worth": change_worth(row=picked, day=today) if picked and picked.is_change else None,
            "strip": strip,
            "breaks": recommendation_breaks(recommendation_ids=[picked.pk]).get(picked.pk)
            if picked
            else None,
        },
    )


@require_POST
def decide(request: HttpRequest, pk: int) -> HttpResponse:
    """Accept, hold, or take a decision back."""
    status = request.POST.get("status", "")
    try:
        was_by_hand = Recommendation.objects.filter(pk=pk, is_by_hand=True).exists()
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
        if was_by_hand and row.status == "recommended":
            _own_program_again(request, row)
    return _back(request)


def _own_program_again(request: HttpRequest, row: Recommendation) -> None:
    """Compute the round's own program anew in the place of one by hand that was taken back."""
    today = company_day(now=timezone.now())
    done = run_round(
        week=row.week,
        today=today,
        price_per_m3=water_price_per_m3(day=today),
        site_codes=[row.controller.site.code],
    )
    if done.controllers:
        messages.success(request, "The round’s own program stands in the place of the one by hand again.")


@require_POST
def decide_many(request: HttpRequest) -> HttpResponse:
    """Accept or hold the ticked programs or all of the list, or take back what was decided together.

    `which` is `ticked`, `all`, or `together` with the moment of the decision in `at`.
    """
    asked = _asked(request.POST)
    if request.POST.get("which") == "together":
        return _take_back(request)
    if request.POST.get("which") == "all":
        ids = list(waiting_ids(week=_week(request.POST.get("week")) or newest_week(), asked=asked))
    else:
        ids = [int(text) for text in request.POST.getlist("pk") if text.isdecimal() and len(text) < 19]
    status = request.POST.get("status", "")
    if not ids:
        messages.error(request, "No program was ticked, so none was changed.")
        return _back(request)
    try:
        done = decide_programs(
            recommendation_ids=ids,
            status=status,
            by=request.user.get_username(),
            at=timezone.now(),
            note=request.POST.get("note", "")[:300],
        )
    except ValueError as error:
        messages.error(request, str(error))
        return _back(request)
    before = done.left - done.outside
    left = f" {before} had been decided before and stay." if before else ""
    if done.outside:
        left += f" {done.outside} break watering rules and wait: each takes a written reason of its own."
    messages.success(request, f"{done.changed} programs are {status}.{left}")
    return _back(request)


def _take_back(request: HttpRequest) -> HttpResponse:
    """Give back to be decided what was decided together."""
    try:
        moment = datetime.fromisoformat(request.POST.get("at", ""))
        done = (
            take_back_programs(decided_at=moment, by=request.user.get_username(), at=timezone.now())
            if moment.tzinfo is not None
            else Decided(0, 0)
        )
    except (ValueError, OverflowError):
        done = Decided(0, 0)
    if done.changed:
        messages.success(request, f"{done.changed} programs are to be decided again.")
    else:
        messages.error(request, "Nothing is left of that decision to take back.")
    return _back(request)


def _back(request: HttpRequest) -> HttpResponse:
    """The list as it was."""
    asked = _asked(request.POST)
    return redirect(f"{reverse('fleet:round')}?{_query(asked, _week(request.POST.get('week')))}")


def _asked(given: QueryDict) -> RoundAsked:
    """What a form or an address asks for; unknown words are left out."""
    show, kind, order = (str(given.get(name, "")) for name in ("show", "kind", "order"))
    page = str(given.get("page", "1"))
    return RoundAsked(
        show=show if show in FILTERS else "decide",
        kind=kind if kind in KINDS else "",
        order=order if order in ORDERS else "water",
        words=str(given.get("q", ""))[:_LONGEST_WORDS].replace("\x00", "").strip(),
        page=int(page) if page.isdecimal() and len(page) < 6 else 1,
    )


def _query(asked: RoundAsked, week: date | None) -> str:
    """The address of what was asked, without the page."""
    parts = {"show": asked.show, "kind": asked.kind, "order": asked.order, "q": asked.words}
    if week is not None:
        parts["week"] = week.isoformat()
    return urlencode({key: value for key, value in parts.items() if value})


def _picked(rows: list[Recommendation], pick: str) -> Recommendation | None:
    """The row that was picked, else the first."""
    return next((row for row in rows if str(row.pk) == pick), rows[0] if rows else None)


def _week(text: str | None) -> date | None:
    """The Monday of a text, None where it is none."""
    try:
        day = asked_day(text) if text else None
    except ValueError:
        return None
    return day if day is not None and day.weekday() == 0 else None

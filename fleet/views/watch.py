"""The sensor watch: its list, the evidence of one controller, its own record; and what is done with flags."""

from __future__ import annotations

from dataclasses import fields
from datetime import date, timedelta
from typing import cast
from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fleet.calc.watch.settings import CAUSES
from fleet.charts.watch_plots import cause_plot, rate_bar
from fleet.maps import base_map, box_of
from fleet.models import Cause, Flag, User, WatchStatus
from fleet.selectors.company.company import company_day
from fleet.selectors.site.access import SiteNotOpen, site_for
from fleet.selectors.watch.page import TraceDay, WatchAsked, corners_asked, evidence
from fleet.selectors.watch.page import watch_list as list_of_states
from fleet.selectors.watch.record import watch_record
from fleet.services.watch.flags import (
    LONGEST_REST_DAYS,
    TRUTHS,
    CannotDoWithFlag,
    rest_flag,
    set_flag_score,
    settle_flag,
    wake_flag,
)
from fleet.views.asked_day import asked_day
from fleet.views.csv_file import csv_file

_LONGEST_WORDS = 60
_USUAL_REST_DAYS = 14


@require_safe
def watch_list(request: HttpRequest) -> HttpResponse:
    """Show states: `?show=` one of the statuses, `?cause=`, `?q=` words, `?page=`."""
    user, asked = cast("User", request.user), watch_asked(request.GET)
    found = list_of_states(user=user, asked=asked)
    rows = [
        (state, rate_bar(observed=state.observed_rate, expected=state.expected_rate)) for state in found.page
    ]
    corners = corners_asked(user=user, asked=asked)
    query = {"show": asked.show, "cause": asked.cause, "q": asked.words}
    return render(
        request,
        "fleet/watch_list.html",
        {
            "found": found,
            "rows": rows,
            "asked": asked,
            "causes": Cause.choices,
            "query": urlencode({key: value for key, value in query.items() if value}),
            "map_query": urlencode({"of": "watch", **query}),
            "words_query": urlencode({key: query[key] for key in ("cause", "q") if query[key]}),
            "map": base_map(box=box_of(corners), is_metric=user.units == "metric") if corners else None,
        },
    )


@require_safe
def watch(request: HttpRequest, code: str, controller: str) -> HttpResponse:
    """Show why one sensor is suspected, or is not."""
    user = cast("User", request.user)
    try:
        site = site_for(user=user, code=code)
    except SiteNotOpen as error:
        raise Http404 from error
    found = evidence(site_id=site.pk, controller=controller, is_us=user.units == "us")
    if found is None:
        raise Http404
    today = company_day(now=timezone.now())
    return render(
        request,
        "fleet/watch.html",
        {
            "site": site,
            "found": found,
            "plot": cause_plot(days=found.days, shares=found.shares),
            "peers": [
                (peer, rate_bar(observed=peer.observed_rate, expected=peer.expected_rate))
                for peer in found.peers
            ],
            "may_act": found.flag is not None and user.role != User.Role.MANAGER,
            "truths": TRUTHS.items(),
            "rest_from": today + timedelta(days=1),
            "rest_usual": today + timedelta(days=_USUAL_REST_DAYS),
            "rest_last": today + timedelta(days=LONGEST_REST_DAYS),
        },
    )


@require_safe
def watch_days_csv(request: HttpRequest, code: str, controller: str) -> HttpResponse:
    """Return the numbers behind the plots of one sensor as CSV, the newest day first, in SI units."""
    user = cast("User", request.user)
    try:
        site = site_for(user=user, code=code)
    except SiteNotOpen as error:
        raise Http404 from error
    found = evidence(site_id=site.pk, controller=controller, is_us=False)
    if found is None:
        raise Http404
    columns = [field.name for field in fields(TraceDay) if field.name != "causes"]
    rows = ([*(getattr(day, column) for column in columns), *day.causes] for day in found.table)
    return csv_file(f"watch-{code}-{controller}", [*columns, *(f"p_{cause}" for cause in CAUSES)], rows)


@require_safe
def record(request: HttpRequest) -> HttpResponse:
    """Show how often the watch was right, how soon somebody went, and what each setting would bring."""
    today = company_day(now=timezone.now())
    return render(request, "fleet/watch_record.html", {"found": watch_record(day=today), "today": today})


@require_POST
def handle_flag(request: HttpRequest, pk: int) -> HttpResponse:
    """Rest a flag (`do=rest`, `until`, `reason`), wake it (`do=wake`), settle it (`do=settle`, `truth`)."""
    flag = Flag.objects.filter(pk=pk).select_related("controller__site").first()
    if flag is None:
        raise Http404
    site_code, controller = flag.controller.site.code, flag.controller.code
    try:
        site_for(user=cast("User", request.user), code=site_code)
    except SiteNotOpen as error:
        raise Http404 from error
    try:
        words = _handle(request, pk)
    except CannotDoWithFlag as error:
        messages.error(request, str(error))
    else:
        messages.success(request, f"The flag of {site_code} {controller} {words}.")
    return redirect(reverse("fleet:watch", args=[site_code, controller]))


@require_POST
def change_setting(request: HttpRequest) -> HttpResponse:
    """Take another setting of the flag: `flag_score=`."""
    try:
        score = float(request.POST.get("flag_score", ""))
        set_flag_score(flag_score=score, by=request.user.get_username(), at=timezone.now())
    except CannotDoWithFlag as error:
        messages.error(request, str(error))
    except ValueError:
        messages.error(request, "Choose one of the settings of the table.")
    else:
        messages.success(request, "The setting is kept; the next run of the watch uses it.")
    return redirect("fleet:watch-record")


def _handle(request: HttpRequest, pk: int) -> str:
    """Do what the form asks; what became of the flag."""
    given, by, now = request.POST, request.user.get_username(), timezone.now()
    today = company_day(now=now)
    if given.get("do") == "wake":
        return wake_flag(flag_id=pk, by=by, at=now).words
    if given.get("do") == "settle":
        truth, note = given.get("truth", ""), given.get("note", "")
        return settle_flag(flag_id=pk, truth=truth, note=note, by=by, day=today, at=now).words
    reason = given.get("reason", "")
    return rest_flag(
        flag_id=pk, until=_day(given.get("until", "")), reason=reason, by=by, day=today, at=now
    ).words


def _day(text: str) -> date:
    """A day of a form."""
    try:
        return asked_day(text)
    except ValueError:
        raise CannotDoWithFlag("Say until which day the flag may rest.") from None


def watch_asked(given: QueryDict) -> WatchAsked:
    """What an address asks for; unknown words are left out."""
    show, cause, page = (str(given.get(name, "")) for name in ("show", "cause", "page"))
    return WatchAsked(
        show=show if show in {*WatchStatus.values, "all"} else WatchStatus.FLAG.value,
        cause=cause if cause in Cause.values else "",
        words=str(given.get("q", ""))[:_LONGEST_WORDS].strip(),
        page=int(page) if page.isdecimal() and len(page) < 6 else 1,
    )

"""Visits: every need with what became of it; entering, changing, withdrawing, tickets, told hours."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from urllib.parse import urlencode

from django.contrib import messages
from django.forms import Form
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.access import may_see
from fleet.calc.plan.told_window import told_text
from fleet.models import VisitNeed
from fleet.selectors.company.company import company_day, the_company
from fleet.selectors.plan.stop_rows import company_zone, zone_of
from fleet.selectors.site.access import SiteNotOpen, site_for
from fleet.selectors.visits.need_list import NeedCard, PlannedCall, need_card, need_list
from fleet.selectors.visits.prerequisites import DIG_KINDS, prerequisites_of
from fleet.services.plan.told_windows import CannotTell, take_back_window, tell_window
from fleet.services.visits.needs_by_hand import (
    BadNeed,
    NeedChanged,
    NoSuchNeed,
    add_need,
    change_need,
    record_locate_ticket,
    reopen_need,
    withdraw_need,
)
from fleet.templatetags.rootround import clock_text, day_long
from fleet.views.asked import asked_number, asking_user
from fleet.views.need_forms import (
    NeedForm,
    TicketForm,
    WindowForm,
    WithdrawForm,
    change_form,
    ticket_form,
    window_form,
)

SETTLED = ("under_way", "done", "not_possible", "cancelled")


@require_safe
def visits(request: HttpRequest) -> HttpResponse:
    """List the needs: `?show=` a state, `?kind=` a kind of visit, `?q=` words, `?page=`."""
    show, kind, words = request.GET.get("show", "waits"), request.GET.get("kind", ""), _words(request)
    found = need_list(
        user=asking_user(request),
        show=show,
        kind=kind,
        words=words,
        today=company_day(now=timezone.now()),
        page=asked_number(request.GET.get("page"), 1),
    )
    return render(
        request,
        "fleet/visits/list.html",
        {
            "found": found,
            "show": show if any(show == one.key for one in found.shows) else "waits",
            "kind": kind,
            "q": words,
            "query": urlencode({"show": show, "kind": kind, "q": words}) + "&",
            "may_write": _may_write(request),
        },
    )


@require_safe
def need(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one need."""
    return _show(request, _card(request, pk))


@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """Enter a need of the site `?site=`."""
    code = (request.POST if request.method == "POST" else request.GET).get("site", "").strip()[:40]
    form = NeedForm(request.POST) if request.method == "POST" else NeedForm(initial={"kind": "complaint"})
    site = None
    if code:
        try:
            site = site_for(user=asking_user(request), code=code)
        except SiteNotOpen:
            messages.error(request, f"No garden has the code {code!r}. Look it up with the search above.")
    if request.method == "POST" and site is not None and form.is_valid():
        now = timezone.now()
        done = add_need(
            site_id=site.pk,
            need=form.need(zone_of(site.timezone, company_zone())),
            by=asking_user(request).get_username(),
            now=now,
            day=company_day(now=now),
        )
        messages.success(request, f"The need at {site.code} is entered; the next plan takes it in.")
        return redirect("fleet:need", pk=done.need_id)
    return render(request, "fleet/visits/new.html", {"form": form, "code": code, "site": site})


@require_POST
def change(request: HttpRequest, pk: int) -> HttpResponse:
    """Change hours, minutes and words of a need."""
    card = _card(request, pk)
    form = change_form(card, request.POST)
    if not form.is_valid():
        return _show(request, card, change=form)
    return _act(
        request,
        card,
        lambda by, now, day: change_need(
            need_id=card.need.pk, need=form.need(card.zone, card.need), by=by, now=now, day=day
        ),
        "The need is changed; the next plan keeps to it.",
    )


@require_POST
def ticket(request: HttpRequest, pk: int) -> HttpResponse:
    """Record a locate ticket."""
    card, form = _card(request, pk), TicketForm(request.POST)
    if not form.is_valid():
        return _show(request, card, ticket=form)
    typed = form.cleaned_data
    return _act(
        request,
        card,
        lambda by, now, day: record_locate_ticket(
            need_id=card.need.pk,
            ticket=typed["ticket"],
            valid_until=typed["valid_until"],
            by=by,
            now=now,
            day=day,
        ),
        "The locate ticket is recorded. Check the paint marks before anybody digs.",
    )


@require_POST
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    """Close a need without a visit."""
    card, form = _card(request, pk), WithdrawForm(request.POST)
    if not form.is_valid():
        return _show(request, card, withdraw=form)
    typed = form.cleaned_data
    return _act(
        request,
        card,
        lambda by, now, day: withdraw_need(
            need_id=card.need.pk,
            why=typed["why"],
            rests_until=typed["rests_until"],
            by=by,
            now=now,
            day=day,
        ),
        "The need is withdrawn. “Open it again” takes that back.",
    )


@require_POST
def reopen(request: HttpRequest, pk: int) -> HttpResponse:
    """Open a closed need again."""
    card = _card(request, pk)
    return _act(
        request,
        card,
        lambda by, now, day: reopen_need(need_id=card.need.pk, by=by, now=now, day=day),
        "The need is open again.",
    )


@require_POST
def tell(request: HttpRequest, pk: int) -> HttpResponse:
    """Note the hours that the customer of a need's next visit was told, or take them back."""
    card = _card(request, pk)
    call = _ahead(card)
    if call is None:
        messages.error(request, "No visit is planned for this need.")
        return redirect("fleet:need", pk=pk)
    by, now = asking_user(request).get_username(), timezone.now()
    form = WindowForm(request.POST)
    try:
        if request.POST.get("do") == "back":
            take_back_window(visit_id=call.visit_id, by=by, now=now)
            messages.success(request, "The told hours are taken back; tell the customer.")
        elif form.is_valid():
            start, end = form.hours(card.zone)
            day = company_day(now=now)
            tell_window(visit_id=call.visit_id, window_from=start, window_to=end, by=by, now=now, day=day)
            messages.success(request, "The hours are noted; every later plan keeps them.")
        else:
            return _show(request, card, window=form)
    except CannotTell as error:
        messages.error(request, str(error))
    return redirect("fleet:need", pk=pk)


def _act(
    request: HttpRequest,
    card: NeedCard,
    act: Callable[[str, datetime, date], NeedChanged],
    word: str,
) -> HttpResponse:
    """Do something to a need and say what came of it."""
    now = timezone.now()
    try:
        done = act(asking_user(request).get_username(), now, company_day(now=now))
        messages.success(request, f"{word} {done.blocked_by}".strip())
    except (NoSuchNeed, BadNeed) as error:
        messages.error(request, str(error))
    return redirect("fleet:need", pk=card.need.pk)


def _show(request: HttpRequest, card: NeedCard, **forms: Form) -> HttpResponse:
    """The page of a need, with the form that was not accepted in its place."""
    today = company_day(now=timezone.now())
    call = _ahead(card)
    company = the_company()
    is_12_hour = not asking_user(request).clock_24h
    window = window_form(card, call) if call else None
    hours = window.initial if window else {}
    text = ""
    if call and call.technician and hours:
        text = told_text(
            site_name=card.need.site.name,
            company=company.name if company else "",
            technician=call.technician,
            window=(
                clock_text(hours["window_from"], is_12_hour=is_12_hour),
                clock_text(hours["window_to"], is_12_hour=is_12_hour),
            ),
            day=day_long(hours["window_from"].date()),
        )
    return render(
        request,
        "fleet/visits/need.html",
        {
            "card": card,
            "need": card.need,
            "ahead": call,
            "is_open": card.need.state == VisitNeed.State.OPEN,
            "digs": card.need.kind in DIG_KINDS,
            "prerequisites": prerequisites_of(card.need, day=company_day(now=timezone.now())),
            "text": text,
            "change": forms.get("change") or change_form(card),
            "ticket": forms.get("ticket") or ticket_form(card, today),
            "withdraw": forms.get("withdraw") or WithdrawForm(),
            "window": forms.get("window") or window,
            "may_write": _may_write(request),
        },
        status=422 if forms else 200,
    )


def _ahead(card: NeedCard) -> PlannedCall | None:
    """The call that is still ahead."""
    return next((call for call in card.calls if call.state not in SETTLED and call.stop_id), None)


def _card(request: HttpRequest, pk: int) -> NeedCard:
    """The need, if this person may see it."""
    card = need_card(user=asking_user(request), need_id=pk, today=company_day(now=timezone.now()))
    if card is None:
        raise Http404
    return card


def _may_write(request: HttpRequest) -> bool:
    """Whether this person changes needs, or only reads them."""
    return may_see(asking_user(request).role, "fleet:need-change")


def _words(request: HttpRequest) -> str:
    """The words searched for."""
    return request.GET.get("q", "").strip()[:100]

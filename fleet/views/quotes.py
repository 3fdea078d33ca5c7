"""Quotes for extra work: list, one with its steps, and its page for the customer."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.access import may_see
from fleet.models import Part, VisitKind, VisitNeed
from fleet.selectors.company.company import company_day, the_company
from fleet.selectors.site.access import SiteNotOpen, site_for
from fleet.selectors.visits.quotes import QuoteCard, quote_card, quote_list
from fleet.services.visits.quotes import (
    MOST_LINES,
    BadQuote,
    LineInput,
    QuoteInput,
    save_quote,
    start_quote,
    step_quote,
    undo_quote_step,
)
from fleet.views.asked import asked_number, asking_user

EXTRA_WORK = ("sensor_install", "move_station_wire", "repair", "dig", "audit", "backflow_test")
VALID_DAYS = 30
EMPTY_LINES = 3


@require_safe
def quotes(request: HttpRequest) -> HttpResponse:
    """List the quotes: `?show=` a state, `?page=`."""
    found = quote_list(show=request.GET.get("show", ""), number=asked_number(request.GET.get("page"), 1))
    facts = {
        "found": found,
        "query": f"show={found.show}&",
        "currency": _currency(),
        "may_write": _may(request),
    }
    return render(request, "fleet/quotes/list.html", facts)


@require_http_methods(["GET", "HEAD", "POST"])
def quote_new(request: HttpRequest) -> HttpResponse:
    """Start a quote of the garden `?site=`, for a need `?need=` or for new work."""
    form = request.POST if request.method == "POST" else request.GET
    code = form.get("site", "").strip()[:40]
    need = VisitNeed.objects.filter(pk=asked_number(form.get("need"))).select_related("site").first()
    site, error = None, ""
    if need is not None:
        code = need.site.code
    if code:
        try:
            site = site_for(user=asking_user(request), code=code)
        except SiteNotOpen:
            error = f"No garden has the code {code!r}. Look it up with the search above"
    if request.method == "POST" and site is not None:
        now = timezone.now()
        try:
            made = start_quote(
                site_id=site.pk,
                need_id=need.pk if need is not None else None,
                kind=form.get("kind", ""),
                reason=form.get("reason", "").replace("\x00", ""),
                by=request.user.get_username(),
                now=now,
                day=company_day(now=now),
            )
            return redirect("fleet:quote", pk=made.quote_id)
        except BadQuote as problem:
            error = str(problem)
    kinds = [(kind, VisitKind(kind).label) for kind in EXTRA_WORK]
    facts = {"site": site, "code": code, "need": need, "kinds": kinds, "error": error, "typed": form}
    return render(request, "fleet/quotes/new.html", facts, status=422 if error else 200)


@require_http_methods(["GET", "HEAD", "POST"])
def quote(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a quote; POST keeps the draft."""
    card = _card(pk)
    error = ""
    if request.method == "POST":
        now = timezone.now()
        try:
            save_quote(
                quote_id=pk,
                quote=_typed(request.POST),
                by=request.user.get_username(),
                now=now,
                day=company_day(now=now),
            )
            messages.success(request, "The draft is kept.")
            return redirect("fleet:quote", pk=pk)
        except BadQuote as problem:
            error = str(problem)
    today = company_day(now=timezone.now())
    lines = _lines_shown(card, request.POST if error else None)
    facts = {
        "card": card,
        "lines": lines,
        "error": error,
        "typed": request.POST if error else None,
        "parts": Part.objects.filter(is_active=True),
        "valid_until": (today + timedelta(days=VALID_DAYS)).isoformat(),
        "may_write": _may(request),
    }
    return render(request, "fleet/quotes/quote.html", facts, status=422 if error else 200)


@require_POST
def quote_step(request: HttpRequest, pk: int) -> HttpResponse:
    """Send, approve, decline, or take the last step back."""
    _card(pk)
    now, do = timezone.now(), request.POST.get("do", "")
    by, day = request.user.get_username(), company_day(now=now)
    try:
        if do == "undo":
            done = undo_quote_step(quote_id=pk, by=by, now=now, day=day)
        else:
            done = step_quote(
                quote_id=pk,
                step=do,
                by=by,
                now=now,
                day=day,
                valid_until=_day(request.POST.get("valid_until", "")),
                how=request.POST.get("how", "").replace("\x00", ""),
            )
        free = " Its visit can be planned now." if done.state == "approved" and done.plannable else ""
        messages.success(request, f"The quote is {done.state}.{free}")
    except BadQuote as error:
        messages.error(request, f"Nothing was changed: {error}")
    return redirect("fleet:quote", pk=pk)


@require_safe
def quote_paper(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the quote as the customer gets it, to print."""
    facts = {"card": _card(pk), "company": the_company()}
    return render(request, "fleet/quotes/paper.html", facts)


def _card(pk: int) -> QuoteCard:
    """The quote, or no such page."""
    card = quote_card(quote_id=pk, today=company_day(now=timezone.now()))
    if card is None:
        raise Http404
    return card


def _typed(form: Mapping[str, str]) -> QuoteInput:
    """The draft as typed; raises `BadQuote`."""
    lines = []
    for at in range(MOST_LINES + EMPTY_LINES):
        words = form.get(f"words-{at}", "").replace("\x00", "").strip()
        if words:
            lines.append(
                LineInput(
                    words,
                    _number(form, f"count-{at}", "count", 1.0),
                    form.get(f"unit-{at}", "").replace("\x00", "") or "piece",
                    _number(form, f"price-{at}", "price", 0.0),
                    form.get(f"part-{at}", "")[:40],
                )
            )
    tax = _number(form, "tax", "tax", 0.0) / 100.0
    title = form.get("title", "").replace("\x00", "")
    return QuoteInput(title, form.get("words", "").replace("\x00", "")[:4000], tax, tuple(lines))


def _number(form: Mapping[str, str], name: str, word: str, otherwise: float) -> float:
    """A number of the form; a comma may stand for the point."""
    text = form.get(name, "").strip().replace(",", ".")
    if not text:
        return otherwise
    try:
        return float(text)
    except ValueError:
        raise BadQuote(f"{word}: {text[:20]!r}, expected a number") from None


def _lines_shown(card: QuoteCard, typed: Mapping[str, str] | None) -> list[dict[str, object]]:
    """Lines of the form: those kept or typed, and some empty ones."""
    names = ("part", "words", "count", "unit", "price")
    if typed is not None:
        rows = [
            {name: typed.get(f"{name}-{at}", "") for name in names}
            for at in range(MOST_LINES)
            if typed.get(f"words-{at}")
        ]
    else:
        rows = [
            {
                "part": line.part.code if line.part else "",
                "words": line.words,
                "count": f"{line.count:g}",
                "unit": line.unit,
                "price": f"{line.unit_price:.2f}",
            }
            for line in card.lines
        ]
    return [*rows, *(dict.fromkeys(names, "") for _ in range(EMPTY_LINES))]  # type: ignore[list-item]


def _day(text: str) -> date | None:
    """A day of a form, None where it is none."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _currency() -> str:
    """The company's currency."""
    company = the_company()
    return company.currency if company else ""


def _may(request: HttpRequest) -> bool:
    """Whether the reader may make quotes."""
    return may_see(asking_user(request).role, "fleet:quote-step")

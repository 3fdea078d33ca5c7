"""Service contracts: the list by renewal, one with its form and steps, and its way back."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.access import may_see
from fleet.calc.visits.contracts import CONTRACT_KINDS, CONTRACT_WORDS, anniversary
from fleet.exports.contracts import COLUMNS, rows
from fleet.selectors.company.company import company_day, the_company
from fleet.selectors.site.access import SiteNotOpen, site_for
from fleet.selectors.visits.contract_page import ContractCard, contract_card, contract_list
from fleet.services.visits.contract_facts import facts_of
from fleet.services.visits.contracts import (
    BadContract,
    ContractInput,
    end_contract,
    put_back_contract,
    renew_contract,
    save_contract,
)
from fleet.views.asked import asked_number, asking_user
from fleet.views.csv_file import csv_file

LONGEST_WORDS = 100


@require_safe
def contracts(request: HttpRequest) -> HttpResponse:
    """List the contracts by renewal: `?show=` a filter, `?q=` words, `?page=`."""
    words = request.GET.get("q", "")[:LONGEST_WORDS].strip()
    found = contract_list(
        show=request.GET.get("show", ""),
        words=words,
        today=company_day(now=timezone.now()),
        number=asked_number(request.GET.get("page"), 1),
    )
    facts = {
        "found": found,
        "q": words,
        "query": f"{urlencode({'q': words, 'show': found.show})}&",
        "may_write": _may(request),
        "may_bring": may_see(asking_user(request).role, "fleet:bring"),
    }
    return render(request, "fleet/contracts/list.html", facts)


@require_safe
def contracts_csv(request: HttpRequest) -> HttpResponse:
    """Return all contracts as the contracts file has them."""
    del request
    return csv_file("contracts", COLUMNS, ([row[name] for name in COLUMNS] for row in rows()))


@require_http_methods(["GET", "HEAD", "POST"])
def contract_new(request: HttpRequest) -> HttpResponse:
    """Enter a contract of the garden `?site=`."""
    form = request.POST if request.method == "POST" else request.GET
    code = form.get("site", "").strip()[:40]
    site, error = None, ""
    if code:
        try:
            site = site_for(user=asking_user(request), code=code)
        except SiteNotOpen:
            error = f"No garden has the code {code!r}. Look it up with the search above"
    if request.method == "POST" and site is not None:
        try:
            now = timezone.now()
            kept = save_contract(
                contract_id=None, site_id=site.pk, contract=_typed(request.POST),
                by=request.user.get_username(), now=now, day=company_day(now=now),
            )  # fmt: skip
            messages.success(request, "The contract is entered.")
            return redirect("fleet:contract", pk=kept.contract_id)
        except BadContract as problem:
            error = str(problem)
    today = company_day(now=timezone.now())
    company = the_company()
    typed: Mapping[str, object] = request.POST
    if request.method != "POST":
        last = anniversary(today, 1) - timedelta(days=1)
        typed = {
            "first_day": today.isoformat(), "last_day": last.isoformat(), "notice_days": 30,
            "currency": company.currency if company else "", "visits_any_kind": 0,
        }  # fmt: skip
    facts = {"site": site, "code": code, "error": error, "typed": typed, "kinds": _kinds(typed)}
    return render(request, "fleet/contracts/new.html", facts, status=422 if error else 200)


@require_http_methods(["GET", "HEAD", "POST"])
def contract(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a contract; POST keeps its form."""
    card = _card(pk)
    row, error = card.standing.contract, ""
    if request.method == "POST":
        try:
            now = timezone.now()
            saved = save_contract(
                contract_id=pk, site_id=row.site_id, contract=_typed(request.POST),
                by=request.user.get_username(), now=now, day=company_day(now=now),
            )  # fmt: skip
            messages.success(request, "Kept." if saved.changed else "Nothing was changed.")
            return redirect("fleet:contract", pk=pk)
        except BadContract as problem:
            error = str(problem)
    typed = request.POST if error else {**facts_of(row), "price": f"{row.price:.2f}"}
    facts = {
        "card": card,
        "typed": typed,
        "kinds": _kinds(typed),
        "error": error,
        "may_write": _may(request),
        "may_quote": may_see(asking_user(request).role, "fleet:quote-new"),
    }
    return render(request, "fleet/contracts/one.html", facts, status=422 if error else 200)


@require_POST
def contract_step(request: HttpRequest, pk: int) -> HttpResponse:
    """Renew a contract, or end it before its term."""
    _card(pk)
    now, by = timezone.now(), request.user.get_username()
    try:
        if request.POST.get("do") == "renew":
            done = renew_contract(
                contract_id=pk, years=asked_number(request.POST.get("years"), 1),
                price=_amount(request.POST.get("price", "")), by=by, now=now, day=company_day(now=now),
            )  # fmt: skip
            messages.success(request, "Renewed: this is the contract that follows.")
        else:
            why = request.POST.get("why", "").replace("\x00", "")
            done = end_contract(
                contract_id=pk, last_day=_day(request.POST, "last_day"), why=why, by=by, now=now
            )
            messages.success(request, "It ends on that day. The change can be put back below.")
        return redirect("fleet:contract", pk=done.contract_id)
    except BadContract as error:
        messages.error(request, f"Nothing was changed: {error}.")
    return redirect("fleet:contract", pk=pk)


@require_POST
def contract_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a contract back as before a change."""
    try:
        done = put_back_contract(change_id=pk, by=request.user.get_username(), now=timezone.now())
    except BadContract as error:
        messages.error(request, str(error))
        return redirect("fleet:contracts")
    if done.contract_id is None:
        messages.success(
            request, f"The contract of {done.site_code} is taken out. It can be brought back in the history."
        )
        return redirect("fleet:site", code=done.site_code)
    messages.success(request, "Put back.")
    return redirect("fleet:contract", pk=done.contract_id)


def _card(pk: int) -> ContractCard:
    """The contract, or no such page."""
    card = contract_card(contract_id=pk, today=company_day(now=timezone.now()))
    if card is None:
        raise Http404
    return card


def _typed(form: Mapping[str, str]) -> ContractInput:
    """The contract as typed; raises `BadContract`."""
    return ContractInput(
        starts_on=_day(form, "first_day"),
        last_day=_day(form, "last_day"),
        price=_amount(form.get("price", "")),
        currency=form.get("currency", "").strip().upper(),
        notice_days=_count(form, "notice_days", "notice"),
        any_kind=_count(form, "visits_any_kind", "visits of any kind"),
        visits={kind: _count(form, f"visits_{kind}", CONTRACT_WORDS[kind]) for kind in CONTRACT_KINDS},
        used_any=_count(form, "used_any_kind", "visits of any kind made already"),
        used={
            kind: _count(form, f"used_{kind}", f"{CONTRACT_WORDS[kind]} made already")
            for kind in CONTRACT_KINDS
        },
        ended_why=form.get("ended_why", "").replace("\x00", "").strip(),
    )


def _day(form: Mapping[str, str], name: str) -> date:
    """A day of the form; raises `BadContract`."""
    text = form.get(name, "").strip()
    try:
        found = date.fromisoformat(text)
    except ValueError:
        found = date.min
    if not 1900 <= found.year <= 2200:
        raise BadContract(f"{name.replace('_', ' ')}: {text[:20]!r}, expected a date as 2026-06-14")
    return found


def _amount(text: str) -> float:
    """An amount of money; a comma may stand for the point. Raises `BadContract`."""
    try:
        return float(text.strip().replace(",", "."))
    except ValueError:
        raise BadContract(f"price: {text[:20]!r}, expected a number") from None


def _count(form: Mapping[str, str], name: str, word: str) -> int:
    """A whole number; empty is none. Raises `BadContract`."""
    text = form.get(name, "").strip()
    if text and not (text.isascii() and text.isdigit() and len(text) < 6):
        raise BadContract(f"{word}: {text[:20]!r}, expected a whole number")
    return int(text or 0)


def _kinds(typed: Mapping[str, object]) -> list[dict[str, object]]:
    """A line of the form by kind."""
    return [
        {
            "kind": kind,
            "word": CONTRACT_WORDS[kind].capitalize(),
            "count": typed.get(f"visits_{kind}") or "",
            "used": typed.get(f"used_{kind}") or "",
        }
        for kind in CONTRACT_KINDS
    ]


def _may(request: HttpRequest) -> bool:
    """Whether the reader may write contracts."""
    return may_see(asking_user(request).role, "fleet:contract-step")

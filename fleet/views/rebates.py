"""Rebates of suppliers: the list, one with the gardens that qualify, and a garden's dossier."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from fleet.access import may_see
from fleet.exports.kinds import as_csv
from fleet.models import Rebate
from fleet.quantities import unit_of
from fleet.selectors.company.company import company_day, the_company
from fleet.selectors.ledger.rebates import (
    rebate_dossier,
    rebate_list,
    rebate_page,
    rebate_rows,
    suppliers_of_book,
)
from fleet.selectors.ledger.water_budget import site_budget
from fleet.selectors.site.access import SiteNotOpen, site_for
from fleet.services.ledger.rebates import save_claim, save_rebate
from fleet.views.asked import asked_number, asking_user
from fleet.views.rebate_forms import ClaimForm, RebateForm

CSV_COLUMNS = ("site", "name", "standing", "apply_by", "missing", "amount", "currency")


@require_safe
def rebates(request: HttpRequest) -> HttpResponse:
    """List the rebates."""
    today = _today()
    facts = {"found": rebate_list(today=today), "today": today, "may_write": _may_write(request)}
    return render(request, "fleet/rebates/list.html", facts)


@require_http_methods(["GET", "HEAD", "POST"])
def rebate_new(request: HttpRequest) -> HttpResponse:
    """Enter a rebate."""
    return _edit(request, None)


@require_http_methods(["GET", "HEAD", "POST"])
def rebate_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a rebate."""
    return _edit(request, get_object_or_404(Rebate, pk=pk))


def _edit(request: HttpRequest, rebate: Rebate | None) -> HttpResponse:
    """Show the form of a rebate, and keep what it says."""
    company = the_company()
    first = {"currency": company.currency if company else "", "checked_on": _today()}
    form = RebateForm(request.POST or None, instance=rebate, initial=None if rebate else first)
    if request.method == "POST" and form.is_valid():
        saved = save_rebate(
            rebate_id=rebate.pk if rebate else None,
            values=form.cleaned_data,
            by=request.user.get_username(),
            now=timezone.now(),
        )
        messages.success(request, "The rebate is kept." if saved.changed else "Nothing was changed.")
        return redirect("fleet:rebate", pk=saved.pk)
    stored = Rebate.objects.get(pk=rebate.pk) if rebate else None
    return render(
        request,
        "fleet/rebates/edit.html",
        {"form": form, "rebate": stored, "suppliers": suppliers_of_book()},
        status=422 if form.errors else 200,
    )


@require_safe
def rebate(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a rebate with the gardens that qualify: `?show=` a standing, `?page=`."""
    found = rebate_page(
        rebate=get_object_or_404(Rebate, pk=pk),
        today=_today(),
        show=request.GET.get("show", ""),
        number=asked_number(request.GET.get("page"), 1),
    )
    facts = {"found": found, "query": f"show={found.show}&", "may_write": _may_write(request)}
    return render(request, "fleet/rebates/one.html", facts)


@require_safe
def rebate_csv(request: HttpRequest, pk: int) -> HttpResponse:
    """All gardens of a rebate's supplier with their standing, as CSV."""
    del request
    one = get_object_or_404(Rebate, pk=pk)
    rows: Iterator[dict[str, object]] = (
        {
            "site": row.code,
            "name": row.name,
            "standing": row.standing.state,
            "apply_by": row.standing.apply_by.isoformat() if row.standing.apply_by else "",
            "missing": "; ".join(row.standing.missing),
            "amount": "" if row.amount is None else round(row.amount, 2),
            "currency": one.currency,
        }
        for row in rebate_rows(rebate=one, today=_today())
    )
    response = HttpResponse(as_csv(CSV_COLUMNS, rows), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="rebate_{one.pk}.csv"'
    return response


@require_http_methods(["GET", "HEAD", "POST"])
def dossier(request: HttpRequest, pk: int, code: str) -> HttpResponse:
    """Show a garden's dossier, to print, and keep what it holds beyond the book."""
    one = get_object_or_404(Rebate, pk=pk)
    try:
        site = site_for(user=asking_user(request), code=code)
    except SiteNotOpen as error:
        raise Http404 from error
    found = rebate_dossier(rebate=one, site=site, today=_today())
    if found is None:
        return render(request, "fleet/rebates/other.html", {"rebate": one, "site": site}, status=404)
    form = ClaimForm(request.POST or None, instance=found.claim)
    if request.method == "POST" and form.is_valid():
        saved = save_claim(
            rebate_id=one.pk,
            site_id=site.pk,
            values=form.cleaned_data,
            by=request.user.get_username(),
            now=timezone.now(),
        )
        messages.success(request, "The dossier is kept." if saved.changed else "Nothing was changed.")
        return redirect("fleet:rebate-dossier", pk=pk, code=code)
    if form.errors:  # the form wrote into the row that the page shows
        found = rebate_dossier(rebate=one, site=site, today=_today())
    facts = {
        "found": found,
        "form": form,
        "company": the_company(),
        "today": _today(),
        "budget": site_budget(site=site, day=_today()),
        "unit": unit_of("volume", is_us=asking_user(request).units == "us"),
    }
    return render(request, "fleet/rebates/dossier.html", facts, status=422 if form.errors else 200)


def _today() -> date:
    """The company's day."""
    return company_day(now=timezone.now())


def _may_write(request: HttpRequest) -> bool:
    """Whether the reader may enter and change rebates."""
    return may_see(asking_user(request).role, "fleet:rebate-new")

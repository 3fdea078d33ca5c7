"""Papers of the ledger: a customer's page, the book's quarter, and contracts that end soon."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from fleet.calc.ledger.need import NEED_ERROR
from fleet.calc.ledger.savings import CONFIDENCE
from fleet.quantities import unit_of
from fleet.selectors.company.company import company_day, the_company
from fleet.selectors.ledger.reports import book_report, customer_water, renewal_page
from fleet.views.asked import asked_number, asking_user
from sites.models import Site


@require_safe
def customer_page(request: HttpRequest, code: str) -> HttpResponse:
    """Show one garden's year for its owner, to print."""
    try:
        found = customer_water(code=code)
    except Site.DoesNotExist as error:
        raise Http404 from error
    return render(request, "fleet/water_papers/customer.html", {"found": found, **_facts(request)})


@require_safe
def book_paper(request: HttpRequest) -> HttpResponse:
    """Show the book's report, to print: `?span=`."""
    found = book_report(span=request.GET.get("span", ""))
    return render(request, "fleet/water_papers/book.html", {"found": found, **_facts(request)})


@require_safe
def renewals(request: HttpRequest) -> HttpResponse:
    """Show contracts that end soon with what their gardens saved: `?page=`."""
    found = renewal_page(
        today=company_day(now=timezone.now()), number=asked_number(request.GET.get("page"), 1)
    )
    return render(request, "fleet/water_papers/renewals.html", {"found": found, **_facts(request)})


def _facts(request: HttpRequest) -> dict[str, object]:
    """What every paper says of itself."""
    return {
        "company": the_company(),
        "today": company_day(now=timezone.now()),
        "unit": unit_of("volume", is_us=asking_user(request).units == "us"),
        "confidence": round(100 * CONFIDENCE),
        "band": round(100 * NEED_ERROR),
    }

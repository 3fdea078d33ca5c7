"""Where the book's water goes, what the year will come to, and which gardens cannot be judged."""

from __future__ import annotations

import math

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from fleet.charts.water import bar
from fleet.quantities import shown, unit_of
from fleet.selectors.company.company import company_day
from fleet.selectors.ledger.gaps import gap_page
from fleet.selectors.ledger.parts import parts_page
from fleet.selectors.ledger.words import GROUPINGS
from fleet.selectors.watch.record import watch_precision
from fleet.templatetags.rootround import grouped
from fleet.views.asked import asked_number, asking_user

DEAREST = 1000.0  # a m3; beyond it the price is a slip of the hand
DEFAULT_TARGET = 1.0  # used for a litre needed


@require_safe
def water_parts(request: HttpRequest) -> HttpResponse:
    """Show parts of the book: `?by=`, `?span=`, `?price=` a m3 to try, `?target=` used over need."""
    is_us = asking_user(request).units == "us"
    typed = _figure(request.GET.get("price"), DEAREST)
    a_m3 = shown(1.0, "volume", is_us=is_us)  # of the reader's units
    price = None if typed is None else typed * a_m3
    target = _figure(request.GET.get("target"), 10.0)
    found = parts_page(by=request.GET.get("by", ""), span=request.GET.get("span", ""), price=price)
    if found is None:
        return render(request, "fleet/water_parts.html", {"found": None})
    most = max((part.over_l for part in found.parts), default=0.0)
    most_cause = max((cause.over_l for cause in found.causes), default=0.0)
    year = found.year_end
    wanted = target if target else DEFAULT_TARGET
    return render(
        request,
        "fleet/water_parts.html",
        {
            "found": found,
            "groupings": GROUPINGS,
            "rows": [(part, _bar(part.over_l, most, is_us=is_us)) for part in found.parts],
            "causes": [(cause, _bar(cause.over_l, most_cause, is_us=is_us)) for cause in found.causes],
            "unit": unit_of("volume", is_us=is_us),
            "price_text": f"{typed:g}" if typed is not None else "",
            "visit_price": None if found.visit_price is None else found.visit_price / a_m3,
            "target": wanted,
            "target_text": f"{wanted:g}",
            "target_l": wanted * year.need_l if year else None,
            "total_low_l": year.so_far_l + year.low_l if year else None,
            "total_high_l": year.so_far_l + year.high_l if year else None,
            "precision": watch_precision(day=company_day(now=timezone.now())),
            "saved_money": _saved_money(found.book.saved_l, price),
            "saved_money_low": _saved_money(found.book.low_l, price),
            "saved_money_high": _saved_money(found.book.high_l, price),
        },
    )


@require_safe
def water_unjudged(request: HttpRequest) -> HttpResponse:
    """List the gardens whose savings cannot be told, and what mends that: `?kind=`, `?page=`."""
    found = gap_page(kind=request.GET.get("kind", ""), number=asked_number(request.GET.get("page"), 1))
    query = f"kind={found.chosen}&" if found.chosen else ""
    return render(request, "fleet/water_unjudged.html", {"found": found, "query": query})


def _figure(text: str | None, most: float) -> float | None:
    """A positive number that somebody typed, with a point or a comma; None for anything else."""
    try:
        value = float((text or "").strip().replace(",", "."))
    except ValueError:
        return None
    return value if math.isfinite(value) and 0 < value <= most else None


def _saved_money(litres: float | None, price: float | None) -> float | None:
    """Money of a saving at a tried price; None where either is not told."""
    return None if litres is None or price is None else litres / 1000.0 * price


def _bar(over_l: float, most: float, *, is_us: bool) -> str:
    """Litres over need as a bar."""
    return bar(over_l, most=most, text=grouped(shown(over_l / 1000.0, "volume", is_us=is_us)))

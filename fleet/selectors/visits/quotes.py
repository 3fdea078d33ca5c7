"""Quotes as list and page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from django.core.paginator import Page, Paginator
from django.db.models import Count, F, FloatField, Sum
from django.db.models.functions import Coalesce

from fleet.models import Quote, QuoteLine, VisitNeed
from fleet.selectors.choice import Choice
from sites.models import Change

PAGE_SIZE: Final = 50


@dataclass(frozen=True, slots=True)
class QuoteSum:
    """Money of a quote."""

    net: float
    tax: float

    @property
    def total(self) -> float:
        """With tax."""
        return self.net + self.tax


@dataclass(frozen=True, slots=True)
class QuoteCard:
    """One quote with all that belongs to it."""

    quote: Quote
    lines: tuple[QuoteLine, ...]
    money: QuoteSum
    needs: tuple[VisitNeed, ...]
    changes: tuple[Change, ...]
    is_over: bool  # sent, and its last day is past


@dataclass(frozen=True, slots=True)
class QuoteList:
    """One page of quotes with the counts of each state."""

    page: Page[Any]  # quotes with `net`, their sum before tax
    shows: tuple[Choice, ...]
    show: str
    waiting: int
    waiting_net: float


def money_of(lines: tuple[QuoteLine, ...], tax_share: float) -> QuoteSum:
    """Sum of lines as they stand on paper, each rounded to the hundredth, and the tax on it."""
    net = round(sum(line.total for line in lines), 2)
    return QuoteSum(net, round(net * tax_share, 2))


def quote_card(*, quote_id: int, today: date) -> QuoteCard | None:
    """One quote; None where there is none."""
    row = Quote.objects.select_related("site").filter(pk=quote_id).first()
    if row is None:
        return None
    lines = tuple(row.lines.select_related("part"))
    return QuoteCard(
        row,
        lines,
        money_of(lines, row.tax_share),
        tuple(row.needs.order_by("pk")),
        tuple(Change.objects.filter(kind="quote", thing_id=row.pk).order_by("-pk")[:20]),
        row.state == Quote.State.SENT and row.valid_until is not None and row.valid_until < today,
    )


def quote_list(*, show: str, number: int) -> QuoteList:
    """Quotes of a state, the newest first; unknown state: those that wait."""
    counts = dict(Quote.objects.order_by().values_list("state").annotate(n=Count("pk")))
    show = show if show in Quote.State.values else Quote.State.SENT
    shows = tuple(
        Choice(str(value), str(label).partition(",")[0].capitalize(), counts.get(value, 0))
        for value, label in Quote.State.choices
    )
    rows = (
        Quote.objects.filter(state=show)
        .select_related("site")
        .annotate(
            net=Coalesce(Sum(F("lines__count") * F("lines__unit_price")), 0.0, output_field=FloatField())
        )
        .order_by("-made_on", "-pk")
    )
    waiting = QuoteLine.objects.filter(quote__state=Quote.State.SENT)
    total = waiting.aggregate(net=Sum(F("count") * F("unit_price")))["net"] or 0.0
    return QuoteList(
        Paginator(rows, PAGE_SIZE).get_page(number),
        shows,
        show,
        counts.get(Quote.State.SENT, 0),
        float(total),
    )

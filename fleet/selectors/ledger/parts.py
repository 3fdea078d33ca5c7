"""Where the book's water goes: its parts by any grouping and span, from what the night computed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from fleet.calc.ledger.forecast import BookUse, YearEnd, forecast_year
from fleet.calc.ledger.reasons import reason_words
from fleet.models import LedgerPortfolio, Tariff
from fleet.selectors.company.company import the_company
from fleet.selectors.ledger.visits import VisitValue, saved_price, visit_values_stored
from fleet.selectors.ledger.words import GROUPINGS

FULL_SHARE: Final = 0.8  # of the most gardens ever read in a month: fewer are no month of the book


@dataclass(frozen=True, slots=True)
class Part:
    """Gardens that share a word: use and need of the read months [L], money, saving with interval [L]."""

    word: str
    gardens: int
    used_l: float
    need_l: float
    over_l: float
    over_money: float | None
    judged: int
    saved_l: float | None
    low_l: float | None
    high_l: float | None

    @property
    def ratio(self) -> float | None:
        """Used over need."""
        return self.used_l / self.need_l if self.need_l > 0 else None


@dataclass(frozen=True, slots=True)
class Cause:
    """Litres over need by their likeliest cause, with gardens and money."""

    word: str
    gardens: int
    over_l: float
    over_money: float | None


@dataclass(frozen=True, slots=True)
class SpanChoice:
    """A span that the night computed."""

    key: str
    word: str
    start: date
    end: date


@dataclass(frozen=True, slots=True)
class PartsPage:
    """What the page shows of one span and grouping."""

    by: str
    span: SpanChoice
    spans: list[SpanChoice]
    parts: list[Part]
    causes: list[Cause]
    book: Part
    unplaced: int
    currency: str
    price: float | None
    year_end: YearEnd | None
    visits: list[VisitValue]
    visit_price: float | None
    visit_currency: str


def parts_page(*, by: str, span: str, price: float | None = None) -> PartsPage | None:
    """The parts of the book; None before the ledger's first night.

    Parameters
    ----------
    by
        One of the groupings; anything else is the first.
    span
        Key of a span; anything else is the newest whole season, else the longest span.
    price
        A price to try instead of the tariffs [money/m3].
    """
    rows = list(LedgerPortfolio.objects.order_by("period_start", "period_end"))
    if not rows:
        return None
    choices = span_choices(rows)
    by_key = {choice.key: (choice, row) for choice, row in zip(choices, rows, strict=True)}
    seasons = [choice.key for choice in choices if 80 <= (choice.end - choice.start).days <= 95]
    longest = max(choices, key=lambda choice: choice.end - choice.start).key
    chosen, row = by_key.get(span) or by_key[seasons[-1] if seasons else longest]
    by = by if by in GROUPINGS else GROUPINGS[0]
    currency, own = _currency(), _company_currency()
    # a visit costs the company's money: water is set against it only where it is priced in the same
    worth_m3 = price if price is not None else saved_price(rows) if currency == own else None
    values = row.values
    parts = [_part(word, part, price) for word, part in values.get("by", {}).get(by, {}).items()]
    causes = [
        Cause(reason_words(code), part["gardens"], part["over_l"], _money(part, price))
        for code, part in values.get("reasons", {}).items()
    ]
    every = values.get("by", {}).get("all", {}).get("all")
    book = _part("the whole book", every or _bare(values), price)
    return PartsPage(
        by=by,
        span=chosen,
        spans=sorted(choices, key=lambda one: (-(one.end - one.start).days // 40, -one.end.toordinal())),
        parts=sorted((part for part in parts if part.gardens), key=lambda part: (-part.over_l, part.word)),
        causes=sorted(causes, key=lambda cause: (-cause.over_l, cause.word)),
        book=book,
        unplaced=max(book.gardens - sum(part.gardens for part in parts), 0),
        currency=currency if price is None else own,
        price=price,
        year_end=year_end(rows),
        visits=visit_values_stored(rows, price_per_m3=worth_m3),
        visit_price=worth_m3,
        visit_currency=own,
    )


def span_choices(rows: Sequence[LedgerPortfolio]) -> list[SpanChoice]:
    """Spans of stored rows, in their order."""
    return [
        SpanChoice(
            f"{row.period_start:%Y-%m-%d}_{row.period_end:%Y-%m-%d}",
            span_words(row.period_start, row.period_end),
            row.period_start,
            row.period_end,
        )
        for row in rows
    ]


def span_words(start: date, end: date) -> str:
    """Months of a span in words; `end` is the day after the last."""
    last = date.fromordinal(end.toordinal() - 1)
    if (start.year, start.month) == (last.year, last.month):
        return f"{start:%B %Y}"
    first = f"{start:%B}" if start.year == last.year else f"{start:%B %Y}"
    return f"{first} to {last:%B %Y}"


def year_end(rows: Sequence[LedgerPortfolio]) -> YearEnd | None:
    """Forecast of the newest year's use from the stored months in which most gardens were read."""
    months = [row for row in rows if (row.period_end - row.period_start).days <= 31]
    most = max((row.values["sites"] for row in months), default=0)
    return forecast_year(
        [
            BookUse(row.period_start, row.values["used_l"], row.values["need_l"], row.values["sites"])
            for row in months
            if row.values["sites"] and row.values["sites"] >= FULL_SHARE * most
        ]
    )


def _part(word: str, values: dict[str, Any], price: float | None) -> Part:
    """A stored part."""
    told = values["judged"] > 0
    return Part(
        word=word,
        gardens=values["gardens"],
        used_l=values["used_l"],
        need_l=values["need_l"],
        over_l=values["over_l"],
        over_money=_money(values, price),
        judged=values["judged"],
        saved_l=values["saved_l"] if told else None,
        low_l=values["saved_low_l"] if told else None,
        high_l=values["saved_high_l"] if told else None,
    )


def _bare(values: dict[str, Any]) -> dict[str, Any]:
    """Figures of a book without any garden."""
    return {**values, "gardens": values["sites"], "over_l": 0.0, "over_money": 0.0}


def _money(values: dict[str, Any], price: float | None) -> float | None:
    """Money over need: at a tried price, else at the tariffs; None where no tariff is known."""
    if price is not None:
        return float(values["over_l"]) / 1000.0 * price
    return float(values["over_money"]) or None


def _currency() -> str:
    """Currency of the tariffs; empty where there are several, so that no sum of two is shown as one."""
    words = sorted(set(Tariff.objects.order_by().values_list("currency", flat=True)))
    return words[0] if len(words) == 1 else ""


def _company_currency() -> str:
    """The company's own currency."""
    company = the_company()
    return company.currency if company else ""

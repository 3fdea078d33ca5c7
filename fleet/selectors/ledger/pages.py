"""Reads of the water ledger for the manager's pages; set-based, a handful of queries a page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Count, Min

from fleet.calc.ledger.reasons import reason_words
from fleet.models import LedgerPortfolio, LedgerSite
from fleet.selectors.ledger.ranking import Ranking, month_ranking


@dataclass(frozen=True, slots=True)
class BookMonth:
    """One month of the book: litres used and needed by metered gardens, saving of the judged ones [L].

    `wider` is what widens the gardens' figures, with how many, most first.
    """

    month: date
    used_l: float
    need_l: float
    gardens: int
    judged: int
    saved_l: float | None
    saved_low_l: float | None
    saved_high_l: float | None
    wider: list[tuple[str, int]]

    @property
    def ratio(self) -> float | None:
        """Used over need."""
        return self.used_l / self.need_l if self.need_l > 0 else None

    @property
    def expected_l(self) -> float | None:
        """Use that was expected without sensors."""
        return None if self.saved_l is None else self.used_l + self.saved_l


@dataclass(frozen=True, slots=True)
class Saving:
    """A saving with its 90 % interval [L], and how many gardens it speaks for."""

    word: str
    judged: int
    saved_l: float
    low_l: float
    high_l: float


@dataclass(frozen=True, slots=True)
class WaterPage:
    """What the manager's page shows."""

    months: list[BookMonth]
    month: date | None
    now: BookMonth | None
    whole: Saving | None
    since: date | None
    parts: list[Saving]
    ranking: Ranking | None
    method: dict[str, Any]
    unjudged: list[tuple[str, int]]
    notes: list[tuple[str, int]]


def water_page(*, month: date | None = None) -> WaterPage:
    """The book's water, and the gardens of one month (the newest whole one by default)."""
    books = list(LedgerPortfolio.objects.order_by("period_start", "period_end"))
    spans = [row for row in books if (row.period_end - row.period_start).days <= 31]
    months = [_book_month(row) for row in spans]
    whole = max(books, key=lambda row: row.period_end - row.period_start, default=None)
    chosen = _month(spans, month)
    return WaterPage(
        months=months,
        month=chosen.month if chosen else None,
        now=chosen,
        whole=_saving("the whole book", whole.values) if whole is not None else None,
        since=LedgerSite.objects.aggregate(first=Min("change_on"))["first"],
        parts=_parts(whole),
        ranking=month_ranking(month=chosen.month) if chosen else None,
        method=whole.values if whole is not None else {},
        unjudged=unjudged_counts(),
        notes=chosen.wider if chosen else [],
    )


def newest_month(*, month: date | None = None) -> date | None:
    """The wanted month, else the newest one in which most gardens were read; None without a ledger.

    Parameters
    ----------
    month
        First day of the wanted month.
    """
    books = LedgerPortfolio.objects.order_by("period_start", "period_end")
    chosen = _month([row for row in books if (row.period_end - row.period_start).days <= 31], month)
    return chosen.month if chosen else None


def _book_month(row: LedgerPortfolio) -> BookMonth:
    """A month's stored figures."""
    values = row.values
    told = values["judged"] > 0
    return BookMonth(
        month=row.period_start,
        used_l=values["used_l"],
        need_l=values["need_l"],
        gardens=values["sites"],
        judged=values["judged"],
        saved_l=values["saved_l"] if told else None,
        saved_low_l=values["saved_low_l"] if told else None,
        saved_high_l=values["saved_high_l"] if told else None,
        wider=sorted(
            ((reason_words(code), count) for code, count in values.get("wider", {}).items()),
            key=lambda one: -one[1],
        ),
    )


def _month(spans: Sequence[LedgerPortfolio], wanted: date | None) -> BookMonth | None:
    """The wanted month, else the newest one in which most gardens were read."""
    if not spans:
        return None
    for row in spans:
        if row.period_start == wanted:
            return _book_month(row)
    most = max(row.values["sites"] for row in spans)
    full = [row for row in spans if row.values["sites"] >= 0.8 * most]
    return _book_month(full[-1])


def _saving(word: str, values: dict[str, Any]) -> Saving | None:
    """A stored saving, None where nothing is judged."""
    if not values["judged"]:
        return None
    return Saving(word, values["judged"], values["saved_l"], values["saved_low_l"], values["saved_high_l"])


def _parts(whole: LedgerPortfolio | None) -> list[Saving]:
    """Savings by supplier and by soil, the largest first within each."""
    if whole is None:
        return []
    found = []
    for values in (whole.values.get("by", {}).get(name, {}) for name in ("supplier", "soil")):
        some = [_saving(word.replace("_", " "), part) for word, part in values.items()]
        found += sorted((part for part in some if part), key=lambda part: -part.saved_l)
    return found


def unjudged_counts() -> list[tuple[str, int]]:
    """Why savings of gardens are not told, with how many, most first."""
    rows = LedgerSite.objects.exclude(verdict="").order_by().values_list("verdict").annotate(n=Count("pk"))
    return sorted(((reason_words(code), n) for code, n in rows), key=lambda row: -row[1])

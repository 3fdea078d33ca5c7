"""Reads of the water ledger for the manager's pages; set-based, a handful of queries a page."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

import numpy as np
from django.core.paginator import Page, Paginator
from django.db.models import Count, Min

from fleet.calc.ledger_reasons import reason_words
from fleet.calc.ledger_tariff import cost_over_need
from fleet.models import LedgerMonth, LedgerPortfolio, LedgerSite, Tariff

ROWS_A_PAGE: Final = 12
SHOWS: Final = ("over", "under", "unknown")
# What limits figures without making them unusable.
_WIDER: Final = (
    "winter_base_bounded",
    "whole_house",
    "part_of_days",
    "spans_estimate",
    "estimated_from_program",
)


@dataclass(frozen=True, slots=True)
class BookMonth:
    """One month of the book: litres used and needed by metered gardens, saving of the judged ones [L]."""

    month: date
    used_l: float
    need_l: float
    gardens: int
    judged: int
    saved_l: float | None
    saved_low_l: float | None
    saved_high_l: float | None

    @property
    def ratio(self) -> float | None:
        """Used over need."""
        return self.used_l / self.need_l if self.need_l > 0 else None

    @property
    def expected_l(self) -> float | None:
        """Use that was expected without sensors."""
        return None if self.saved_l is None else self.used_l + self.saved_l


@dataclass(frozen=True, slots=True)
class RankRow:
    """One garden in the month's ranking."""

    code: str
    name: str
    used_l: float | None
    need_l: float | None
    over_l: float | None
    ratio: float | None
    money: float | None
    currency: str
    source: str
    reasons: tuple[str, ...]
    longitude: float | None
    latitude: float | None


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
    rows: list[RankRow]
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
    rows = _rank(chosen.month) if chosen is not None else []
    return WaterPage(
        months=months,
        month=chosen.month if chosen else None,
        now=chosen,
        whole=_saving("the whole book", whole.values) if whole is not None else None,
        since=LedgerSite.objects.aggregate(first=Min("change_on"))["first"],
        parts=_parts(whole),
        rows=rows,
        method=whole.values if whole is not None else {},
        unjudged=unjudged_counts(),
        notes=_note_counts(rows),
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


def _rank(month: date) -> list[RankRow]:
    """Gardens of a month, the furthest over need first, those that cannot be told last."""
    rows = list(
        LedgerMonth.objects.filter(month=month).values_list(
            "site__code", "site__name", "used_l", "need_l", "used_source", "reasons", "site__supplier",
            "site__longitude", "site__latitude",
        )
    )  # fmt: skip
    tiers = tiers_in_force(day=month)
    money = _money([(row[6], row[2], row[3]) for row in rows], tiers)
    found = [
        RankRow(
            code=code,
            name=name,
            used_l=used,
            need_l=need,
            over_l=used - need if used is not None and need is not None else None,
            ratio=used / need if used is not None and need is not None and need > 0 else None,
            money=cost,
            currency=tiers[supplier][1] if supplier in tiers else "",
            source=source,
            reasons=tuple(reason_words(word) for word in reasons.split(";") if word),
            longitude=longitude,
            latitude=latitude,
        )
        for (code, name, used, need, source, reasons, supplier, longitude, latitude), cost in zip(
            rows, money, strict=True
        )
    ]
    return sorted(found, key=lambda row: (row.over_l is None, -(row.over_l or 0.0), row.code))


def _money(
    uses: Sequence[tuple[str, float | None, float | None]],
    tiers: dict[str, tuple[list[tuple[float, float]], str]],
) -> list[float | None]:
    """Money of what was used beyond need, from (supplier, used [L], need [L]); all of a supplier at once."""
    found: list[float | None] = [None] * len(uses)
    for supplier, (steps, _) in tiers.items():
        own = [(n, used, need) for n, (name, used, need) in enumerate(uses) if name == supplier]
        told = [(n, used, need) for n, used, need in own if used is not None and need is not None]
        if not told:
            continue
        starts, prices = (np.array(column) for column in zip(*steps, strict=True))
        used_m3, need_m3 = (np.array(column) / 1000 for column in list(zip(*told, strict=True))[1:])
        costs = cost_over_need(used_m3, need_m3, starts, prices)
        for (n, _, _), cost in zip(told, costs, strict=True):
            found[n] = float(cost)
    return found


def tiers_in_force(*, day: date) -> dict[str, tuple[list[tuple[float, float]], str]]:
    """Tiers (from [m3], price a m3) and currency of each supplier on a day; the newest tariff counts."""
    newest: dict[str, date] = {}
    found: dict[str, tuple[list[tuple[float, float]], str]] = {}
    for row in Tariff.objects.filter(starts_on__lte=day).order_by("supplier", "-starts_on", "tier_from_m3"):
        if newest.setdefault(row.supplier, row.starts_on) == row.starts_on:
            tiers, _ = found.setdefault(row.supplier, ([], row.currency))
            tiers.append((row.tier_from_m3, row.price_per_m3))
    return {name: value for name, value in found.items() if value[0][0][0] == 0}


def unjudged_counts() -> list[tuple[str, int]]:
    """Why savings of gardens are not told, with how many, most first."""
    rows = LedgerSite.objects.exclude(verdict="").order_by().values_list("verdict").annotate(n=Count("pk"))
    return sorted(((reason_words(code), n) for code, n in rows), key=lambda row: -row[1])


def _note_counts(rows: Sequence[RankRow]) -> list[tuple[str, int]]:
    """What widens the month's figures, with the count of gardens."""
    wanted = {reason_words(code) for code in _WIDER}
    counts = Counter(word for row in rows for word in row.reasons if word in wanted)
    return counts.most_common()


def ranked(*, page: WaterPage, show: str, number: int) -> Page[RankRow]:
    """One page of the ranking: over need, under need, or not told."""
    rows = [row for row in page.rows if (row.over_l is None) == (show == "unknown")]
    if show == "over":
        rows = [row for row in rows if (row.over_l or 0) > 0]
    if show == "under":
        rows = [row for row in reversed(rows) if (row.over_l or 0) < 0]
    return Paginator(rows, ROWS_A_PAGE).get_page(number)

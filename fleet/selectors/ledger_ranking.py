"""Gardens of one month by water over need: arrays of all of them, rows of the page that is asked for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np
import numpy.typing as npt
from django.core.paginator import Page, Paginator
from django.db.models import Count, Q

from fleet.calc.ledger_reasons import RatioClasses, ratio_classes, reason_words
from fleet.calc.ledger_tariff import cost_over_need
from fleet.models import LedgerMonth, Tariff
from weather.calc.arrays import FloatArray, IntArray

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

CodeArray = npt.NDArray[np.object_]


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


@dataclass(frozen=True, slots=True)
class Ranking:
    """All gardens of a month, the furthest over need first, those that cannot be told last.

    Parameters
    ----------
    row
        Number of each garden's month in the ledger.
    over_l
        Use over need, NaN where not told [L].
    ratio
        Used over need, NaN where not told or where nothing was needed.
    codes
        Codes of the gardens.
    longitude, latitude
        Their places, NaN where none is known [deg].
    """

    row: IntArray
    over_l: FloatArray
    ratio: FloatArray
    codes: CodeArray
    longitude: FloatArray
    latitude: FloatArray

    @property
    def most_l(self) -> float:
        """Largest distance from need [L]."""
        return float(np.nanmax(np.abs(self.over_l), initial=0.0))

    @property
    def classes(self) -> RatioClasses:
        """Gardens that got too little, enough and too much."""
        return ratio_classes(self.ratio)

    def of(self, show: str) -> IntArray:
        """Rows over need, under need (furthest first), or not told."""
        if show == "over":
            return self.row[self.over_l > 0]
        if show == "under":
            return self.row[self.over_l < 0][::-1]
        return self.row[np.isnan(self.over_l)]


def month_ranking(*, month: date) -> Ranking:
    """Gardens of a month in their order.

    Parameters
    ----------
    month
        Its first day.
    """
    rows = list(
        LedgerMonth.objects.filter(month=month)
        .order_by()
        .values_list("pk", "used_l", "need_l", "site__code", "site__longitude", "site__latitude")
    )
    columns = list(zip(*rows, strict=True)) if rows else [()] * 6
    used, need, east, north = (np.array(columns[n], dtype=np.float64) for n in (1, 2, 4, 5))
    codes: CodeArray = np.array(columns[3], dtype=np.object_)
    over = used - need
    order = np.lexsort((codes.astype(np.str_), -over))  # NaN last
    pks = np.array(columns[0], dtype=np.int64)
    ratio = np.divide(used, need, out=np.full(used.shape, np.nan), where=need > 0)
    return Ranking(pks[order], over[order], ratio[order], codes[order], east[order], north[order])


def ranked(*, ranking: Ranking, month: date, show: str, number: int) -> tuple[Page[int], list[RankRow]]:
    """One page of the ranking, with its rows.

    Parameters
    ----------
    ranking
        The month's gardens.
    month
        Its first day.
    show
        One of SHOWS.
    number
        Page.
    """
    page = Paginator(ranking.of(show).tolist(), ROWS_A_PAGE).get_page(number)
    return page, _rank_rows(list(page), month)


def _rank_rows(pks: Sequence[int], month: date) -> list[RankRow]:
    """Rows of some garden-months, in the order asked for."""
    rows = {
        row[0]: row[1:]
        for row in LedgerMonth.objects.filter(pk__in=pks).values_list(
            "pk", "site__code", "site__name", "used_l", "need_l", "used_source", "reasons", "site__supplier"
        )
    }
    found = [rows[pk] for pk in pks if pk in rows]
    tiers = tiers_in_force(day=month)
    money = _money([(row[6], row[2], row[3]) for row in found], tiers)
    return [
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
        )
        for (code, name, used, need, source, reasons, supplier), cost in zip(found, money, strict=True)
    ]


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


def wider_counts(*, month: date) -> list[tuple[str, int]]:
    """What widens a month's figures, with the count of gardens, most first.

    Parameters
    ----------
    month
        Its first day.
    """
    counts = LedgerMonth.objects.filter(month=month).aggregate(
        **{code: Count("pk", filter=Q(reasons__contains=code)) for code in _WIDER}
    )
    found = [(reason_words(code), counts[code]) for code in _WIDER if counts[code]]
    return sorted(found, key=lambda one: -one[1])

"""Gardens of one month by water over need: arrays of all of them, rows of the page that is asked for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np
import numpy.typing as npt
from django.core.paginator import Page, Paginator

from fleet.calc.ledger.reasons import RatioClasses, ratio_classes, reason_words
from fleet.calc.ledger.tariff import cost_over_need
from fleet.models import LedgerMonth, Tariff
from sites.models import Site
from weather.calc.arrays import FloatArray, IntArray

ROWS_A_PAGE: Final = 12
SHOWS: Final = ("over", "under", "unknown")

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
    site
        Number of each garden.
    used_l, need_l
        Used and needed, NaN where not told [L].
    ratio
        Used over need, NaN where not told or where nothing was needed.
    codes
        Codes of the gardens.
    longitude, latitude
        Their places, NaN where none is known [deg].
    """

    site: IntArray
    used_l: FloatArray
    need_l: FloatArray
    ratio: FloatArray
    codes: CodeArray
    longitude: FloatArray
    latitude: FloatArray

    @property
    def over_l(self) -> FloatArray:
        """Use over need, NaN where not told [L]."""
        return self.used_l - self.need_l

    @property
    def most_l(self) -> float:
        """Largest distance from need [L]."""
        return float(np.nanmax(np.abs(self.over_l), initial=0.0))

    @property
    def classes(self) -> RatioClasses:
        """Gardens that got too little, enough and too much."""
        return ratio_classes(self.ratio)

    def of(self, show: str) -> IntArray:
        """Gardens over need, under need (furthest first), or not told."""
        if show == "over":
            return self.site[self.over_l > 0]
        if show == "under":
            return self.site[self.over_l < 0][::-1]
        return self.site[np.isnan(self.over_l)]


def month_ranking(*, month: date) -> Ranking:
    """Gardens of a month in their order.

    Parameters
    ----------
    month
        Its first day.
    """
    rows = list(
        LedgerMonth.objects.filter(month=month).order_by("site_id").values_list("site_id", "used_l", "need_l")
    )
    columns = list(zip(*rows, strict=True)) if rows else [()] * 3
    site = np.array(columns[0], dtype=np.int64)
    used, need = (np.array(column, dtype=np.float64) for column in columns[1:])
    codes, east, north = _places(site)
    order = np.lexsort((codes.astype(np.str_), need - used))  # NaN last
    ratio = np.divide(used, need, out=np.full(used.shape, np.nan), where=need > 0)
    return Ranking(
        site=site[order],
        used_l=used[order],
        need_l=need[order],
        ratio=ratio[order],
        codes=codes[order],
        longitude=east[order],
        latitude=north[order],
    )


def _places(site: IntArray) -> tuple[CodeArray, FloatArray, FloatArray]:
    """Codes and places of gardens given in ascending order."""
    rows = Site.objects.order_by("pk").values_list("pk", "code", "longitude", "latitude")
    columns = list(zip(*rows, strict=True)) if site.size else [()] * 4
    place = np.searchsorted(np.array(columns[0], dtype=np.int64), site)
    codes: CodeArray = np.array(columns[1], dtype=np.object_)
    east, north = (np.array(column, dtype=np.float64) for column in columns[2:])
    return codes[place], east[place], north[place]


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


def _rank_rows(site_ids: Sequence[int], month: date) -> list[RankRow]:
    """Rows of some gardens in a month, in the order asked for."""
    rows = {
        row[0]: row[1:]
        for row in LedgerMonth.objects.filter(month=month, site__in=site_ids).values_list(
            "site_id",
            "site__code",
            "site__name",
            "used_l",
            "need_l",
            "used_source",
            "reasons",
            "site__supplier",
        )
    }
    found = [rows[pk] for pk in site_ids if pk in rows]
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

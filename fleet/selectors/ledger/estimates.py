"""Use where there is no meter: what programs and bypass logs say ran, by site and month."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
import numpy.typing as npt

from fleet.selectors.ledger.answer import LedgerAnswer
from fleet.selectors.ledger.inputs import LedgerBook
from sites.calc.balance.irrigation import IrrigationSource
from sites.selectors.balance import balance_days
from sites.selectors.zones import zone_table
from weather.calc.arrays import FloatArray, IntArray

# Relative error of water from minutes: precipitation rates and what really ran. [judgement]
ESTIMATE_ERROR = 0.30
_SITES_AT_ONCE = 500

WordArray = npt.NDArray[np.object_]


def estimated_use_l(*, site_ids: Sequence[int] | IntArray, months: Sequence[tuple[date, date]]) -> FloatArray:
    """Use by site and month [L], NaN unless a log or a program tells every day of every zone.

    Parameters
    ----------
    site_ids
        Sites, in the order of the rows.
    months
        First day and the day after the last of each span, in order and without gaps.
    """
    ids = np.asarray(site_ids, dtype=np.int64)
    found = np.full((ids.size, len(months)), np.nan)
    if not months:
        return found
    edges = np.array([span[0] for span in months], dtype="datetime64[D]")
    for left in range(0, ids.size, _SITES_AT_ONCE):
        some = ids[left : left + _SITES_AT_ONCE]
        table = zone_table(site_ids=some.tolist())
        if len(table) == 0:
            continue
        balance = balance_days(zone_ids=table.zone_id, start=months[0][0], end=months[-1][1])
        told = np.isfinite(balance.irrigation_net_mm)
        told &= balance.irrigation_source != IrrigationSource.AS_NEEDED
        litres = np.where(
            told, balance.irrigation_net_mm * (table.area_m2 / table.application_efficiency), 0.0
        )
        place = np.searchsorted(edges, balance.days, side="right") - 1
        firsts = np.searchsorted(place, np.arange(len(months)))
        by_month = np.add.reduceat(litres, firsts, axis=0)  # (months, zones)
        full = np.logical_and.reduceat(told, firsts, axis=0)
        row = np.searchsorted(np.sort(some), table.site_id)
        order = np.argsort(some)
        for month in range(len(months)):
            total = np.bincount(row, by_month[month], some.size)
            unknown = np.bincount(row, ~full[month], some.size) > 0
            seen = np.bincount(row, minlength=some.size) > 0
            found[left + order, month] = np.where(seen & ~unknown, total, np.nan)
    return found


def used_water(
    *, book: LedgerBook, answer: LedgerAnswer, spans: Sequence[tuple[date, date]]
) -> tuple[FloatArray, FloatArray, WordArray]:
    """Use by site and span [L], its standard error [L] and its source: metered, else estimated.

    Parameters
    ----------
    book
        Sites and their meters.
    answer
        The ledger of these spans.
    spans
        First day and the day after the last of each, in order and without gaps.
    """
    used, sd = answer.ledger.used_l.copy(), answer.ledger.used_sd_l.copy()
    days = np.array([(end - start).days for start, end in spans], dtype=np.float64)
    source = np.where(answer.ledger.metered.days >= days, "metered", "part").astype(object)
    source[answer.ledger.metered.days == 0] = ""
    bare = np.flatnonzero(~book.has_meter)
    if bare.size:
        estimate = estimated_use_l(site_ids=book.site_ids[bare], months=spans)
        used[bare], sd[bare] = estimate, ESTIMATE_ERROR * estimate
        source[bare] = np.where(np.isfinite(estimate), "estimated", "")
    return used, sd, source

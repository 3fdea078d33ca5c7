"""Used, needed and over need of parts of the book, for several spans of months at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.calc.ledger.tariff import cost_over_need
from weather.calc.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class GroupUse:
    """Sums over gardens of a group and months of a span, arrays (groups, spans).

    Parameters
    ----------
    used_l, need_l
        Use and need of the garden-months in which both are told [L].
    over_l
        What was beyond need in the garden-months that were over it [L]; months under need take nothing off.
    over_money
        What those litres cost at the tiers they fell into [money].
    gardens
        Gardens with at least one told month [1].
    """

    used_l: FloatArray
    need_l: FloatArray
    over_l: FloatArray
    over_money: FloatArray
    gardens: IntArray


def group_use(
    *,
    used_l: FloatArray,
    need_l: FloatArray,
    over_money: FloatArray,
    place: IntArray,
    count: int,
    months_in: BoolArray,
) -> GroupUse:
    """Sums by group and span.

    Parameters
    ----------
    used_l, need_l
        By garden and month, NaN where not told, shape (sites, months) [L].
    over_money
        Cost of each garden's month beyond need, shape (sites, months) [money].
    place
        Group of each garden, -1 for none, shape (sites,) [1].
    count
        Count of groups [1].
    months_in
        Which months belong to each span, shape (spans, months) [1].
    """
    told = np.isfinite(used_l) & np.isfinite(need_l) & (place >= 0)[:, None]
    pick = months_in.astype(np.float64).T
    group = np.maximum(place, 0)

    def by_group(values: FloatArray) -> FloatArray:
        columns = [np.bincount(group, column, count) for column in np.where(told, values, 0.0).T]
        return np.asarray(np.stack(columns, axis=1))

    def total(values: FloatArray) -> FloatArray:
        return np.asarray(by_group(values) @ pick)

    seen = told.astype(np.float64) @ pick > 0
    gardens = [np.bincount(group[column], minlength=count) for column in seen.T]
    return GroupUse(
        used_l=total(used_l),
        need_l=total(need_l),
        over_l=total(np.maximum(used_l - need_l, 0.0)),
        over_money=total(over_money),
        gardens=np.stack(gardens, axis=1).astype(np.int64),
    )


def money_over_need(
    *,
    used_l: FloatArray,
    need_l: FloatArray,
    tier_from_m3: FloatArray,
    price_per_m3: FloatArray,
) -> FloatArray:
    """What litres beyond need cost in a month under a supplier's tiers, never below nothing [money], (n,).

    Parameters
    ----------
    used_l, need_l
        Use and need of gardens in one month, NaN where not told, shape (n,) [L].
    tier_from_m3, price_per_m3
        The tiers, ascending from 0, and their prices [m3], [1/m3].
    """
    told = np.isfinite(used_l) & np.isfinite(need_l)
    used, need = (np.where(told, values, 0.0) / 1000.0 for values in (used_l, need_l))
    return np.maximum(cost_over_need(used, need, tier_from_m3, price_per_m3), 0.0)

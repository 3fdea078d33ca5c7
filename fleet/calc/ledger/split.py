"""Use by calendar piece from bills of any dates, for display; fits never see a split bill."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.calc.ledger.need import SiteNeed
from fleet.calc.ledger.periods import UsePeriods
from weather.calc.arrays import BoolArray, DayArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class PieceUse:
    """Use by site and calendar piece, arrays (sites, pieces).

    Parameters
    ----------
    used_l
        Metered volume on the metered days [L].
    days
        Metered days [d].
    need_l, need_good_l
        Need of the metered days [L]; NaN where weather is missing.
    bridge_d
        Variance of the split for a variance of one per day [d]: a bill that lies wholly inside adds none.
    spans_estimate
        Whether a passed-over estimated reading touches the piece [1].
    """

    used_l: FloatArray
    days: FloatArray
    need_l: FloatArray
    need_good_l: FloatArray
    bridge_d: FloatArray
    spans_estimate: BoolArray


def share_of_bill(
    *,
    volume_l: FloatArray,
    days: FloatArray,
    need_l: FloatArray,
    part_days: FloatArray,
    part_need_l: FloatArray,
    base_l_d: FloatArray,
) -> FloatArray:
    """Part of a bill that fell into some of its days [L]: the base by days, the rest by need.

    Where need is nothing or unknown, or the bill is smaller than the base, all of it goes by days.

    Parameters
    ----------
    volume_l
        Volume of the bill [L], shape (n,).
    days
        Days of the bill [d], shape (n,).
    need_l
        Need over the bill [L], shape (n,).
    part_days
        Days of the part [d], shape (n,).
    part_need_l
        Need over the part [L], shape (n,).
    base_l_d
        Use that does not follow need [L/d], shape (n,).
    """
    by_days = volume_l * part_days / days
    outdoor = volume_l - base_l_d * days
    by_need = (need_l > 0) & (outdoor > 0) & np.isfinite(part_need_l)
    share = np.divide(part_need_l, need_l, out=np.zeros_like(volume_l), where=by_need)
    return np.where(by_need, base_l_d * part_days + outdoor * share, by_days)


def use_by_piece(
    *, periods: UsePeriods, need: SiteNeed, edges: DayArray, base_l_d: FloatArray, site_count: int
) -> PieceUse:
    """Metered use by site and piece [L].

    Parameters
    ----------
    periods
        One stream of sound periods a site [L].
    need
        Need of the sites by day [L].
    edges
        Edges of consecutive pieces, datetime64[D], shape (pieces + 1,) [1].
    base_l_d
        Use that does not follow need [L/d], shape (sites,).
    site_count
        Count of sites [1].
    """
    row, piece, start, end = _cuts(periods, edges)
    site = periods.site[row]
    part_days = (end - start).astype(np.float64)
    part_need, part_good = need.between(site, start, end), need.between(site, start, end, good=True)
    whole_need = need.between(periods.site, periods.start, periods.end)
    part_l = share_of_bill(
        volume_l=periods.volume_l[row],
        days=periods.days[row],
        need_l=whole_need[row],
        part_days=part_days,
        part_need_l=part_need,
        base_l_d=base_l_d[site],
    )
    bridge = part_days * (periods.days[row] - part_days) / periods.days[row]
    shape = (site_count, edges.size - 1)
    place = site * shape[1] + piece

    def summed(values: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(place, values, shape[0] * shape[1]).reshape(shape), dtype=np.float64)

    estimated = periods.spans_estimate[row].astype(np.float64)
    return PieceUse(
        used_l=summed(part_l),
        days=summed(part_days),
        need_l=summed(part_need),
        need_good_l=summed(part_good),
        bridge_d=summed(bridge),
        spans_estimate=summed(estimated) > 0,
    )


def _cuts(periods: UsePeriods, edges: DayArray) -> tuple[IntArray, IntArray, DayArray, DayArray]:
    """Row of the period, piece, start and end of each part of a period that falls into one piece."""
    first = np.searchsorted(edges, periods.start, side="right") - 1
    last = np.searchsorted(edges, periods.end, side="left")  # exclusive
    first, last = np.clip(first, 0, edges.size - 1), np.clip(last, 0, edges.size - 1)
    count = np.maximum(0, last - first)
    row = np.repeat(np.arange(periods.site.size), count)
    piece = np.arange(row.size) - np.repeat(np.cumsum(count) - count, count) + first[row]
    start = np.maximum(periods.start[row], edges[piece])
    end = np.minimum(periods.end[row], edges[piece + 1])
    return row, piece, start, end

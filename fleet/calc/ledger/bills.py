"""Which metered periods a baseline may use, laid out for all sites at once."""

from __future__ import annotations

import numpy as np

from fleet.calc.ledger.baseline import LONGEST_MONTHLY, LONGEST_PERIOD, SHORTEST_PERIOD, Bills
from fleet.calc.ledger.need import SiteNeed
from fleet.calc.ledger.periods import UsePeriods, group_numbers
from weather.calc.arrays import BoolArray, DayArray, FloatArray

_MONTHLY_UP_TO = 40.0  # days; a site whose periods are longer in the middle is read every two months


def median_days(periods: UsePeriods, site_count: int) -> FloatArray:
    """Median length of each site's periods [d], NaN without periods, shape (sites,).

    Parameters
    ----------
    periods
        Periods sorted by site [L].
    site_count
        Count of sites [1].
    """
    order = np.lexsort((periods.days, periods.site))
    site, days = periods.site[order], periods.days[order]
    first = np.searchsorted(site, np.arange(site_count))
    count = np.searchsorted(site, np.arange(site_count), side="right") - first
    middle = np.minimum(first + count // 2, max(days.size - 1, 0))
    return np.where(count > 0, days[middle] if days.size else np.nan, np.nan)


def whole_months(periods: UsePeriods, site_count: int) -> UsePeriods:
    """Periods with those of daily or weekly reading added up to calendar months.

    A month with a gap in it falls apart at the gap. Sites read more slowly stay as they are.

    Parameters
    ----------
    periods
        One stream of sound periods a site, sorted by site and start [L].
    site_count
        Count of sites [1].
    """
    if periods.site.size == 0:
        return periods
    quick = median_days(periods, site_count)[periods.site] < SHORTEST_PERIOD
    month = periods.start.astype("datetime64[M]").astype(np.int64)
    follows = np.zeros(periods.site.shape, dtype=np.int64)
    follows[1:] = periods.start[1:] != periods.end[:-1]
    own = np.where(quick, month, np.arange(periods.site.size) + 10**6)
    group = group_numbers(periods.site, own, np.cumsum(follows))
    _, first, place = np.unique(group, return_index=True, return_inverse=True)
    last = np.append(first[1:], group.size) - 1
    return UsePeriods(
        periods.site[first],
        periods.meter[first],
        periods.start[first],
        periods.end[last],
        np.asarray(np.bincount(place, periods.volume_l), dtype=np.float64),
        np.bincount(place, periods.spans_estimate) > 0,
        periods.is_whole_house[first],
    )


def usable_bills(periods: UsePeriods, site_count: int) -> BoolArray:
    """Periods of a length that a baseline may use (CalTRACK 2.0, 2.2.3), shape (periods,) [1].

    From 25 days up to 35 where the site is read monthly, up to 70 where it is read every two months or where
    an estimated reading was passed over: its two ends are actual readings, so nothing estimated comes in.

    Parameters
    ----------
    periods
        Periods of `whole_months` [L].
    site_count
        Count of sites [1].
    """
    monthly = median_days(periods, site_count)[periods.site] <= _MONTHLY_UP_TO
    longest = np.where(monthly & ~periods.spans_estimate, LONGEST_MONTHLY, LONGEST_PERIOD)
    return (periods.days >= SHORTEST_PERIOD) & (periods.days <= longest)


def lay_out(periods: UsePeriods, need: SiteNeed, site_count: int) -> Bills:
    """Periods as arrays (sites, periods) from the left; those without known need are left out [L/d].

    Parameters
    ----------
    periods
        Usable periods sorted by site and start [L].
    need
        Need of the sites by day [L].
    site_count
        Count of sites [1].
    """
    needed_l = need.between(periods.site, periods.start, periods.end)
    known = np.isfinite(needed_l)
    periods, needed_l = periods.where(known), needed_l[known]
    count = np.bincount(periods.site, minlength=site_count)
    column = np.arange(periods.site.size) - np.repeat(np.cumsum(count) - count, count)
    shape = (site_count, max(int(count.max(initial=0)), 1))

    def placed(values: FloatArray) -> FloatArray:
        grid = np.zeros(shape)
        grid[periods.site, column] = values
        return grid

    return Bills(
        use_l_d=placed(periods.volume_l / periods.days),
        need_l_d=placed(needed_l / periods.days),
        days=placed(periods.days),
        middle_d=placed(periods.start.astype(np.float64) + periods.days / 2.0),
    )


def piece_edges(start: np.datetime64, end: np.datetime64, cuts: DayArray) -> DayArray:
    """Edges of calendar months between two days, with further cuts, shape (pieces + 1,) [1].

    Parameters
    ----------
    start, end
        First day and the day after the last [1].
    cuts
        Further days at which to cut, shape (n,) [1].
    """
    months = np.arange(start.astype("datetime64[M]") + 1, end.astype("datetime64[M]") + 1)
    inner = np.concatenate([months.astype("datetime64[D]"), cuts])
    inner = inner[(inner > start) & (inner < end)]
    return np.unique(np.concatenate([np.array([start]), inner, np.array([end])]))


def span_groups(edges: DayArray, start: DayArray, end: DayArray) -> FloatArray:
    """Which pieces lie in each span, 0 or 1, shape (spans, pieces) [1].

    Parameters
    ----------
    edges
        Edges of the pieces, cut at each span's ends, shape (pieces + 1,) [1].
    start, end
        First day of each span and the day after its last, shape (spans,) [1].
    """
    inside = (edges[:-1] >= start[:, None]) & (edges[1:] <= end[:, None])
    return inside.astype(np.float64)

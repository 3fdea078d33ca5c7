"""How far people follow the season behind it: timers are changed weeks after the need has changed.

The lag is one for the whole book, because a dozen bills of one garden cannot tell it. It is a memory: what
people water by is the need with an exponential memory of so many days. Of some lags the one is taken whose
straight baselines leave the least scatter, and only where it clearly beats none.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.signal import lfilter

from fleet.calc.ledger.baseline import LEAST_PERIODS, fit_baselines
from fleet.calc.ledger.bills import lay_out
from fleet.calc.ledger.need import SiteNeed
from fleet.calc.ledger.periods import UsePeriods
from weather.calc.arrays import FloatArray, IntArray

LAGS_D = (0.0, 7.0, 14.0, 21.0, 28.0, 42.0)
_MOST_SITES = 300
_LEAST_SITES = 20
_CLEARLY = 10.0  # of the information criterion: common errors make bills of one book alike. [judgement]
_SETTLES_D = 30


def book_lag_d(periods: UsePeriods, need: SiteNeed, site_count: int) -> float:
    """Days by which the book's gardens follow need [d], 0 where none clearly fits better.

    Parameters
    ----------
    periods
        Usable periods before the changes, sorted by site and start [L].
    need
        Need of the sites by day [L].
    site_count
        Count of sites [1].
    """
    count = np.bincount(periods.site, minlength=site_count)
    usable = np.flatnonzero((count >= LEAST_PERIODS) & (need.cumulative_unknown[-1] == 0))
    if usable.size < _LEAST_SITES:
        return 0.0
    pick = usable[np.linspace(0, usable.size - 1, min(_MOST_SITES, usable.size)).astype(np.int64)]
    place = np.full(site_count, -1, dtype=np.int64)
    place[pick] = np.arange(pick.size)
    some = periods.where(place[periods.site] >= 0)
    some = replace(some, site=place[some.site])
    of_them = _columns(need, pick)
    scores = [_score(some, lagged_need(of_them, lag), pick.size) for lag in LAGS_D]
    best = int(np.argmin(scores))
    return LAGS_D[best] if scores[0] - scores[best] > _CLEARLY else 0.0


def lagged_need(need: SiteNeed, lag_d: float) -> SiteNeed:
    """Need as people follow it, with an exponential memory; its total over a year stays [L].

    Parameters
    ----------
    need
        Need of the sites by day [L].
    lag_d
        Mean age of what is followed [d].
    """
    if lag_d <= 0:
        return need
    decay = float(np.exp(-1.0 / lag_d))
    daily = np.diff(need.cumulative_l, axis=0)
    before = daily[:_SETTLES_D].mean(axis=0, keepdims=True) if daily.size else daily
    followed, _ = lfilter([1.0 - decay], [1.0, -decay], daily, axis=0, zi=decay * before)
    cumulative: FloatArray = np.zeros_like(need.cumulative_l)
    np.cumsum(followed, axis=0, out=cumulative[1:])
    return replace(need, cumulative_l=cumulative)


def _columns(need: SiteNeed, pick: IntArray) -> SiteNeed:
    """Need of some sites."""
    return replace(
        need,
        cumulative_l=need.cumulative_l[:, pick],
        cumulative_good_l=need.cumulative_good_l[:, pick],
        cumulative_unknown=need.cumulative_unknown[:, pick],
    )


def _score(periods: UsePeriods, need: SiteNeed, count: int) -> float:
    """Information criterion of straight baselines, up to a constant."""
    bills = lay_out(periods, need, count)
    fits = fit_baselines(bills, with_change_point=False)
    return float(np.sum(fits.period_count * np.log(np.maximum(fits.squares, 1e-9))))

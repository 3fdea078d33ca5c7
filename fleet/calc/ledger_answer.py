"""What the ledger is asked, and what it answers."""

from __future__ import annotations

from dataclasses import dataclass

from fleet.calc.ledger_baseline import BaselineFits, Bills
from fleet.calc.ledger_need import SiteNeed
from fleet.calc.ledger_periods import UsePeriods
from fleet.calc.ledger_portfolio import Total
from fleet.calc.ledger_split import PieceUse
from fleet.calc.ledger_winter import WinterBase
from weather.calc.arrays import DayArray, FloatArray


@dataclass(frozen=True, slots=True)
class LedgerInputs:
    """What the ledger is computed from.

    Parameters
    ----------
    periods
        One stream of sound periods a site, sorted by site and start [L].
    need
        Need of the sites by day [L].
    change_on
        Day of the change (the sensor), NaT where there was none, shape (sites,) [1].
    start, end
        Spans asked for: first day and the day after the last, datetime64[D], shape (spans,) [1].
    """

    periods: UsePeriods
    need: SiteNeed
    change_on: DayArray
    start: DayArray
    end: DayArray


@dataclass(frozen=True, slots=True)
class SiteLedger:
    """Answers by site and span, arrays (sites, spans) [L] unless said otherwise; NaN where not told.

    Parameters
    ----------
    metered
        Use, need and days of the metered days of each span.
    used_l, used_sd_l
        Use of the garden, the house taken off, with its standard error [L]; NaN without metered days.
    after_days
        Metered days after the change [d].
    expected_l, saved_l, low_l, high_l
        Expected use on those days, what was saved, and its 90 % interval [L].
    fits, bills, verdicts
        Baselines, their periods, and why one is missing (empty: it is not), (sites,).
    house
        Base of whole-house meters, NaN elsewhere, (sites,).
    total
        The whole book, (spans,).
    comparison_sites, drift, rho, correlation
        Comparison gardens, drift from year to year, autocorrelation, common correlation [1].
    comparison_factor
        Mean of the comparison's use over its baselines, less one, by span [1]; NaN where not told.
    """

    metered: PieceUse
    used_l: FloatArray
    used_sd_l: FloatArray
    after_days: FloatArray
    expected_l: FloatArray
    saved_l: FloatArray
    low_l: FloatArray
    high_l: FloatArray
    fits: BaselineFits
    bills: Bills
    verdicts: list[str]
    house: WinterBase
    total: Total
    comparison_sites: int
    drift: float
    rho: float
    correlation: float
    comparison_factor: FloatArray

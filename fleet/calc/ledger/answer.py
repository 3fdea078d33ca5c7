"""What the ledger is asked, and what it answers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.calc.ledger.baseline import BaselineFits, Bills
from fleet.calc.ledger.need import SiteNeed
from fleet.calc.ledger.periods import UsePeriods
from fleet.calc.ledger.places import PlaceErrors
from fleet.calc.ledger.portfolio import Comparison, SitePieces
from fleet.calc.ledger.split import PieceUse
from fleet.calc.ledger.total import Total, portfolio_total
from fleet.calc.ledger.winter import WinterBase
from weather.calc.arrays import BoolArray, DayArray, FloatArray, IntArray


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
    place
        Weather record that each site's need comes from, any numbers, shape (sites,) [1]; None: one for all.
    """

    periods: UsePeriods
    need: SiteNeed
    change_on: DayArray
    start: DayArray
    end: DayArray
    place: IntArray | None = None

    @property
    def places(self) -> IntArray:
        """Number of each site's place, from 0."""
        if self.place is None:
            return np.zeros(self.change_on.size, dtype=np.int64)
        return np.unique(self.place, return_inverse=True)[1].reshape(-1).astype(np.int64)


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
    is_pooled
        Whether the baseline is borrowed from gardens like it; the total leaves it out, (sites,).
    house
        Base of whole-house meters, NaN elsewhere, (sites,).
    total
        The whole book, (spans,).
    pieces, comparison, places, sd_l, freedom, groups
        What the total was made of, so that parts of the book can be summed.
    comparison_sites, drift, rho, correlation
        Comparison gardens, drift from year to year, autocorrelation, common correlation [1].
    place_spread
        Standard deviation of a month's share by which places move their gardens apart [1].
    lag_d
        Days by which the book's gardens follow need [d].
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
    is_pooled: BoolArray
    house: WinterBase
    total: Total
    pieces: SitePieces
    comparison: Comparison
    places: PlaceErrors
    sd_l: FloatArray
    freedom: FloatArray
    groups: FloatArray
    comparison_sites: int
    drift: float
    rho: float
    lag_d: float
    correlation: float
    place_spread: float
    comparison_factor: FloatArray

    def total_of(self, members: BoolArray) -> Total:
        """Savings of some of the changed sites together, with their own interval [L], (spans,).

        Parameters
        ----------
        members
            Which sites count, shape (sites,) [1].
        """
        mine = np.flatnonzero(members & ~self.pieces.is_comparison)
        return portfolio_total(
            self.pieces.of_sites(mine),
            self.comparison,
            self.sd_l[mine],
            self.groups,
            drift=self.drift,
            correlation=self.correlation,
            places=self.places.of_sites(mine),
            freedom=self.freedom[mine],
        )

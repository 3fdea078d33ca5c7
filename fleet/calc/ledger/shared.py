"""What gardens share, taken out of their baselines' errors and out of what is expected of them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fleet.calc.ledger import portfolio
from fleet.calc.ledger.answer import LedgerInputs
from fleet.calc.ledger.baseline import BaselineFits, Bills
from fleet.calc.ledger.places import PlaceErrors, PlaceMoves, group_variance, place_errors, place_moves
from weather.calc.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class Shared:
    """What moves the expectations of several gardens.

    Parameters
    ----------
    comparison
        What the gardens without a change say [1].
    places
        What places do apart [1].
    """

    comparison: portfolio.Comparison
    places: PlaceErrors

    def site_variance(self, pieces: portfolio.SitePieces, groups: FloatArray) -> FloatArray:
        """Variance that both bring into each garden's expectation [L2], (sites, groups).

        Parameters
        ----------
        pieces
            Judged gardens [L].
        groups
            Which pieces belong to each period asked for, 0 or 1, shape (groups, pieces) [1].
        """
        predicted = np.where(pieces.is_metered, pieces.predicted_l, 0.0)
        of_factor = group_variance(predicted, self.comparison.covariance, groups)
        return np.asarray(of_factor + self.places.of_gardens(predicted, groups))

    def mean_factor(self, groups: FloatArray) -> FloatArray:
        """The comparison's deviation by period, weighted by its own expected use; NaN where not told.

        Parameters
        ----------
        groups
            Which pieces belong to each period asked for, 0 or 1, shape (groups, pieces) [1].
        """
        weight = groups * self.comparison.predicted_l
        total = np.sum(weight, axis=1)
        deviation = np.sum(weight * self.comparison.factor, axis=1)
        mean: FloatArray = np.divide(deviation, total, out=np.full(total.shape, np.nan), where=total > 0)
        return mean


def what_is_shared(pieces: portfolio.SitePieces, moves: PlaceMoves, middle_d: FloatArray) -> Shared:
    """What the gardens without a change and the places say of the time after the changes.

    Parameters
    ----------
    pieces
        Judged gardens [L].
    moves
        What places did to the baselines [1].
    middle_d
        Middle of the pieces [d], shape (pieces,).
    """
    comparison = portfolio.compare(pieces)
    told = comparison.predicted_l > 0
    counts = pieces.is_metered & pieces.is_comparison[:, None] & told
    of_comparison = np.sum(np.where(counts, pieces.predicted_l, 0.0), axis=1)
    places = place_errors(moves, comparison_l=of_comparison, is_told=told, middle_d=middle_d)
    return Shared(comparison, places)


def own_errors(inputs: LedgerInputs, bills: Bills, fits: BaselineFits) -> tuple[BaselineFits, PlaceMoves]:
    """Fits whose errors are each garden's own, where a comparison takes out the rest; and what places do.

    Parameters
    ----------
    inputs
        Changes and places [1].
    bills
        Baseline periods, (sites, periods) [L/d].
    fits
        Their fits [1].
    """
    least = portfolio.LEAST_COMPARISON_SITES
    if int(np.sum(np.isnat(inputs.change_on))) < least:
        return fits, PlaceMoves(inputs.places, 0.0, 0.0, 1.0)
    predicted = np.where(bills.days > 0, bills.use_l_d - fits.residual, 0.0)
    month = bill_month(bills)
    own = portfolio.own_residuals(fits.residual, predicted, bills.days, month, least_sites=least)
    moves, own = place_moves(own, predicted, bills.days, month, inputs.places)
    return replace(fits, residual=own, squares=np.sum(bills.days * own**2, axis=1)), moves


def bill_month(bills: Bills) -> IntArray:
    """Number of each period's month."""
    day = bills.middle_d.astype(np.int64).astype("datetime64[D]")
    return day.astype("datetime64[M]").astype(np.int64)


def baseline_correlation(bills: Bills, fits: BaselineFits, judged: BoolArray) -> float:
    """Common correlation of the baselines' errors in one month [1].

    Parameters
    ----------
    bills
        Baseline periods, (sites, periods) [L/d].
    fits
        Their fits [1].
    judged
        Sites with a baseline, shape (sites,) [1].
    """
    freedom = np.maximum(fits.period_count - fits.parameter_count, 1)
    scale = np.sqrt(np.maximum(fits.squares / freedom, 1e-12))
    standard = np.sqrt(bills.days) * fits.residual / scale[:, None]
    seen = (bills.days > 0) & judged[:, None]
    return portfolio.common_correlation(standard[seen], bill_month(bills)[seen])

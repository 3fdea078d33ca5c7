"""Savings of many sites together, with gardens without a change as the comparison.

What the comparison gardens used beyond or below their own baselines, month by month, is what weather errors,
prices and rules did to everybody; it moves every baseline before anything is called saved. Its own error is
taken from the spread between the comparison gardens, each counted as one piece, because a garden's months
are not independent.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from weather.calc.arrays import BoolArray, FloatArray, IntArray

LEAST_COMPARISON_SITES = 20  # below it the comparison's error would outweigh what it corrects. [judgement]
LEAST_DRIFT_SITES = 10
_TOLD_SHARE = 0.05  # of the largest month's expected use; a comparison of less is not told. [judgement]


@dataclass(frozen=True, slots=True)
class SitePieces:
    """Predicted and metered use of judged sites after the change, arrays (sites, pieces).

    Parameters
    ----------
    predicted_l
        What the baselines expect on the metered days [L]; 0 where there are none.
    used_l
        Metered use [L]; 0 where there is none.
    is_metered
        Whether the piece counts [1].
    is_comparison
        Whether the site had no change, shape (sites,) [1].
    """

    predicted_l: FloatArray
    used_l: FloatArray
    is_metered: BoolArray
    is_comparison: BoolArray

    def __post_init__(self) -> None:
        """Reject arrays that do not belong together."""
        if not self.predicted_l.shape == self.used_l.shape == self.is_metered.shape:
            raise ValueError("predicted, used and is_metered must share a shape")
        if self.is_comparison.shape != self.predicted_l.shape[:1]:
            raise ValueError("is_comparison needs one entry a site")

    def of_sites(self, sites: IntArray) -> SitePieces:
        """Pieces of some of the sites.

        Parameters
        ----------
        sites
            Places of the sites in the arrays [1].
        """
        return SitePieces(*(getattr(self, name)[sites] for name in self.__slots__))


@dataclass(frozen=True, slots=True)
class Comparison:
    """What the gardens without a change say.

    Parameters
    ----------
    site_count
        Comparison gardens [1].
    factor
        Used over predicted, less one, of each piece; 0 where it is not told, shape (pieces,) [1].
    covariance
        Covariance of the factors' errors, shape (pieces, pieces) [1].
    predicted_l
        Their predicted use together, 0 where the piece is not told, shape (pieces,) [L].
    """

    site_count: int
    factor: FloatArray
    covariance: FloatArray
    predicted_l: FloatArray

    def factor_sd(self, weights_l: FloatArray) -> FloatArray:
        """Standard error of the sum of weights x factor [L], shape (rows,).

        Parameters
        ----------
        weights_l
            Weights, such as a site's predicted use, shape (rows, pieces) [L].
        """
        variance = np.sum((weights_l @ self.covariance) * weights_l, axis=1)
        return np.asarray(np.sqrt(np.maximum(variance, 0.0)), dtype=np.float64)


def compare(pieces: SitePieces, *, least_sites: int = LEAST_COMPARISON_SITES) -> Comparison:
    """Deviation of the gardens without a change from their own baselines, by piece.

    Parameters
    ----------
    pieces
        Judged sites, (sites, pieces) [L].
    least_sites
        Comparison gardens that a piece needs before it moves anybody's baseline [1].
    """
    mine = pieces.is_comparison
    metered = pieces.is_metered[mine]
    predicted = np.where(metered, pieces.predicted_l[mine], 0.0)
    used = np.where(metered, pieces.used_l[mine], 0.0)
    total = np.sum(predicted, axis=0)
    count = np.sum(metered, axis=0)
    a_site = np.divide(total, count, out=np.zeros_like(total), where=count > 0)
    # near nothing a ratio says nothing
    told = (count >= least_sites) & (a_site > _TOLD_SHARE * np.max(a_site, initial=0.0))
    factor = np.divide(np.sum(used, axis=0), total, out=np.ones_like(total), where=told) - 1.0
    deviation = np.where(told, used - predicted * (1.0 + factor), 0.0)
    weight = np.divide(predicted, total, out=np.zeros_like(predicted), where=told)
    # a large garden bends the ratio towards itself; what it would be off without it, as the jackknife has it
    share = np.divide(deviation, total, out=np.zeros_like(deviation), where=told) / (
        1.0 - weight.clip(0, 0.5)
    )
    sites = int(np.sum(np.any(metered & told, axis=1)))
    covariance = share.T @ share * _few_gardens(predicted)
    return Comparison(sites, factor, covariance, np.where(told, total, 0.0))


def _few_gardens(predicted_l: FloatArray) -> float:
    """Variance by Student's t over the normal one, for the gardens of equal size that these are worth [1]."""
    size = np.sum(predicted_l, axis=1)
    squares = float(np.sum(size**2))
    worth = float(np.sum(size)) ** 2 / squares if squares > 0 else 2.0
    return float(stats.t.ppf(0.95, max(worth - 1.0, 1.0)) / stats.norm.ppf(0.95)) ** 2


def own_residuals(
    residual: FloatArray, predicted: FloatArray, days: FloatArray, month: IntArray, *, least_sites: int
) -> FloatArray:
    """Residuals of baselines without what all gardens did in the same month [L/d], (sites, periods).

    The common part is a share of predicted use, as in the comparison, which takes it out after the change.
    Months with fewer gardens than `least_sites` stay as they are.

    Parameters
    ----------
    residual
        Residuals, (sites, periods) [L/d].
    predicted
        Predicted use, (sites, periods) [L/d].
    days
        Days of the periods, 0 where there is none, (sites, periods) [d].
    month
        Number of each period's month, (sites, periods) [1].
    least_sites
        Gardens that a month needs [1].
    """
    seen = days > 0
    if not seen.any():
        return residual
    names, place = np.unique(month[seen], return_inverse=True)
    weight = (days * predicted)[seen]
    total = np.bincount(place, weight, names.size)
    missed = np.bincount(place, (days * residual)[seen], names.size)
    told = (np.bincount(place, minlength=names.size) >= least_sites) & (total > 0)
    factor = np.divide(missed, total, out=np.zeros(names.size), where=told)
    own = residual.copy()
    own[seen] -= factor[place] * predicted[seen]
    return own


def yearly_drift(
    pieces: SitePieces, comparison: Comparison, sd_l: FloatArray, *, least_sites: int = LEAST_DRIFT_SITES
) -> float:
    """Relative standard deviation of a garden's use from year to year that its bills cannot show [1].

    People, pools and plants change. Comparison gardens miss their baselines by more than the prediction
    interval says; what is beyond it is this drift (by squares, never below nothing).

    Parameters
    ----------
    pieces
        Judged sites, (sites, pieces) [L].
    comparison
        Their comparison [1].
    sd_l
        Standard error of each site's predicted total over all its pieces [L], shape (sites,).
    least_sites
        Comparison gardens needed; with fewer nothing is claimed and the result is 0 [1].
    """
    mine = pieces.is_comparison & np.any(pieces.is_metered, axis=1)
    if int(np.sum(mine)) < least_sites:
        return 0.0
    predicted = np.where(pieces.is_metered, pieces.predicted_l, 0.0)[mine] * (1.0 + comparison.factor)
    used = np.where(pieces.is_metered, pieces.used_l, 0.0)[mine]
    total = np.sum(predicted, axis=1)
    beyond = (np.sum(used, axis=1) - total) ** 2 - sd_l[mine] ** 2
    # one new pool must not widen everybody's interval: squares are cut at their 95th percentile,
    # which for normal errors removes a known share
    squares = np.minimum(beyond, np.quantile(beyond, 0.95)) / np.mean(total**2)
    return float(np.sqrt(max(0.0, float(np.mean(squares)))))


def common_correlation(standard_residual: FloatArray, month: IntArray) -> float:
    """Correlation of different sites' errors in one month [1], from their baselines, never below nothing.

    Parameters
    ----------
    standard_residual
        Residuals over their standard deviation, one a site and baseline period, shape (n,) [1].
    month
        Number of the month of each, shape (n,) [1].
    """
    if standard_residual.size == 0:
        return 0.0
    place = np.unique(month, return_inverse=True)[1]
    count = np.bincount(place).astype(np.float64)
    total, squares = np.bincount(place, standard_residual), np.bincount(place, standard_residual**2)
    pairs = np.sum(count * (count - 1))
    if pairs <= 0:
        return 0.0
    return float(np.clip(np.sum(total**2 - squares) / pairs / np.mean(standard_residual**2), 0.0, 1.0))

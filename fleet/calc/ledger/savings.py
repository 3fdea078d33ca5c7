"""What was saved, with its interval: the exact prediction interval of a sum, for any period asked for.

The error of a predicted total has two parts, the fitted parameters' and the new periods' own. Errors of
periods may be correlated with their neighbours (rho to the power of the distance in months); with rho = 0
and equal periods the interval is the textbook one, s sqrt(m + c'(X'X)^-1 c) times Student's t of n - p.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from fleet.calc.ledger.baseline import BaselineFits, Bills
from weather.calc.arrays import FloatArray

MONTH_D = 30.44
CONFIDENCE = 0.90
_BLOCK = 1000  # sites computed at once
_RHO_GRID = np.linspace(0.0, 0.9, 10)


@dataclass(frozen=True, slots=True)
class ReportPieces:
    """Pieces of the reporting period, arrays (sites, pieces).

    Parameters
    ----------
    need_l_d
        Need a day [L/d]; 0 where there are no days.
    days
        Metered days after the change [d], 0 where there are none.
    middle_d
        Middle of the piece, days since 1970 [d].
    """

    need_l_d: FloatArray
    days: FloatArray
    middle_d: FloatArray

    def __post_init__(self) -> None:
        """Reject arrays that do not belong together."""
        for name in self.__slots__:
            if getattr(self, name).shape != self.days.shape or self.days.ndim != 2:
                raise ValueError(f"{name} must have the shape (sites, pieces) of days")


@dataclass(frozen=True, slots=True)
class ErrorOfSums:
    """Standard errors of predicted totals.

    Parameters
    ----------
    sd_l
        Standard error of each period's predicted total [L], shape (sites, groups).
    day_variance
        Variance of a day's use [L2/d], shape (sites,).
    freedom
        Degrees of freedom of Student's t [1], shape (sites,).
    """

    sd_l: FloatArray
    day_variance: FloatArray
    freedom: FloatArray


def error_of_sums(
    bills: Bills, fits: BaselineFits, report: ReportPieces, groups: FloatArray, *, rho: float = 0.0
) -> ErrorOfSums:
    """Standard errors of the totals that baselines predict for groups of pieces [L].

    Parameters
    ----------
    bills
        Baseline periods, (sites, periods) [L/d].
    fits
        Their fits [1].
    report
        Pieces of the reporting period, (sites, pieces) [L/d].
    groups
        Which pieces belong to each period asked for, 0 or 1, shape (groups, pieces) [1].
    rho
        Correlation of the errors of two periods a month apart [1].
    """
    parts = []
    for first in range(0, bills.days.shape[0], _BLOCK):
        block = slice(first, first + _BLOCK)
        some = Bills(*(getattr(bills, name)[block] for name in Bills.__slots__))
        of_them = BaselineFits(*(getattr(fits, name)[block] for name in BaselineFits.__slots__))
        pieces = ReportPieces(*(getattr(report, name)[block] for name in ReportPieces.__slots__))
        parts.append(_error_of_block(some, of_them, pieces, groups, rho))
    return ErrorOfSums(
        *(np.concatenate([getattr(part, name) for part in parts]) for name in ErrorOfSums.__slots__)
    )


def _error_of_block(
    bills: Bills, fits: BaselineFits, report: ReportPieces, groups: FloatArray, rho: float
) -> ErrorOfSums:
    """Standard errors of some sites; all of them at once would need gigabytes."""
    lever = np.sqrt(bills.days)[:, :, None] * fits.design  # (sites, periods, 3)
    sizes = report.days[:, None, :] * groups[None, :, :]  # (sites, groups, pieces)
    sums = sizes @ fits.design_of(report.need_l_d)  # (sites, groups, 3)
    of_fit = sums @ fits.spread @ np.swapaxes(lever, 1, 2)
    of_pieces = -np.sqrt(report.days)[:, None, :] * groups[None, :, :]
    weights = np.concatenate([of_fit, of_pieces], axis=2)
    if rho > 0:
        middle = np.concatenate([bills.middle_d, report.middle_d], axis=1)
        spread = np.sum((weights @ _correlation(middle, rho)) * weights, axis=2)
    else:
        spread = np.sum(weights**2, axis=2)
    expected, freedom = _residual_moments(bills, fits, rho)
    variance = fits.squares / np.maximum(expected, 1e-9)
    return ErrorOfSums(np.sqrt(variance[:, None] * spread), variance, freedom)


def _correlation(middle_d: FloatArray, rho: float) -> FloatArray:
    """Correlation of errors by distance in months, shape (sites, n, n)."""
    lag = np.abs(middle_d[:, :, None] - middle_d[:, None, :])
    lag *= np.log(rho) / MONTH_D
    return np.exp(lag, out=lag)


def _maker(bills: Bills, fits: BaselineFits) -> FloatArray:
    """Matrix that turns errors into residuals, shape (sites, periods, periods); empty places drop out."""
    lever = np.sqrt(bills.days)[:, :, None] * fits.design
    used = (bills.days > 0).astype(np.float64)
    return np.eye(used.shape[1]) * used[:, :, None] - lever @ fits.spread @ np.swapaxes(lever, 1, 2)


def _residual_moments(bills: Bills, fits: BaselineFits, rho: float) -> tuple[FloatArray, FloatArray]:
    """Expected weighted squares for a day variance of one, and the degrees of freedom (Satterthwaite).

    Without correlation both are n - p.
    """
    if rho == 0:
        freedom = np.maximum(fits.period_count - fits.parameter_count, 1).astype(np.float64)
        return freedom, freedom
    shrunk = _maker(bills, fits) @ _correlation(bills.middle_d, rho)
    mean = np.trace(shrunk, axis1=1, axis2=2)
    square = np.einsum("sij,sji->s", shrunk, shrunk)
    return mean, np.maximum(mean**2 / np.maximum(square, 1e-9), 1.0)


def common_autocorrelation(bills: Bills, fits: BaselineFits, *, most_sites: int = 400) -> float:
    """Correlation of neighbouring periods' errors, common to all sites [1], never below nothing.

    One site's dozen residuals cannot tell it, and fitting bends them towards the negative; so the mean over
    sites is compared with what the fits themselves would give for each correlation.

    Parameters
    ----------
    bills
        Baseline periods of usable sites, (sites, periods) [L/d].
    fits
        Their fits [1].
    most_sites
        Sites used, evenly spread over all of them [1].
    """
    usable = np.flatnonzero((fits.squares > 0) & (fits.period_count > fits.parameter_count + 2))
    if usable.size < 10:
        return 0.0
    pick = usable[np.linspace(0, usable.size - 1, min(most_sites, usable.size)).astype(np.int64)]
    z = (np.sqrt(bills.days) * fits.residual)[pick]
    seen = float(np.mean(np.sum(z[:, 1:] * z[:, :-1], axis=1) / fits.squares[pick]))
    some_bills = Bills(*(getattr(bills, name)[pick] for name in Bills.__slots__))
    some_fits = BaselineFits(*(getattr(fits, name)[pick] for name in BaselineFits.__slots__))
    maker = _maker(some_bills, some_fits)
    neighbours = np.eye(maker.shape[1], k=1)
    expected = []
    for rho in _RHO_GRID:
        covariance = maker @ _correlation(some_bills.middle_d, float(rho)) @ maker if rho else maker
        beside = np.sum(covariance * neighbours, axis=(1, 2))
        expected.append(float(np.mean(beside / np.trace(covariance, axis1=1, axis2=2))))
    return float(np.interp(seen, expected, _RHO_GRID))


def quantile(freedom: FloatArray, confidence: float = CONFIDENCE) -> FloatArray:
    """Quantile of Student's t for a two-sided interval [1].

    Parameters
    ----------
    freedom
        Degrees of freedom, shape (n,) [1].
    confidence
        Confidence of the interval [1].
    """
    return np.asarray(stats.t.ppf(0.5 + confidence / 2.0, freedom))

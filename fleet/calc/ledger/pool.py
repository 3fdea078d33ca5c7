"""Baselines that gardens with a short history borrow from gardens like theirs.

By its size (mean need) a garden's base and slope are a draw from those of the gardens with a history of their
own and the same kind of meter. The few bills it has move it from their mean towards itself, as far as the
spread between gardens and the scatter of bills say (normal prior, normal errors). The error of its expected
total holds both: what is not known of the garden, and the scatter of the months to come.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fleet.calc.ledger.baseline import (
    NEED_HARDLY_VARIES,
    TOO_FEW_DAYS,
    TOO_FEW_PERIODS,
    BaselineFits,
    Bills,
    fit_baselines,
)
from fleet.calc.ledger.savings import MONTH_D, ErrorOfSums, ReportPieces
from weather.calc.arrays import BoolArray, FloatArray

LEAST_DONORS = 20  # gardens with a history that a group needs. [judgement]
LEAST_OWN_PERIODS = 3  # bills that a garden must have itself. [judgement]
_SHORT = (TOO_FEW_DAYS, TOO_FEW_PERIODS, NEED_HARDLY_VARIES)


@dataclass(frozen=True, slots=True)
class Pooled:
    """Baselines of gardens that borrowed them.

    Parameters
    ----------
    sites
        Which gardens, shape (sites,) [1].
    covariance
        Covariance of base [L/d] and slope [1], shape (sites, 2, 2).
    day_variance
        Variance of a day's use [L2/d], shape (sites,).
    freedom
        Degrees of freedom of Student's t: the gardens lent from less two, shape (sites,) [1].
    """

    sites: BoolArray
    covariance: FloatArray
    day_variance: FloatArray
    freedom: FloatArray


def borrow_baselines(
    bills: Bills,
    fits: BaselineFits,
    verdicts: list[str],
    *,
    level_l_d: FloatArray,
    is_whole_house: BoolArray,
    has_change: BoolArray,
    rho: float = 0.0,
) -> tuple[BaselineFits, Pooled]:
    """Fits with those of short histories replaced by borrowed ones.

    Parameters
    ----------
    bills
        Baseline periods, (sites, periods) [L/d].
    fits
        Their fits [1].
    verdicts
        Why a garden has no baseline of its own, empty where it has one, (sites,).
    level_l_d
        Mean need of each garden over all its known days, shape (sites,) [L/d].
    is_whole_house
        Whether the garden's meter also feeds the house, shape (sites,) [1].
    has_change
        Whether there is a change whose saving is asked for, shape (sites,) [1].
    rho
        Correlation of the errors of neighbouring bills, by which few bills say even less [1].
    """
    count = level_l_d.size
    pooled = Pooled(np.zeros(count, dtype=np.bool_), np.zeros((count, 2, 2)), np.zeros(count), np.ones(count))
    sized = np.isfinite(level_l_d) & (level_l_d > 0)
    own = np.array([not verdict for verdict in verdicts]) & sized
    short = np.array([verdict in _SHORT for verdict in verdicts]) & sized & has_change
    short &= fits.period_count >= LEAST_OWN_PERIODS
    for kind in (False, True):
        donors, takers = own & (is_whole_house == kind), short & (is_whole_house == kind)
        if int(donors.sum()) >= LEAST_DONORS and takers.any():
            places = np.flatnonzero(donors), np.flatnonzero(takers)
            fits = _lend(bills, fits, pooled, level_l_d, *places, rho)
    return fits, pooled


def _lend(
    bills: Bills,
    fits: BaselineFits,
    pooled: Pooled,
    level_l_d: FloatArray,
    donors: np.ndarray[tuple[int], np.dtype[np.intp]],
    takers: np.ndarray[tuple[int], np.dtype[np.intp]],
    rho: float,
) -> BaselineFits:
    """Fits in which the takers have what the donors lend; fills their rows of `pooled`."""
    lines = fit_baselines(_rows(bills, donors), with_change_point=False)
    size = level_l_d[donors]
    theta = np.stack([lines.base_l_d / size, lines.slope], axis=1)
    # one odd garden must not widen everybody's prior
    low, high = np.quantile(theta, [0.01, 0.99], axis=0)
    theta = np.clip(theta, low, high)
    mean, spread = theta.mean(axis=0), np.cov(theta.T)
    variances = lines.squares / np.maximum(lines.period_count - lines.parameter_count, 1) / size**2
    scatter = float(np.mean(np.minimum(variances, np.quantile(variances, 0.95))))
    some = _rows(bills, takers)
    level = level_l_d[takers]
    x = np.stack([np.ones_like(some.need_l_d), some.need_l_d / level[:, None]], axis=2)
    alike = (1.0 + rho) / (1.0 - rho)  # n over n' of neighbours that err alike
    weighted = x * some.days[:, :, None] / max(scatter * alike, 1e-12)
    prior = np.linalg.pinv(spread, hermitian=True)
    covariance = np.linalg.inv(prior + np.swapaxes(x, 1, 2) @ weighted)
    pull = prior @ mean + np.sum(weighted * (some.use_l_d / level[:, None])[:, :, None], axis=1)
    found = (covariance @ pull[:, :, None])[:, :, 0]
    scale = np.stack([level, np.ones_like(level)], axis=1)
    pooled.sites[takers] = True
    pooled.covariance[takers] = covariance * scale[:, :, None] * scale[:, None, :]
    pooled.day_variance[takers] = scatter * level**2
    pooled.freedom[takers] = donors.size - 2
    base, slope, point = fits.base_l_d.copy(), fits.slope.copy(), fits.change_point_l_d.copy()
    parameters, residual, squares = fits.parameter_count.copy(), fits.residual.copy(), fits.squares.copy()
    base[takers], slope[takers], point[takers], parameters[takers] = found[:, 0] * level, found[:, 1], 0.0, 2
    missed = some.use_l_d - base[takers][:, None] - slope[takers][:, None] * some.need_l_d
    residual[takers] = np.where(some.days > 0, missed, 0.0)
    squares[takers] = np.sum(some.days * residual[takers] ** 2, axis=1)
    return replace(
        fits,
        base_l_d=base,
        slope=slope,
        change_point_l_d=point,
        parameter_count=parameters,
        residual=residual,
        squares=squares,
    )


def _rows(bills: Bills, rows: np.ndarray[tuple[int], np.dtype[np.intp]]) -> Bills:
    """Bills of some sites."""
    return Bills(*(getattr(bills, name)[rows] for name in Bills.__slots__))


def with_pooled_errors(
    error: ErrorOfSums, pooled: Pooled, report: ReportPieces, groups: FloatArray, *, rho: float
) -> ErrorOfSums:
    """Standard errors of totals, those of borrowed baselines by what they do not know [L].

    Parameters
    ----------
    error
        Errors of all gardens as if their baselines were their own [L].
    pooled
        Borrowed baselines [1].
    report
        Pieces of the reporting period, (sites, pieces) [L/d].
    groups
        Which pieces belong to each period asked for, 0 or 1, shape (groups, pieces) [1].
    rho
        Correlation of the errors of two periods a month apart [1].
    """
    takers = np.flatnonzero(pooled.sites)
    if takers.size == 0:
        return error
    days = report.days[takers]
    sizes = days[:, None, :] * groups[None, :, :]
    sums = np.stack([sizes.sum(axis=2), np.sum(sizes * report.need_l_d[takers][:, None, :], axis=2)], axis=2)
    of_garden = np.sum((sums @ pooled.covariance[takers]) * sums, axis=2)
    middle = report.middle_d[takers]
    near = rho ** (np.abs(middle[:, :, None] - middle[:, None, :]) / MONTH_D) if rho > 0 else None
    root = np.sqrt(days)[:, None, :] * groups[None, :, :]
    own = np.sum(root**2, axis=2) if near is None else np.sum((root @ near) * root, axis=2)
    sd, variance, freedom = error.sd_l.copy(), error.day_variance.copy(), error.freedom.copy()
    sd[takers] = np.sqrt(of_garden + pooled.day_variance[takers][:, None] * own)
    variance[takers], freedom[takers] = pooled.day_variance[takers], pooled.freedom[takers]
    return ErrorOfSums(sd, variance, freedom)

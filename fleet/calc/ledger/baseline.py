"""A site's own use before the change, regressed on need: all sites at once.

Use a day y of a period of d days with need x a day: y = base + slope x (two parameters), or
y = base + slope max(x - c, 0) with a change point c in need (three), weighted by d. The change point is
searched on a grid with least squares inside, and taken only where it fits clearly better.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weather.calc.arrays import BoolArray, FloatArray, IntArray

BASELINE_DAYS = 365  # days wanted before the change, CalTRACK 2.0, 2.2.1
MISSING_DAYS = 37  # of them that may be missing (10 %), CalTRACK 2.0, 2.2.1
SHORTEST_PERIOD = 25  # days; CalTRACK 2.0, 2.2.3
LONGEST_MONTHLY = 35
LONGEST_PERIOD = 70
LEAST_PERIODS = 10  # keeps eight degrees of freedom: two years of bi-monthly bills, ten monthly ones
LARGEST_CV = 1.0  # CalTRACK 2.0, 4.3.2.1

TOO_FEW_PERIODS = "too_few_periods"
TOO_FEW_DAYS = "too_few_days"
NEED_HARDLY_VARIES = "need_hardly_varies"
SCATTER = "use_does_not_follow_need"

_GRID = 17  # candidates of a change point a round
_ROUNDS = 3
_CLEARLY = 2.0  # difference of the information criterion that the third parameter must earn


@dataclass(frozen=True, slots=True)
class Bills:
    """Baseline periods of sites, arrays (sites, periods), filled from the left.

    Parameters
    ----------
    use_l_d
        Use a day of the period [L/d]; 0 where there is none.
    need_l_d
        Need a day of the period [L/d]; 0 where there is none.
    days
        Length of the period [d], 0 where there is none.
    middle_d
        Middle of the period, days since 1970 [d].
    """

    use_l_d: FloatArray
    need_l_d: FloatArray
    days: FloatArray
    middle_d: FloatArray

    def __post_init__(self) -> None:
        """Reject what no regression could use."""
        for name in self.__slots__:
            if getattr(self, name).shape != self.days.shape or self.days.ndim != 2:
                raise ValueError(f"{name} must have the shape (sites, periods) of days")
            if not bool(np.all(np.isfinite(getattr(self, name)))):
                raise ValueError(f"{name} must be finite; a missing period has no days")


@dataclass(frozen=True, slots=True)
class BaselineFits:
    """Fitted baselines, arrays (sites,) unless said otherwise.

    Parameters
    ----------
    base_l_d
        Use that does not follow need [L/d].
    slope
        Litres used for a litre needed [1]; about 0.5 to 2.5 where areas and units are right.
    change_point_l_d
        Need below which use does not react [L/d]; 0 for the two-parameter form.
    parameter_count, period_count
        Fitted parameters p, the change point included, and periods n [1].
    squares
        Weighted sum of squared residuals [L2/d].
    design
        Derivatives of the prediction by base, slope and change point, shape (sites, periods, 3) [1].
    spread
        Inverse of the weighted normal matrix, shape (sites, 3, 3) [1].
    residual
        Residuals, observed - predicted [L/d], shape (sites, periods).
    cv_rmse
        CV(RMSE) with n - p, as a fraction [1].
    """

    base_l_d: FloatArray
    slope: FloatArray
    change_point_l_d: FloatArray
    parameter_count: IntArray
    period_count: IntArray
    squares: FloatArray
    design: FloatArray
    spread: FloatArray
    residual: FloatArray
    cv_rmse: FloatArray

    def predicted_l_d(self, need_l_d: FloatArray) -> FloatArray:
        """Use a day that the baselines expect, never below nothing [L/d], shape (sites, pieces).

        Parameters
        ----------
        need_l_d
            Need a day [L/d], shape (sites, pieces).
        """
        beyond = np.maximum(need_l_d - self.change_point_l_d[:, None], 0.0)
        return np.maximum(self.base_l_d[:, None] + self.slope[:, None] * beyond, 0.0)

    def design_of(self, need_l_d: FloatArray) -> FloatArray:
        """Derivatives of the prediction by base, slope and change point, shape (sites, pieces, 3) [1].

        Parameters
        ----------
        need_l_d
            Need a day [L/d], shape (sites, pieces).
        """
        return _design(need_l_d, self.slope, self.change_point_l_d, self.parameter_count == 3)


def fit_baselines(bills: Bills, *, with_change_point: bool = True) -> BaselineFits:
    """Weighted least-squares baselines of all sites, change point only where it clearly fits better.

    Weights are the days of each period (CalTRACK 2.0, 3.4.2). The three-parameter form must beat the other
    by two units of the Bayesian information criterion, with its change point counted as a parameter.

    Parameters
    ----------
    bills
        Baseline periods, (sites, periods) [L/d].
    with_change_point
        Whether the three-parameter form may be chosen [1].
    """
    count = np.sum(bills.days > 0, axis=1)
    straight = _lines(bills, np.zeros(count.shape))
    point = np.zeros(count.shape)
    if with_change_point:
        bent_at, bent = _best_change_point(bills)
        safe = np.maximum(count, 1)
        gain = safe * (_log(straight) - _log(bent)) - np.log(safe)
        point = np.where((gain > _CLEARLY) & (count >= LEAST_PERIODS), bent_at, 0.0)
    base, slope, squares = _coefficients(bills, point)
    bent_form = point > 0
    design = _design(bills.need_l_d, slope, point, bent_form)
    weighted = design * bills.days[:, :, None]
    spread = np.linalg.pinv(np.swapaxes(design, 1, 2) @ weighted, hermitian=True)
    predicted = base[:, None] + slope[:, None] * np.maximum(bills.need_l_d - point[:, None], 0.0)
    residual = np.where(bills.days > 0, bills.use_l_d - predicted, 0.0)
    parameters = np.where(bent_form, 3, 2)
    mean = _ratio(np.sum(bills.use_l_d * bills.days, axis=1), np.sum(bills.days, axis=1))
    freedom = np.maximum(count - parameters, 1)
    # weights scaled to a mean of one: with equal periods this is the plain CV(RMSE)
    scatter = np.sqrt(_ratio(squares * count, np.sum(bills.days, axis=1)) / freedom)
    cv = np.where(count > parameters, _ratio(scatter, mean), np.nan)
    return BaselineFits(
        base, slope, point, parameters, count, squares, design, np.asarray(spread, np.float64), residual, cv
    )


def _ratio(above: FloatArray, below: FloatArray) -> FloatArray:
    """Quotient, NaN where the divisor is not above 0."""
    quotient: FloatArray = np.divide(above, below, out=np.full(above.shape, np.nan), where=below > 0)
    return quotient


def _log(squares: FloatArray) -> FloatArray:
    """Logarithm of sums of squares that may be nothing."""
    return np.log(np.maximum(squares, 1e-9))


def _design(need_l_d: FloatArray, slope: FloatArray, point: FloatArray, bent: BoolArray) -> FloatArray:
    """Derivatives by base, slope and change point; the last is nothing for a straight line."""
    beyond = np.maximum(need_l_d - point[:, None], 0.0)
    by_point = np.where(bent[:, None] & (need_l_d > point[:, None]), -slope[:, None], 0.0)
    return np.stack([np.ones_like(beyond), beyond, by_point], axis=2)


def _coefficients(bills: Bills, point: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Base, slope and weighted squares at given change points."""
    x = np.maximum(bills.need_l_d - point[:, None], 0.0)
    w = bills.days
    total = np.maximum(np.sum(w, axis=1), 1e-12)
    x_mean, y_mean = np.sum(w * x, axis=1) / total, np.sum(w * bills.use_l_d, axis=1) / total
    dx, dy = x - x_mean[:, None], bills.use_l_d - y_mean[:, None]
    sxx = np.sum(w * dx**2, axis=1)
    flat = sxx <= 1e-12 * total * np.maximum(x_mean, 1e-9) ** 2
    slope = np.divide(np.sum(w * dx * dy, axis=1), sxx, out=np.zeros_like(sxx), where=~flat)
    squares = np.sum(w * (dy - slope[:, None] * dx) ** 2, axis=1)
    return y_mean - slope * x_mean, slope, squares


def _lines(bills: Bills, point: FloatArray) -> FloatArray:
    """Weighted squares at given change points."""
    return _coefficients(bills, point)[2]


def _best_change_point(bills: Bills) -> tuple[FloatArray, FloatArray]:
    """Change point of the least squares and those squares, by a grid that narrows around the best."""
    used = np.where(bills.days > 0, bills.need_l_d, np.nan)
    count = np.maximum(np.sum(bills.days > 0, axis=1), 1)
    ordered = np.sort(used, axis=1)  # missing ones last
    # at least three periods above the change point
    place = np.maximum(count - 4, 0)
    high = np.nan_to_num(np.take_along_axis(ordered, place[:, None], axis=1)[:, 0])
    low = np.zeros(high.shape)
    best, least = np.zeros(high.shape), np.full(high.shape, np.inf)
    top = high
    for _ in range(_ROUNDS):
        step = (high - low) / (_GRID - 1)
        for k in range(_GRID):
            candidate = low + k * step
            squares = _lines(bills, candidate)
            better = squares < least
            best, least = np.where(better, candidate, best), np.where(better, squares, least)
        low, high = np.maximum(best - step, 0.0), np.minimum(best + step, top)
    return best, least


def baseline_verdicts(bills: Bills, fits: BaselineFits) -> list[str]:
    """Why a site has no usable baseline, one name a site, empty where it has one.

    Parameters
    ----------
    bills
        Baseline periods, (sites, periods) [L/d].
    fits
        Their fits [1].
    """
    days = np.sum(bills.days, axis=1)
    used = bills.days > 0
    x_mean = _ratio(np.sum(bills.need_l_d * bills.days, axis=1), days)
    x_spread = np.sqrt(
        _ratio(np.sum(bills.days * np.where(used, bills.need_l_d - x_mean[:, None], 0.0) ** 2, axis=1), days)
    )
    rules = (
        (days < BASELINE_DAYS - MISSING_DAYS, TOO_FEW_DAYS),
        (fits.period_count < LEAST_PERIODS, TOO_FEW_PERIODS),
        (~(x_spread > 0.1 * x_mean), NEED_HARDLY_VARIES),
        (~(fits.cv_rmse <= LARGEST_CV), SCATTER),
    )
    verdict = np.full(days.shape, "", dtype=object)
    for broken, name in rules:
        verdict = np.where((verdict == "") & broken, name, verdict)
    return [str(name) for name in verdict]

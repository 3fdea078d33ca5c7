"""Measures of a baseline's quality, and the uncertainty of savings by the published shortcut.

One convention holds for all: residual = observed - predicted, and the divisor is n - p with p the count of
all fitted parameters, the intercept and a change point included. Public codes differ (n instead of n - p,
the opposite sign), so their figures differ too.
"""

from __future__ import annotations

import numpy as np
from scipy import stats

from weather.calc.arrays import FloatArray

REDDY_CLARIDGE_FACTOR = 1.26  # Reddy and Claridge 2000, as ASHRAE Guideline 14 uses it
# Sun and Baltazar 2013: quadratic in the count of months of the reporting period (CalTRACK 2.0, 4.3.2.4.6)
_FACTOR_BY_INTERVAL = {
    "monthly": (-0.00022, 0.03306, 0.94054),
    "daily": (-0.00024, 0.03535, 1.00286),
}


def _degrees_of_freedom(observed: FloatArray, predicted: FloatArray, parameter_count: int) -> int:
    if observed.shape != predicted.shape or observed.ndim != 1:
        raise ValueError("observed and predicted must be of one dimension and of the same length")
    freedom = observed.size - parameter_count
    if freedom < 1:
        raise ValueError(f"{observed.size} periods do not suffice for {parameter_count} parameters")
    return int(freedom)


def cv_rmse(observed: FloatArray, predicted: FloatArray, *, parameter_count: int) -> float:
    """Coefficient of variation of the root mean square error, as a fraction [1].

    sqrt(sum (y - yhat)^2 / (n - p)) / ybar (CalTRACK 2.0, 4.3.2.2, with the intercept counted in p).

    Parameters
    ----------
    observed
        Observed use, any unit, shape (periods,) [1].
    predicted
        Predicted use, same unit and shape [1].
    parameter_count
        Count p of fitted parameters, intercept and change point included [1]. Zero gives the convention
        that divides by n.
    """
    freedom = _degrees_of_freedom(observed, predicted, parameter_count)
    return float(np.sqrt(np.sum((observed - predicted) ** 2) / freedom) / np.mean(observed))


def normalised_mean_bias_error(observed: FloatArray, predicted: FloatArray, *, parameter_count: int) -> float:
    """Normalised mean bias error, positive where the model predicts too little, as a fraction [1].

    sum(y - yhat) / ((n - p) ybar), the form of ASHRAE Guideline 14.

    Parameters
    ----------
    observed
        Observed use, any unit, shape (periods,) [1].
    predicted
        Predicted use, same unit and shape [1].
    parameter_count
        Count p of fitted parameters [1]; zero gives the convention that divides by n.
    """
    freedom = _degrees_of_freedom(observed, predicted, parameter_count)
    return float(np.sum(observed - predicted) / (freedom * np.mean(observed)))


def net_determination_bias(observed: FloatArray, predicted: FloatArray) -> float:
    """Net determination bias error, sum(y - yhat) / sum(y), as a fraction [1].

    Parameters
    ----------
    observed
        Observed use, any unit, shape (periods,) [1].
    predicted
        Predicted use, same unit and shape [1].
    """
    return float(np.sum(observed - predicted) / np.sum(observed))


def determination(observed: FloatArray, predicted: FloatArray) -> float:
    """Coefficient of determination 1 - SSE/SST [1]; not the squared correlation, which hides a bias.

    Parameters
    ----------
    observed
        Observed use, any unit, shape (periods,) [1].
    predicted
        Predicted use, same unit and shape [1].
    """
    squares = np.sum((observed - predicted) ** 2)
    total = np.sum((observed - np.mean(observed)) ** 2)
    return float(1.0 - squares / total)


def lag_one_autocorrelation(residuals: FloatArray) -> float:
    """Correlation of each residual with the one before it [1].

    Parameters
    ----------
    residuals
        Residuals in the order of time, any unit, shape (periods,), at least three [1].
    """
    if residuals.size < 3:
        raise ValueError("an autocorrelation needs at least three residuals")
    return float(np.corrcoef(residuals[1:], residuals[:-1])[0, 1])


def effective_sample_size(sample_size: float, autocorrelation: float) -> float:
    """Count of independent periods that say as much as the autocorrelated ones, never above them [1].

    n (1 - rho) / (1 + rho) (ASHRAE Guideline 14 as CalTRACK 2.0 quotes it, 4.3.2.4), capped at n: a
    negative autocorrelation would otherwise promise more information than there are periods.

    Parameters
    ----------
    sample_size
        Count n of periods [1].
    autocorrelation
        Lag-one autocorrelation rho of the residuals, above -1 and below 1 [1].
    """
    if not -1.0 < autocorrelation < 1.0:
        raise ValueError("an autocorrelation lies between -1 and 1")
    return min(sample_size, sample_size * (1.0 - autocorrelation) / (1.0 + autocorrelation))


def uncertainty_factor(report_months: float, *, interval: str) -> float:
    """Factor k of the shortcut for the uncertainty of savings [1].

    Quadratic in the months of the REPORTING period (Sun and Baltazar 2013, coefficients of CalTRACK 2.0,
    4.3.2.4.6).

    Parameters
    ----------
    report_months
        Months in the reporting period [1].
    interval
        `monthly` for bills, `daily` for daily reads [1].
    """
    if interval not in _FACTOR_BY_INTERVAL:
        raise ValueError(f"interval {interval!r} is neither monthly nor daily")
    square, slope, start = _FACTOR_BY_INTERVAL[interval]
    return square * report_months**2 + slope * report_months + start


def fractional_savings_uncertainty(
    *,
    cv: float,
    savings_fraction: float,
    parameter_count: int,
    baseline_periods: int,
    report_periods: int,
    confidence: float,
    factor: float = REDDY_CLARIDGE_FACTOR,
    autocorrelation: float = 0.0,
) -> float:
    """Half width of the interval of the savings over the savings (FSU), as a fraction [1].

    k t cv / F sqrt((n/n') (1 + 2/n') / m) (CalTRACK 2.0, 4.3.2.4; ASHRAE Guideline 14-2014, Annex B).

    Parameters
    ----------
    cv
        CV(RMSE) of the baseline as a fraction, with n - p [1].
    savings_fraction
        Savings over predicted use F, as a fraction [1].
    parameter_count
        Count p of fitted parameters [1].
    baseline_periods
        Count n of periods in the baseline [1].
    report_periods
        Count m of periods in the reporting period [1].
    confidence
        Confidence of the interval, such as 0.90 [1].
    factor
        Factor k: 1.26, or `uncertainty_factor` [1].
    autocorrelation
        Lag-one autocorrelation of the baseline's residuals [1].
    """
    freedom = baseline_periods - parameter_count
    if freedom < 1 or report_periods < 1:
        raise ValueError("the baseline needs more periods than parameters, the report at least one")
    effective = effective_sample_size(baseline_periods, autocorrelation)
    quantile = float(stats.t.ppf(0.5 + confidence / 2.0, freedom))
    spread = (baseline_periods / effective) * (1.0 + 2.0 / effective) / report_periods
    return float(factor * quantile * cv / abs(savings_fraction) * np.sqrt(spread))

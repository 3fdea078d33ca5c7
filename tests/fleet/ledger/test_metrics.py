"""Measures of a baseline against published vectors and values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from fleet.calc.ledger import metrics

# Five-point vector of the eemeter project's tests/test_metrics.py (commit ef7ea0c), with its values for the
# convention n; those for n - p and for 1 - SSE/SST were computed from the definitions.
OBSERVED = np.array([1.0, 3.0, 4.0, 1.0, 6.0])
PREDICTED = np.array([2.0, 3.0, 3.0, 2.0, 4.0])


def test_cv_rmse_keeps_the_published_vector_in_both_conventions_and_they_differ() -> None:
    by_n = metrics.cv_rmse(OBSERVED, PREDICTED, parameter_count=0)
    by_freedom = metrics.cv_rmse(OBSERVED, PREDICTED, parameter_count=2)

    assert by_n == pytest.approx(0.394, abs=5e-4)
    assert by_freedom == pytest.approx(0.509, abs=5e-4)
    assert by_freedom > by_n


def test_mean_bias_error_has_the_guidelines_sign_and_divisor() -> None:
    by_freedom = metrics.normalised_mean_bias_error(OBSERVED, PREDICTED, parameter_count=2)
    other_convention = -metrics.normalised_mean_bias_error(OBSERVED, PREDICTED, parameter_count=0)

    assert by_freedom == pytest.approx(0.111, abs=5e-4)
    assert other_convention == pytest.approx(-0.067, abs=5e-4)


def test_determination_is_not_the_squared_correlation() -> None:
    squared_correlation = np.corrcoef(OBSERVED, PREDICTED)[0, 1] ** 2

    assert squared_correlation == pytest.approx(0.972, abs=5e-4)
    assert metrics.determination(OBSERVED, PREDICTED) == pytest.approx(0.611, abs=5e-4)


def test_net_determination_bias_is_the_share_of_the_total_missed() -> None:
    assert metrics.net_determination_bias(OBSERVED, PREDICTED) == pytest.approx(1.0 / 15.0)


def test_negative_autocorrelation_never_promises_more_periods_than_there_are() -> None:
    rho = metrics.lag_one_autocorrelation(OBSERVED - PREDICTED)

    assert rho == pytest.approx(-0.674, abs=5e-4)  # the same public vector
    assert 5 * (1 - rho) / (1 + rho) == pytest.approx(25.69, abs=0.01)  # what the bare formula would say
    assert metrics.effective_sample_size(5, rho) == 5


@pytest.mark.parametrize(
    ("rho", "expected"), [(0.0, 365.0), (0.3, 196.54), (0.5, 121.67), (0.7, 64.41)], ids=str
)
def test_effective_sample_size_falls_with_autocorrelation(rho: float, expected: float) -> None:
    assert metrics.effective_sample_size(365, rho) == pytest.approx(expected, abs=0.005)


@pytest.mark.parametrize(
    ("months", "monthly", "daily"),
    [
        (1, 0.97338, 1.03797),
        (3, 1.03774, 1.10675),
        (6, 1.13098, 1.20632),
        (7, 1.16118, 1.23855),
        (9, 1.22026, 1.30157),
        (12, 1.30558, 1.39250),
        (24, 1.60726, 1.71302),
    ],
)
def test_factor_follows_the_published_polynomials(months: int, monthly: float, daily: float) -> None:
    # coefficients: Sun and Baltazar 2013 as CalTRACK 2.0, 4.3.2.4.6, quotes them; values computed
    assert metrics.uncertainty_factor(months, interval="monthly") == pytest.approx(monthly, abs=6e-6)
    assert metrics.uncertainty_factor(months, interval="daily") == pytest.approx(daily, abs=6e-6)


@pytest.mark.parametrize(
    ("freedom", "quantiles"),
    [(10, (1.0464, 1.3722, 1.8125, 2.2281)), (22, (1.0174, 1.3212, 1.7171, 2.0739))],
    ids=str,
)
def test_quantiles_of_students_t_are_the_tables(freedom: int, quantiles: tuple[float, ...]) -> None:
    for confidence, quantile in zip((0.68, 0.80, 0.90, 0.95), quantiles, strict=True):
        assert stats.t.ppf(0.5 + confidence / 2, freedom) == pytest.approx(quantile, abs=6e-5)


def test_fsu_keeps_the_public_value_of_a_change_point_library() -> None:
    # changepointmodel project, tests/test_lib_uncertainties.py: 0.269
    value = metrics.fractional_savings_uncertainty(
        cv=0.5,
        savings_fraction=1.0,
        parameter_count=2,
        baseline_periods=12,
        report_periods=12,
        confidence=0.80,
    )

    assert value == pytest.approx(0.26955, abs=6e-6)
    assert value * 100.0 == pytest.approx(26.954, abs=2e-3)  # the same project's normalised period, sum 100


@pytest.mark.parametrize(
    ("confidence", "by_constant", "by_polynomial"),
    [(0.68, 0.411, 0.426), (0.80, 0.539, 0.559), (0.90, 0.712, 0.738), (0.95, 0.875, 0.907)],
    ids=str,
)
def test_fsu_of_twelve_monthly_bills(confidence: float, by_constant: float, by_polynomial: float) -> None:
    # computed from CalTRACK 2.0, 4.3.2.4
    def value(factor: float) -> float:
        return metrics.fractional_savings_uncertainty(
            cv=0.20,
            savings_fraction=0.20,
            parameter_count=2,
            baseline_periods=12,
            report_periods=12,
            confidence=confidence,
            factor=factor,
        )

    assert value(1.26) == pytest.approx(by_constant, abs=6e-4)
    assert value(metrics.uncertainty_factor(12, interval="monthly")) == pytest.approx(by_polynomial, abs=6e-4)


@pytest.mark.parametrize(
    ("rho", "by_constant", "by_polynomial"),
    [(0.0, 0.3272, 0.3616), (0.3, 0.4469, 0.4939), (0.5, 0.5697, 0.6297), (0.7, 0.7887, 0.8716)],
    ids=str,
)
def test_fsu_of_a_year_of_days_widens_with_autocorrelation(
    rho: float, by_constant: float, by_polynomial: float
) -> None:
    # computed from CalTRACK 2.0, 4.3.2.4
    def value(factor: float) -> float:
        return metrics.fractional_savings_uncertainty(
            cv=0.6,
            savings_fraction=0.2,
            parameter_count=2,
            baseline_periods=365,
            report_periods=365,
            confidence=0.90,
            factor=factor,
            autocorrelation=rho,
        )

    assert value(1.26) == pytest.approx(by_constant, abs=6e-5)
    assert value(metrics.uncertainty_factor(12, interval="daily")) == pytest.approx(by_polynomial, abs=6e-5)


@given(
    rho=st.floats(-0.95, 0.95),
    count=st.integers(3, 400),
)
def test_effective_sample_size_stays_between_nothing_and_all(rho: float, count: int) -> None:
    assert 0.0 < metrics.effective_sample_size(count, rho) <= count


@pytest.mark.parametrize("rho", [-1.0, 1.0, 1.5], ids=str)
def test_impossible_autocorrelation_is_refused(rho: float) -> None:
    with pytest.raises(ValueError, match="between -1 and 1"):
        metrics.effective_sample_size(12, rho)


def test_too_few_periods_are_refused() -> None:
    with pytest.raises(ValueError, match="do not suffice"):
        metrics.cv_rmse(OBSERVED[:2], PREDICTED[:2], parameter_count=2)

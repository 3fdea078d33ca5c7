"""Baselines and their prediction intervals against printed and independent results."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm

from fleet.calc.ledger import baseline, metrics, savings
from weather.calc.arrays import FloatArray

# Rocket propellant data of Montgomery, Peck and Vining, Introduction to Linear Regression Analysis, Example
# 2.1 (shear strength [psi] and age [weeks]); data from memory, they reproduce the printed interval.
STRENGTH = np.array(
    [
        2158.70,
        1678.15,
        2316.00,
        2061.30,
        2207.50,
        1708.30,
        1784.70,
        2575.00,
        2357.90,
        2256.70,
        2165.20,
        2399.55,
        1779.80,
        2336.75,
        1765.30,
        2053.50,
        2414.40,
        2200.50,
        2654.20,
        1753.70,
    ],
    dtype=np.float64,
)
AGE = np.array(
    [
        15.50,
        23.75,
        8.00,
        17.00,
        5.50,
        19.00,
        24.00,
        2.50,
        7.50,
        11.00,
        13.00,
        3.75,
        25.00,
        9.75,
        22.00,
        18.00,
        6.00,
        12.50,
        2.00,
        21.50,
    ],
    dtype=np.float64,
)
# Synthetic water site: need [mm] and metered [m3] a month, computed for this test.
NEED = np.array([0, 0, 18, 62, 110, 148, 166, 140, 92, 40, 6, 0], dtype=np.float64)
METERED = 30 + 0.9 * NEED + np.array([3, -2, 5, -9, 7, 12, -14, 8, -6, 4, -3, 1])
NEED_AFTER = np.array([0, 2, 25, 70, 120, 160, 175, 150, 85, 35, 4, 0], dtype=np.float64)


def bills_of(use: FloatArray, need: FloatArray, days: FloatArray | None = None) -> baseline.Bills:
    """One site's bills, a month apart, all of weight one unless days are given."""
    length = np.ones(use.size) if days is None else days
    middle = np.arange(use.size, dtype=np.float64) * savings.MONTH_D
    return baseline.Bills(use[None], need[None], length[None], middle[None])


def report_of(need: FloatArray, days: FloatArray | None = None) -> savings.ReportPieces:
    """Pieces a year after the bills."""
    length = np.ones(need.size) if days is None else days
    middle = (100 + np.arange(need.size, dtype=np.float64)) * savings.MONTH_D
    return savings.ReportPieces(need[None], length[None], middle[None])


def half_width(error: savings.ErrorOfSums, confidence: float) -> float:
    """Half width of the first group's interval."""
    return float(error.sd_l[0, 0] * savings.quantile(error.freedom, confidence)[0])


def test_one_new_point_has_the_interval_that_the_textbook_prints() -> None:
    # Montgomery, Peck and Vining, Example 2.7: 95 % interval at 10 weeks 2048.32 to 2464.32
    bills = bills_of(STRENGTH, AGE)
    fits = baseline.fit_baselines(bills, with_change_point=False)
    report = report_of(np.array([10.0]))

    predicted = float(fits.predicted_l_d(report.need_l_d)[0, 0])
    half = half_width(savings.error_of_sums(bills, fits, report, np.ones((1, 1))), 0.95)

    assert predicted == pytest.approx(2256.32, abs=0.1)
    assert (predicted - half, predicted + half) == pytest.approx((2048.32, 2464.32), abs=0.2)
    assert (fits.base_l_d[0], fits.slope[0]) == pytest.approx((2627.8224, -37.15359), abs=1e-4)
    assert fits.squares[0] / 18 == pytest.approx(9236.38, abs=0.01)
    assert fits.cv_rmse[0] == pytest.approx(0.045091, abs=1e-6)


def test_one_new_point_agrees_with_an_independent_library() -> None:
    model = sm.OLS(STRENGTH, sm.add_constant(AGE)).fit()
    frame = model.get_prediction(np.array([[1.0, 10.0]])).summary_frame(alpha=0.05)
    bills = bills_of(STRENGTH, AGE)
    fits = baseline.fit_baselines(bills, with_change_point=False)
    report = report_of(np.array([10.0]))

    half = half_width(savings.error_of_sums(bills, fits, report, np.ones((1, 1))), 0.95)

    assert half == pytest.approx(float((frame["obs_ci_upper"] - frame["obs_ci_lower"]).iloc[0]) / 2, rel=1e-9)


def test_synthetic_water_site_keeps_its_savings_and_intervals() -> None:
    bills = bills_of(METERED, NEED)
    fits = baseline.fit_baselines(bills)
    report = report_of(NEED_AFTER)

    predicted = float(fits.predicted_l_d(report.need_l_d).sum())
    saved = predicted - 957.0
    error = savings.error_of_sums(bills, fits, report, np.ones((1, 12)))

    assert fits.parameter_count[0] == 2
    assert (fits.base_l_d[0], fits.slope[0]) == pytest.approx((30.393, 0.90164), abs=5e-4)
    assert np.sqrt(fits.squares[0] / 10) == pytest.approx(7.943, abs=5e-4)
    assert fits.cv_rmse[0] == pytest.approx(0.08909, abs=5e-6)
    assert metrics.determination(METERED, fits.predicted_l_d(NEED[None])[0]) == pytest.approx(
        0.98285, abs=5e-6
    )
    assert predicted == pytest.approx(1109.47, abs=5e-3)
    assert saved == pytest.approx(152.47, abs=5e-3)
    assert saved / predicted == pytest.approx(0.1374, abs=5e-5)
    for confidence, expected in ((0.68, 40.75), (0.90, 70.59), (0.95, 86.78)):
        assert half_width(error, confidence) == pytest.approx(expected, abs=5e-3)


@pytest.mark.parametrize(
    ("confidence", "by_constant", "by_polynomial"),
    [(0.68, 0.2665, 0.276), (0.90, 0.4616, 0.478), (0.95, 0.5675, 0.588)],
    ids=str,
)
def test_shortcut_comes_near_the_exact_interval(
    confidence: float, by_constant: float, by_polynomial: float
) -> None:
    def shortcut(factor: float) -> float:
        return metrics.fractional_savings_uncertainty(
            cv=0.0890867,
            savings_fraction=152.47 / 1109.47,
            parameter_count=2,
            baseline_periods=12,
            report_periods=12,
            confidence=confidence,
            factor=factor,
        )

    assert shortcut(1.26) == pytest.approx(by_constant, abs=6e-4)
    assert shortcut(metrics.uncertainty_factor(12, interval="monthly")) == pytest.approx(
        by_polynomial, abs=6e-4
    )


def test_weighted_fit_and_its_sum_agree_with_an_independent_library() -> None:
    rng = np.random.default_rng(4)
    days = rng.integers(26, 36, 14).astype(np.float64)
    need = rng.uniform(0, 900, 14)
    use = 200 + 1.2 * need + rng.normal(0, 60, 14)
    after_days = rng.integers(5, 31, 6).astype(np.float64)
    after = rng.uniform(0, 900, 6)
    model = sm.WLS(use, sm.add_constant(need), weights=days).fit()
    bills = bills_of(use, need, days)

    fits = baseline.fit_baselines(bills, with_change_point=False)
    error = savings.error_of_sums(bills, fits, report_of(after, after_days), np.ones((1, 6)))
    c = after_days @ sm.add_constant(after)
    expected = np.sqrt(c @ model.cov_params() @ c + model.scale * after_days.sum())

    assert (fits.base_l_d[0], fits.slope[0]) == pytest.approx(tuple(model.params), rel=1e-9)
    assert error.sd_l[0, 0] == pytest.approx(expected, rel=1e-9)


def test_change_point_of_the_public_vector_is_found() -> None:
    need = np.arange(1.0, 11.0)
    # changepointmodel project, tests/test_lib_models.py, three parameters, x = 1..10
    use = np.array([2.0, 2, 2, 2, 2, 4, 6, 8, 10, 12])

    fits = baseline.fit_baselines(bills_of(use, need))

    assert fits.parameter_count[0] == 3
    assert fits.change_point_l_d[0] == pytest.approx(5.0, abs=0.02)
    assert (fits.base_l_d[0], fits.slope[0]) == pytest.approx((2.0, 2.0), abs=0.02)


def test_change_point_is_not_taken_for_a_straight_line_with_noise() -> None:
    rng = np.random.default_rng(5)
    need = np.tile(np.abs(np.sin(np.arange(12) / 12 * np.pi)) * 1000, (300, 1))
    use = 100 + 1.1 * need + rng.normal(0, 80, need.shape)
    months = np.tile(np.arange(12) * savings.MONTH_D, (300, 1))

    fits = baseline.fit_baselines(baseline.Bills(use, need, np.full(need.shape, 30.0), months))

    assert np.mean(fits.parameter_count == 3) < 0.15


def test_batch_of_sites_gives_each_what_it_gets_alone() -> None:
    rng = np.random.default_rng(6)
    need = rng.uniform(0, 500, (3, 12))
    use = 50 + need + rng.normal(0, 30, need.shape)
    days = np.full(need.shape, 30.0)
    days[1, 9:] = 0.0
    use[1, 9:] = need[1, 9:] = 0.0
    middle = np.tile(np.arange(12) * savings.MONTH_D, (3, 1))

    together = baseline.fit_baselines(baseline.Bills(use, need, days, middle))
    alone = baseline.fit_baselines(
        baseline.Bills(use[1:2, :9], need[1:2, :9], days[1:2, :9], middle[1:2, :9])
    )

    assert together.base_l_d[1] == pytest.approx(alone.base_l_d[0])
    assert together.cv_rmse[1] == pytest.approx(alone.cv_rmse[0])
    assert together.period_count.tolist() == [12, 9, 12]


def test_correlated_errors_widen_the_interval_and_uncorrelated_ones_leave_n_minus_p() -> None:
    bills = bills_of(METERED, NEED)
    fits = baseline.fit_baselines(bills)
    report = report_of(NEED_AFTER)

    plain = savings.error_of_sums(bills, fits, report, np.ones((1, 12)))
    correlated = savings.error_of_sums(bills, fits, report, np.ones((1, 12)), rho=0.4)

    assert plain.freedom[0] == 10
    assert correlated.freedom[0] < 10
    assert correlated.sd_l[0, 0] > 1.2 * plain.sd_l[0, 0]


@pytest.mark.parametrize("rho", [0.0, 0.4], ids=["independent", "correlated"])
def test_common_autocorrelation_is_found_in_many_short_records(rho: float) -> None:
    rng = np.random.default_rng(7)
    sites, periods = 400, 14
    noise = np.zeros((sites, periods))
    noise[:, 0] = rng.normal(0, 1, sites)
    for period in range(1, periods):
        noise[:, period] = rho * noise[:, period - 1] + rng.normal(0, np.sqrt(1 - rho**2), sites)
    need = np.tile(500 - 400 * np.cos(np.arange(periods) / 12 * 2 * np.pi), (sites, 1))
    middle = np.tile(np.arange(periods) * savings.MONTH_D, (sites, 1))
    bills = baseline.Bills(1000 + need + 100 * noise, need, np.full(need.shape, 30.0), middle)
    fits = baseline.fit_baselines(bills, with_change_point=False)

    found = savings.common_autocorrelation(bills, fits)

    assert found == pytest.approx(rho, abs=0.07)


@pytest.mark.parametrize(
    ("periods", "days", "verdict"),
    [
        (12, 30.0, ""),
        (9, 40.0, baseline.TOO_FEW_PERIODS),
        (12, 27.0, baseline.TOO_FEW_DAYS),
    ],
    ids=["enough", "nine bills", "324 days"],
)
def test_minimum_data_rules_name_what_is_missing(periods: int, days: float, verdict: str) -> None:
    rng = np.random.default_rng(8)
    need = np.linspace(0, 500, periods)
    bills = bills_of(100 + need + rng.normal(0, 10, periods), need, np.full(periods, days))

    assert baseline.baseline_verdicts(bills, baseline.fit_baselines(bills)) == [verdict]


def test_use_that_does_not_follow_need_and_need_that_does_not_vary_are_named() -> None:
    rng = np.random.default_rng(9)
    wild = bills_of(rng.exponential(100, 12) ** 2, np.linspace(0, 500, 12), np.full(12, 30.0))
    flat = bills_of(rng.normal(100, 5, 12), np.full(12, 200.0), np.full(12, 30.0))

    assert baseline.baseline_verdicts(wild, baseline.fit_baselines(wild)) == [baseline.SCATTER]
    assert baseline.baseline_verdicts(flat, baseline.fit_baselines(flat)) == [baseline.NEED_HARDLY_VARIES]

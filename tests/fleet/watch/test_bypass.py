"""Expected bypasses: the ordered logit on a day's starts."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from fleet.calc.watch.bypass import expected_bypass_rate, expected_runs, run_likelihood

MARGINS = st.floats(-60.0, 60.0)
DOSES = st.floats(0.0, 20.0)
SCALES = st.floats(0.2, 15.0)


@given(MARGINS, DOSES, SCALES, st.integers(1, 8))
def test_probabilities_of_all_counts_add_up_to_one(
    margin: float, dose: float, scale: float, starts: int
) -> None:
    ran = np.arange(starts + 1)

    found = run_likelihood(
        np.full(starts + 1, margin),
        np.full(starts + 1, dose),
        np.full(starts + 1, scale),
        ran=ran,
        starts=np.full(starts + 1, starts),
        noise_share=0.05,
    )

    np.testing.assert_allclose(found.probability.sum(), 1.0, atol=1e-12)
    assert (found.probability > 0.0).all()


@given(MARGINS, DOSES, SCALES, st.integers(1, 6))
def test_expected_runs_are_the_mean_of_the_counts(
    margin: float, dose: float, scale: float, starts: int
) -> None:
    ran = np.arange(starts + 1)
    grid = [np.full(starts + 1, value) for value in (margin, dose, scale)]

    found = run_likelihood(*grid, ran=ran, starts=np.full(starts + 1, starts), noise_share=1e-12)
    mean = expected_runs(*(one[:1] for one in grid), starts=np.array([starts]))

    np.testing.assert_allclose((ran * found.probability).sum(), mean[0], atol=1e-9)


def test_slope_and_bend_are_the_derivatives_of_the_log_probability() -> None:
    step = 1e-4
    margin = np.array([3.0, 3.0 - step, 3.0 + step])
    dose, scale = np.full(3, 2.0), np.full(3, 4.0)

    found = run_likelihood(margin, dose, scale, ran=np.full(3, 1), starts=np.full(3, 3), noise_share=0.0)
    log_p = np.log(found.probability)

    np.testing.assert_allclose(found.slope_per_mm[0], (log_p[2] - log_p[1]) / (2 * step), rtol=1e-6)
    bend = (log_p[2] - 2 * log_p[0] + log_p[1]) / step**2
    np.testing.assert_allclose(found.curvature_per_mm2[0], bend, rtol=1e-3)


def test_wet_soil_blocks_and_dry_soil_runs() -> None:
    rate = expected_bypass_rate(
        np.array([0.0, 13.0, 30.0]), np.full(3, 2.0), np.full(3, 13.0), np.full(3, 1.0), starts=np.full(3, 1)
    )

    assert rate[0] > 0.99
    np.testing.assert_allclose(rate[1], 0.5)
    assert rate[2] < 0.01


def test_a_drier_threshold_blocks_more() -> None:
    rates = [
        expected_bypass_rate(
            np.array([10.0]), np.array([3.0]), np.array([threshold]), np.array([1.0]), starts=np.array([2])
        )[0]
        for threshold in (6.0, 10.0, 14.0)
    ]

    assert rates == sorted(rates)


def test_a_day_without_a_start_has_no_rate() -> None:
    rate = expected_bypass_rate(
        np.array([10.0]), np.array([3.0]), np.array([8.0]), np.array([1.0]), starts=np.array([0])
    )

    assert np.isnan(rate[0])

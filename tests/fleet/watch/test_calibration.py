"""The probability that the watch publishes, and what a stricter flag costs."""

from __future__ import annotations

import numpy as np
import pytest

from fleet.calc.watch.calibration import (
    FALSE_PER_100,
    FLAG_SCORES,
    FOUND_PCT,
    calibrated,
    new_flags_a_week,
    setting_number,
)
from fleet.calc.watch.filter import watch_fleet
from fleet.calc.watch.fit import fit_fleet
from fleet.calc.watch.result import fault_score
from fleet.calc.watch.settings import (
    FLAG_SCORE_NAME,
    WatchSettings,
    starting_fit,
    watch_settings,
)
from fleet.scoring.watch_fleets import simulated_fleet, soil_groups
from fleet.scoring.watch_gardens import USE_GROUPS
from tests.fleet.watch.cases import season


def test_calibration_keeps_the_order_of_causes_and_adds_up_to_one() -> None:
    raw = np.array([[0.9, 0.06, 0.04, 0.0, 0.0, 0.0], [0.2, 0.1, 0.5, 0.1, 0.05, 0.05]])

    found = calibrated(raw)

    np.testing.assert_allclose(found.sum(axis=-1), 1.0, atol=1e-9)
    np.testing.assert_array_equal(np.argsort(-found[:, 1:]), np.argsort(-raw[:, 1:]))
    np.testing.assert_allclose(found[0, 1] / found[0, 2], 1.5, rtol=1e-6)


def test_more_odds_are_never_less_probable() -> None:
    odds = np.linspace(-14.0, 14.0, 57)
    fault = 1.0 / (1.0 + np.exp(-odds))

    found = calibrated(np.column_stack([1.0 - fault, fault]))[:, 1]

    assert (np.diff(found) >= 0.0).all()
    assert found[0] < 0.01
    assert 0.98 < found[-1] < 1.0


def test_a_published_probability_keeps_its_word_for_gardens_it_was_not_fitted_to() -> None:
    settings = WatchSettings()
    fleet = simulated_fleet(
        weather=season("continental", days=150, locations=6, seed=51),
        physics="two_layers",
        sites=400,
        seed=51,
    )
    fit = fit_fleet(fleet.inputs, starting_fit(USE_GROUPS, soil_groups()), settings)

    run = watch_fleet(fleet.inputs, fit, settings)

    days = np.arange(35, 150, 7)
    told = 1.0 - calibrated(run.probability[days])[..., 0]
    faulty = fleet.truth.onset[None, :] <= days[:, None]
    sure, doubtful = told > 0.85, told < 0.05
    assert sure.sum() > 100
    assert abs(told[sure].mean() - faulty[sure].mean()) < 0.10
    assert abs(told[doubtful].mean() - faulty[doubtful].mean()) < 0.03
    error = np.mean((told - faulty) ** 2)
    assert error < 0.5 * faulty.mean() * (1.0 - faulty.mean())


def test_stricter_settings_find_less_and_cry_less() -> None:
    assert len(FLAG_SCORES) == len(FOUND_PCT) == len(FALSE_PER_100)
    assert list(FLAG_SCORES) == sorted(FLAG_SCORES)
    assert list(FOUND_PCT) == sorted(FOUND_PCT, reverse=True)
    assert list(FALSE_PER_100) == sorted(FALSE_PER_100, reverse=True)
    assert FALSE_PER_100[setting_number(WatchSettings().flag_score)] <= 2.0


def test_new_flags_a_week_count_first_passings_only() -> None:
    score = np.full((70, 4), -5.0)
    score[30:, 0] = 2.0  # within the last eight weeks
    score[5:, 1] = 2.0  # long before: no new visit
    score[60, 2] = 0.5  # passes the lower setting alone

    found = new_flags_a_week(score, (0.0, 1.0), 56)

    np.testing.assert_allclose(found, [2 / 8, 1 / 8])


@pytest.mark.parametrize(
    ("value", "expected"),
    [(0.75, 0.75), ("soon", WatchSettings().flag_score), (True, WatchSettings().flag_score)],
)
def test_the_companys_own_setting_is_used_where_it_is_a_number(value: object, expected: float) -> None:
    assert watch_settings({FLAG_SCORE_NAME: value, "visits.speed_km_h": 30}).flag_score == expected


def test_a_flag_below_the_usual_watch_lowers_the_watch_too() -> None:
    found = watch_settings({FLAG_SCORE_NAME: -3.0})

    assert found.watch_score == found.flag_score == -3.0


def test_no_odds_lie_outside_the_map() -> None:
    sure = calibrated(np.array([[1.0, 0.0], [0.0, 1.0]]))

    assert np.isfinite(sure).all()
    assert np.isfinite(fault_score(np.array([[1.0, 0.0], [0.0, 1.0]]))).all()

"""The error that all sites of a location share."""

from __future__ import annotations

import numpy as np

from fleet.calc.watch.shift import common_shift, evidence_share, rained, shifted, starting_guard


def test_a_lone_site_is_never_shifted_by_itself() -> None:
    others, _ = common_shift(
        np.array([5.0, 1.0, 1.0]), np.array([0.2, 0.2, 0.2]), np.array([0, 1, 1]), np.full(3, 2.0), 2
    )

    assert others[0] == 0.0
    assert others[1] > 0.0


def test_a_site_does_not_vote_on_its_own_shift() -> None:
    weights = np.full(3, 0.1)

    calm, _ = common_shift(np.array([1.0, 1.0, 1.0]), weights, np.zeros(3, dtype=int), np.full(3, 2.0), 1)
    loud, _ = common_shift(np.array([9.0, 1.0, 1.0]), weights, np.zeros(3, dtype=int), np.full(3, 2.0), 1)

    assert calm[0] == loud[0]
    assert loud[1] > calm[1]


def test_without_any_spread_nothing_is_shifted() -> None:
    others, together = common_shift(
        np.array([5.0, 1.0]), np.array([0.2, 0.2]), np.zeros(2, dtype=int), np.zeros(2), 1
    )

    np.testing.assert_array_equal(others, 0.0)
    np.testing.assert_array_equal(together, 0.0)


def test_an_unusual_shift_that_piles_up_weakens_the_evidence() -> None:
    guard = starting_guard(2, 2)
    for _ in range(6):
        guard = shifted(guard, np.array([0.0, 6.0]))

    share = evidence_share(guard, 12.0)

    assert share[0] == 1.0
    assert share[1] < 0.4


def test_recent_rain_fades() -> None:
    guard = rained(starting_guard(1, 1), np.array([20.0]))
    after = rained(guard, np.array([0.0]))

    assert 0.0 < after.recent_rain_mm[0] < guard.recent_rain_mm[0]

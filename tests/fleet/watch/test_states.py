"""What a controller is called, what the weather let the watch see, and causes outside the sensor."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fleet.calc.watch.outside import (
    in_the_logs_phase,
    outside_causes,
    overridden_share,
    with_period_totals,
)
from fleet.calc.watch.settings import CAUSES, WatchSettings
from fleet.calc.watch.states import (
    ALL_CAUSES,
    Standing,
    all_cause_probabilities,
    judge,
    unseen_faults,
    wet_dry_cycles,
)
from fleet.calc.watch.visibility import divergence, visibility

SETTINGS = WatchSettings()
DAYS = 60


def _nats(rate: float, starts: int = 2) -> dict[str, float]:
    """Visibility of one site whose good sensor blocks so often every day."""
    shape = (DAYS, 1)
    found = visibility(np.full(shape, rate), np.full(shape, starts), np.ones(shape, dtype=bool), SETTINGS)
    return dict(zip(CAUSES, found[0].tolist(), strict=True))


def _standing(**columns: Any) -> Standing:
    """One controller with a full log, long installed."""
    given = {
        "trial_days": np.array([400]),
        "cycles": np.array([9]),
        "planting_days": np.array([400]),
        "seen_days": np.array([55]),
        "log_age_days": np.array([0]),
        "is_off_season": np.array([False]),
        "is_resting": np.array([False]),
        **columns,
    }
    return Standing(**given)


def _status(score: float, nats: float = 50.0, **columns: Any) -> str:
    """State of one controller with the score and the same visibility of every fault."""
    fault = 1.0 / (1.0 + np.exp(-score))
    probability = np.array([[1.0 - fault, fault, 0, 0, 0, 0]])
    nothing = np.zeros(1)
    causes = all_cause_probabilities(probability, np.full(1, 0.3), nothing, nothing)
    verdict = judge(
        np.array([score]),
        causes,
        np.full((1, len(CAUSES)), nats),
        _standing(**columns),
        SETTINGS,
        flag_score=SETTINGS.flag_score,
    )
    return str(verdict.status[0])


def test_the_divergence_of_a_rate_from_itself_is_zero() -> None:
    rate = np.array([0.1, 0.5, 0.9])

    np.testing.assert_allclose(divergence(rate, rate), 0.0, atol=1e-15)
    assert (divergence(np.full(3, 0.4), rate) > 0.0).all()


def test_a_wet_month_with_everything_blocked_says_nothing_on_stuck_wet() -> None:
    nats = _nats(0.97)

    assert nats["stuck_wet"] < 1.0
    assert nats["stuck_dry"] > SETTINGS.promise_nats


def test_a_dry_month_with_nothing_blocked_says_nothing_on_stuck_dry() -> None:
    nats = _nats(0.03)

    assert nats["stuck_dry"] < 1.0
    assert nats["stuck_wet"] > SETTINGS.promise_nats


def test_days_not_seen_show_nothing() -> None:
    shape = (DAYS, 1)

    found = visibility(np.full(shape, 0.5), np.full(shape, 2), np.zeros(shape, dtype=bool), SETTINGS)

    np.testing.assert_array_equal(found, 0.0)


def test_faults_that_could_not_be_seen_are_named() -> None:
    names = unseen_faults(np.array([[2.0, 40.0, 3.0, 20.0, 11.0]]), SETTINGS)

    assert names == [("stuck_wet", "reads_wet")]


@pytest.mark.parametrize(
    ("status", "score", "nats", "columns"),
    [
        ("healthy", -6.0, 50.0, {}),
        ("watch", -1.0, 50.0, {}),
        ("flag", 1.0, 50.0, {}),
        ("too_little_data", -6.0, 2.0, {"seen_days": np.array([5])}),
        ("cannot_tell", -6.0, 2.0, {}),
        ("no_log", 1.0, 50.0, {"log_age_days": np.array([60])}),
        ("off_season", 1.0, 50.0, {"is_off_season": np.array([True])}),
        ("resting", 1.0, 50.0, {"is_resting": np.array([True])}),
        ("commissioning", 1.0, 50.0, {"trial_days": np.array([5]), "cycles": np.array([1])}),
        ("flag", 1.0, 50.0, {"trial_days": np.array([5]), "cycles": np.array([2])}),
        ("flag", 1.0, 50.0, {"trial_days": np.array([14]), "cycles": np.array([0])}),
        ("commissioning", 1.0, 50.0, {"planting_days": np.array([29])}),
    ],
)
def test_every_state_has_its_reason(status: str, score: float, nats: float, columns: dict[str, Any]) -> None:
    assert _status(score, nats, **columns) == status


def test_too_little_data_is_never_called_healthy() -> None:
    for days in (0, 5, 20, 55):
        assert _status(-6.0, 1.0, seen_days=np.array([days])) in ("too_little_data", "cannot_tell")


def test_wet_dry_cycles_are_counted_from_a_day_on() -> None:
    blocked = np.array([[2], [0], [2], [0], [-1], [2], [0]])
    ran = np.array([[0], [2], [0], [2], [-1], [0], [1]])

    assert wet_dry_cycles(blocked, ran, np.array([0]))[0] == 3
    assert wet_dry_cycles(blocked, ran, np.array([3]))[0] == 1


def _log(days: int = 40, starts: int = 2) -> tuple[Any, Any, Any, Any]:
    """A log that follows the book: starts every second day."""
    book = np.zeros((days, 1), dtype=np.int16)
    book[::2] = starts
    return book.copy(), np.zeros_like(book), book, np.ones((days, 1), dtype=bool)


def test_a_log_that_follows_the_book_points_to_nothing_outside() -> None:
    found = outside_causes(*_log())

    assert found.no_power[0] == 0.0
    assert found.program_differs[0] < 0.01


def test_no_start_at_all_while_a_program_is_set_is_no_power() -> None:
    scheduled, skipped, book, known = _log()
    scheduled[25:] = 0

    found = outside_causes(scheduled, skipped, book, known)

    assert found.no_power[0] > 0.9
    assert found.no_power_since[0] == 26  # the first day on which a start was due
    assert not found.silent_by_skips[0]
    assert found.program_differs[0] == 0.0


def test_starts_that_were_all_skipped_are_no_power_and_no_bypass() -> None:
    scheduled, skipped, book, known = _log()
    skipped[26:] = scheduled[26:]

    found = outside_causes(scheduled, skipped, book, known)

    assert found.no_power[0] > 0.9
    assert found.silent_by_skips[0]


def test_a_missing_log_is_not_a_silent_timer() -> None:
    scheduled, skipped, book, known = _log()
    scheduled[25:] = -1

    assert outside_causes(scheduled, skipped, book, known).no_power[0] == 0.0


def test_another_program_is_told_with_its_day() -> None:
    scheduled, skipped, book, known = _log()
    scheduled[20:] = 1

    found = outside_causes(scheduled, skipped, book, known)

    assert found.program_differs[0] > 0.9
    assert found.program_since[0] == 20


def _with_total(total: int, *, end: int = 35, length: int = 28, known_from: int = 0) -> Any:
    """Outside causes of a log without daily rows and one total of several days; the book says 28 starts."""
    _, skipped, book, known = _log()
    known[:known_from] = False
    unseen = np.full_like(book, -1)
    period, days = unseen.copy(), np.zeros_like(book)
    period[end, 0], days[end, 0] = total, length
    return with_period_totals(outside_causes(unseen, skipped, book, known), period, days, book, known)


@pytest.mark.parametrize("total", [14, 42])
def test_a_total_far_from_the_books_is_another_program_since_its_first_day(total: int) -> None:
    found = _with_total(total)

    assert found.program_differs[0] > 0.9
    assert found.program_since[0] == 8
    assert (found.total_told[0], found.total_by_book[0]) == (total, 28)


@pytest.mark.parametrize("total", [24, 28, 32])
def test_a_total_within_the_days_of_its_readings_points_to_nothing(total: int) -> None:
    assert _with_total(total).program_differs[0] == 0.0


def test_a_total_that_is_old_or_short_or_without_a_program_points_to_nothing() -> None:
    assert _with_total(42, end=4, length=4).program_differs[0] == 0.0
    assert _with_total(42, end=35, length=10).program_differs[0] == 0.0
    assert _with_total(42, known_from=12).program_differs[0] == 0.0


def test_an_interval_in_another_phase_is_not_another_program() -> None:
    days = np.arange(60)[:, None]
    book = np.where(days % 3 == 0, 2, 0).astype(np.int16)
    scheduled = np.where((days + 1) % 3 == 0, 2, 0).astype(np.int16)
    known = np.ones_like(book, dtype=bool)

    moved = in_the_logs_phase(scheduled, book, known)

    np.testing.assert_array_equal(moved[4:-4], scheduled[4:-4])


def test_a_switched_off_input_takes_more_when_somebody_was_at_the_timer() -> None:
    share = overridden_share(np.array([30.0, 30.0]), np.array([31, -1]), np.array([0.9, 0.0]))

    assert share[0] > 0.5 > share[1]


def test_all_causes_and_healthy_add_up_to_one() -> None:
    probability = np.array([[0.4, 0.1, 0.3, 0.1, 0.05, 0.05]])

    causes = all_cause_probabilities(probability, np.array([0.3]), np.array([0.2]), np.array([0.1]))

    assert causes.shape == (1, len(ALL_CAUSES))
    np.testing.assert_allclose(causes.sum(), 1.0 - 0.4 * 0.8 * 0.9)


def test_a_watch_stricter_than_the_flag_is_refused() -> None:
    with pytest.raises(ValueError, match="watch_score"):
        replace(SETTINGS, watch_score=1.0)


@pytest.mark.parametrize("cause", ["program_differs", "no_power"])
def test_a_cause_outside_the_sensor_flags_by_itself(cause: str) -> None:
    causes = np.zeros((1, len(ALL_CAUSES)))
    causes[0, ALL_CAUSES.index(cause)] = 0.95

    verdict = judge(
        np.array([-9.0]),
        causes,
        np.full((1, len(CAUSES)), 50.0),
        _standing(),
        SETTINGS,
        flag_score=SETTINGS.flag_score,
    )

    assert verdict.status[0] == "flag"

"""From log rows and programs to the days of the watch."""

from __future__ import annotations

from typing import Any

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from fleet.calc.watch.log import DailyLog, daily_log, runs_with_cuts
from fleet.calc.watch.periods import seen_counts, share_out, spread_periods
from fleet.calc.watch.settings import WatchSettings, starting_fit
from sites.calc.balance.irrigation import BypassRows
from tests.fleet.watch.cases import FIRST_DAY, plain_inputs

DAYS = np.arange(FIRST_DAY, FIRST_DAY + 20)


def _rows(*rows: tuple[int, int, float, int, int, int]) -> BypassRows:
    """Rows of controller 7: first day, days, scheduled, bypassed, cut short, skipped."""
    table = np.array(rows, dtype=np.float64).reshape(-1, 6)
    start = FIRST_DAY + table[:, 0].astype(np.int64)
    return BypassRows(
        controller_id=np.full(len(table), 7),
        start=start,
        end=start + table[:, 1].astype(np.int64),
        scheduled=table[:, 2],
        bypassed=table[:, 3],
        cut_short=table[:, 4],
        skipped=table[:, 5],
        error_share=np.zeros(len(table)),
    )


def _daily(rows: BypassRows, **columns: Any) -> DailyLog:
    given = {
        "days": DAYS,
        "controller_ids": np.array([7]),
        "book_starts": np.full((20, 1), 2.0),
        "is_known": np.ones((20, 1), dtype=bool),
        **columns,
    }
    return daily_log(rows, **given)


def test_a_day_without_a_row_is_not_a_day_without_starts() -> None:
    log = _daily(_rows((3, 1, 2, 1, 0, 0)))

    assert (log.starts[:, 0] == 2).all()
    assert log.ran[3, 0] == 1
    assert (np.delete(log.ran[:, 0], 3) == -1).all()


def test_a_skip_is_never_a_bypass() -> None:
    log = _daily(_rows((0, 1, 3, 1, 0, 2)))

    assert log.starts[0, 0] == 1
    assert log.ran[0, 0] == 0
    assert log.blocked[0, 0] == 1


def test_a_row_without_scheduled_starts_takes_the_programs() -> None:
    log = _daily(_rows((5, 1, np.nan, 1, 0, 0)))

    assert log.starts[5, 0] == 2
    assert log.ran[5, 0] == 1


def test_rows_of_other_controllers_and_beyond_the_span_are_left_out() -> None:
    other = BypassRows(
        np.array([8]), DAYS[:1], DAYS[:1] + 1, np.array([2.0]), np.array([1.0]), *np.zeros((3, 1))
    )

    assert (_daily(other).ran == -1).all()
    assert (_daily(_rows((-1, 1, 2, 1, 0, 0))).ran == -1).all()


def test_a_period_is_told_on_its_last_day() -> None:
    log = _daily(_rows((2, 10, np.nan, 6, 0, 2)))

    assert log.period_starts[11, 0] == 18
    assert log.period_ran[11, 0] == 12
    assert log.period_days[11, 0] == 10
    assert (log.ran == -1).all()


def test_a_start_cut_short_gave_about_half_of_its_dose() -> None:
    log = _daily(_rows((0, 1, 2, 0, 1, 0)))

    runs = runs_with_cuts(log, np.full((20, 1), np.nan))

    assert runs[0, 0] == 1.5
    assert np.isnan(runs[1:]).all()


@given(st.lists(st.floats(0.0, 3.0), min_size=1, max_size=12), st.integers(0, 40))
def test_a_shared_out_total_is_kept_and_no_day_gets_more_than_it_can(guess: list[float], total: int) -> None:
    most = np.full(len(guess), 3.0)

    part = share_out(np.array(guess), most, float(total))

    np.testing.assert_allclose(part.sum(), min(total, most.sum()), atol=1e-6)
    assert (part <= most + 1e-9).all()
    assert (part >= 0.0).all()


def test_a_counter_read_once_is_spread_over_its_days_with_its_total_kept() -> None:
    inputs = plain_inputs(days=40, sites=1)
    inputs.period_starts[29, 0], inputs.period_ran[29, 0], inputs.period_days[29, 0] = 40, 15, 20

    spread = spread_periods(inputs, starting_fit(1, 1), WatchSettings())

    np.testing.assert_allclose(np.nansum(spread), 15.0, atol=1e-6)
    assert np.isfinite(spread[10:30]).all()
    assert np.isnan(spread[:10]).all()


def test_days_of_a_counter_add_up_to_its_own_total_and_not_to_the_books() -> None:
    inputs = plain_inputs(days=40, sites=1)
    inputs.period_starts[29, 0], inputs.period_ran[29, 0], inputs.period_days[29, 0] = 60, 15, 20
    spread = spread_periods(inputs, starting_fit(1, 1), WatchSettings())

    starts, blocked = seen_counts(inputs, np.zeros_like(inputs.starts), spread)

    np.testing.assert_allclose(starts.sum(), 60.0)
    np.testing.assert_allclose(blocked.sum(), 45.0)
    assert not starts[:10].any()
    assert not starts[30:].any()


def test_skipped_starts_of_a_counter_are_no_bypasses() -> None:
    inputs = plain_inputs(days=40, sites=1)
    inputs.period_starts[29, 0], inputs.period_ran[29, 0], inputs.period_days[29, 0] = 15, 15, 20
    spread = spread_periods(inputs, starting_fit(1, 1), WatchSettings())

    _, blocked = seen_counts(inputs, np.zeros_like(inputs.starts), spread)

    assert blocked.sum() == 0.0

"""What ran: logs win over the program as set, and a skip waters nothing."""

from __future__ import annotations

import numpy as np
import pytest

from sites.calc.balance_blob import ZoneMonth, pack_month, unpack_month
from sites.calc.irrigation import LogRows, Source, irrigation_net_mm, ran_starts
from sites.calc.program_passes import ProgramLines, ProgramPasses, program_passes
from sites.calc.water_balance import COLUMNS

DAYS = np.arange("2026-06-01", "2026-06-15", dtype="datetime64[D]")


def _passes() -> ProgramPasses:
    """Two starts on odd dates, 12 minutes each, one controller with two zones."""
    lines = ProgramLines(
        controller_id=np.array([7, 7]),
        program=np.array(["A", "A"]),
        zone_id=np.array([71, 72]),
        days=np.array(["odd", "odd"]),
        starts=np.array(["04:00;05:30", "04:00;05:30"]),
        run_min=np.array([12.0, 6.0]),
        seasonal_adjust_pct=np.array([100.0, 100.0]),
        as_of=np.array(["2026-05-01", "2026-05-01"], dtype="datetime64[D]"),
    )
    return program_passes(lines, days=DAYS, controller_ids=np.array([7]), zone_ids=np.array([71, 72]))


def _logs(*rows: tuple[str, str, float, float, float]) -> LogRows:
    return LogRows(
        controller_at=np.zeros(len(rows), dtype=np.int64),
        start=np.array([row[0] for row in rows], dtype="datetime64[D]"),
        end=np.array([row[1] for row in rows], dtype="datetime64[D]"),
        scheduled=np.array([row[2] for row in rows], dtype=float),
        bypassed=np.array([row[3] for row in rows], dtype=float),
        skipped=np.array([row[4] for row in rows], dtype=float),
    )


def test_without_a_log_all_starts_of_the_program_are_assumed_to_run() -> None:
    ran = ran_starts(_logs(), _passes())

    np.testing.assert_allclose(ran.ran[:, 0], np.where(np.arange(1, 15) % 2 == 1, 2.0, 0.0))
    assert set(ran.source[:, 0]) == {Source.ASSUMED}


def test_a_bypass_and_a_skip_both_water_nothing() -> None:
    ran = ran_starts(
        _logs(("2026-06-01", "2026-06-02", 2, 1, 0), ("2026-06-03", "2026-06-04", 2, 0, 2)), _passes()
    )

    assert ran.ran[0, 0] == 1.0
    assert ran.ran[2, 0] == 0.0
    assert ran.source[0, 0] == Source.LOGGED


def test_a_log_of_a_week_is_spread_over_the_days_with_starts() -> None:
    ran = ran_starts(_logs(("2026-06-01", "2026-06-08", 8, 6, 0)), _passes())

    np.testing.assert_allclose(ran.ran[:7, 0], [0.5, 0, 0.5, 0, 0.5, 0, 0.5])
    assert ran.source[1, 0] == Source.SPREAD


def test_scheduled_starts_left_empty_come_from_the_program() -> None:
    ran = ran_starts(_logs(("2026-06-01", "2026-06-02", np.nan, 1, 0)), _passes())

    assert ran.ran[0, 0] == 1.0


def test_the_depth_of_a_run_is_rate_times_minutes_times_the_share_that_counts() -> None:
    # PR 40 mm/h, 12 min, DU 0.5: 8 mm gross, 8 x 0.7 = 5.6 mm net for each of two starts.
    passes = _passes()

    net = irrigation_net_mm(
        ran_starts(_logs(), passes),
        passes,
        controller_at=np.zeros(2, dtype=np.int64),
        precipitation_rate_mm_h=np.array([40.0, 40.0]),
        application_efficiency=np.array([0.7, 0.7]),
    )

    assert net[0, 0] == pytest.approx(11.2, rel=1e-5)
    assert net[0, 1] == pytest.approx(5.6, rel=1e-5)
    assert net[1, 0] == 0.0


def test_a_month_survives_packing() -> None:
    rng = np.random.default_rng(3)
    month = ZoneMonth(
        values=rng.normal(size=(len(COLUMNS), 30)).astype(np.float32),
        irrigation_source=rng.integers(0, 4, 30).astype(np.uint8),
        start_state=rng.normal(size=4),
    )

    back = unpack_month(pack_month(month))

    np.testing.assert_array_equal(back.values, month.values)
    np.testing.assert_array_equal(back.irrigation_source, month.irrigation_source)
    np.testing.assert_array_equal(back.start_state, month.start_state)


def test_an_unknown_version_of_a_packed_month_is_refused() -> None:
    with pytest.raises(ValueError, match="version 9"):
        unpack_month(b"\x09\x1e")

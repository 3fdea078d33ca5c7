"""What ran: logs win over the program as set, and a skip waters nothing."""

from __future__ import annotations

import numpy as np
import pytest

from sites.calc.balance.blob import (
    COLUMNS,
    UnknownBlobError,
    ZoneMonths,
    pack_months,
    unpack_months,
)
from sites.calc.balance.irrigation import (
    BypassRows,
    Irrigation,
    IrrigationSource,
    StartsRan,
    net_irrigation,
    starts_ran,
)
from sites.calc.program.passes import ProgramLines, ProgramPasses, program_passes

DAYS = np.arange("2026-06-01", "2026-06-15", dtype="datetime64[D]")
NEVER = np.array(["NaT"], dtype="datetime64[D]")
ALWAYS = np.array(["2020-01-01"], dtype="datetime64[D]")


def _passes(as_of: str = "2026-05-01", days: str = "odd") -> ProgramPasses:
    """Two starts on odd dates, 12 and 6 minutes, one controller with two zones."""
    lines = ProgramLines(
        controller_id=np.array([7, 7]),
        program=np.array(["A", "A"]),
        zone_id=np.array([71, 72]),
        days=np.array([days, days]),
        starts=np.array(["04:00;05:30", "04:00;05:30"]),
        run_min=np.array([12.0, 6.0]),
        seasonal_adjust_pct=np.array([100.0, 100.0]),
        as_of=np.array([as_of, as_of], dtype="datetime64[D]"),
    )
    return program_passes(lines, days=DAYS, controller_ids=np.array([7]), zone_ids=np.array([71, 72]))


def _logs(
    *rows: tuple[str, str, float, float, float], cut_short: float = 0.0, error: float = 0.0
) -> BypassRows:
    return BypassRows(
        controller_id=np.full(len(rows), 7),
        start=np.array([row[0] for row in rows], dtype="datetime64[D]"),
        end=np.array([row[1] for row in rows], dtype="datetime64[D]"),
        scheduled=np.array([row[2] for row in rows], dtype=float),
        bypassed=np.array([row[3] for row in rows], dtype=float),
        cut_short=np.full(len(rows), cut_short),
        skipped=np.array([row[4] for row in rows], dtype=float),
        error_share=np.full(len(rows), error),
    )


def _net(ran: StartsRan, passes: ProgramPasses, limit_min: float = np.inf) -> Irrigation:
    return net_irrigation(
        ran,
        passes,
        controller_column=np.zeros(2, dtype=np.int64),
        precipitation_rate_mm_h=np.array([40.0, 40.0]),
        application_efficiency=np.array([0.7, 0.7]),
        runoff_limit_min=np.full(2, limit_min),
        is_governing=np.array([True, False]),
    )


def test_without_a_log_all_starts_of_the_program_are_assumed_to_run() -> None:
    ran = starts_ran(_logs(), _passes(), NEVER)

    np.testing.assert_allclose(ran.ran[:, 0], np.where(np.arange(1, 15) % 2 == 1, 2.0, 0.0))
    assert set(ran.source[:, 0]) == {IrrigationSource.ASSUMED}


def test_a_sensor_that_nobody_watches_makes_the_assumption_less_sure() -> None:
    clock, sensor = (starts_ran(_logs(), _passes(), since) for since in (NEVER, ALWAYS))

    np.testing.assert_array_equal(clock.ran, sensor.ran)
    assert sensor.sd[0, 0] > clock.sd[0, 0] > 0


def test_a_bypass_and_a_skip_both_water_nothing() -> None:
    ran = starts_ran(
        _logs(("2026-06-01", "2026-06-02", 2, 1, 0), ("2026-06-03", "2026-06-04", 2, 0, 2)),
        _passes(),
        ALWAYS,
    )

    assert ran.ran[0, 0] == 1.0
    assert ran.ran[2, 0] == 0.0
    assert ran.source[0, 0] == IrrigationSource.LOG
    assert ran.sd[0, 0] == 0.0


def test_a_log_of_a_week_is_spread_over_the_days_with_starts() -> None:
    ran = starts_ran(_logs(("2026-06-01", "2026-06-08", 8, 6, 0)), _passes(), ALWAYS)

    np.testing.assert_allclose(ran.ran[:7, 0], [0.5, 0, 0.5, 0, 0.5, 0, 0.5])
    assert ran.source[1, 0] == IrrigationSource.LOG_PERIOD
    # Two of eight starts ran, which two is not told: binomial spread of the day's two starts.
    assert ran.sd[0, 0] == pytest.approx(np.sqrt(2 * 0.25 * 0.75))


def test_a_log_of_days_without_any_start_of_the_program_is_spread_evenly() -> None:
    ran = starts_ran(
        _logs(("2026-06-01", "2026-06-05", 8, 0, 0)), _passes(days="every:60@2026-07-01"), ALWAYS
    )

    np.testing.assert_allclose(ran.ran[:4, 0], 2.0)


def test_scheduled_starts_left_empty_come_from_the_program() -> None:
    ran = starts_ran(_logs(("2026-06-01", "2026-06-02", np.nan, 1, 0)), _passes(), ALWAYS)

    assert ran.ran[0, 0] == 1.0


def test_a_day_without_a_row_borrows_the_share_of_the_days_before() -> None:
    logs = _logs(("2026-06-01", "2026-06-02", 2, 1, 0), ("2026-06-03", "2026-06-04", 2, 2, 0))

    ran = starts_ran(logs, _passes(), ALWAYS)

    assert ran.ran[4, 0] == pytest.approx(2 * 0.25)
    assert ran.source[4, 0] == IrrigationSource.ASSUMED_SHARE


def test_before_its_sensor_a_clock_runs_all_its_starts() -> None:
    logs = _logs(("2026-06-01", "2026-06-02", 2, 2, 0))

    ran = starts_ran(logs, _passes(), np.array(["2026-06-10"], dtype="datetime64[D]"))

    assert ran.ran[4, 0] == 2.0
    assert ran.ran[10, 0] == 0.0


def test_nothing_is_known_before_the_first_setting() -> None:
    passes = _passes(as_of="2026-06-10")

    net = _net(starts_ran(_logs(), passes, NEVER), passes)

    assert np.all(np.isnan(net.net_mm[:9]))
    assert set(net.source[:9, 0]) == {IrrigationSource.AS_NEEDED}
    assert np.all(np.isfinite(net.net_mm[9:]))


def test_the_depth_of_a_run_is_rate_times_minutes_times_the_share_that_counts() -> None:
    # PR 40 mm/h, 12 min, DU 0.5: 8 mm gross, 8 x 0.7 = 5.6 mm net for each of two starts.
    passes = _passes()

    net = _net(starts_ran(_logs(), passes, NEVER), passes).net_mm

    assert net[0, 0] == pytest.approx(11.2, rel=1e-5)
    assert net[0, 1] == pytest.approx(5.6, rel=1e-5)
    assert net[1, 0] == 0.0


def test_minutes_beyond_the_runoff_limit_run_off() -> None:
    passes = _passes()

    net = _net(starts_ran(_logs(), passes, NEVER), passes, limit_min=9.0).net_mm

    assert net[0, 0] == pytest.approx(11.2 * 9 / 12, rel=1e-5)
    assert net[0, 1] == pytest.approx(5.6, rel=1e-5)


def test_a_start_cut_short_leaves_only_the_governing_zone_short() -> None:
    passes = _passes()
    logs = _logs(("2026-06-01", "2026-06-02", 2, 0, 0), cut_short=1.0)

    net = _net(starts_ran(logs, passes, ALWAYS), passes).net_mm

    assert net[0, 0] == pytest.approx(11.2 * 1.5 / 2, rel=1e-5)
    assert net[0, 1] == pytest.approx(5.6, rel=1e-5)


def test_a_start_on_a_day_without_one_in_the_program_runs_as_its_starts_before() -> None:
    passes = _passes()
    logs = _logs(("2026-06-04", "2026-06-05", 1, 0, 0))

    net = _net(starts_ran(logs, passes, NEVER), passes).net_mm

    assert net[3, 0] == pytest.approx(5.6, rel=1e-5)


def test_an_error_of_a_count_is_one_for_its_whole_period() -> None:
    day = starts_ran(_logs(("2026-06-03", "2026-06-04", 2, 0, 0), error=0.15), _passes(), ALWAYS)
    # Ten days with five odd dates and ten starts, of which nine ran: 9 (1 - 9/10) of spread, 1.5 of count.
    period = starts_ran(_logs(("2026-06-01", "2026-06-11", 10, 1, 0), error=0.15), _passes(), ALWAYS)

    assert day.sd[2, 0] == pytest.approx(0.3)
    assert (period.sd[:10, 0] ** 2).sum() == pytest.approx(9 * 0.1 + 2 * 1.5**2)
    exact = starts_ran(_logs(("2026-06-03", "2026-06-04", 2, 0, 0)), _passes(), ALWAYS)
    assert exact.sd[2, 0] == 0.0


def test_rows_of_other_controllers_change_nothing() -> None:
    logs = _logs(("2026-06-01", "2026-06-02", 2, 2, 0))
    strangers = BypassRows(
        np.array([8]),
        logs.start,
        logs.end,
        logs.scheduled,
        logs.bypassed,
        logs.cut_short,
        logs.skipped,
        np.zeros(1),
    )

    ran = starts_ran(strangers, _passes(), NEVER)

    assert set(ran.source[:, 0]) == {IrrigationSource.ASSUMED}


def test_a_row_that_ends_before_it_starts_is_refused() -> None:
    with pytest.raises(ValueError, match="ends after it starts"):
        _logs(("2026-06-02", "2026-06-02", 2, 2, 0))


def _months() -> ZoneMonths:
    rng = np.random.default_rng(3)
    return ZoneMonths(
        values=rng.normal(size=(2, len(COLUMNS), 30)).astype(np.float32),
        source=rng.integers(0, 5, (2, 30)).astype(np.uint8),
        start_state=rng.normal(size=(2, 4)),
    )


def test_months_survive_packing() -> None:
    months = _months()

    back = unpack_months(pack_months(months))

    np.testing.assert_array_equal(back.values, months.values)
    np.testing.assert_array_equal(back.source, months.source)
    np.testing.assert_array_equal(back.start_state, months.start_state)


@pytest.mark.parametrize(
    "damage",
    [lambda blob: b"\x09" + blob[1:], lambda blob: blob[:-1], lambda _: b""],
    ids=["new", "cut", "none"],
)
def test_bytes_of_another_version_or_cut_short_are_refused(damage: object) -> None:
    assert callable(damage)
    with pytest.raises(UnknownBlobError, match="compute it again"):
        unpack_months([damage(pack_months(_months())[0])])

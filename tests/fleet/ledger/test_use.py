"""Readings and periods: what is computed, and what is named instead."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.calc.ledger import periods, streams
from fleet.calc.ledger.bills import usable_bills, whole_months
from fleet.calc.ledger.periods import UsePeriods
from fleet.calc.ledger.readings import RegisterReads, volumes_of_reads


def reads(
    rows: list[tuple[str, float]],
    *,
    digits: int = 4,
    estimated: tuple[int, ...] = (),
    restarts: tuple[int, ...] = (),
) -> RegisterReads:
    """One meter in m3, rows of time and figure in the order of writing."""
    count = len(rows)
    place = np.arange(count)
    return RegisterReads(
        site=np.zeros(count, dtype=np.int64),
        meter=np.ones(count, dtype=np.int64),
        read_at=np.array([row[0] for row in rows], dtype="datetime64[s]"),
        day=np.array([row[0][:10] for row in rows], dtype="datetime64[D]"),
        reading=np.array([row[1] for row in rows]),
        litres_per_unit=np.full(count, 1000.0),
        digits=np.full(count, digits, dtype=np.int64),
        is_estimated=np.isin(place, estimated),
        is_restart=np.isin(place, restarts),
        is_whole_house=np.zeros(count, dtype=np.bool_),
    )


def volumes(rows: list[tuple[int, int, str, str, float]], *, whole_house: bool = False) -> UsePeriods:
    """Periods of site, meter, start, end, litres."""
    site, meter, start, end, volume = zip(*rows, strict=True)
    return UsePeriods(
        site=np.array(site, dtype=np.int64),
        meter=np.array(meter, dtype=np.int64),
        start=np.array(start, dtype="datetime64[D]"),
        end=np.array(end, dtype="datetime64[D]"),
        volume_l=np.array(volume, dtype=np.float64),
        spans_estimate=np.zeros(len(rows), dtype=np.bool_),
        is_whole_house=np.full(len(rows), whole_house),
    )


def codes(problems: tuple[periods.UseProblem, ...]) -> list[str]:
    """Names only."""
    return [problem.code for problem in problems]


def test_volume_is_the_difference_of_readings_in_litres_on_days() -> None:
    use = volumes_of_reads(reads([("2026-05-01T09:00", 100.0), ("2026-06-01T17:00", 130.5)]))

    assert use.problems == ()
    assert use.periods.volume_l.tolist() == [30_500.0]
    assert use.periods.days.tolist() == [31.0]


def test_register_that_turned_over_counts_on() -> None:
    use = volumes_of_reads(reads([("2026-05-01", 9990.0), ("2026-06-01", 20.0)]))

    assert use.problems == ()
    assert use.periods.volume_l.tolist() == [30_000.0]


@pytest.mark.parametrize("digits", [0, 4], ids=["digits unknown", "would be most of the range"])
def test_fallen_reading_is_named_and_never_taken_for_a_turn(digits: int) -> None:
    use = volumes_of_reads(
        reads([("2026-04-01", 500.0), ("2026-05-01", 300.0), ("2026-06-01", 340.0)], digits=digits)
    )

    assert codes(use.problems) == [periods.READING_FELL]
    assert use.periods.volume_l.tolist() == [40_000.0]


def test_exchange_with_a_closing_read_loses_nothing() -> None:
    use = volumes_of_reads(
        reads(
            [("2026-04-01", 500.0), ("2026-05-01", 520.0), ("2026-05-01", 3.0), ("2026-06-01", 23.0)],
            restarts=(2,),
        )
    )

    assert use.problems == ()
    assert use.periods.volume_l.tolist() == [20_000.0, 20_000.0]


def test_exchange_without_a_closing_read_leaves_its_days_out_and_says_so() -> None:
    use = volumes_of_reads(
        reads([("2026-04-01", 500.0), ("2026-05-10", 0.0), ("2026-06-01", 12.0)], restarts=(1,))
    )

    assert [(p.code, p.start, p.end) for p in use.problems] == [
        (periods.NO_CLOSING_READ, "2026-04-01", "2026-05-10")
    ]
    assert use.periods.volume_l.tolist() == [12_000.0]


def test_estimated_read_is_passed_over_and_its_period_marked() -> None:
    use = volumes_of_reads(
        reads([("2026-04-01", 0.0), ("2026-05-01", 99.0), ("2026-06-01", 50.0)], estimated=(1,))
    )

    assert use.problems == ()
    assert use.periods.volume_l.tolist() == [50_000.0]
    assert use.periods.spans_estimate.tolist() == [True]


def test_several_reads_of_a_day_belong_to_one_period() -> None:
    use = volumes_of_reads(
        reads([("2026-05-01T08:00", 10.0), ("2026-05-01T20:00", 11.0), ("2026-05-02T08:00", 12.0)])
    )

    assert use.periods.volume_l.tolist() == [2_000.0]
    assert use.periods.days.tolist() == [1.0]


def test_reads_out_of_order_are_named() -> None:
    use = volumes_of_reads(reads([("2026-05-01", 10.0), ("2026-04-01", 5.0), ("2026-06-01", 20.0)]))

    assert codes(use.problems) == [periods.READS_OUT_OF_ORDER]
    assert use.periods.volume_l.tolist() == [5_000.0, 10_000.0]


def test_two_different_reads_at_one_time_are_both_left_out() -> None:
    use = volumes_of_reads(
        reads([("2026-04-01", 0.0), ("2026-05-01", 10.0), ("2026-05-01", 90.0), ("2026-06-01", 30.0)])
    )

    assert codes(use.problems) == [periods.TWO_READS_AT_ONE_TIME]
    assert use.periods.volume_l.tolist() == [30_000.0]


def test_one_read_only_is_named() -> None:
    use = volumes_of_reads(reads([("2026-05-01", 10.0)]))

    assert codes(use.problems) == [periods.ONE_READ_ONLY]
    assert use.periods.site.size == 0


def test_only_estimated_reads_are_named() -> None:
    use = volumes_of_reads(reads([("2026-04-01", 1.0), ("2026-05-01", 10.0)], estimated=(0, 1)))

    assert codes(use.problems) == [periods.ONLY_ESTIMATED_READS]
    assert use.periods.site.size == 0


@given(st.lists(st.floats(0, 90), min_size=1, max_size=20), st.floats(0, 9_999))
def test_turning_register_keeps_the_total(steps: list[float], first: float) -> None:
    shown = (first + np.cumsum([0.0, *steps])) % 10_000
    days = np.datetime64("2026-01-01") + 30 * np.arange(shown.size)

    use = volumes_of_reads(reads([(str(d), float(v)) for d, v in zip(days, shown, strict=True)]))

    assert use.periods.volume_l.sum() == pytest.approx(1000 * sum(steps), abs=1e-3)


def test_negative_and_empty_periods_are_named_and_left_out() -> None:
    use = periods.sound_periods(
        volumes([(0, 1, "2026-05-01", "2026-06-01", -5.0), (0, 1, "2026-06-01", "2026-06-01", 5.0)])
    )

    assert codes(use.problems) == [periods.EMPTY_PERIOD, periods.NEGATIVE_VOLUME]
    assert use.periods.site.size == 0


def test_of_overlapping_periods_none_is_kept_nor_averaged() -> None:
    use = periods.sound_periods(
        volumes(
            [
                (0, 1, "2026-04-01", "2026-06-01", 60.0),
                (0, 1, "2026-05-01", "2026-05-10", 9.0),
                (0, 1, "2026-06-01", "2026-07-01", 30.0),
                (1, 2, "2026-04-15", "2026-05-15", 7.0),
            ]
        )
    )

    assert codes(use.problems) == [periods.OVERLAPPING_PERIODS, periods.OVERLAPPING_PERIODS]
    assert use.periods.volume_l.tolist() == [30.0, 7.0]


def test_long_period_that_reaches_over_two_later_ones_spoils_all_three() -> None:
    use = periods.sound_periods(
        volumes(
            [
                (0, 1, "2026-01-01", "2026-12-01", 60.0),
                (0, 1, "2026-02-01", "2026-02-10", 9.0),
                (0, 1, "2026-11-01", "2026-12-01", 30.0),
            ]
        )
    )

    assert len(use.problems) == 3


def test_irrigation_meter_stands_before_the_whole_house_one() -> None:
    own = volumes([(0, 1, "2026-05-01", "2026-06-01", 10.0)])
    house = volumes([(0, 2, "2026-05-01", "2026-06-01", 90.0)], whole_house=True)

    use = streams.site_periods(periods.sound_periods(periods.joined(own, house)))

    assert use.periods.volume_l.tolist() == [10.0]


def test_several_meters_add_up_between_days_on_which_all_were_read() -> None:
    use = streams.site_periods(
        periods.sound_periods(
            volumes(
                [
                    (0, 1, "2026-04-01", "2026-05-01", 10.0),
                    (0, 1, "2026-05-01", "2026-06-01", 20.0),
                    (0, 2, "2026-04-01", "2026-06-01", 5.0),
                    (1, 3, "2026-04-01", "2026-05-01", 1.0),
                ]
            )
        )
    )

    assert use.problems == ()
    assert use.periods.volume_l.tolist() == [35.0, 1.0]
    assert use.periods.days.tolist() == [61.0, 30.0]


def test_meters_never_read_together_are_named() -> None:
    use = streams.site_periods(
        periods.sound_periods(
            volumes([(0, 1, "2026-04-01", "2026-05-01", 10.0), (0, 2, "2026-04-11", "2026-05-11", 5.0)])
        )
    )

    assert codes(use.problems) == [periods.METERS_READ_APART]
    assert use.periods.site.size == 0


def test_daily_volumes_become_months_that_fall_apart_at_a_gap() -> None:
    days = np.arange(np.datetime64("2026-04-01"), np.datetime64("2026-06-01"))
    rows = [(0, 1, str(d), str(d + 1), 1.0) for d in days if str(d) != "2026-05-10"]

    months = whole_months(periods.sound_periods(volumes(rows)).periods, 1)

    assert months.days.tolist() == [30.0, 9.0, 21.0]
    assert months.volume_l.tolist() == [30.0, 9.0, 21.0]


def test_monthly_bill_of_forty_days_is_not_used_but_a_bimonthly_one_of_sixty_is() -> None:
    monthly = [(0, 1, "2026-01-01", "2026-01-31", 1.0), (0, 1, "2026-01-31", "2026-03-02", 1.0)]
    long = [(0, 1, "2026-03-02", "2026-04-11", 1.0)]
    slow = [(1, 2, "2026-01-01", "2026-03-02", 1.0), (1, 2, "2026-03-02", "2026-05-01", 1.0)]

    usable = usable_bills(volumes([*monthly, *long, *slow]), 2)

    assert usable.tolist() == [True, True, False, True, True]  # CalTRACK 2.0, 2.2.3

"""The sentence under a flag, and the counts behind it."""

from __future__ import annotations

from datetime import date

import numpy as np

from fleet.calc.watch.evidence import (
    Counts,
    contrary_sentence,
    count_table,
    evidence_sentence,
    outside_sentence,
    totals_sentence,
)


def test_the_sentence_tells_counts_expectation_neighbours_rain_and_causes() -> None:
    counts = Counts(
        since=date(2026, 5, 27),
        starts=40,
        blocked=38,
        expected=16.0,
        expected_sd=3.1,
        rain_mm=42.4,
        neighbours=12,
        neighbour_rate=0.372,
        neighbours_blocking=3,
    )

    text = evidence_sentence(counts, [("reads_wet", 0.72), ("stuck_wet", 0.2)], end=date(2026, 6, 14))

    assert text == (
        "From 27 May to 14 Jun the sensor blocked 38 of 40 starts with 42 mm of rain; 3 of 12 neighbours"
        " blocked at least half of theirs (37 % in all). On the same weather a good sensor here would have"
        " blocked 12 to 20."
        " Most likely: reads wet (72 %), possible: stuck wet (20 %)."
    )


def test_runs_through_rain_are_told_beside_the_neighbours_that_blocked() -> None:
    counts = Counts(date(2026, 5, 27), 12, 0, 9.0, 1.0, 41.0, 11, 0.8, neighbours_blocking=9)

    text = evidence_sentence(counts, [], end=date(2026, 6, 14))

    assert "12 of 12 starts ran through 41 mm of rain; 9 of 11 neighbours blocked at least half" in text


def test_neighbours_that_mostly_block_are_counted_from_each_sites_own_day() -> None:
    starts = np.full((10, 4), 2.0)
    blocked = np.zeros((10, 4))
    blocked[:, 1] = 2.0
    blocked[6:, 2] = 2.0
    table = count_table(
        starts,
        blocked,
        np.full((10, 4), 0.5),
        np.zeros((10, 4)),
        np.zeros(4, dtype=int),
        np.array([0, 0, 6, 6]),
    )

    np.testing.assert_array_equal(table.neighbours, [3, 3, 3, 3])
    np.testing.assert_array_equal(table.neighbours_blocking, [1, 0, 1, 2])


def test_without_neighbours_none_are_named() -> None:
    counts = Counts(date(2026, 5, 1), 10, 5, 5.0, 1.0, 0.0, 0, float("nan"))

    assert "neighbour" not in evidence_sentence(counts, [], end=date(2026, 5, 9))


def test_a_silent_timer_is_told_apart_from_skipped_starts() -> None:
    silent = outside_sentence("no_power", date(2026, 5, 1), by_skips=False, days=9)
    skipped = outside_sentence("no_power", date(2026, 5, 1), by_skips=True, days=9)

    assert "no start at all" in silent
    assert "skipped for a cause other than the sensor" in skipped


def test_counts_begin_at_each_sites_own_day_and_neighbours_leave_it_out() -> None:
    starts = np.full((10, 3), 2.0)
    blocked = np.tile(np.array([2.0, 1.0, 0.0]), (10, 1))
    rate = np.full((10, 3), 0.5)
    rain = np.ones((10, 3))

    table = count_table(starts, blocked, rate, rain, np.array([0, 0, 1]), np.array([4, 0, 0]))

    assert table.starts.tolist() == [12, 20, 20]
    assert table.blocked.tolist() == [12, 10, 0]
    assert table.neighbours.tolist() == [1, 1, 0]
    np.testing.assert_allclose(table.neighbour_rate[:2], [0.5, 1.0])
    assert np.isnan(table.neighbour_rate[2])
    np.testing.assert_allclose(table.rain_mm, [6.0, 10.0, 10.0])


def test_an_erratic_sensor_is_told_by_runs_on_wet_and_blocks_on_dry_soil() -> None:
    starts = np.full((10, 2), 2.0)
    blocked = np.ones((10, 2))
    rate = np.full((10, 2), 0.5)
    rate[:4, 0], rate[4:7, 0], rate[7, 0] = 0.9, 0.1, np.nan

    table = count_table(
        starts, blocked, rate, np.zeros((10, 2)), np.zeros(2, dtype=np.int64), np.array([1, 0])
    )

    assert contrary_sentence(table, 0) == (
        "By the balance 3 of 6 starts ran where a good sensor mostly blocks"
        " and 3 of 6 were blocked where it mostly lets them run."
    )
    assert contrary_sentence(table, 1) == ""


def test_a_total_that_parts_from_the_book_is_told_with_both_counts() -> None:
    text = totals_sentence(date(2026, 5, 12), told=42, by_book=28)

    assert text == (
        "The log counts 42 starts in the period from 12 May on; the program in the book gives 28."
    )

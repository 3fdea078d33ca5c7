from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sites.calc.program.days import (
    DayPattern,
    DayPatternError,
    StartTimesError,
    parse_days,
    parse_starts,
    runs_on,
    starts_text,
)
from sites.calc.program.passes import ProgramLines, program_passes

AS_OF = date(2026, 6, 1)  # a Monday


def days_from(first: date, count: int) -> np.ndarray:
    return np.arange(np.datetime64(first, "D"), np.datetime64(first, "D") + count)


@pytest.mark.parametrize(
    ("text", "runs"),
    [
        pytest.param("mon,wed,fri", [1, 3, 5, 8, 10, 12], id="weekdays"),
        pytest.param("Sun, Mon", [1, 7, 8, 14], id="weekdays in any order and case"),
        pytest.param("every:3@2026-06-02", [2, 5, 8, 11, 14], id="interval with its own anchor"),
        pytest.param("every:3", [1, 4, 7, 10, 13], id="interval from the day it was read"),
        pytest.param("every:3@2026-07-02", [2, 5, 8, 11, 14], id="anchor after the days"),
        pytest.param("odd", [1, 3, 5, 7, 9, 11, 13], id="odd dates"),
        pytest.param("even", [2, 4, 6, 8, 10, 12, 14], id="even dates"),
        pytest.param("daily", list(range(1, 15)), id="daily"),
    ],
)
def test_a_pattern_runs_on_the_days_its_text_says(text: str, runs: list[int]) -> None:
    mask = runs_on(parse_days(text, AS_OF), days_from(AS_OF, 14))

    assert [day + 1 for day in np.flatnonzero(mask)] == runs


def test_odd_dates_run_on_the_31st_and_again_on_the_1st() -> None:
    mask = runs_on(DayPattern("odd"), days_from(date(2026, 7, 30), 4))

    assert mask.tolist() == [False, True, True, False]


def test_an_interval_keeps_its_phase_over_the_turn_of_the_week_and_year() -> None:
    pattern = parse_days("every:4@2025-12-30", AS_OF)

    mask = runs_on(pattern, days_from(date(2025, 12, 28), 12))

    assert [int(day) for day in np.flatnonzero(mask)] == [2, 6, 10]


@pytest.mark.parametrize(
    "text", ["", "moon", "every:", "every:0", "every:x", "every:3@June", "mon;tue", "every:99"]
)
def test_text_that_names_no_days_is_refused(text: str) -> None:
    with pytest.raises(DayPatternError):
        parse_days(text, AS_OF)


@given(
    st.one_of(
        st.builds(
            DayPattern,
            kind=st.just("weekdays"),
            weekdays=st.sets(st.integers(0, 6), min_size=1).map(lambda days: tuple(sorted(days))),
        ),
        st.builds(
            DayPattern,
            kind=st.just("interval"),
            interval_days=st.integers(1, 30),
            anchor=st.dates(date(2000, 1, 1), date(2100, 1, 1)),
        ),
        st.sampled_from([DayPattern("odd"), DayPattern("even"), DayPattern("daily")]),
    )
)
def test_a_pattern_written_out_and_read_back_is_the_same(pattern: DayPattern) -> None:
    assert parse_days(pattern.text, AS_OF) == pattern


def test_start_times_are_read_in_order_and_written_back() -> None:
    assert parse_starts(" 5:30; 04:00 ") == (240, 330)
    assert starts_text((240, 330)) == "04:00;05:30"
    assert parse_starts("") == ()


@pytest.mark.parametrize("text", ["4", "04.00", "24:00", "04:60", "four", "4:5"])
def test_text_that_is_no_time_is_refused(text: str) -> None:
    with pytest.raises(StartTimesError):
        parse_starts(text)


def lines(rows: list[tuple[int, str, int, str, str, float, float, str]]) -> ProgramLines:
    columns = list(zip(*rows, strict=True))
    return ProgramLines(
        controller_id=np.array(columns[0]),
        program=np.array(columns[1]),
        zone_id=np.array(columns[2]),
        days=np.array(columns[3]),
        starts=np.array(columns[4]),
        run_min=np.array(columns[5], dtype=float),
        seasonal_adjust_pct=np.array(columns[6], dtype=float),
        as_of=np.array(columns[7], dtype="datetime64[D]"),
    )


def test_passes_count_every_letter_that_waters_a_zone() -> None:
    as_set = lines(
        [
            (1, "A", 11, "daily", "04:00;05:30", 10, 100, "2026-06-01"),
            (1, "A", 12, "daily", "04:00;05:30", 6, 100, "2026-06-01"),
            (1, "B", 12, "mon", "20:00", 9, 50, "2026-06-01"),
        ]
    )

    passes = program_passes(
        as_set, days=days_from(AS_OF, 2), controller_ids=np.array([1]), zone_ids=np.array([12, 11])
    )

    assert passes.starts.tolist() == [[3], [2]]
    assert passes.passes.tolist() == [[3, 2], [2, 2]]
    assert passes.run_min.tolist() == [[16.5, 20], [12, 20]]


def test_a_later_setting_replaces_the_whole_earlier_one() -> None:
    as_set = lines(
        [
            (1, "A", 11, "daily", "04:00", 10, 100, "2026-06-01"),
            (1, "B", 11, "daily", "20:00", 5, 100, "2026-06-01"),
            (1, "A", 11, "daily", "04:00", 7, 100, "2026-06-03"),
        ]
    )

    passes = program_passes(
        as_set, days=days_from(AS_OF, 4), controller_ids=np.array([1]), zone_ids=np.array([11])
    )

    assert passes.run_min[:, 0].tolist() == [15, 15, 7, 7]


def test_a_day_before_the_first_setting_is_unknown_and_not_dry() -> None:
    as_set = lines([(1, "A", 11, "daily", "04:00", 10, 100, "2026-06-03")])

    passes = program_passes(
        as_set, days=days_from(AS_OF, 3), controller_ids=np.array([1, 2]), zone_ids=np.array([11])
    )

    assert passes.is_known.tolist() == [[False, False], [False, False], [True, False]]


def test_lines_of_strangers_are_left_out() -> None:
    as_set = lines(
        [
            (1, "A", 11, "daily", "04:00", 10, 100, "2026-06-01"),
            (9, "A", 99, "daily", "04:00", 10, 100, "2026-06-01"),
        ]
    )

    passes = program_passes(
        as_set, days=days_from(AS_OF, 1), controller_ids=np.array([1]), zone_ids=np.array([11])
    )

    assert passes.run_min.tolist() == [[10]]


def test_an_empty_book_gives_empty_arrays() -> None:
    nothing = ProgramLines(
        controller_id=np.array([], dtype=np.int64),
        program=np.array([], dtype=np.str_),
        zone_id=np.array([], dtype=np.int64),
        days=np.array([], dtype=np.str_),
        starts=np.array([], dtype=np.str_),
        run_min=np.array([]),
        seasonal_adjust_pct=np.array([]),
        as_of=np.array([], dtype="datetime64[D]"),
    )

    passes = program_passes(
        nothing,
        days=days_from(AS_OF, 3),
        controller_ids=np.array([], dtype=np.int64),
        zone_ids=np.array([], dtype=np.int64),
    )

    assert passes.run_min.shape == (3, 0)


@given(st.integers(2, 9), st.dates(date(2020, 1, 1), date(2030, 1, 1)))
def test_an_interval_runs_exactly_once_in_each_of_its_lengths(interval_days: int, anchor: date) -> None:
    pattern = DayPattern("interval", interval_days=interval_days, anchor=anchor)

    mask = runs_on(pattern, days_from(anchor - timedelta(days=30), interval_days * 6))

    assert mask.reshape(6, interval_days).sum(axis=1).tolist() == [1] * 6

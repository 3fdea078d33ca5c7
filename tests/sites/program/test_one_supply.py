"""Timers of one garden on one supply: what runs of both together, and what of it is too much."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sites.calc.program.one_supply import SupplyTimer, beyond_one_supply
from sites.calc.program.sheet import KeyedLine

MONDAY = date(2026, 6, 15)
DAYS = np.arange(np.datetime64(MONDAY), np.datetime64(MONDAY) + 14)


def timer(
    code: str, starts: str, *, days: str = "daily", limit: float | None = None, flow: float = 40.0
) -> SupplyTimer:
    """A timer of two stations of half an hour each."""
    lines = tuple(KeyedLine("A", days, starts, station, 30.0) for station in (1, 2))
    return SupplyTimer(code, lines, MONDAY, {1: flow, 2: flow}, limit)


def test_two_timers_that_meet_beyond_the_supply_are_named_with_day_hour_flow_and_a_free_hour() -> None:
    words = beyond_one_supply([timer("A", "04:00", limit=60.0), timer("B", "04:40", days="wed")], DAYS)

    assert words == (
        "Station 2 of controller A and station 1 of controller B run together on Wed 17 Jun at 04:40 and take"
        " 80.0 L/min; the supply is said to give 60.0 L/min, if both draw from it. What controller A starts"
        " that day has ended at 05:00."
    )


@pytest.mark.parametrize(
    ("timers", "because"),
    [
        ([timer("A", "04:00", limit=60.0), timer("B", "05:00")], "one ends when the other begins"),
        ([timer("A", "04:00", limit=80.0), timer("B", "04:40")], "the supply gives that much"),
        ([timer("A", "04:00"), timer("B", "04:00")], "nobody told a flow"),
        ([timer("A", "04:00", limit=10.0)], "one timer is its own check's"),
        (
            [timer("A", "04:00", days="mon", limit=60.0), timer("B", "04:00", days="tue")],
            "they run on other days",
        ),
    ],
)
def test_what_fits_is_not_named(timers: list[SupplyTimer], because: str) -> None:
    assert beyond_one_supply(timers, DAYS) == "", because


def test_a_run_across_midnight_meets_the_other_timer_s_early_start() -> None:
    words = beyond_one_supply(
        [timer("A", "23:30", days="mon", limit=60.0), timer("B", "00:10", days="tue")], DAYS
    )

    assert "on Tue 16 Jun at 00:10" in words
    assert "What controller A starts that day has ended at 00:30." in words


def test_a_seasonal_adjust_lengthens_what_runs() -> None:
    one = timer("A", "04:00", limit=60.0)
    longer = SupplyTimer(
        "A",
        tuple(KeyedLine("A", "daily", "04:00", line.station, 30.0, 150.0) for line in one.lines),
        MONDAY,
        one.flow_l_min,
        60.0,
    )

    assert beyond_one_supply([one, timer("B", "05:10")], DAYS) == ""
    assert "at 05:10" in beyond_one_supply([longer, timer("B", "05:10")], DAYS)


def test_a_supply_that_gives_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="more than nothing"):
        timer("A", "04:00", limit=0.0)


@settings(max_examples=30, deadline=None)
@given(
    one=st.integers(0, 1380),
    other=st.integers(0, 1380),
    flow=st.floats(1.0, 80.0),
    limit=st.floats(1.0, 200.0),
)
def test_a_conflict_is_named_exactly_where_both_run_and_exceed_the_flow(
    one: int, other: int, flow: float, limit: float
) -> None:
    starts = [f"{minute // 60:02d}:{minute % 60:02d}" for minute in (one, other)]
    words = beyond_one_supply(
        [timer("A", starts[0], limit=limit, flow=flow), timer("B", starts[1], flow=flow)], DAYS
    )

    # Each timer runs 60 minutes, one station at a time; daily, so that the clock is a circle.
    apart = min((one - other) % 1440, (other - one) % 1440)
    assert bool(words) == (apart < 60 and 2 * flow > limit + 1e-6)

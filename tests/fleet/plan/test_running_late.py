"""How late a day runs."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.calc.plan.running_late import Leg, expected_arrivals, late_min

START = datetime(2026, 6, 15, 14, 0, tzinfo=UTC)


def at(minutes: float) -> datetime:
    """A moment after the start."""
    return START + timedelta(minutes=minutes)


def day(*states: tuple[str, float | None]) -> list[Leg]:
    """Stops of 30 min with 10 min of driving between: begun at 10, 50, 90 ..."""
    return [
        Leg(at(10 + 40 * n), at(40 + 40 * n), 10.0, state, None if when is None else at(when))
        for n, (state, when) in enumerate(states)
    ]


def lateness(legs: list[Leg], now: float) -> list[int]:
    """Minutes late of each stop."""
    found = expected_arrivals(legs, at(now))
    return [late_min(leg.arrive, one) for leg, one in zip(legs, found, strict=True)]


@pytest.mark.parametrize(
    ("legs", "now", "expected"),
    [
        (day(("ahead", None), ("ahead", None)), -30, [0, 0]),
        (day(("ahead", None), ("ahead", None)), 20, [20, 20]),
        (day(("on_the_way", 0), ("ahead", None)), 5, [0, 0]),
        (day(("at_the_gate", 30), ("ahead", None), ("ahead", None)), 35, [20, 20, 20]),
        (day(("at_the_gate", 10), ("ahead", None)), 70, [0, 30]),
        (day(("finished", 75), ("ahead", None)), 75, [0, 35]),
        (day(("finished", 30), ("ahead", None)), 35, [0, 0]),
        (day(("not_possible", 12), ("on_the_way", 60)), 62, [0, 20]),
    ],
    ids=[
        "before the day",
        "not left",
        "in time",
        "late at the gate",
        "too long there",
        "late",
        "early",
        "left late",
    ],
)
def test_lateness_goes_on_to_the_end_of_the_day(legs: list[Leg], now: float, expected: list[int]) -> None:
    assert lateness(legs, now) == expected


def test_waiting_for_a_promised_hour_takes_lateness_in() -> None:
    legs = [*day(("at_the_gate", 40)), Leg(at(120), at(150), 10.0)]

    assert lateness(legs, 45) == [30, 0]


def test_nobody_reports_a_break_so_it_goes_on_by_its_plan() -> None:
    rest = Leg(at(40), at(70), 0.0, is_break=True)
    legs = [*day(("finished", 40)), rest, Leg(at(80), at(110), 10.0)]

    assert lateness(legs, 55) == [0, 0, 0]
    assert lateness(legs, 75) == [0, 0, 5]
    assert lateness([*day(("finished", 60)), *legs[1:]], 62) == [0, 20, 20]


def test_who_drives_first_and_rests_there_is_not_late_by_that_drive() -> None:
    legs = [*day(("finished", 40)), Leg(at(50), at(80), 0.0, is_break=True), Leg(at(80), at(110), 10.0)]

    assert lateness(legs, 60) == [0, 0, 0]
    assert lateness([*day(("finished", 65)), *legs[1:]], 66) == [0, 25, 25]


@given(now=st.floats(-60, 600), later=st.floats(0, 300), count=st.integers(1, 8))
def test_time_that_passes_never_makes_a_day_earlier(now: float, later: float, count: int) -> None:
    legs = day(*[("ahead", None)] * count)

    before, after = expected_arrivals(legs, at(now)), expected_arrivals(legs, at(now + later))

    assert all(one <= other for one, other in zip(before, after, strict=True))
    assert all(one >= leg.arrive for leg, one in zip(legs, before, strict=True))
    assert list(before) == sorted(before)

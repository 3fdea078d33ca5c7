"""Programs held against rules run by run: which stage they break, on which day, and why."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sites.calc.program.sheet import KeyedLine
from sites.calc.rules.breaks import RuleBreak, RuleChecker
from sites.calc.rules.file import parse_stage
from sites.calc.rules.stages import Stage, Watered
from tests.sites.rules.permitted import is_permitted

MONDAY = date(2026, 6, 15)
LAWN = Watered(9, "fixed_spray", "cool_turf")
DRIP = Watered(9, "dripline", "shrubs")
DENVER = "America/Denver"


def stage(**spec: Any) -> Stage:
    return parse_stage({"name": "stage", **spec})


def line(station: int = 1, minutes: float = 20, **columns: Any) -> KeyedLine:
    given: dict[str, Any] = {"letter": "A", "days": "daily", "starts": "04:00", **columns}
    return KeyedLine(station=station, run_min=minutes, **given)


def breaks(
    stages: list[Stage],
    lines: list[KeyedLine],
    *,
    first: date = MONDAY,
    watered: dict[int, Watered] | None = None,
    days: int = 14,
) -> list[RuleBreak]:
    checker = RuleChecker(stages, first_day=first, day_count=days, timezone=DENVER)
    return list(checker.breaks(lines, watered or {1: LAWN, 2: LAWN, 3: DRIP}, as_of=first))


def test_a_program_within_its_days_and_hours_breaks_nothing() -> None:
    rule = [stage(weekdays=["wed", "sat"], windows=["20:00-08:00"])]

    assert breaks(rule, [line(days="wed,sat", starts="20:00")]) == []
    assert breaks([], [line()]) == []


def test_a_barred_day_is_told_with_its_stage_and_how_often() -> None:
    (found,) = breaks([stage(weekdays=["wed"])], [line(days="wed,fri"), line(2, days="wed,fri")])

    assert (found.kind, found.day, found.stations, found.times) == ("day", date(2026, 6, 19), (1, 2), 4)
    assert (
        found.sentence == "Stations 1, 2: Fri 19 Jun, 4:00: Fri is not among the days (Wed) (stage “stage”)."
    )


def test_a_run_that_outlasts_the_window_is_outside_hours() -> None:
    rule = [stage(windows=["04:00-04:30"])]

    (found,) = breaks(rule, [line(1, 20), line(2, 20)])

    assert (found.kind, found.stations) == ("hours", (2,))
    assert "4:20: outside the open hours (4:00 to 4:30)" in found.words


def test_each_station_is_held_against_the_rules_of_its_own_heads() -> None:
    rule = [stage(max_days_per_week=0, applies_to={"heads": ["fixed_spray"]})]

    (found,) = breaks(rule, [line(1), line(3)])

    assert found.stations == (1,)
    assert "no watering at all" in found.words


def test_too_many_days_and_too_many_minutes() -> None:
    found = breaks(
        [stage(max_days_per_week=2, max_minutes_per_station=30)],
        [line(days="mon,wed,fri", starts="04:00;06:00")],
    )

    assert {one.kind: one.sentence for one in found} == {
        "days_per_week": "Waters 3 days in seven; the rule allows 2 (stage “stage”).",
        "minutes": "Station 1: runs 40 min a day; the rule allows 30 (stage “stage”).",
    }


def test_a_stage_binds_on_its_dates_only() -> None:
    ban = stage(max_days_per_week=0, **{"from": "2026-06-20", "until": "2026-06-22"})

    (found,) = breaks([ban], [line()])

    assert (found.day, found.times) == (date(2026, 6, 20), 2)


def test_odd_dates_break_where_the_31st_is_barred() -> None:
    rule = [stage(address_rule="odd", dates="odd", bar_31st=True)]

    (found,) = breaks(rule, [line(days="odd")], first=date(2026, 7, 25))

    assert (found.day, found.times) == (date(2026, 7, 31), 1)


def test_a_pass_across_midnight_belongs_to_its_evening() -> None:
    rule = [stage(weekdays=["wed"], windows=["22:00-02:00"])]

    assert breaks(rule, [line(days="wed", starts="23:50", minutes=120)]) == []
    (found,) = breaks(rule, [line(days="wed", starts="23:50", minutes=131)])
    assert found.kind == "hours"


def test_a_run_over_the_hour_that_the_clock_skips_ends_an_hour_later_by_it() -> None:
    # Denver, Sunday 8 March 2026: 02:00 becomes 03:00.
    rule = [stage(windows=["00:00-04:00"])]

    assert breaks(rule, [line(starts="01:00", minutes=150)], first=date(2026, 3, 9), days=1) == []
    assert breaks(rule, [line(starts="01:00", minutes=150)], first=date(2026, 3, 8), days=1) != []


def test_a_start_that_comes_twice_must_be_open_at_both_readings() -> None:
    # Denver, Sunday 1 November 2026: 01:30 comes twice.
    assert breaks([stage(windows=["01:30-05:00"])], [line(starts="01:30")], first=date(2026, 11, 1)) != []
    assert breaks([stage(windows=["00:30-05:00"])], [line(starts="01:30")], first=date(2026, 11, 1)) == []


def test_without_a_house_number_nobody_can_tell() -> None:
    rule = [stage(address_rule="odd", dates="odd")]

    (found,) = breaks(rule, [line()], watered={1: Watered(None)})

    assert found.kind == "unknown"


def test_seasonal_adjust_counts_and_a_station_at_zero_does_not_run() -> None:
    rule = [stage(windows=["04:00-04:30"])]

    assert breaks(rule, [line(1, 0), line(2, 20)]) == []
    assert breaks(rule, [line(1, 20, seasonal_adjust_pct=200.0)]) != []


@settings(max_examples=80, deadline=None)
@given(
    st.tuples(st.integers(0, 23), st.integers(0, 23)).filter(lambda pair: pair[0] != pair[1]),
    st.sampled_from(["opening", "calendar"]),
    st.sampled_from(["daily", "odd", "mon,thu"]),
    st.integers(0, 1439),
    st.integers(1, 240),
    st.sampled_from([MONDAY, date(2026, 3, 6), date(2026, 10, 30)]),
)
def test_a_program_breaks_rules_exactly_where_one_of_its_runs_is_not_permitted(
    window: tuple[int, int], window_day: str, days: str, start: int, minutes: int, first: date
) -> None:
    rule = [stage(windows=[f"{window[0]:02d}:00-{window[1]:02d}:00"], window_day=window_day, dates="odd")]
    starts = f"{start // 60:02d}:{start % 60:02d}"
    zone = ZoneInfo(DENVER)

    found = breaks(rule, [line(days=days, starts=starts, minutes=minutes)], first=first, days=7)

    is_day: dict[str, Callable[[date], object]] = {
        "daily": lambda _day: True,
        "odd": lambda day: day.day % 2,
        "mon,thu": lambda day: day.weekday() in (0, 3),
    }
    runs = [day for n in range(7) if is_day[days](day := first + timedelta(days=n))]
    walls = [datetime(day.year, day.month, day.day, start // 60, start % 60, tzinfo=zone) for day in runs]
    begins = [wall.replace(fold=fold).astimezone(UTC) for wall in walls for fold in (0, 1)]
    allowed = all(
        is_permitted(begin, begin + timedelta(minutes=minutes), stages=rule, watered=LAWN, timezone=DENVER)
        for begin in begins
    )
    assert (found == []) == allowed


@pytest.mark.parametrize("days", ["every:3", "every:3@2026-06-16"])
def test_an_interval_runs_from_its_own_anchor(days: str) -> None:
    found = breaks([stage(weekdays=["mon"])], [line(days=days)], days=3)

    assert bool(found) == ("@" in days)

"""Every run of an issued program lies in permitted hours: checked run by run, in true time."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from sites.calc.program.days import DayPattern, runs_on
from sites.calc.program.times import Timetable
from sites.calc.rules.cases import clock_goes_forward, rule_case
from sites.calc.rules.file import parse_stage
from sites.calc.rules.stages import Stage, Watered
from sites.calc.search.chosen import Chosen
from sites.calc.search.controllers import RuleCase
from sites.calc.search.search import best_programs
from tests.sites.rules.permitted import is_permitted
from tests.sites.search.cases import DAYS, garden, on_the_clock

MODES = ("weekdays", "interval", "odd", "even")
ODD, EVEN = Watered(9, "rotor", "cool_turf"), Watered(12, "rotor", "cool_turf")


def stages(*specs: dict[str, Any]) -> list[Stage]:
    return [parse_stage({"name": f"stage {number}", **spec}) for number, spec in enumerate(specs)]


ODD_EVEN = stages(
    {"address_rule": "odd", "dates": "odd", "windows": ["18:00-10:00"]},
    {"address_rule": "even", "dates": "even", "windows": ["18:00-10:00"]},
)
PATTERNS = {
    "no rule": ([], ODD),
    "odd and even dates, odd house": (ODD_EVEN, ODD),
    "odd and even dates, even house": (ODD_EVEN, EVEN),
    "morning and evening": (stages({"dates": "odd", "windows": ["06:00-09:00", "18:00-21:00"]}), ODD),
    "31st barred": (stages({"dates": "odd", "bar_31st": True, "windows": ["18:00-24:00"]}), ODD),
    "two days, night counts to the evening": (
        stages({"weekdays": {"odd": ["wed", "sat"], "even": ["thu", "sun"]}, "windows": ["20:00-08:00"]}),
        ODD,
    ),
    "two days, night cut at midnight": (
        stages({"weekdays": ["thu", "sun"], "windows": ["20:00-08:00"], "window_day": "calendar"}),
        EVEN,
    ),
    "by last digit, once a week": (
        stages(
            {
                "address_rule": "last_digit",
                "weekdays": {"01": ["mon"], "23": ["tue"], "45": ["wed"], "67": ["thu"], "89": ["fri"]},
                "windows": ["00:00-10:00", "20:00-24:00"],
                "window_day": "calendar",
            }
        ),
        ODD,
    ),
    "two stages at once": (
        stages(
            {"weekdays": ["mon", "wed", "fri"], "windows": ["19:00-07:00"]},
            {"weekdays": ["wed", "sat"], "windows": ["20:00-09:00"]},
        ),
        ODD,
    ),
    "at most two days a week": (stages({"windows": ["22:00-06:00"], "max_days_per_week": 2}), ODD),
    "three hours": (stages({"windows": ["04:00-07:00"]}), ODD),
    "minutes a day": (stages({"windows": ["20:00-08:00"], "max_minutes_per_station": 15}), ODD),
}
WEEKS = {
    "June": (date(2026, 6, 15), "America/Denver"),
    "a 31st and a 1st": (date(2026, 7, 20), "America/Denver"),
    "clock forward": (date(2026, 3, 2), "America/Denver"),
    "clock back": (date(2026, 10, 19), "America/Denver"),
    "southern spring": (date(2026, 9, 21), "Australia/Sydney"),
}


def issued(
    rules: list[Stage], watered: Watered, week: date, timezone: str, *, governed: bool
) -> tuple[RuleCase, Chosen, Timetable | None]:
    case = rule_case(rules, [watered], first_day=week, day_count=DAYS, day_modes=MODES, timezone=timezone)
    given = garden(
        plants=("cool_turf", "cool_turf", "desert", "shrubs"),
        heads=("rotor", "fixed_spray", "dripline", "dripline"),
        governed=governed,
        texture="clay_loam",
        case=case,
    )
    chosen = best_programs(given)
    return case, chosen, on_the_clock(given, chosen, case) if chosen.pattern[0] >= 0 else None


def runs_of(
    case: RuleCase, chosen: Chosen, table: Timetable, week: date, timezone: str
) -> Iterator[tuple[datetime, datetime]]:
    """Start and end of every run of the days for which the program is issued."""
    main = case.choices[int(chosen.pattern[0])]
    days = np.arange(np.datetime64(week), np.datetime64(week) + main.valid_days)
    for letter in table.letters:
        pattern: DayPattern = (
            case.choices[int(chosen.low_pattern[0])].pattern if letter.is_low else main.pattern
        )
        for day in days[runs_on(pattern, days)].astype(object):
            if day in main.off_days:
                continue
            for start in letter.starts_min:
                wall = datetime.combine(day, time(start // 60, start % 60), ZoneInfo(timezone))
                begin = wall.astimezone(UTC)
                for run in letter.runs:
                    end = begin + timedelta(minutes=run.minutes)
                    yield begin, end
                    begin = end


@pytest.mark.parametrize("governed", [True, False], ids=["governed", "clock only"])
@pytest.mark.parametrize("week", list(WEEKS))
@pytest.mark.parametrize("pattern", list(PATTERNS))
def test_no_run_of_an_issued_program_lies_outside_permitted_hours(
    pattern: str, week: str, governed: bool
) -> None:
    rules, watered = PATTERNS[pattern]
    first_day, timezone = WEEKS[week]

    case, chosen, table = issued(rules, watered, first_day, timezone, governed=governed)

    assert table is not None
    assert table.overrun_min == 0
    runs = list(runs_of(case, chosen, table, first_day, timezone))
    assert runs
    for start, end in runs:
        assert is_permitted(start, end, stages=rules, watered=watered, timezone=timezone), (start, end)


def test_no_station_runs_longer_in_a_day_than_the_rule_lets_it() -> None:
    rules, watered = PATTERNS["minutes a day"]

    _, chosen, table = issued(rules, watered, date(2026, 6, 15), "America/Denver", governed=True)

    assert table is not None
    for letter in table.letters:
        for run in letter.runs:
            assert run.minutes * len(letter.starts_min) <= 15
    assert chosen.pattern[0] >= 0


def test_a_day_that_only_the_timer_would_run_on_is_to_be_switched_off() -> None:
    evenings = stages({"dates": "odd", "bar_31st": True, "windows": ["18:00-24:00"]})

    case = rule_case(
        evenings,
        [ODD],
        first_day=date(2026, 7, 13),
        day_count=DAYS,
        day_modes=("odd", "even"),
        timezone="UTC",
    )

    assert case.choices[0].pattern.text == "odd"
    assert case.choices[0].off_days == (date(2026, 7, 31),)


def test_a_change_of_stage_shortens_the_time_for_which_a_program_is_good() -> None:
    change = stages({"dates": "odd", "until": "2026-06-25"}, {"weekdays": ["wed"], "from": "2026-06-25"})

    case = rule_case(
        change, [ODD], first_day=date(2026, 6, 15), day_count=DAYS, day_modes=MODES, timezone="UTC"
    )

    assert case.choices[0].valid_days == 7
    assert set(np.flatnonzero(case.choices[0].runs[:7])) <= {0, 2, 4, 6}


def test_a_ban_leaves_no_program() -> None:
    ban = stages({"weekdays": {"odd": [], "even": []}})

    case, chosen, table = issued(ban, ODD, date(2026, 6, 15), "UTC", governed=True)

    assert case.choices == ()
    assert chosen.pattern[0] == -1
    assert table is None


def test_the_strictest_zone_speaks_for_its_controller() -> None:
    sprays = stages({"weekdays": ["mon"], "applies_to": {"heads": ["fixed_spray"]}})
    spray, drip = Watered(9, "fixed_spray", "cool_turf"), Watered(9, "dripline", "shrubs")

    def densest(*watered: Watered) -> int:
        case = rule_case(
            sprays, watered, first_day=date(2026, 6, 15), day_count=DAYS, day_modes=MODES, timezone="UTC"
        )
        return int(max(choice.runs.sum() for choice in case.choices))

    assert densest(drip) == 28
    assert densest(drip, spray) == 4


def test_the_clock_goes_forward_in_spring_only() -> None:
    assert clock_goes_forward(date(2026, 3, 2), 28, "America/Denver")
    assert not clock_goes_forward(date(2026, 10, 19), 28, "America/Denver")
    assert not clock_goes_forward(date(2026, 3, 2), 28, "America/Phoenix")

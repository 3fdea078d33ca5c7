"""Permitted days and hours, on patterns of the kinds that towns and suppliers publish."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sites.calc.rules.file import parse_stage
from sites.calc.rules.hours import permitted_hours
from sites.calc.rules.stages import AddressUnknownError, RuleError, Stage, Watered, house_number, tightest
from tests.sites.rules.permitted import is_permitted, permitted_days

MONDAY = date(2026, 6, 15)
ODD_HOUSE = Watered(house_number=9, head="fixed_spray", plant="cool_turf")
EVEN_HOUSE = Watered(house_number=12, head="fixed_spray", plant="cool_turf")


def stage(**spec: Any) -> Stage:
    return parse_stage({"name": "stage", **spec})


def days_from(first: date, count: int = 14) -> np.ndarray:
    return np.arange(np.datetime64(first, "D"), np.datetime64(first, "D") + count)


def open_days(stages: list[Stage], watered: Watered, first: date = MONDAY, count: int = 14) -> list[str]:
    days = days_from(first, count)
    return [str(day)[5:] for day in days[permitted_days(stages, watered, days)]]


def runs(
    stages: list[Stage],
    start: str,
    end: str,
    *,
    watered: Watered = ODD_HOUSE,
    timezone: str = "America/Denver",
) -> bool:
    zone = ZoneInfo(timezone)
    return is_permitted(
        datetime.fromisoformat(start).replace(tzinfo=zone),
        datetime.fromisoformat(end).replace(tzinfo=zone),
        stages=stages,
        watered=watered,
        timezone=timezone,
    )


ODD_EVEN = [
    stage(name="odd", address_rule="odd", dates="odd", windows=["06:00-09:00", "18:00-21:00"]),
    stage(name="even", address_rule="even", dates="even", windows=["06:00-09:00", "18:00-21:00"]),
]


def test_even_houses_water_on_even_dates_and_odd_houses_on_odd_ones() -> None:
    assert open_days(ODD_EVEN, ODD_HOUSE, count=4) == ["06-15", "06-17"]
    assert open_days(ODD_EVEN, EVEN_HOUSE, count=4) == ["06-16", "06-18"]


def test_the_31st_and_the_1st_are_two_odd_dates_in_a_row() -> None:
    assert open_days(ODD_EVEN, ODD_HOUSE, date(2026, 7, 29), 6) == ["07-29", "07-31", "08-01", "08-03"]


def test_a_barred_31st_leaves_a_gap_before_the_1st() -> None:
    barred = [stage(address_rule="odd", dates="odd", bar_31st=True)]

    assert open_days(barred, ODD_HOUSE, date(2026, 7, 29), 6) == ["07-29", "08-01", "08-03"]


def test_the_29th_of_february_is_an_odd_date_before_the_odd_1st_of_march() -> None:
    assert open_days(ODD_EVEN, ODD_HOUSE, date(2028, 2, 28), 3) == ["02-29", "03-01"]


def test_weekdays_by_odd_and_even_house_numbers() -> None:
    season = stage(
        weekdays={"even": ["mon", "wed", "fri"], "odd": ["tue", "thu", "sat"]},
        **{"from": "2026-05-15", "until": "2026-10-01"},
    )

    assert open_days([season], EVEN_HOUSE, count=7) == ["06-15", "06-17", "06-19"]
    assert open_days([season], ODD_HOUSE, count=7) == ["06-16", "06-18", "06-20"]
    assert len(open_days([season], ODD_HOUSE, date(2026, 10, 1), 7)) == 7


def test_two_days_a_week_by_house_number_between_evening_and_morning() -> None:
    two_days = stage(
        weekdays={"odd": ["wed", "sat"], "even": ["thu", "sun"]},
        windows=["00:00-10:00", "19:00-24:00"],
        window_day="calendar",
    )

    assert open_days([two_days], ODD_HOUSE, count=7) == ["06-17", "06-20"]
    assert runs([two_days], "2026-06-17T00:00", "2026-06-17T10:00")
    assert runs([two_days], "2026-06-17T19:00", "2026-06-18T00:00")
    assert not runs([two_days], "2026-06-17T23:50", "2026-06-18T00:10")
    assert not runs([two_days], "2026-06-17T12:00", "2026-06-17T12:05")


def test_last_digits_share_a_day_once_a_week() -> None:
    by_digit = stage(
        address_rule="last_digit",
        weekdays={"01": ["mon"], "23": ["tue"], "45": ["wed"], "67": ["thu"], "89": ["fri"]},
        windows=["00:00-10:00", "20:00-24:00"],
        max_days_per_week=1,
    )

    assert open_days([by_digit], ODD_HOUSE, count=7) == ["06-19"]
    assert open_days([by_digit], EVEN_HOUSE, count=7) == ["06-16"]
    assert tightest([by_digit], ODD_HOUSE, days_from(MONDAY)) == (1, None)


def test_a_ladder_of_stages_changes_with_its_dates_in_the_middle_of_a_week() -> None:
    ladder = [
        stage(name="1", address_rule="odd", dates="odd", until="2026-06-18"),
        stage(name="2", weekdays=["wed", "sat"], **{"from": "2026-06-18", "until": "2026-06-25"}),
        stage(name="3", weekdays=["sat"], **{"from": "2026-06-25", "until": "2026-07-02"}),
        stage(
            name="ban",
            max_days_per_week=0,
            dates="any",
            weekdays={"odd": [], "even": []},
            **{"from": "2026-07-02"},
        ),
    ]

    assert open_days(ladder, ODD_HOUSE, count=21) == ["06-15", "06-17", "06-20", "06-24", "06-27"]


def test_of_overlapping_stages_the_strictest_counts_minute_by_minute() -> None:
    supplier = stage(name="supplier", weekdays=["mon", "wed", "fri"], windows=["19:00-07:00"])
    county = stage(name="county", weekdays=["wed", "sat"], windows=["20:00-09:00"])

    assert open_days([supplier, county], ODD_HOUSE, count=7) == ["06-17"]
    assert runs([supplier, county], "2026-06-17T20:00", "2026-06-18T07:00")
    assert not runs([supplier, county], "2026-06-17T19:30", "2026-06-17T20:30")
    assert not runs([supplier, county], "2026-06-18T06:30", "2026-06-18T07:30")


def test_a_stage_for_sprays_leaves_drip_free() -> None:
    sprays = stage(weekdays=["mon", "wed", "fri"], applies_to={"heads": ["fixed_spray", "rotor"]})
    drip = Watered(house_number=9, head="dripline", plant="shrubs")

    assert len(open_days([sprays], drip, count=7)) == 7
    assert open_days([sprays], ODD_HOUSE, count=7) == ["06-15", "06-17", "06-19"]


def test_new_planting_is_exempt_for_its_days_and_no_longer() -> None:
    rule = stage(weekdays=["mon"], exempt_days_after_planting=21)
    planted = Watered(house_number=9, head="fixed_spray", plant="cool_turf", planted_on=date(2026, 6, 1))

    assert open_days([rule], planted, date(2026, 6, 19), 5) == ["06-19", "06-20", "06-21", "06-22"]


def test_a_window_across_midnight_belongs_to_the_day_on_which_it_opens() -> None:
    rule = [stage(weekdays=["wed"], windows=["20:00-10:00"])]

    assert runs(rule, "2026-06-17T20:00", "2026-06-18T10:00")
    assert not runs(rule, "2026-06-17T02:00", "2026-06-17T03:00")
    assert not runs(rule, "2026-06-18T09:30", "2026-06-18T10:01")


def test_a_calendar_window_gives_each_side_of_midnight_to_its_own_day() -> None:
    rule = [stage(weekdays=["wed"], windows=["20:00-10:00"], window_day="calendar")]

    assert runs(rule, "2026-06-17T02:00", "2026-06-17T03:00")
    assert runs(rule, "2026-06-17T23:00", "2026-06-18T00:00")
    assert not runs(rule, "2026-06-18T02:00", "2026-06-18T03:00")


def test_two_calendar_days_in_a_row_join_at_midnight() -> None:
    rule = [stage(weekdays=["wed", "thu"], windows=["20:00-10:00"], window_day="calendar")]

    assert runs(rule, "2026-06-17T23:30", "2026-06-18T00:30")


def test_a_stage_does_not_bind_before_its_first_or_after_its_last_day() -> None:
    rule = [stage(weekdays=["wed"], windows=["20:00-22:00"], **{"from": "2026-06-16", "until": "2026-06-19"})]

    assert runs(rule, "2026-06-15T12:00", "2026-06-15T13:00")
    assert not runs(rule, "2026-06-15T23:30", "2026-06-16T00:30")
    assert runs(rule, "2026-06-17T20:00", "2026-06-17T22:00")
    assert runs(rule, "2026-06-19T00:00", "2026-06-19T23:00")


def test_a_night_that_opened_on_the_last_day_runs_on_into_freedom() -> None:
    rule = [stage(windows=["20:00-06:00"], until="2026-06-17")]

    assert runs(rule, "2026-06-16T22:00", "2026-06-17T12:00")


def test_the_night_in_which_the_clock_goes_forward_is_an_hour_shorter() -> None:
    # Denver, 8 March 2026: 02:00 becomes 03:00. From 01:30, four true hours end at 06:30 by the clock.
    rule = [stage(windows=["20:00-06:00"])]
    zone = ZoneInfo("America/Denver")
    start = datetime(2026, 3, 8, 1, 30, tzinfo=zone).astimezone(UTC)

    def allowed(minutes: int) -> bool:
        return is_permitted(
            start,
            start + timedelta(minutes=minutes),
            stages=rule,
            watered=ODD_HOUSE,
            timezone="America/Denver",
        )

    assert allowed(210)
    assert not allowed(211)


def test_the_night_in_which_the_clock_goes_back_is_an_hour_longer() -> None:
    # Denver, 1 November 2026: 02:00 becomes 01:00.
    rule = [stage(windows=["20:00-06:00"])]
    zone = ZoneInfo("America/Denver")
    start = datetime(2026, 11, 1, 0, 30, tzinfo=zone).astimezone(UTC)

    assert is_permitted(
        start, start + timedelta(minutes=390), stages=rule, watered=ODD_HOUSE, timezone="America/Denver"
    )
    assert not is_permitted(
        start, start + timedelta(minutes=391), stages=rule, watered=ODD_HOUSE, timezone="America/Denver"
    )


def test_an_opening_that_comes_twice_opens_at_its_later_reading() -> None:
    rule = [stage(windows=["01:30-06:00"])]
    zone = ZoneInfo("America/Denver")
    first = datetime(2026, 11, 1, 1, 30, tzinfo=zone, fold=0)
    second = datetime(2026, 11, 1, 1, 30, tzinfo=zone, fold=1)

    for opening, expected in ((first, False), (second, True)):
        start = opening.astimezone(UTC)
        end = start + timedelta(minutes=20)
        assert is_permitted(start, end, stages=rule, watered=ODD_HOUSE, timezone="America/Denver") is expected


def test_the_site_s_own_clock_counts_and_not_the_company_s() -> None:
    rule = [stage(windows=["20:00-06:00"])]
    start = datetime(2026, 6, 17, 3, 0, tzinfo=UTC)  # 21:00 in Denver, 20:00 in Los Angeles

    for timezone, length, expected in (
        ("America/Denver", 60, True),
        ("America/Los_Angeles", 60, True),
        ("Asia/Tokyo", 60, False),
    ):
        end = start + timedelta(minutes=length)
        assert is_permitted(start, end, stages=rule, watered=ODD_HOUSE, timezone=timezone) is expected, (
            timezone
        )


def test_no_rules_leave_every_minute_open() -> None:
    assert runs([], "2026-06-15T12:00", "2026-06-15T18:00")


def test_the_most_minutes_a_station_may_run_come_from_the_tightest_stage_in_force() -> None:
    stages = [
        stage(name="a", max_minutes_per_station=20, max_days_per_week=3),
        stage(name="b", max_minutes_per_station=12, until="2026-06-15"),
        stage(name="c", max_minutes_per_station=15, max_days_per_week=2),
    ]

    assert tightest(stages, ODD_HOUSE, days_from(MONDAY)) == (2, 15.0)


@pytest.mark.parametrize(
    ("address", "number"),
    [
        ("9 Kiln Lane", 9),
        ("Unit 3, 18 Mill Road", 18),
        ("12-14 Weir Street", 12),
        ("204 Oak Terrace #5", 204),
        ("Apt. 7 / 31 Ford Row", 31),
        ("Old Mill", None),
        ("", None),
    ],
)
def test_the_house_number_is_found_and_the_unit_s_number_is_not_taken_for_it(
    address: str, number: int | None
) -> None:
    assert house_number(address) == number


def test_a_rule_by_house_number_cannot_be_told_without_one() -> None:
    with pytest.raises(AddressUnknownError, match="no"):
        open_days(ODD_EVEN, Watered(house_number=None))


@pytest.mark.parametrize(
    ("spec", "said"),
    [
        ({"weekday": ["mon"]}, "weekday: expected one of"),
        ({"name": ""}, "name"),
        ({"weekdays": ["monday"]}, "weekdays: expected days such as mon"),
        ({"weekdays": {"north": ["mon"]}}, "groups odd, even or last digits"),
        ({"weekdays": {"odd": ["mon"], "3": ["tue"]}}, "not both"),
        ({"dates": "prime"}, "dates"),
        ({"address_rule": "red"}, "address_rule"),
        ({"windows": ["20:00"]}, "windows"),
        ({"windows": ["20:00-25:00"]}, "no time of day"),
        ({"windows": ["06:00-06:00"]}, "opens and closes at once"),
        ({"windows": "20:00-06:00"}, "expected a list"),
        ({"window_day": "closing"}, "window_day"),
        ({"from": "1 June"}, "from: expected a day"),
        ({"from": "2026-06-02", "until": "2026-06-02"}, "until"),
        ({"max_days_per_week": 8}, "0 to 7"),
        ({"max_days_per_week": 1.5}, "0 to 7"),
        ({"max_minutes_per_station": True}, "expected a number"),
        ({"max_minutes_per_station": float("nan")}, "expected a number"),
        ({"bar_31st": "yes"}, "true or false"),
        ({"applies_to": {"soils": ["clay"]}}, "applies_to"),
        ({"applies_to": ["rotor"]}, "applies_to"),
    ],
)
def test_a_stage_that_says_nonsense_is_refused_with_its_field(spec: dict[str, object], said: str) -> None:
    with pytest.raises(RuleError, match=said):
        parse_stage({"name": "stage", **spec})


WINDOWS = st.lists(
    st.tuples(st.integers(0, 23), st.integers(0, 23))
    .filter(lambda pair: pair[0] != pair[1])
    .map(lambda pair: f"{pair[0]:02d}:00-{pair[1]:02d}:00"),
    max_size=2,
)
STAGES = st.builds(
    lambda windows, weekdays, dates, window_day: stage(
        windows=windows, weekdays=weekdays, dates=dates, window_day=window_day
    ),
    WINDOWS,
    st.lists(st.sampled_from(["mon", "tue", "wed", "thu", "fri", "sat", "sun"]), unique=True),
    st.sampled_from(["any", "odd", "even"]),
    st.sampled_from(["opening", "calendar"]),
)


@given(STAGES, STAGES, st.integers(0, 13 * 24), st.integers(1, 300))
def test_a_second_stage_never_permits_what_the_first_forbids(
    one: Stage, other: Stage, hour: int, minutes: int
) -> None:
    start = datetime(2026, 6, 15, tzinfo=UTC) + timedelta(hours=hour)
    end = start + timedelta(minutes=minutes)

    def allowed(stages: list[Stage]) -> bool:
        return is_permitted(start, end, stages=stages, watered=ODD_HOUSE, timezone="UTC")

    assert allowed([one, other]) == (allowed([one]) and allowed([other]))


@given(STAGES, st.integers(0, 12))
def test_spans_are_in_order_and_apart(one: Stage, day: int) -> None:
    hours = permitted_hours([one], ODD_HOUSE, MONDAY + timedelta(days=day), 10)

    edges = [edge for span in hours.spans for edge in span]
    assert edges == sorted(edges)
    assert len(set(edges)) == len(edges)

"""A week under watering rules: open hours by day, the deciding stage, nights in which the clock changes."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from hypothesis import given, settings
from hypothesis import strategies as st

from sites.calc.rules.file import parse_stage, stage_problems
from sites.calc.rules.stages import Stage, Watered
from sites.calc.rules.week import RuleDay, odd_hours, rule_days, rule_weeks
from sites.calc.rules.words import rule_set_changes, stage_words
from tests.sites.rules.permitted import is_permitted

MONDAY = date(2026, 6, 15)
ODD = Watered(9, "fixed_spray", "cool_turf")
EVEN = Watered(12, "fixed_spray", "cool_turf")
DENVER = "America/Denver"


def stage(**spec: Any) -> Stage:
    return parse_stage({"name": "stage", **spec})


def days(stages: list[Stage], watered: Watered = ODD, first: date = MONDAY, count: int = 7) -> list[RuleDay]:
    return list(rule_days(stages, watered, first_day=first, timezone=DENVER, day_count=count))


def open_spans(found: list[RuleDay]) -> dict[str, tuple[tuple[int, int], ...]]:
    return {f"{one.day:%a}": one.spans for one in found if one.spans}


def test_a_night_that_opens_on_its_day_shows_its_tail_on_the_next() -> None:
    found = days([stage(weekdays=["wed"], windows=["20:00-08:00"])])

    assert open_spans(found) == {"Wed": ((1200, 1440),), "Thu": ((0, 480),)}
    assert found[3].stages[0].why.startswith("open 0:00 to 8:00, from the evening before; Thu is not among")


def test_a_night_of_calendar_days_stays_within_them() -> None:
    found = days([stage(weekdays=["wed"], windows=["20:00-08:00"], window_day="calendar")])

    assert open_spans(found) == {"Wed": ((0, 480), (1200, 1440))}


def test_odd_dates_on_the_31st_and_the_1st_with_a_window_across_midnight() -> None:
    rule = [stage(address_rule="odd", dates="odd", windows=["20:00-06:00"])]

    found = days(rule, first=date(2026, 7, 30), count=4)

    assert [one.spans for one in found] == [
        ((0, 360),),  # tail of the 29th
        ((1200, 1440),),
        ((0, 360), (1200, 1440)),  # tail of the 31st, and the 1st is odd again
        ((0, 360),),
    ]


def test_a_barred_31st_says_so() -> None:
    found = days([stage(address_rule="odd", dates="odd", bar_31st=True)], first=date(2026, 7, 31), count=2)

    assert found[0].spans == ()
    assert found[0].stages[0].why == "the 31st is barred"
    assert found[1].is_free


def test_the_night_in_which_the_clock_goes_forward_lacks_an_hour() -> None:
    # Denver, 8 March 2026: 02:00 becomes 03:00.
    found = days([stage(windows=["20:00-06:00"])], first=date(2026, 3, 7), count=2)

    assert [one.open_min for one in found] == [600, 540]
    assert found[0].skipped == ()
    assert found[1].skipped == ((120, 180),)


def test_the_night_in_which_the_clock_goes_back_has_an_hour_twice() -> None:
    # Denver, 1 November 2026: 02:00 becomes 01:00.
    found = days([stage(windows=["20:00-06:00"])], first=date(2026, 11, 1), count=1)[0]

    assert found.twice == ((60, 120),)
    assert found.open_min == 6 * 60 + 60 + 4 * 60


def test_a_zone_without_clock_changes_and_one_that_changes_at_midnight() -> None:
    assert odd_hours(date(2026, 3, 8), ZoneInfo("America/Phoenix")) == ((), ())
    # Santiago, 6 September 2026: midnight becomes 01:00.
    assert odd_hours(date(2026, 9, 6), ZoneInfo("America/Santiago")) == (((0, 60),), ())


def test_the_strictest_of_overlapping_stages_is_told_first_and_why() -> None:
    supplier = stage(name="supplier", weekdays=["mon", "wed"], windows=["19:00-24:00"])
    county = stage(name="county", windows=["21:00-24:00"])

    monday, tuesday = days([supplier, county])[:2]

    assert monday.spans == ((1260, 1440),)
    assert [(line.name, line.decides) for line in monday.stages] == [("county", True), ("supplier", False)]
    assert tuesday.spans == ()
    assert [(line.name, line.decides) for line in tuesday.stages] == [("supplier", True), ("county", False)]
    assert "Tue is not among the days (Mon, Wed)" in tuesday.stages[0].why


def test_both_decide_where_each_takes_hours_that_the_other_leaves() -> None:
    early, late = stage(name="early", windows=["00:00-08:00"]), stage(name="late", windows=["06:00-12:00"])

    assert all(line.decides for line in days([early, late])[0].stages)


def test_a_stage_counts_on_its_own_dates_only() -> None:
    ban = stage(name="ban", max_days_per_week=0, **{"from": "2026-06-17", "until": "2026-06-19"})

    found = days([ban])

    assert [f"{one.day:%a}" for one in found if not one.spans] == ["Wed", "Thu"]
    assert found[2].stages[0].why == "no watering at all"
    assert found[0].stages == ()


def test_a_ban_later_in_the_month_does_not_forbid_the_days_before_it() -> None:
    ban = stage(name="ban", max_days_per_week=0, **{"from": "2026-06-20"})

    (week,) = rule_weeks([ban], [("lawn", ODD)], first_day=MONDAY, timezone=DENVER)

    assert week.most_days_per_week is None
    assert [bool(one.spans) for one in week.days] == [True] * 5 + [False] * 2


def test_zones_under_the_same_hours_share_a_week_and_others_get_their_own() -> None:
    sprays = stage(weekdays=["mon"], windows=["19:00-07:00"], applies_to={"heads": ["fixed_spray", "rotor"]})
    kinds = [
        ("A/1", ODD),
        ("A/2", Watered(9, "rotor", "cool_turf")),
        ("A/3", Watered(9, "dripline", "shrubs")),
    ]

    first, second = rule_weeks([sprays], kinds, first_day=MONDAY, timezone=DENVER)

    assert first.labels == ("A/1", "A/2")
    assert second.labels == ("A/3",)
    assert all(one.is_free for one in second.days)


# Patterns of the kinds that summaries of municipal ordinances tell (not checked against the ordinances).


def test_two_days_by_house_number_with_hours_on_both_sides_of_midnight() -> None:
    # As told of Lago Vista, Texas, stage 1: odd Wed and Sat, even Thu and Sun, midnight-10 am, 7 pm-midnight.
    # Commercial addresses (Tue and Fri) are a rule set of their own.
    stage_1 = stage(
        weekdays={"odd": ["wed", "sat"], "even": ["thu", "sun"]}, windows=["00:00-10:00", "19:00-24:00"]
    )

    assert set(open_spans(days([stage_1]))) == {"Wed", "Sat"}
    assert open_spans(days([stage_1], EVEN))["Thu"] == ((0, 600), (1140, 1440))


def test_last_digits_share_weekdays_with_two_windows() -> None:
    # As told of Universal City, Texas: once a week by last digit, midnight-10 am or 8 pm-midnight.
    rule = stage(
        address_rule="last_digit",
        weekdays={"01": ["mon"], "23": ["tue"], "45": ["wed"], "67": ["thu"], "89": ["fri"]},
        windows=["00:00-10:00", "20:00-24:00"],
        max_days_per_week=1,
    )

    assert open_spans(days([rule], Watered(4870))) == {"Mon": ((0, 600), (1200, 1440))}
    assert open_spans(days([rule], Watered(77))) == {"Thu": ((0, 600), (1200, 1440))}


def test_a_ladder_from_odd_even_to_a_ban() -> None:
    # As told of Alto, Texas: 1 odd/even, automatic systems midnight-6 am; 2 two weekdays; 3 one day; 4 ban.
    ladder = [
        stage(name="1", address_rule="odd", dates="odd", windows=["00:00-06:00"], until="2026-06-18"),
        stage(name="2", weekdays=["tue", "fri"], **{"from": "2026-06-18", "until": "2026-06-22"}),
        stage(name="3", weekdays=["fri"], **{"from": "2026-06-22", "until": "2026-06-29"}),
        stage(name="4", max_days_per_week=0, **{"from": "2026-06-29"}),
    ]

    found = days(ladder, count=21)

    opened = [(f"{one.day:%d}", one.open_min) for one in found if one.spans]
    assert opened == [("15", 360), ("17", 360), ("19", 1440), ("26", 1440)]


def test_spray_on_three_days_and_drip_every_night() -> None:
    # As told of Indio, California, stage III: spray Mon, Wed, Fri; drip daily outside daylight; medians none.
    rules = [
        stage(name="spray", weekdays=["mon", "wed", "fri"], windows=["20:00-06:00"],
              applies_to={"heads": ["fixed_spray", "rotor", "rotary_nozzle"]}),
        stage(name="drip", windows=["20:00-06:00"], applies_to={"heads": ["dripline", "bubbler"]}),
    ]  # fmt: skip

    drip = days(rules, Watered(9, "dripline", "shrubs"))
    spray = days(rules)

    assert all(one.spans for one in drip)
    assert [f"{one.day:%a}" for one in spray if (1200, 1440) in one.spans] == ["Mon", "Wed", "Fri"]


def test_one_morning_a_week_for_automatic_systems_and_the_stricter_state_window() -> None:
    # One morning a week, automatic 5-7; and the hours of California's model ordinance, 8 pm to 10 am.
    town = stage(name="town", weekdays=["sat"], windows=["05:00-07:00"])
    state = stage(name="state", windows=["20:00-10:00"])

    assert open_spans(days([town, state])) == {"Sat": ((300, 420),)}


def test_seven_to_seven_across_midnight_on_the_last_night_of_a_season() -> None:
    # As told of Pima County, Arizona, stage 2: 7 pm-7 am; the night of the last day runs on into freedom.
    found = days([stage(windows=["19:00-07:00"], until="2026-06-17")], count=3)

    assert found[1].spans == ((0, 420), (1140, 1440))
    assert found[2].is_free


WINDOWS = st.lists(
    st.tuples(st.integers(0, 23), st.integers(0, 23))
    .filter(lambda pair: pair[0] != pair[1])
    .map(lambda pair: f"{pair[0]:02d}:00-{pair[1]:02d}:00"),
    max_size=2,
)


@settings(max_examples=60, deadline=None)
@given(
    WINDOWS,
    st.sampled_from(["any", "odd", "even"]),
    st.sampled_from(["opening", "calendar"]),
    st.sampled_from([date(2026, 3, 5), date(2026, 10, 29), date(2026, 7, 29)]),
    st.integers(0, 6 * 96),
)
def test_a_quarter_hour_is_in_the_picture_exactly_where_it_is_permitted(
    windows: list[str], dates: str, window_day: str, first: date, quarter: int
) -> None:
    rule = [stage(windows=windows, dates=dates, window_day=window_day)]
    found = days(rule, first=first)
    zone = ZoneInfo(DENVER)
    start = datetime(first.year, first.month, first.day, tzinfo=zone).astimezone(UTC) + timedelta(
        minutes=15 * quarter
    )
    end = start + timedelta(minutes=15)
    local = start.astimezone(zone)
    minute = local.hour * 60 + local.minute
    day = found[(local.date() - first).days]
    shown = any(opens <= minute and minute + 15 <= closes for opens, closes in day.spans)

    permitted = is_permitted(start, end, stages=rule, watered=ODD, timezone=DENVER)

    # In an hour that comes twice, a window may open at its later reading or close at its earlier one.
    is_twice = any(a <= minute < b for a, b in day.twice)
    assert permitted == shown or (is_twice and shown)


def test_a_stage_in_words() -> None:
    words = stage_words(
        stage(
            address_rule="odd", weekdays={"odd": ["wed", "sat"]}, windows=["20:00-08:00"],
            max_days_per_week=2, max_minutes_per_station=15, exempt_days_after_planting=21,
            applies_to={"heads": ["rotor"]},
        )
    )  # fmt: skip

    assert words[:3] == ("odd house numbers only", "for rotor", "odd numbers: Wed, Sat")
    assert words[-1] == "new planting exempt for 21 days"


def test_an_edit_is_told_field_by_field() -> None:
    before = {"supplier": "S", "stages": [{"name": "a", "windows": ["20:00-08:00"]}, {"name": "b"}]}
    after = {"supplier": "S", "stages": [{"name": "a", "windows": ["21:00-06:00"]}, {"name": "c"}]}

    assert rule_set_changes(before, after) == [
        "stage “b” removed",
        "“a”, windows: 20:00-08:00 → 21:00-06:00",
        "stage “c” added",
    ]


def test_every_wrong_field_of_a_stage_is_named() -> None:
    wrong = {"windows": ["25:00-26:00"], "dates": "prime", "applies_to": {"heads": ["spray"]}, "source": 5}

    assert [field for field, _ in stage_problems({"name": "x", **wrong})] == [
        "windows", "dates", "applies_to.heads", "source",
    ]  # fmt: skip
    assert stage_problems({})[0][0] == "name"
    assert stage_problems({"name": "x", "from": "2026-06-02", "until": "2026-06-02"})[0][0] == "until"

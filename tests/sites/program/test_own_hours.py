"""A ban for some stations only: each runs in its own hours, and those that are free gain by it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sites.calc.program.check import hand_check
from sites.calc.search.garden import answer_lines, best_answer
from sites.models import (
    Controller,
    ProgramLine,
    ProgramSet,
    Recommendation,
    RecommendationLine,
    RuleSet,
    RuleStage,
)
from sites.selectors.program_rules import recommendation_breaks
from sites.selectors.round_garden import garden_book
from sites.services.balance import update_balance
from sites.services.weekly_round import weekly_round
from tests.factories import build_controller, build_location, build_sensor, build_site, build_zone
from weather.models import DailyWeather, Location

pytestmark = pytest.mark.django_db
WEEK = date(2026, 6, 15)
NOW = datetime(2026, 6, 15, 13, 30, tzinfo=UTC)


def fill(location: Location, first: date, last: date) -> None:
    days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
    DailyWeather.objects.bulk_create(
        DailyWeather(
            location=location, day=day, issued=day, source="test", fetched_at=NOW, tmin_c=9.0, tmax_c=27.0,
            eto_mm=6.0, eto_sd_mm=0.4, rain_mm=0.0, rain_used_mm=0.0, rain_sd_mm=0.5,
        )
        for day in days
    )  # fmt: skip
    Location.objects.filter(pk=location.pk).update(newest_day=last)


@pytest.fixture
def garden() -> Controller:
    """Two lawns under sprays and two beds on drip, with a timer of three programs."""
    location = build_location()
    for year in range(2021, 2026):
        fill(location, date(year, 6, 10), date(year, 7, 20))
    fill(location, date(2026, 5, 10), date(2026, 6, 14))
    controller = build_controller(
        build_site(location=location, rule_set="north", soil="sand"), program_count=3, starts_per_program=4
    )
    build_zone(controller, 1, plant="annuals", head="dripline")
    build_zone(controller, 2)
    build_zone(controller, 3)
    build_zone(controller, 4, plant="shrubs", head="dripline")
    build_sensor(controller, 2)
    update_balance(until_day=date(2026, 6, 14))
    return controller


def bind(*specs: dict[str, Any]) -> None:
    RuleSet.objects.all().delete()
    rules = RuleSet.objects.create(code="north")
    for spec in specs:
        RuleStage.objects.create(rule_set=rules, name=spec["name"], spec=spec)


def issue() -> Recommendation:
    weekly_round(week=WEEK, today=WEEK, price_per_m3=2.5)
    return Recommendation.objects.get()


def need_met() -> dict[int, float]:
    lines = RecommendationLine.objects.values_list("station", "adequacy_pct")
    return {station: met or 0.0 for station, met in lines}


def days_of() -> dict[int, str]:
    return dict(RecommendationLine.objects.values_list("station", "days"))


SPRAYS_ON_MONDAY = {
    "name": "sprays once a week",
    "weekdays": ["mon"],
    "windows": ["20:00-24:00"],
    "applies_to": {"heads": ["fixed_spray"]},
}
LAWNS_ON_SUNDAY = {
    "name": "lawns on Sundays",
    "weekdays": ["sun"],
    "windows": ["18:00-10:00"],
    "applies_to": {"plants": ["cool_turf"]},
}
DRIP_BY_DAY = {"name": "drip by day", "windows": ["10:00-16:00"], "applies_to": {"heads": ["dripline"]}}


@pytest.mark.parametrize("governed", [True, False], ids=["governed", "clock only"])
@pytest.mark.parametrize("spec", [SPRAYS_ON_MONDAY, LAWNS_ON_SUNDAY], ids=["sprays", "lawns"])
def test_what_is_free_keeps_its_days_where_the_rest_is_bound(
    garden: Controller, spec: dict[str, Any], governed: bool
) -> None:
    Controller.objects.update(governed=governed)
    everybody = {key: value for key, value in spec.items() if key != "applies_to"}
    bind(everybody)
    issue()
    strictest = need_met()

    bind(spec)
    row = issue()

    assert recommendation_breaks(recommendation_ids=[row.pk]) == {}
    assert sum(need_met().values()) > sum(strictest.values()) + 1.0
    for station in (1, 4):
        assert need_met()[station] >= strictest[station] - 0.1
    for station in (2, 3):
        assert need_met()[station] >= strictest[station] - 1.0
    assert len({days_of()[1], days_of()[2]}) == 2
    assert any(
        "The rules give stations" in words and "other days or hours than the rest" in words
        for words in row.reasons
    )


def test_a_ban_on_sprays_leaves_the_drip_its_program(garden: Controller) -> None:
    bind({"name": "no sprays", "weekdays": {"odd": [], "even": []}, "applies_to": {"heads": ["fixed_spray"]}})

    row = issue()

    assert set(days_of()) == {1, 4}
    assert any("leave stations 2, 3 no hour in these weeks" in words for words in row.reasons)
    assert need_met()[1] > 90
    assert row.window_used_min is not None
    assert recommendation_breaks(recommendation_ids=[row.pk]) == {}


def test_letters_of_one_timer_never_overlap(garden: Controller) -> None:
    bind(DRIP_BY_DAY, SPRAYS_ON_MONDAY)
    issue()

    letters: dict[str, list[tuple[int, float]]] = {}
    for line in RecommendationLine.objects.order_by("letter", "run_order"):
        begin = [int(text[:2]) * 60 + int(text[3:]) for text in line.starts.split(";")]
        known = letters.setdefault(line.letter, [(start, 0.0) for start in begin])
        letters[line.letter] = [(start, length + line.run_min) for start, length in known]
    spans = sorted(
        (start, start + length, letter) for letter, runs in letters.items() for start, length in runs
    )
    assert len({letter for _, _, letter in spans}) >= 2
    for (_, ended, one), (starts, _, other) in pairwise(spans):
        assert starts >= ended or one == other
    first, last = spans[0][0], max(end for _, end, _ in spans)
    assert last <= first + 1440


def test_a_timer_with_one_program_keeps_the_strictest_hours(garden: Controller) -> None:
    Controller.objects.update(program_count=1, governed=False)
    bind(SPRAYS_ON_MONDAY)

    row = issue()

    assert len(set(days_of().values())) == 1
    assert recommendation_breaks(recommendation_ids=[row.pk]) == {}


def test_what_is_set_is_held_against_each_stations_own_rule(garden: Controller) -> None:
    bind(SPRAYS_ON_MONDAY)
    issue()
    first = Recommendation.objects.get()
    lines = list(first.lines.all())
    kept = ProgramSet.objects.create(controller=garden, as_of=date(2026, 6, 1))
    for line in lines:
        ProgramLine.objects.create(
            program_set=kept, letter=line.letter, days=line.days, starts=line.starts, station=line.station,
            run_min=line.run_min, run_order=line.run_order,
        )  # fmt: skip

    again = issue()

    # It stands in the timer, keeps every station's own rule, and nothing better is known.
    assert not again.is_change
    assert not any("rules bar" in words for words in again.reasons)


HOURS = st.sampled_from(["20:00-24:00", "04:00-07:00", "18:00-10:00", "00:00-06:00", "10:00-16:00"])
DAYS = st.sampled_from([["mon"], ["wed", "sat"], ["tue", "thu", "sun"], ["mon", "tue", "wed", "thu", "fri"]])
WHO = st.sampled_from(
    [
        {"heads": ["fixed_spray"]},
        {"heads": ["dripline"]},
        {"plants": ["cool_turf"]},
        {"plants": ["annuals"]},
        {"plants": ["shrubs", "annuals"]},
    ]
)


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(one=st.tuples(HOURS, DAYS, WHO), other=st.tuples(HOURS, DAYS, WHO), governed=st.booleans())
def test_nothing_runs_outside_its_own_hours(
    garden: Controller,
    one: tuple[str, list[str], dict[str, list[str]]],
    other: tuple[str, list[str], dict[str, list[str]]],
    governed: bool,
) -> None:
    Controller.objects.update(governed=governed)
    bind(
        *(
            {"name": f"stage {number}", "windows": [hours], "weekdays": days, "applies_to": who}
            for number, (hours, days, who) in enumerate((one, other))
        )
    )

    row = issue()

    assert recommendation_breaks(recommendation_ids=[row.pk]) == {}


def test_what_if_and_the_check_by_hand_know_the_stations_own_hours(garden: Controller) -> None:
    bind(SPRAYS_ON_MONDAY)
    issue()
    book = garden_book(controller_id=garden.pk, week=WEEK, today=WEEK)
    assert book is not None

    best = best_answer(book.garden)
    lines = answer_lines(book.garden, best)
    checked = hand_check(book.garden, lines, day_modes=book.day_modes, week=WEEK)

    assert best.split is not None
    assert {(line.letter, line.station, line.days) for line in lines} == set(
        RecommendationLine.objects.values_list("letter", "station", "days")
    )
    assert (checked.problems, checked.outside) == ((), ())
    everywhere = hand_check(
        book.garden, [replace(line, days="daily") for line in lines], day_modes=book.day_modes, week=WEEK
    )
    assert everywhere.outside

"""A timer by the clock that only needs another seasonal adjust: one figure instead of a whole program."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from fleet.selectors.programs.sheet import sheet_of
from sites.calc.program.adjust import ADJUSTS_PCT, with_adjusts
from sites.calc.program.check import program_lines_of
from sites.calc.program.sheet import KeyedLine
from sites.calc.program.slots import set_slots
from sites.calc.rules.cases import rule_case
from sites.calc.rules.stages import Stage, Watered, Window
from sites.calc.search.controllers import RuleCase
from sites.calc.search.round_plan import RoundPlan, round_plan
from sites.calc.search.search import best_programs
from sites.models import Controller, ProgramLine, ProgramSet, Recommendation
from sites.services.balance import update_balance
from sites.services.found_on_site import key_in_recommendation
from sites.services.weekly_round import weekly_round
from tests.factories import build_controller, build_zone
from tests.sites.search.cases import DAYS, FIRST_DAY, SETTINGS, choice, garden
from tests.sites.search.test_round_bad_input import a_garden, answer
from tests.sites.search.test_weekly_round_service import NOW, WEEK

DAILY = RuleCase((choice(),))
HORIZON = np.arange(np.datetime64(FIRST_DAY), np.datetime64(FIRST_DAY) + DAYS)


def planned(
    minutes: tuple[float, float], adjust: float, *, governed: bool = False, case: RuleCase = DAILY
) -> RoundPlan:
    """The round's answer where so many minutes stand in the timer with an adjust."""
    given = garden(plants=("cool_turf", "cool_turf"), heads=("rotor", "rotor"), governed=governed, case=case)
    lines = [KeyedLine("A", "daily", "01:00", at + 1, run, adjust) for at, run in enumerate(minutes)]
    now = set_slots(given, program_lines_of(given, lines, FIRST_DAY), HORIZON)
    plan = round_plan(given, now=now, breaks_rule=np.array([False]))
    return with_adjusts(plan, given, now, may=np.array([True]), adjust_now=np.array([adjust]), cases=(case,))


def wanted_minutes() -> float:
    """Minutes that a lawn by the clock takes once a day."""
    found = best_programs(garden(plants=("cool_turf",), heads=("rotor",), governed=False, case=DAILY))
    return float(found.minutes[0] * found.starts[0])


@pytest.mark.parametrize("adjust", [40.0, 60.0])
def test_minutes_that_stand_in_the_right_ratio_take_an_adjust_and_no_program(adjust: float) -> None:
    minutes = wanted_minutes()

    plan = planned((minutes, minutes), adjust)

    assert plan.is_change[0]
    assert plan.adjust_pct[0] in ADJUSTS_PCT
    assert 95 <= plan.adjust_pct[0] <= 120
    assert np.all(plan.new.adequacy >= SETTINGS.promised_adequacy)
    assert plan.water_at_stake_l[0] < 0 < plan.dry_days_spared[0]


def test_too_much_of_everything_is_turned_down() -> None:
    minutes = wanted_minutes()

    plan = planned((minutes, minutes), 150.0)

    assert plan.is_change[0]
    assert plan.adjust_pct[0] < 120
    assert plan.water_at_stake_l[0] > 0


def test_minutes_in_the_wrong_ratio_take_a_program() -> None:
    minutes = wanted_minutes()

    assert planned((minutes, 0.4 * minutes), 60.0).adjust_pct == {}


def test_what_stays_and_what_a_sensor_governs_takes_none() -> None:
    minutes = wanted_minutes()

    stays, governed = planned((minutes, minutes), 100.0), planned((minutes, minutes), 40.0, governed=True)

    assert not stays.is_change[0]
    assert stays.adjust_pct == {}
    assert governed.adjust_pct == {}


def test_an_adjust_that_would_run_past_the_hours_is_none() -> None:
    minutes = wanted_minutes()

    def until(closes: float) -> RoundPlan:
        hours = rule_case(
            (Stage("early", windows=(Window(60, int(closes)),)),),
            (Watered(12),),
            first_day=FIRST_DAY,
            day_count=DAYS,
            day_modes=("weekdays", "interval"),
            timezone="UTC",
        )
        return planned((minutes, minutes), 50.0, case=hours)

    assert until(60 + 2.6 * minutes).adjust_pct
    assert until(60 + 1.5 * minutes).adjust_pct == {}


@pytest.mark.django_db
def test_the_round_issues_one_figure_and_the_sheet_shows_one_change() -> None:
    controller = a_garden()
    controller.sensor.delete()
    Controller.objects.update(governed=False)
    first = answer()
    setting = ProgramSet.objects.create(controller=controller, as_of=date(2026, 4, 10))
    for line in first.lines.all():
        ProgramLine.objects.create(
            program_set=setting, letter=line.letter, days=line.days, starts=line.starts,
            station=line.station, run_min=line.run_min, run_order=line.run_order, seasonal_adjust_pct=50,
        )  # fmt: skip
    Recommendation.objects.all().delete()

    found = answer()

    assert found.is_change
    assert {line.run_min for line in found.lines.all()} == {line.run_min for line in setting.lines.all()}
    (adjust,) = {line.seasonal_adjust_pct for line in found.lines.all()}
    assert 90 <= adjust <= 130
    assert any(
        reason.startswith(f"Only the seasonal adjust changes, to {adjust:g} %") for reason in found.reasons
    )
    assert found.window_used_min is not None
    letters = sheet_of(controller=controller, answer=found, day=WEEK).letters
    changed = [step for letter in letters for step in letter.steps if step.is_change]
    assert {(step.label, step.now, step.new) for step in changed} == {
        ("Seasonal adjust", "50 %", f"{adjust:g} %")
    }

    key_in_recommendation(recommendation_id=found.pk, on=WEEK, by="ines", at=NOW)
    later = WEEK + timedelta(days=7)
    assert weekly_round(week=later, today=WEEK, price_per_m3=2.0).changes == 0


@pytest.mark.django_db
def test_beside_a_timer_that_takes_an_adjust_another_gets_its_program() -> None:
    controller = a_garden()
    controller.sensor.delete()
    other = build_controller(controller.site, code="B", station_count=6)
    for station in (1, 2, 3):
        build_zone(other, station)
    Controller.objects.update(governed=False)
    update_balance(until_day=WEEK - timedelta(days=1))
    weekly_round(week=WEEK, today=WEEK, price_per_m3=2.0)
    for timer, share in ((controller, 1.0), (other, 0.2)):
        setting = ProgramSet.objects.create(controller=timer, as_of=date(2026, 4, 10))
        for line in Recommendation.objects.get(controller=timer).lines.all():
            ProgramLine.objects.create(
                program_set=setting, letter=line.letter, days=line.days, starts=line.starts,
                station=line.station, run_order=line.run_order, seasonal_adjust_pct=50,
                run_min=line.run_min * (share if line.station == 1 else 1.0),
            )  # fmt: skip
    Recommendation.objects.all().delete()

    weekly_round(week=WEEK, today=WEEK, price_per_m3=2.0)

    first, second = (Recommendation.objects.get(controller=timer) for timer in (controller, other))
    assert any("Only the seasonal adjust" in reason for reason in first.reasons)
    assert not any("Only the seasonal adjust" in reason for reason in second.reasons)
    assert first.is_change
    assert second.is_change
    assert {line.seasonal_adjust_pct for line in second.lines.all()} == {100.0}
    for row in (first, second):
        assert row.adequacy_pct is not None
        assert row.adequacy_pct >= 95

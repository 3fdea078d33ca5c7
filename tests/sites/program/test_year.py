"""A program through the year: seasonal adjusts for the clock, one program that stands for a sensor."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from fleet.charts.year_plot import year_bars
from fleet.selectors.programs.year import first_mondays
from sites.calc.program.year import ADJUSTS_PCT, YearPlan, year_plan
from sites.calc.search.controllers import RuleCase
from tests.sites.search.cases import FIRST_DAY
from tests.sites.search.test_ways import a_garden

ETO = (0.1, 2.0, 4.0, 6.0, 7.0, 5.0, 2.5)


def a_year(*, governed: bool, etos: tuple[float, ...] = ETO, **kinds: object) -> YearPlan:
    gardens = [a_garden(eto_mm=eto, governed=governed, **kinds) for eto in etos]  # type: ignore[arg-type]
    return year_plan(gardens, [FIRST_DAY + timedelta(days=28 * at) for at in range(len(etos))])


def test_a_clock_gets_one_adjust_a_month_that_follows_the_need() -> None:
    plan = a_year(governed=False)
    adjusts = [month.adjust_pct for month in plan.months]

    assert plan.peak == 4
    assert adjusts[0] == 0  # rest
    assert all(adjust in ADJUSTS_PCT for adjust in adjusts)
    assert adjusts[4] in (90, 100)  # the margin may make the peak itself a step too much
    assert adjusts[1] < adjusts[2] < adjusts[3] <= adjusts[4]
    assert adjusts[6] < adjusts[5] < adjusts[4]
    for month in plan.months[1:]:
        assert month.adjusted is not None
        assert month.adjusted.worst_pct >= 95
        assert month.stands
    assert plan.programs_a_year == 1


def test_a_governed_timer_keeps_its_peak_program_at_hundred_per_cent() -> None:
    # Own simulations: a program sized at the peak and left stands; one sized in spring does not.
    plan = a_year(governed=True, etos=(4.0, 5.0, 7.0, 5.0))

    assert {month.adjust_pct for month in plan.months} == {100}
    assert all(month.stands for month in plan.months)
    assert plan.programs_a_year == 1


def test_months_in_which_nothing_may_run_are_told_and_do_not_break_the_year() -> None:
    nothing = a_year(governed=False, case=RuleCase(()))

    assert nothing.peak == -1
    assert nothing.lines == ()
    assert {month.best for month in nothing.months} == {None}


def test_a_months_need_rises_with_its_et() -> None:
    needs = [month.need_mm_a_week for month in a_year(governed=False).months[:5]]

    assert needs == sorted(needs)


@pytest.mark.parametrize("today", [date(2026, 1, 31), date(2026, 6, 15), date(2027, 12, 1)])
def test_the_twelve_months_begin_on_their_first_mondays(today: date) -> None:
    mondays = first_mondays(today)

    assert len({(day.year, day.month) for day in mondays}) == 12
    assert (mondays[0].year, mondays[0].month) == (today.year, today.month)
    assert all(day.weekday() == 0 and day.day <= 7 for day in mondays)


def test_bars_speak_their_months_and_bear_a_year_of_nothing() -> None:
    svg = str(year_bars([("Jun", 490.0, 450.0), ("Jul", 570.0, None)]))

    assert "Minutes a week by month: Jun 490, Jul 570" in svg
    assert svg.count("yearmark") == 1
    assert "<svg" in str(year_bars([("Jan", 0.0, None)]))
    assert "<svg" in str(year_bars([]))

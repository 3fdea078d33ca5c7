"""A controller's program through the coming twelve months. Reads only."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from sites.calc.program.sheet import SheetLetter, sheet_letters
from sites.calc.program.year import MonthPlan, YearPlan, year_plan
from sites.models import Controller
from sites.selectors.round_garden import garden_book, gardens_of_weeks


@dataclass(frozen=True, slots=True)
class ProgramYear:
    """The page: the plan, the peak program's letters, and whether a sensor governs."""

    plan: YearPlan
    letters: tuple[SheetLetter, ...]
    is_governed: bool
    peak: MonthPlan | None
    short_history: bool

    @property
    def resting(self) -> tuple[MonthPlan, ...]:
        """Months in which the timer is off."""
        return tuple(month for month in self.plan.months if month.adjust_pct == 0)

    @property
    def failing(self) -> tuple[MonthPlan, ...]:
        """Months in which the peak program does not stand."""
        return tuple(month for month in self.plan.months if not month.stands)


def first_mondays(today: date) -> tuple[date, ...]:
    """First Monday of this month and of the eleven after it."""
    found = []
    for ahead in range(12):
        first = date(today.year + (today.month - 1 + ahead) // 12, (today.month - 1 + ahead) % 12 + 1, 1)
        found.append(first + timedelta(days=(7 - first.weekday()) % 7))
    return tuple(found)


def program_year(*, controller: Controller, today: date) -> ProgramYear | None:
    """The year of a controller; None without zones or weather."""
    mondays = first_mondays(today)
    book = garden_book(controller_id=controller.pk, week=mondays[0], today=today)
    if book is None:
        return None
    garden = replace(book.garden, depletion_mm=np.full(len(book.garden.zones), np.nan))
    gardens = gardens_of_weeks(book=replace(book, garden=garden), weeks=mondays, today=today)
    if not all(one.weather.is_known[one.weather_column[0]] for one in gardens):
        return None
    plan = year_plan(gardens, mondays)
    is_governed = bool(garden.controller.is_governed[0])
    governing = int(garden.zones.station[garden.zones.is_governing][0]) if is_governed else 0
    return ProgramYear(
        plan=plan,
        letters=sheet_letters(plan.lines, plan.lines, book.names, governing),
        is_governed=is_governed,
        peak=plan.months[plan.peak] if plan.peak >= 0 else None,
        short_history=bool(garden.weather.is_short[garden.weather_column[0]]),
    )

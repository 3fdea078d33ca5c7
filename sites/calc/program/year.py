"""A program through the year: what each month asks for, and what one program with an adjust gives.

The program of the peak month is tried in every other month: as it is where a sensor governs, with each
seasonal adjust where the clock alone does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from sites.calc.program.check import program_lines_of
from sites.calc.program.sheet import KeyedLine
from sites.calc.program.slots import set_slots
from sites.calc.search.garden import Answer, Figures, Garden, answer_lines, best_answer, figures
from sites.calc.search.problem import Problem
from sites.calc.search.score import irrigation_need_mm
from sites.calc.search.trial import Trial, trial

# Seasonal adjusts that are tried [%]: timers step in fives or tens, tens are quick to key in.
ADJUSTS_PCT = (0, 10, 20, 30, 40, 50, 60, 70, 80, 90, 100, 110, 120, 130)
# A month in which irrigation has to bring less than this is rest for the timer [mm/week].
REST_MM_A_WEEK = 2.0


@dataclass(frozen=True, slots=True)
class MonthPlan:
    """One month.

    Parameters
    ----------
    first_day
        First day of its four weeks.
    need_mm_a_week
        What irrigation has to bring, by area [mm].
    minutes_a_week
        Minutes that the month's own best program offers, all stations together [min].
    best
        What that program does; None: nothing may run.
    adjust_pct
        Seasonal adjust of the peak program for this month [%]; 100 where a sensor governs; 0: off.
    adjusted
        What the peak program with that adjust does.
    stands
        Whether that is within the keep band of the month's own best.
    """

    first_day: date
    need_mm_a_week: float
    minutes_a_week: float
    best: Figures | None
    adjust_pct: int
    adjusted: Figures | None
    stands: bool


@dataclass(frozen=True, slots=True)
class YearPlan:
    """Twelve months in their order, the peak month's position (-1: nothing may ever run), its program."""

    months: tuple[MonthPlan, ...]
    peak: int
    lines: tuple[KeyedLine, ...]

    @property
    def programs_a_year(self) -> int:
        """Programs a year beside the adjust: one, and one for each run of months in which it fails."""
        failing = [not month.stands for month in self.months]
        runs = sum(now and not before for before, now in zip([False, *failing], failing, strict=False))
        return 1 + runs


def year_plan(gardens: Sequence[Garden], first_days: Sequence[date]) -> YearPlan:
    """The months of a garden, each given as the garden with that month's weather and rules.

    Parameters
    ----------
    gardens
        The garden in each month, with unknown depletion.
    first_days
        First day of each month's four weeks.
    """
    answers = [best_answer(garden) for garden in gardens]
    water = [one.figures.water_l if one.chosen.pattern[0] >= 0 else -1.0 for one in answers]
    peak = int(np.argmax(water)) if max(water, default=-1.0) > 0 else -1
    lines: tuple[KeyedLine, ...] = ()
    if peak >= 0:
        top = answers[peak]
        lines = answer_lines(gardens[peak], top)
    months = [
        _month(garden, answer, lines, day)
        for garden, answer, day in zip(gardens, answers, first_days, strict=True)
    ]
    return YearPlan(tuple(months), peak, lines)


def _month(garden: Garden, answer: Answer, lines: Sequence[KeyedLine], day: date) -> MonthPlan:
    """One month with the peak month's program."""
    given = answer.given
    share = given.zones.area_m2 / given.zones.area_m2.sum()
    need = float((irrigation_need_mm(given.truth) * share).sum()) * 7.0 / given.offered.shape[0]
    is_possible = bool(answer.chosen.pattern[0] >= 0)
    plain = MonthPlan(
        first_day=day,
        need_mm_a_week=need,
        minutes_a_week=float(answer.done.minutes_a_week[0]),
        best=answer.figures if is_possible else None,
        adjust_pct=0,
        adjusted=None,
        stands=True,
    )
    if need < REST_MM_A_WEEK or not lines or not is_possible:
        return replace(plain, minutes_a_week=plain.minutes_a_week if need >= REST_MM_A_WEEK else 0.0)
    adjusts = (100,) if garden.controller.is_governed[0] else ADJUSTS_PCT[1:]
    tried = [(_tried(given, lines, day, adjust), adjust) for adjust in adjusts]
    done, adjust = min(tried, key=lambda one: _cost(given, one[0]))
    return replace(
        plain,
        adjust_pct=adjust,
        adjusted=figures(given, done),
        stands=_cost(given, done) <= _cost(given, answer.done) + _band(garden),
    )


def _band(garden: Garden) -> float:
    """How much worse a program may be and stay [1], in units of the cost below."""
    settings = garden.settings
    loss = settings.keep_loss if garden.controller.is_governed[0] else settings.keep_loss_clock
    return loss + settings.shortfall_weight * settings.keep_shortfall


def _tried(given: Problem, lines: Sequence[KeyedLine], day: date, adjust_pct: int) -> Trial:
    """The peak program with an adjust in a month."""
    days = np.arange(np.datetime64(day), np.datetime64(day) + given.settings.horizon_days)
    now = [replace(line, seasonal_adjust_pct=float(adjust_pct)) for line in lines]
    return trial(given, set_slots(given, program_lines_of(given, now, day), days))


def _cost(given: Problem, done: Trial) -> float:
    """Missing adequacy, dry days and losses by area [1], as the search weighs them."""
    settings = given.settings
    share = given.zones.area_m2 / given.zones.area_m2.sum()
    need = np.maximum(irrigation_need_mm(given.truth), 1.0)
    missing = np.maximum(settings.target_adequacy - done.adequacy, 0.0)
    dry = np.maximum(done.dry_share - settings.most_dry_share, 0.0)
    cost = settings.shortfall_weight * missing + settings.dry_weight * dry + done.lost_mm / need
    return float((cost * share).sum())

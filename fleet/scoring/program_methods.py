"""The methods that are scored: ours, three that know no weather, and ours told the truth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np

from fleet.scoring.program_gardens import Gardens
from fleet.scoring.program_physics import Program
from sites.calc.program_controllers import RuleCase
from sites.calc.program_days import DayPattern, runs_on
from sites.calc.program_problem import Problem, problem
from sites.calc.program_settings import ProgramSettings
from sites.calc.program_weather import Seasons
from sites.calc.round_plan import round_plan
from sites.calc.zone_table import ZoneTable
from weather.calc.arrays import BoolArray, DayArray, FloatArray, IntArray

MOST_STARTS: Final = 4
_FIRST_HOUR: Final = 1
# Spread of a zone's ratio to the governing one where rates and uniformities are assumed [1].
_ASSUMED_SPREAD: Final = 0.21
_MONDAY_WEDNESDAY_FRIDAY = DayPattern("weekdays", weekdays=(0, 2, 4))


@dataclass(frozen=True, slots=True)
class Setting:
    """What the timers of all gardens are set to, whatever the day.

    Parameters
    ----------
    patterns
        Day pattern of each controller; None: nothing runs.
    starts
        Starts a day [1], (controllers,).
    minutes
        Minutes of a run [min], (zones,).
    spacing_min
        Time from one start to the next [min], (controllers,).
    """

    patterns: tuple[DayPattern | None, ...]
    starts: IntArray
    minutes: FloatArray
    spacing_min: FloatArray

    def on(self, day: np.datetime64, zones: int) -> Program:
        """The program of one day.

        Parameters
        ----------
        day
            The day.
        zones
            Number of zones [1].
        """
        number = np.arange(MOST_STARTS)[None, :]
        hours = _FIRST_HOUR + np.ceil(number * self.spacing_min[:, None] / 60.0).astype(np.int64)
        one = np.array([day])
        runs = np.array([bool(pattern and runs_on(pattern, one)[0]) for pattern in self.patterns])
        return Program(
            runs=runs,
            low_runs=np.zeros(len(self.patterns), dtype=np.bool_),
            start_hours=np.where((number < self.starts[:, None]) & (hours < 24), hours, -1),
            minutes=self.minutes,
            low_minutes=np.zeros(zones),
        )


@dataclass(frozen=True, slots=True)
class Known:
    """What a method may look at when it sets the timers.

    Parameters
    ----------
    gardens
        The gardens; their truth only for the method that is told it.
    weather
        Past seasons of the coming weeks.
    peak_et_mm_d
        Mean reference ET of the hottest month on record [mm/d].
    depletion_mm
        The planner's own balance [mm], NaN where unknown, (zones,).
    cases
        Days that the rules leave open.
    days
        The days ahead.
    """

    gardens: Gardens
    weather: Seasons
    peak_et_mm_d: float
    depletion_mm: FloatArray
    cases: tuple[RuleCase, ...]
    days: DayArray


Method: TypeAlias = Callable[[Known, Setting | None], Setting]


def ours(known: Known, before: Setting | None) -> Setting:
    """The weekly round: search, and change only where a change pays."""
    zones = known.gardens.zones
    margin = np.full(len(zones), np.exp(ProgramSettings().margin_strength * _ASSUMED_SPREAD))
    return _round(known, before, zones, margin)


def told_the_truth(known: Known, before: Setting | None) -> Setting:
    """The weekly round with the true rates, uniformities, coefficients and stores, and so without margin."""
    gardens = known.gardens
    share = gardens.available_mm / gardens.zones.total_available_water_mm
    zones = replace(
        gardens.zones,
        precipitation_rate_mm_h=gardens.rate_mm_h,
        application_efficiency=gardens.efficiency,
        landscape_coefficient=gardens.coefficient,
        total_available_water_mm=gardens.available_mm,
        allowed_depletion_mm=gardens.zones.allowed_depletion_mm * share,
    )
    return _round(known, before, zones, np.ones(len(zones)))


def naive_fixed(known: Known, before: Setting | None) -> Setting:
    """Monday, Wednesday, Friday, one run of 12 mm on every zone, whatever grows there."""
    zones = known.gardens.zones
    minutes = np.ceil(60.0 * 12.0 / zones.precipitation_rate_mm_h)
    return before or _fixed(known, _three_days(known), 1, minutes)


def peak_in_ratio(known: Known, before: Setting | None) -> Setting:
    """Sized once on the hottest month, minutes in ratio to coefficients, cycle and soak, on three days."""
    if before is not None:
        return before
    zones = known.gardens.zones
    pattern = _three_days(known)
    events = 7.0 * float(runs_on(pattern, known.days).mean())
    event = known.peak_et_mm_d * 7.0 / events * zones.landscape_coefficient / zones.application_efficiency
    total = 60.0 * event / zones.precipitation_rate_mm_h
    cycles = np.clip(np.ceil(total / zones.runoff_limit_min), 1, MOST_STARTS)
    most = np.maximum.reduceat(cycles, _first(zones)).astype(np.int64)
    minutes = np.minimum(np.ceil(total / most[zones.controller_id - 1]), _limit(zones))
    return _fixed(known, pattern, most, minutes)


def four_small_starts(known: Known, before: Setting | None) -> Setting:
    """Every day four starts of 2 mm net on the first zone, the others in the ratio of their coefficients."""
    if before is not None:
        return before
    zones = known.gardens.zones
    share = zones.landscape_coefficient / zones.landscape_coefficient[_first(zones)][zones.controller_id - 1]
    minutes = np.ceil(60.0 * 2.0 * share / zones.application_efficiency / zones.precipitation_rate_mm_h)
    return _fixed(known, _densest(known), MOST_STARTS, np.minimum(minutes, _limit(zones)))


METHODS: Final[dict[str, Method]] = {
    "ours": ours,
    "told the truth": told_the_truth,
    "fixed 12 mm x 3": naive_fixed,
    "peak in ratio, cycle-soak": peak_in_ratio,
    "daily, four small starts": four_small_starts,
}


def spacing_min(zones: ZoneTable, minutes: FloatArray) -> FloatArray:
    """Time from one start to the next: the pass, half an hour, and time to soak in [min], (controllers,).

    Parameters
    ----------
    zones
        The zones.
    minutes
        Minutes of a run [min], (zones,).
    """
    first = _first(zones)
    soak = minutes * np.maximum(zones.precipitation_rate_mm_h / zones.intake_rate_mm_h, 1.0)
    return np.maximum(np.add.reduceat(minutes, first) + 30.0, np.maximum.reduceat(soak, first))


def _round(known: Known, before: Setting | None, zones: ZoneTable, margin: FloatArray) -> Setting:
    """A weekly round on zones as somebody believes them."""
    given = _problem(known, zones, margin)
    count = len(known.gardens.controllers)
    starts = np.zeros((len(known.days), count))
    if before is not None:
        for at, pattern in enumerate(before.patterns):
            if pattern is not None:
                starts[:, at] = runs_on(pattern, known.days) * before.starts[at]
    minutes = np.zeros(len(zones)) if before is None else before.minutes
    plan = round_plan(
        given,
        starts=starts,
        run_min=starts[:, given.owner] * minutes,
        is_known=np.full(count, before is not None),
        breaks_rule=np.zeros(count, dtype=np.bool_),
    )
    changed = plan.is_change
    choices = known.cases[0].choices
    kept = before.patterns if before is not None else (None,) * count
    merged = np.where(changed[given.owner], plan.chosen.minutes, minutes)
    return Setting(
        patterns=tuple(
            choices[pattern].pattern if is_new else old
            for pattern, is_new, old in zip(plan.chosen.pattern, changed, kept, strict=True)
        ),
        starts=np.where(changed, plan.chosen.starts, before.starts if before is not None else 1),
        minutes=merged,
        spacing_min=spacing_min(zones, merged),
    )


def _problem(known: Known, zones: ZoneTable, margin: FloatArray) -> Problem:
    """The gardens as a problem of the round."""
    nowhere = np.zeros(len(zones), dtype=np.int64)
    return problem(
        zones,
        known.gardens.controllers,
        known.cases,
        known.weather,
        weather_column=nowhere,
        rain_column=nowhere,
        depletion_mm=known.depletion_mm,
        margin=margin,
        settings=ProgramSettings(),
    )


def _densest(known: Known) -> DayPattern:
    """Every day, or all days that the rule leaves open."""
    return max(known.cases[0].choices, key=lambda choice: int(choice.runs.sum())).pattern


def _three_days(known: Known) -> DayPattern:
    """Monday, Wednesday, Friday, or the rule's days where it leaves fewer open."""
    pattern = _densest(known)
    return _MONDAY_WEDNESDAY_FRIDAY if pattern.kind == "daily" else pattern


def _fixed(known: Known, pattern: DayPattern, starts: int | IntArray, minutes: FloatArray) -> Setting:
    """The same pattern for all gardens."""
    count = len(known.gardens.controllers)
    return Setting(
        patterns=(pattern,) * count,
        starts=np.broadcast_to(np.asarray(starts, dtype=np.int64), (count,)),
        minutes=minutes,
        spacing_min=spacing_min(known.gardens.zones, minutes),
    )


def _first(zones: ZoneTable) -> IntArray:
    """Position of each controller's first zone."""
    return np.flatnonzero(np.diff(zones.controller_id, prepend=-1))


def _limit(zones: ZoneTable) -> FloatArray:
    """Longest whole minutes that do not run off [min]."""
    return np.maximum(np.floor(np.minimum(zones.runoff_limit_min, 240.0)), 1.0)


def is_past_limit(zones: ZoneTable, minutes: FloatArray) -> BoolArray:
    """Whether a run outlasts the run-off limit, (zones,).

    Parameters
    ----------
    zones
        The zones.
    minutes
        Minutes of a run [min], (zones,).
    """
    return np.asarray(minutes > zones.runoff_limit_min + 1e-6)

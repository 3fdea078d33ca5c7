"""The methods that are scored: ours, and ours told the truth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np

from fleet.scoring.program_gardens import Gardens
from fleet.scoring.program_setting import MOST_STARTS, Setting
from sites.calc.program.adjust import with_adjusts
from sites.calc.program.days import DayPattern, runs_on
from sites.calc.search.controllers import RuleCase
from sites.calc.search.learned import Learned, SensorLog, learned_from_logs, nothing_learned
from sites.calc.search.margin import margins
from sites.calc.search.problem import Problem, problem
from sites.calc.search.round_plan import round_plan
from sites.calc.search.settings import ProgramSettings
from sites.calc.search.trial import Slots
from sites.calc.search.weather import Seasons
from sites.calc.zone_table import ZoneTable
from weather.calc.arrays import BoolArray, DayArray, FloatArray, IntArray


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
    log
        What the sensors' logs add up to since the first day; None: no sensor, or no day yet.
    """

    gardens: Gardens
    weather: Seasons
    peak_et_mm_d: float
    depletion_mm: FloatArray
    cases: tuple[RuleCase, ...]
    days: DayArray
    log: SensorLog | None = None


Method: TypeAlias = Callable[[Known, Setting | None], Setting]


def ours(known: Known, before: Setting | None, settings: ProgramSettings | None = None) -> Setting:
    """The weekly round: search, and change only where a change pays."""
    gardens = known.gardens
    zones, settings = gardens.zones, settings or ProgramSettings()
    owner = zones.controller_id - 1
    governed = bool(gardens.controllers.is_governed.all())
    first = first_zones(zones)
    learned = nothing_learned(len(first))
    if known.log is not None:
        learned = learned_from_logs(zones, first, gardens.controllers.threshold_mm, known.log, settings)
    margin = margins(
        zones,
        first[owner] if governed else np.full(len(zones), -1),
        np.ones(len(zones)),
        settings,
        weight=learned.weight[owner],
        error_variance=learned.error_variance[owner],
    )
    return _round(known, before, zones, margin, learned, settings)


def told_the_truth(known: Known, before: Setting | None, settings: ProgramSettings | None = None) -> Setting:
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
    nothing = nothing_learned(len(gardens.controllers))
    return _round(known, before, zones, np.ones(len(zones)), nothing, settings or ProgramSettings())


def spacing_min(zones: ZoneTable, minutes: FloatArray) -> FloatArray:
    """Time from one start to the next: the pass, half an hour, and time to soak in [min], (controllers,).

    Parameters
    ----------
    zones
        The zones.
    minutes
        Minutes of a run [min], (zones,).
    """
    first = first_zones(zones)
    soak = minutes * np.maximum(zones.precipitation_rate_mm_h / zones.intake_rate_mm_h, 1.0)
    return np.maximum(np.add.reduceat(minutes, first) + 30.0, np.maximum.reduceat(soak, first))


def _round(
    known: Known,
    before: Setting | None,
    zones: ZoneTable,
    margin: FloatArray,
    learned: Learned,
    settings: ProgramSettings,
) -> Setting:
    """A weekly round on zones as somebody believes them."""
    given = _problem(known, zones, margin, learned, settings)
    count = len(known.gardens.controllers)
    now = _slots(known, before, given)
    plan = round_plan(given, now=now, breaks_rule=np.zeros(count, dtype=np.bool_))
    chosen, choices = plan.chosen, known.cases[0].choices
    new = Setting(
        patterns=tuple(choices[at].pattern for at in chosen.pattern),
        starts=chosen.starts,
        minutes=chosen.minutes,
        low_patterns=tuple(choices[at].pattern if at >= 0 else None for at in chosen.low_pattern),
        in_low=chosen.in_low,
        spacing_min=spacing_min(zones, np.where(chosen.in_low, 0.0, chosen.minutes)),
        adjust_pct=np.full(count, 100.0),
    )
    if before is None:
        return new
    plan = with_adjusts(
        plan,
        given,
        now,
        may=chosen.overrun_min <= 0,
        adjust_now=before.adjust_pct,
        cases=known.cases,
    )
    adjust = before.adjust_pct.copy()
    adjust[list(plan.adjust_pct)] = list(plan.adjust_pct.values())
    changed = plan.is_change & (adjust == before.adjust_pct)
    of_zone = changed[given.owner]
    factor = (adjust / before.adjust_pct)[given.owner]
    return Setting(
        patterns=_mixed(changed, new.patterns, before.patterns),
        starts=np.where(changed, new.starts, before.starts),
        minutes=np.where(of_zone, new.minutes, before.minutes * factor),
        low_patterns=_mixed(changed, new.low_patterns, before.low_patterns),
        in_low=np.where(of_zone, new.in_low, before.in_low),
        spacing_min=np.where(
            changed, new.spacing_min, before.spacing_min * np.maximum(adjust / before.adjust_pct, 1.0)
        ),
        adjust_pct=np.where(changed, 100.0, adjust),
    )


def _mixed(
    changed: BoolArray, new: tuple[DayPattern | None, ...], before: tuple[DayPattern | None, ...]
) -> tuple[DayPattern | None, ...]:
    """The new patterns where something changes."""
    return tuple(one if is_new else old for is_new, one, old in zip(changed, new, before, strict=True))


def _slots(known: Known, before: Setting | None, given: Problem) -> Slots:
    """What is set, as slots of a day."""
    count = len(known.gardens.controllers)
    runs = np.zeros((len(known.days), count, 1 + MOST_STARTS), dtype=np.bool_)
    minutes = np.zeros((len(given.owner), 2))
    if before is not None:
        minutes[:, 0] = np.where(before.in_low, before.minutes, 0.0)
        minutes[:, 1] = np.where(before.in_low, 0.0, before.minutes)
        for at, (main, low) in enumerate(zip(before.patterns, before.low_patterns, strict=True)):
            if low is not None:
                runs[:, at, 0] = runs_on(low, known.days)
            if main is not None:
                runs[:, at, 1 : 1 + before.starts[at]] = runs_on(main, known.days)[:, None]
    letter = np.broadcast_to(np.minimum(np.arange(1 + MOST_STARTS), 1), (count, 1 + MOST_STARTS))
    nobody = np.zeros(minutes.shape, dtype=np.bool_)
    told = np.full(letter.shape, -1)
    if before is not None:
        told = before.start_min(np.add.reduceat(minutes[:, 0], given.first))
    return Slots(runs, letter, minutes, nobody, np.full(count, before is not None), told)


def _problem(
    known: Known, zones: ZoneTable, margin: FloatArray, learned: Learned, settings: ProgramSettings
) -> Problem:
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
        settings=settings,
        use_factor=learned.use_factor(first_zones(zones), len(zones)),
    )


def first_zones(zones: ZoneTable) -> IntArray:
    """Position of each controller's first zone."""
    return np.flatnonzero(np.diff(zones.controller_id, prepend=-1))


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

"""Issued programs on an independent garden with hidden errors: what they reach and what they cost."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Final

import numpy as np

from fleet.scoring.program_ledger import Ledger, Logged, ProgramScore
from fleet.scoring.program_methods import Known, Method
from fleet.scoring.program_physics import Day, HourlyGardens
from fleet.scoring.program_rivals import four_small_starts
from fleet.scoring.program_rows import METHODS, REFILL
from fleet.scoring.program_setting import Setting
from fleet.scoring.program_worlds import World, make_world
from sites.calc.program.patterns import day_choices
from sites.calc.rules.file import parse_stage
from sites.calc.rules.hours import permitted_hours
from sites.calc.rules.stages import Watered
from sites.calc.search.controllers import RuleCase
from sites.calc.search.settings import ProgramSettings
from sites.calc.search.weather import DaySpan, seasons
from weather.calc.arrays import FloatArray

_SEASON_START: Final = date(2026, 4, 1)
_WARM_UP_DAYS: Final = 14
# High summer begins on Monday 29 June; the warm-up two weeks before.
_FIRST_DAY: Final = 89
# The season: as long as four weeks ahead of its last Monday are on record.
_SEASON_FROM: Final = 28
SEASON_WEEKS: Final = 22
_MODES: Final = ("weekdays", "interval", "odd", "even")
RULES: Final = {
    "free days": {"name": "night", "windows": ["20:00-10:00"]},
    "two days a week": {"name": "two days", "weekdays": ["wed", "sat"], "windows": ["20:00-10:00"]},
}


def score_method(
    world: World,
    method: Method | None,
    *,
    rule: str,
    seed: int,
    weeks: int = 4,
    first_day: int = _FIRST_DAY,
) -> ProgramScore:
    """What a method reaches over some weeks of high summer, its programs set anew each Monday where it wants.

    Parameters
    ----------
    world
        Gardens and weather.
    method
        The method; None: no timer, but a full refill on every day that the rule leaves open, without loss.
    rule
        Name of the watering rule.
    seed
        Seed of the sensors' noise.
    weeks
        Weeks scored [1].
    first_day
        First scored day of the season [d]; two weeks before it warm up.
    """
    life = HourlyGardens(world.gardens, np.random.default_rng([seed, 7]))
    ledger, logged = Ledger(world.gardens), Logged(world)
    setting: Setting | None = None
    nothing = np.zeros(len(world.gardens.controllers), dtype=np.int64)
    own = np.full(len(world.gardens.zones), np.nan)
    begin = first_day - _WARM_UP_DAYS
    for day in range(begin, first_day + 7 * weeks):
        is_scored = day >= first_day
        if day == begin or (is_scored and (day - first_day) % 7 == 0):
            log = logged.log if is_scored and world.is_governed else None
            known = replace(known_on(world, day, own, rule), log=log)
            new = (
                method(known, setting)
                if method
                else replace(four_small_starts(known, setting), starts=nothing)
            )
            ledger.note(new, setting, is_counted=is_scored)
            setting = new
        if setting is None:
            raise RuntimeError("a method sets the timers on the first day")
        today = np.datetime64(_SEASON_START) + day
        program = setting.on(today)
        refilled = life.refill(program.runs) if method is None else 0.0
        done = life.live(
            program,
            np.full(len(life.first), world.et_mm[day]),
            world.garden_rain_mm[day],
        )
        own = _own_balance(world, day, own, setting, done)
        logged.add(world, day, setting, done)
        if is_scored:
            ledger.add(replace(done, gross_mm=done.gross_mm + refilled))
            ledger.starts += done.allowed
    return ledger.score(weeks)


def known_on(world: World, day: int, own: FloatArray, rule: str) -> Known:
    """What a method may know on a day.

    Parameters
    ----------
    world
        Gardens and weather.
    day
        Day of the season [d].
    own
        The planner's own balance [mm], (zones,).
    rule
        Name of the watering rule.
    """
    settings = ProgramSettings()
    span = slice(day, day + settings.horizon_days)
    past = [DaySpan(one.reference_et_mm[span], one.rain_mm[span]) for one in world.past]
    recent = slice(max(day - 60, 0), day)
    found = seasons(
        past,
        DaySpan(world.et_mm[recent, None], world.rain_mm[recent, None]),
        np.ones((settings.horizon_days, 1)),
        settings,
    )
    first = np.datetime64(_SEASON_START) + day
    days = np.arange(first, first + settings.horizon_days)
    hours = permitted_hours(
        [parse_stage(RULES[rule])], Watered(None), first.astype(object), settings.horizon_days
    )
    # A place without past seasons lends its rivals its own hottest month: its normals would tell them.
    seen = world.past or (DaySpan(world.et_mm[:, None], world.rain_mm[:, None]),)
    months = np.stack([one.reference_et_mm[:210, 0].reshape(7, 30).mean(axis=1) for one in seen])
    return Known(
        gardens=world.gardens,
        weather=found,
        peak_et_mm_d=float(months.mean(axis=0).max()),
        depletion_mm=own,
        cases=(RuleCase(day_choices(hours, days, day_modes=_MODES)),),
        days=days,
    )


def _own_balance(world: World, day: int, own: FloatArray, setting: Setting, done: Day) -> FloatArray:
    """The planner's own balance after a day, on what it believes and on the starts that were logged."""
    zones = world.gardens.zones
    start = np.where(np.isnan(own), zones.allowed_depletion_mm / 2, own)
    gross = zones.precipitation_rate_mm_h / 60 * setting.minutes
    net = np.maximum(gross - ProgramSettings().run_loss_mm, 0) * zones.application_efficiency
    owner = zones.controller_id - 1
    runs = np.where(setting.in_low, done.low_allowed[owner], done.allowed[owner])
    watered = np.maximum(start - world.rain_mm[day] - net * runs, 0.0)
    used = watered + zones.landscape_coefficient * world.et_mm[day]
    return np.asarray(np.minimum(used, zones.total_available_water_mm))


def score_programs(
    *,
    seeds: Sequence[int],
    climates: Sequence[str],
    gardens: int,
    rules: Sequence[str] = tuple(RULES),
    methods: Mapping[str, Method | None] | None = None,
    record: Sequence[DaySpan] = (),
    is_season: bool = False,
) -> Iterator[tuple[str, str, str, str, dict[str, float]]]:
    """Mean figures over the seeds: (kind, climate, rule, method, figures).

    Parameters
    ----------
    seeds
        One world a seed.
    climates, rules
        Names.
    methods
        Rows by name; None: the usual ones.
    gardens
        Gardens of a world [1].
    record
        Measured seasons; none: generated ones.
    is_season
        Whether the season is scored, 22 weeks from the end of April, instead of four weeks of high summer.
    """
    first_day, weeks = (_SEASON_FROM, SEASON_WEEKS) if is_season else (_FIRST_DAY, 4)
    for is_governed in (True, False):
        for climate in climates:
            worlds = [
                make_world(seed=s, climate=climate, gardens=gardens, is_governed=is_governed, record=record)
                for s in seeds
            ]
            for rule in rules:
                for name, method in (methods or {**METHODS, REFILL: None}).items():
                    found = [
                        score_method(
                            world, method, rule=rule, seed=seed, weeks=weeks, first_day=first_day
                        ).figures()
                        for world, seed in zip(worlds, seeds, strict=True)
                    ]
                    mean = {key: float(np.mean([one[key] for one in found])) for key in found[0]}
                    yield ("governed" if is_governed else "clock only", climate, rule, name, mean)

"""Issued programs on an independent garden with hidden errors: what they reach and what they cost."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

import numpy as np

from fleet.scoring.program_gardens import Gardens
from fleet.scoring.program_methods import METHODS, Known, Method, is_past_limit
from fleet.scoring.program_physics import Day, HourlyGardens
from fleet.scoring.program_setting import Setting
from fleet.scoring.program_worlds import World, make_world
from sites.calc.program_controllers import RuleCase
from sites.calc.program_learned import SensorLog
from sites.calc.program_patterns import day_choices
from sites.calc.program_settings import ProgramSettings
from sites.calc.program_weather import DaySpan, seasons
from sites.calc.rule_file import parse_stage
from sites.calc.rule_hours import permitted_hours
from sites.calc.rules import Watered
from weather.calc.arrays import BoolArray, FloatArray

_SEASON_START: Final = date(2026, 4, 1)
_WARM_UP_DAYS: Final = 14
# High summer begins on Monday 29 June; the warm-up two weeks before.
_FIRST_DAY: Final = 89
_MODES: Final = ("weekdays", "interval", "odd", "even")
RULES: Final = {
    "free days": {"name": "night", "windows": ["20:00-10:00"]},
    "two days a week": {"name": "two days", "weekdays": ["wed", "sat"], "windows": ["20:00-10:00"]},
}


@dataclass(frozen=True, slots=True)
class ProgramScore:
    """What a method reached over the scored weeks.

    Parameters
    ----------
    adequacy
        ET over ET without stress of each zone [1], (zones,).
    wanted_mm
        ET without stress of each zone [mm], (zones,).
    need_mm, gross_mm, lost_mm
        Gross need (ET without stress less rain kept, over the true efficiency), water applied, and lost [mm],
        (zones,).
    starts_a_week
        Starts that ran, of each controller [1], (controllers,).
    changes
        Changes of a setting after the first, of each controller [1], (controllers,).
    past_limit
        Runs set longer than the run-off limit [1].
    """

    adequacy: FloatArray
    wanted_mm: FloatArray
    need_mm: FloatArray
    gross_mm: FloatArray
    lost_mm: FloatArray
    starts_a_week: FloatArray
    changes: FloatArray
    past_limit: int

    def figures(self) -> dict[str, float]:
        """The figures of the table: shares in per cent, gross and changes per need and season."""
        gross = float(self.gross_mm.sum())
        return {
            "adequacy_pct": 100 * float((self.adequacy * self.wanted_mm).sum() / self.wanted_mm.sum()),
            "zones_95_pct": 100 * float((self.adequacy >= 0.95).mean()),
            "zone_p5_pct": 100 * float(np.percentile(self.adequacy, 5)),
            "gross_per_need": gross / max(float(self.need_mm.sum()), 1e-9),
            "lost_pct": 100 * float(self.lost_mm.sum()) / max(gross, 1e-9),
            "gross_mm": gross / len(self.gross_mm),
            "starts_a_week": float(np.median(self.starts_a_week)),
            "changes": float(self.changes.mean()),
            "past_limit": float(self.past_limit),
        }


def score_method(world: World, method: Method, *, rule: str, seed: int, weeks: int = 4) -> ProgramScore:
    """What a method reaches over some weeks of high summer, its programs set anew each Monday where it wants.

    Parameters
    ----------
    world
        Gardens and weather.
    method
        The method.
    rule
        Name of the watering rule.
    seed
        Seed of the sensors' noise.
    weeks
        Weeks scored [1].
    """
    life = HourlyGardens(world.gardens, np.random.default_rng([seed, 7]))
    ledger, logged = _Ledger(world.gardens), _Logged(world)
    setting: Setting | None = None
    own = np.full(len(world.gardens.zones), np.nan)
    begin = _FIRST_DAY - _WARM_UP_DAYS
    for day in range(begin, _FIRST_DAY + 7 * weeks):
        is_scored = day >= _FIRST_DAY
        if day == begin or (is_scored and (day - _FIRST_DAY) % 7 == 0):
            log = logged.log if is_scored and world.is_governed else None
            new = method(replace(known_on(world, day, own, rule), log=log), setting)
            ledger.note(new, setting, is_counted=is_scored)
            setting = new
        if setting is None:
            raise RuntimeError("a method sets the timers on the first day")
        today = np.datetime64(_SEASON_START) + day
        done = life.live(
            setting.on(today),
            np.full(len(life.first), world.et_mm[day]),
            world.garden_rain_mm[day],
        )
        own = _own_balance(world, day, own, setting, done)
        logged.add(world, day, setting, done)
        if is_scored:
            ledger.add(done.met_mm, done.wanted_mm, done.gross_mm, done.lost_mm, done.rain_used_mm)
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
    months = np.stack([one.reference_et_mm[:210, 0].reshape(7, 30).mean(axis=1) for one in world.past])
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


class _Logged:
    """The sensors' logs since the first day, beside what the book says of their zones."""

    def __init__(self, world: World) -> None:
        nothing = np.zeros(len(world.gardens.controllers))
        self.log = SensorLog(nothing, nothing, nothing, nothing, nothing)

    def add(self, world: World, day: int, setting: Setting, done: Day) -> None:
        """Add a day."""
        zones, first = (
            world.gardens.zones,
            np.flatnonzero(np.diff(world.gardens.zones.controller_id, prepend=-1)),
        )
        gross = zones.precipitation_rate_mm_h[first] / 60 * setting.minutes[first]
        use = zones.landscape_coefficient[first] * world.et_mm[day]
        room = np.nan_to_num(world.gardens.controllers.threshold_mm) + use / 2
        before = self.log
        self.log = SensorLog(
            before.net_mm + gross * zones.application_efficiency[first] * done.allowed,
            before.use_mm + use,
            before.rain_mm + np.minimum(world.rain_mm[day], room),
            before.ran + done.allowed,
            before.offered + done.offered,
        )


class _Ledger:
    """Sums of the scored weeks."""

    def __init__(self, gardens: Gardens) -> None:
        self.gardens = gardens
        zones, controllers = len(gardens.zones), len(gardens.controllers)
        self.met, self.wanted = np.zeros(zones), np.zeros(zones)
        self.gross, self.lost, self.rain = np.zeros(zones), np.zeros(zones), np.zeros(zones)
        self.starts, self.changes = np.zeros(controllers), np.zeros(controllers)
        self.past_limit = 0

    def note(self, new: Setting, before: Setting | None, *, is_counted: bool) -> None:
        """Count what was changed, and runs beyond their limit."""
        self.past_limit += int(is_past_limit(self.gardens.zones, new.minutes).sum())
        if before is not None and is_counted:
            self.changes += _differs(new, before, self.gardens)

    def add(self, *parts: FloatArray) -> None:
        """Add a day."""
        for name, part in zip(("met", "wanted", "gross", "lost", "rain"), parts, strict=True):
            setattr(self, name, getattr(self, name) + part)

    def score(self, weeks: int) -> ProgramScore:
        """The sums as a score."""
        return ProgramScore(
            adequacy=self.met / np.maximum(self.wanted, 1e-9),
            wanted_mm=self.wanted,
            need_mm=np.maximum(self.wanted - self.rain, 0.0) / self.gardens.efficiency,
            gross_mm=self.gross,
            lost_mm=self.lost,
            starts_a_week=self.starts / weeks,
            changes=self.changes,
            past_limit=self.past_limit,
        )


def _differs(new: Setting, before: Setting, gardens: Gardens) -> BoolArray:
    """Which controllers' settings differ."""
    owner = gardens.zones.controller_id - 1
    other = np.array([one != two for one, two in zip(new.patterns, before.patterns, strict=True)])
    other |= new.starts != before.starts
    other |= np.array([one != two for one, two in zip(new.low_patterns, before.low_patterns, strict=True)])
    other[owner[(new.minutes != before.minutes) | (new.in_low != before.in_low)]] = True
    return other


def score_programs(
    *,
    seeds: Sequence[int],
    climates: Sequence[str],
    gardens: int,
    rules: Sequence[str] = tuple(RULES),
    methods: Sequence[str] = tuple(METHODS),
    record: Sequence[DaySpan] = (),
) -> Iterator[tuple[str, str, str, str, dict[str, float]]]:
    """Mean figures over the seeds: (kind, climate, rule, method, figures).

    Parameters
    ----------
    seeds
        One world a seed.
    climates, rules, methods
        Names.
    gardens
        Gardens of a world [1].
    record
        Measured seasons; none: generated ones.
    """
    for is_governed in (True, False):
        for climate in climates:
            worlds = [
                make_world(seed=s, climate=climate, gardens=gardens, is_governed=is_governed, record=record)
                for s in seeds
            ]
            for rule in rules:
                for name in methods:
                    found = [
                        score_method(world, METHODS[name], rule=rule, seed=seed).figures()
                        for world, seed in zip(worlds, seeds, strict=True)
                    ]
                    mean = {key: float(np.mean([one[key] for one in found])) for key in found[0]}
                    yield ("governed" if is_governed else "clock only", climate, rule, name, mean)

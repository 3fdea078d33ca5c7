"""Rivals that know no coming weather: programs set by rule, some of them strong ones."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from fleet.scoring.program_methods import Known, first_zones, spacing_min
from fleet.scoring.program_setting import MOST_STARTS, Setting
from sites.calc.program.days import DayPattern, runs_on
from sites.calc.search.settings import ProgramSettings
from sites.calc.zone_table import ZoneTable
from weather.calc.arrays import FloatArray, IntArray

# Passes a day that the rivals use at most [1].
_RIVAL_STARTS: Final = 4
# Share of the mean rain that a monthly table counts on [1].
_RAIN_CREDIT: Final = 0.25
_MONDAY_WEDNESDAY_FRIDAY = DayPattern("weekdays", weekdays=(0, 2, 4))


def naive_fixed(known: Known, before: Setting | None) -> Setting:
    """Monday, Wednesday, Friday, one run of 12 mm on every zone, whatever grows there."""
    zones = known.gardens.zones
    minutes = np.ceil(60.0 * 12.0 / zones.precipitation_rate_mm_h)
    return before or _fixed(known, _three_days(known), 1, minutes)


def peak_in_ratio(known: Known, before: Setting | None) -> Setting:
    """Sized once on the hottest month, minutes in ratio to coefficients, cycle and soak, run losses counted.

    On all days that are open where a sensor has its say, on three days where it has not. A run brings what it
    applies less what filling, drain-down and wet leaves take, so each zone's runs are that much longer. A day
    has as few of them as whole minutes within the run-off limits leave; zones that take their day's water at
    once, while others of the garden need cycles, stand in a letter of their own.
    """
    if before is not None:
        return before
    zones, loss = known.gardens.zones, ProgramSettings().run_loss_mm
    owner, first = zones.controller_id - 1, first_zones(zones)
    pattern, event = _peak_event(known)
    longest = zones.precipitation_rate_mm_h * _limit(zones) / 60.0
    needed = event / np.maximum(longest - loss, 0.1)
    cycles = _shared(zones, needed, MOST_STARTS)
    at_once = (needed <= 1.0 + 1e-9) & (cycles[owner] > 1)
    at_once[first] = False
    each = event / np.where(at_once, 1, cycles[owner]) + loss
    minutes = np.minimum(np.ceil(60.0 * each / zones.precipitation_rate_mm_h - 1e-9), _limit(zones))
    has_letter = np.logical_or.reduceat(at_once, first)
    return replace(
        _fixed(known, pattern, cycles, minutes),
        low_patterns=tuple(pattern if has else None for has in has_letter),
        in_low=at_once,
        spacing_min=spacing_min(zones, np.where(at_once, 0.0, minutes)),
    )


def peak_without_run_losses(known: Known, before: Setting | None) -> Setting:
    """The same by somebody who forgets what each run loses, and stops at four cycles a day."""
    if before is not None:
        return before
    zones = known.gardens.zones
    pattern, event = _peak_event(known)
    total = 60.0 * event / zones.precipitation_rate_mm_h
    cycles = _shared(zones, total / zones.runoff_limit_min, _RIVAL_STARTS)
    minutes = np.minimum(np.ceil(total / cycles[zones.controller_id - 1]), _limit(zones))
    return _fixed(known, pattern, cycles, minutes)


def _peak_event(known: Known) -> tuple[DayPattern, FloatArray]:
    """Days of the peak program, and what each of them has to bring before run losses [mm], (zones,)."""
    zones = known.gardens.zones
    governed = bool(known.gardens.controllers.is_governed.all())
    pattern = _densest(known) if governed else _three_days(known)
    events = 7.0 * float(runs_on(pattern, known.days).mean())
    share = zones.landscape_coefficient / zones.application_efficiency
    return pattern, known.peak_et_mm_d * 7.0 / events * share


def _shared(zones: ZoneTable, cycles: FloatArray, most: int) -> IntArray:
    """Cycles of a day that suffice for all zones of a controller [1], (controllers,)."""
    whole = np.clip(np.ceil(cycles - 1e-9), 1, most)
    return np.asarray(np.maximum.reduceat(whole, first_zones(zones)).astype(np.int64))


def monthly_adjusted(known: Known, before: Setting | None) -> Setting:
    """The peak program's form, its minutes set anew each month for the month's mean ET less 25 % of its rain.

    The credit of a quarter of the rain is that of California's model ordinance, meant for budgets.
    """
    if before is not None and known.days[0].astype(object).day > 7:
        return before
    month = known.weather.reference_et_mm[:, 0].mean() - _RAIN_CREDIT * known.weather.rain_mm[:, 0].mean()
    least = 0.1 * known.weather.reference_et_mm[:, 0].mean()
    return peak_in_ratio(replace(known, peak_et_mm_d=float(max(month, least))), None)


def four_small_starts(known: Known, before: Setting | None) -> Setting:
    """Every day four starts of 2 mm net on the first zone, the others in the ratio of their coefficients."""
    if before is not None:
        return before
    zones = known.gardens.zones
    share = (
        zones.landscape_coefficient / zones.landscape_coefficient[first_zones(zones)][zones.controller_id - 1]
    )
    minutes = np.ceil(60.0 * 2.0 * share / zones.application_efficiency / zones.precipitation_rate_mm_h)
    return _fixed(known, _densest(known), _RIVAL_STARTS, np.minimum(minutes, _limit(zones)))


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
        low_patterns=(None,) * count,
        in_low=np.zeros(len(minutes), dtype=np.bool_),
        spacing_min=spacing_min(known.gardens.zones, minutes),
        adjust_pct=np.full(count, 100.0),
    )


def _limit(zones: ZoneTable) -> FloatArray:
    """Longest whole minutes that do not run off [min]."""
    return np.maximum(np.floor(np.minimum(zones.runoff_limit_min, 240.0)), 1.0)

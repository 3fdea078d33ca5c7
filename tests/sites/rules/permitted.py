"""Watering rules day by day and run by run, for tests to hold programs against."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from sites.calc.rules.hours import clock_instant, permitted_hours
from sites.calc.rules.stages import Stage, Watered, applies, in_force, permitted_dates
from weather.calc.arrays import BoolArray, DayArray


def permitted_days(stages: Sequence[Stage], watered: Watered, days: DayArray) -> BoolArray:
    """Whether each day is a watering day under all stages in force, (days,)."""
    permitted = np.ones(days.shape, dtype=np.bool_)
    for stage in stages:
        if applies(stage, watered):
            permitted &= permitted_dates(stage, watered, days) | ~in_force(stage, watered, days)
    return permitted


def is_permitted(
    run_start: datetime,
    run_end: datetime,
    *,
    stages: Sequence[Stage],
    watered: Watered,
    timezone: str,
) -> bool:
    """Whether a run lies wholly inside one permitted span, in true time, clock changes included."""
    if run_start.tzinfo is None or run_end.tzinfo is None:
        raise ValueError("a run's start and end need an offset")
    zone = ZoneInfo(timezone)
    first_day = run_start.astimezone(zone).date() - timedelta(days=1)
    last_day = run_end.astimezone(zone).date()
    hours = permitted_hours(stages, watered, first_day, (last_day - first_day).days + 1)
    return any(
        clock_instant(first_day, opens, zone, late=True) <= run_start
        and run_end <= clock_instant(first_day, closes, zone, late=False)
        for opens, closes in hours.spans
    )

"""Days and hours that watering rules leave open to one kind of controller."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from sites.calc.program.patterns import DayChoice, day_choices, day_segments
from sites.calc.rules.hours import PermittedHours, common_hours, permitted_hours
from sites.calc.rules.stages import Stage, Watered, Window, tightest
from sites.calc.search.controllers import RuleCase

# Hours in which watering is best where rules leave more open: by night, when little evaporates (the hours
# that California's model ordinance sets for overhead irrigation).
NIGHT: Final = Stage(name="night", windows=(Window(20 * 60, 10 * 60),))
_LEAST_ROOM_MIN: Final = 240


def rule_case(
    stages: Sequence[Stage],
    watered: Sequence[Watered],
    *,
    first_day: date,
    day_count: int,
    day_modes: Sequence[str],
    timezone: str,
) -> RuleCase:
    """Day patterns with their hours that fit the rules for everything that a controller waters.

    Of several zones the strictest counts, since one start speaks for all. `AddressUnknownError` where a rule
    goes by a house number that nobody told.

    Parameters
    ----------
    stages
        Stages of the rule set.
    watered
        What the controller's zones water; at least one.
    first_day, day_count
        The horizon [d].
    day_modes
        What the controller can be set to.
    timezone
        Time zone of the site (IANA).
    """
    days = np.arange(np.datetime64(first_day), np.datetime64(first_day) + day_count)
    legal = common_hours([permitted_hours(stages, one, first_day, day_count) for one in watered])
    night = common_hours([legal, permitted_hours([NIGHT], watered[0], first_day, day_count)])
    bounds = [tightest(stages, one, days) for one in watered]
    most_days = min((days for days, _ in bounds if days is not None), default=None)
    slack = 60 if clock_goes_forward(first_day, day_count, timezone) else 0
    choices = _choices(night, days, day_modes, most_days, slack)
    if _room(choices) < _LEAST_ROOM_MIN:
        wider = _choices(legal, days, day_modes, most_days, slack)
        choices = wider if _room(wider) > _room(choices) else choices
    return RuleCase(
        choices=choices,
        max_station_min=min((minutes for _, minutes in bounds if minutes is not None), default=math.inf),
        segments=tuple(day_segments(legal, at) for at in range(day_count)) if stages else (),
        max_days_per_week=most_days,
    )


def clock_goes_forward(first_day: date, day_count: int, timezone: str) -> bool:
    """Whether the clock goes forward during the days: a run across that hour ends an hour later by it.

    Parameters
    ----------
    first_day, day_count
        The days [d].
    timezone
        Time zone (IANA).
    """
    zone = ZoneInfo(timezone)
    noons = [datetime.combine(first_day + timedelta(days=at), time(12), zone) for at in range(day_count + 1)]
    offsets = [noon.utcoffset() or timedelta() for noon in noons]
    return any(later > earlier for earlier, later in pairwise(offsets))


def _choices(
    hours: PermittedHours,
    days: np.ndarray,
    day_modes: Sequence[str],
    most_days: int | None,
    slack_min: int,
) -> tuple[DayChoice, ...]:
    """Day patterns that fit hours."""
    return day_choices(hours, days, day_modes=day_modes, max_days_per_week=most_days, slack_min=slack_min)


def _room(choices: Sequence[DayChoice]) -> int:
    """Widest hours of the densest pattern [min]; 0 where there is none."""
    if not choices:
        return 0
    densest = max(choices, key=lambda choice: int(choice.runs.sum()))
    return max(block.closes_min - block.opens_min for block in densest.blocks)

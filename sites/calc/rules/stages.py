"""Watering rules: what a stage of a rule set says, to whom it applies, and on which days it lets water run.

Permitted hours are made of these days and of a stage's windows in `sites.calc.rules.hours`. No legal advice.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np

from sites.calc.program.days import DayPattern, runs_on
from weather.calc.arrays import BoolArray, DayArray

MINUTES_A_DAY = 1440
ADDRESS_RULES = ("none", "odd", "even", "last_digit")
_UNIT_WORDS = re.compile(r"\b(?:unit|apt|apartment|suite|ste|flat|lot|box|no|#)\.?\s*#?\s*\d+", re.IGNORECASE)


class RuleError(ValueError):
    """A stage that no rule set could hold; the message names the field and what was expected."""


class AddressUnknownError(ValueError):
    """A rule goes by house number and the address shows none."""


@dataclass(frozen=True, slots=True)
class Window:
    """Hours in which water may run.

    Parameters
    ----------
    opens_min
        Opening [min after midnight], 0 to 1439.
    closes_min
        Closing [min after midnight], 1 to 1440. At or before the opening it lies on the next day.
    """

    opens_min: int
    closes_min: int

    def __post_init__(self) -> None:
        """Refuse times that no clock shows."""
        if not (0 <= self.opens_min < MINUTES_A_DAY and 0 <= self.closes_min <= MINUTES_A_DAY):
            raise RuleError("a window opens and closes within a day")

    @property
    def crosses_midnight(self) -> bool:
        """Whether it closes on the day after it opens."""
        return self.closes_min <= self.opens_min


@dataclass(frozen=True, slots=True)
class Stage:
    """One dated stage of a rule set.

    Parameters
    ----------
    name
        The stage's name.
    starts_on, ends_on
        First day and the day after the last; None: no such bound.
    address_rule
        To whom the stage applies: `none` everybody, `odd` or `even` house numbers only; `last_digit`:
        everybody, with weekdays by last digit.
    weekdays
        Permitted days of the week (Monday 0) by address group: `""` for everybody, `odd`, `even`, or a digit.
        No entry at all: every day.
    dates
        `any`, `odd` or `even` dates.
    bars_31st
        Whether the 31st is barred.
    windows
        Permitted hours; none: the whole day.
    window_day
        `opening`: a window across midnight belongs to the day on which it opens; `calendar`: each side of
        midnight to its own day.
    max_days_per_week
        Most watering days in any seven days [d]; None: no bound.
    max_minutes_per_station
        Most minutes of a station in a day [min]; None: no bound.
    heads, plants
        To which heads and plants the stage applies; empty: to all.
    exempt_days_after_planting
        Days after planting in which a zone is exempt [d].
    """

    name: str
    starts_on: date | None = None
    ends_on: date | None = None
    address_rule: str = "none"
    weekdays: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    dates: str = "any"
    bars_31st: bool = False
    windows: tuple[Window, ...] = ()
    window_day: str = "opening"
    max_days_per_week: int | None = None
    max_minutes_per_station: float | None = None
    heads: tuple[str, ...] = ()
    plants: tuple[str, ...] = ()
    exempt_days_after_planting: int = 0

    @property
    def is_ban(self) -> bool:
        """Whether the stage forbids watering altogether: no day a week, or no minute a station."""
        return self.max_days_per_week == 0 or self.max_minutes_per_station == 0

    def __post_init__(self) -> None:
        """Refuse what the rule format does not know."""
        if self.address_rule not in ADDRESS_RULES:
            raise RuleError(f"address_rule: expected one of {', '.join(ADDRESS_RULES)}")
        if self.dates not in ("any", "odd", "even"):
            raise RuleError("dates: expected any, odd or even")
        if self.window_day not in ("opening", "calendar"):
            raise RuleError("window_day: expected opening or calendar")
        if self.starts_on and self.ends_on and self.ends_on <= self.starts_on:
            raise RuleError("until: expected a day after from")


@dataclass(frozen=True, slots=True)
class Watered:
    """What is watered, as far as rules ask.

    Parameters
    ----------
    house_number
        Number of the address; None: the address shows none.
    head, plant
        In the words of the site book.
    planted_on
        Day of planting; None: long ago.
    """

    house_number: int | None
    head: str = ""
    plant: str = ""
    planted_on: date | None = None


def house_number(address: str) -> int | None:
    """House number of an address, None where it shows none.

    Parameters
    ----------
    address
        One line such as `9 Kiln Lane` or `Unit 3, 18 Mill Road`; of `12-14` the first counts.
    """
    found = re.search(r"\d+", _UNIT_WORDS.sub(" ", address))
    return int(found.group()) if found else None


def applies(stage: Stage, watered: Watered) -> bool:
    """Whether a stage binds this zone at all, dates and planting apart.

    Parameters
    ----------
    stage
        The stage.
    watered
        What is watered. Without a house number, a stage that goes by it raises `AddressUnknownError`.
    """
    if stage.heads and watered.head not in stage.heads:
        return False
    if stage.plants and watered.plant not in stage.plants:
        return False
    if stage.address_rule in ("odd", "even"):
        return _parity(stage, watered) == stage.address_rule
    return True


def permitted_dates(stage: Stage, watered: Watered, days: DayArray) -> BoolArray:
    """Whether each day is a watering day under the stage's calendar, whatever its dates of validity, (days,).

    Parameters
    ----------
    stage
        A stage that applies to the zone.
    watered
        What is watered.
    days
        Calendar days [datetime64 days], (days,).
    """
    permitted = np.full(days.shape, not stage.is_ban, dtype=np.bool_)
    allowed = weekdays_of(stage, watered)
    if allowed is not None:
        permitted &= runs_on(DayPattern("weekdays", allowed), days) if allowed else False
    if stage.dates != "any":
        permitted &= runs_on(DayPattern(stage.dates), days)
    if stage.bars_31st:
        whole = days.astype("datetime64[D]")
        permitted &= (whole - whole.astype("datetime64[M]")).astype(np.int64) != 30
    return permitted


def in_force(stage: Stage, watered: Watered, days: DayArray) -> BoolArray:
    """Whether the stage binds the zone on each day: dated, and not exempt as newly planted, (days,).

    Parameters
    ----------
    stage
        A stage that applies to the zone.
    watered
        What is watered.
    days
        Calendar days [datetime64 days], (days,).
    """
    bound = np.ones(days.shape, dtype=np.bool_)
    if stage.starts_on is not None:
        bound &= days >= np.datetime64(stage.starts_on, "D")
    if stage.ends_on is not None:
        bound &= days < np.datetime64(stage.ends_on, "D")
    if watered.planted_on is not None and stage.exempt_days_after_planting > 0:
        planted = np.datetime64(watered.planted_on, "D")
        bound &= (days < planted) | (days >= planted + stage.exempt_days_after_planting)
    return bound


def tightest(stages: Sequence[Stage], watered: Watered, days: DayArray) -> tuple[int | None, float | None]:
    """Smallest number of days a week [d] and of minutes a station and day [min] in force; None: no bound.

    A ban counts as barred dates, not as a bound: it must not forbid the days before it.

    Parameters
    ----------
    stages
        Stages of the rule set.
    watered
        What is watered.
    days
        Calendar days [datetime64 days], (days,); a bound that holds on any of them counts.
    """
    bound = [
        stage
        for stage in stages
        if not stage.is_ban and applies(stage, watered) and in_force(stage, watered, days).any()
    ]
    weekly = [stage.max_days_per_week for stage in bound if stage.max_days_per_week is not None]
    minutes = [stage.max_minutes_per_station for stage in bound if stage.max_minutes_per_station is not None]
    return min(weekly, default=None), min(minutes, default=None)


def _parity(stage: Stage, watered: Watered) -> str:
    """Whether the house number is odd or even."""
    return "odd" if _number(stage, watered) % 2 else "even"


def _number(stage: Stage, watered: Watered) -> int:
    """House number, or the complaint that there is none."""
    if watered.house_number is None:
        raise AddressUnknownError(f"stage {stage.name!r} goes by house number and the address shows none")
    return watered.house_number


def weekdays_of(stage: Stage, watered: Watered) -> tuple[int, ...] | None:
    """Permitted weekdays of the zone's address group; None: every day.

    Parameters
    ----------
    stage
        A stage that applies to the zone.
    watered
        What is watered.
    """
    if not stage.weekdays:
        return None
    if "" in stage.weekdays:
        return stage.weekdays[""] or None
    by_digit = any(group.isdigit() for group in stage.weekdays)
    group = str(_number(stage, watered) % 10) if by_digit else _parity(stage, watered)
    # A group that the rule does not name has no day of its own.
    return stage.weekdays.get(group, ())

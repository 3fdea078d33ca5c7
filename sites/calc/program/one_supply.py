"""Timers of one garden on one supply: what of both runs together beyond its flow, in a sentence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from sites.calc.program.runs import runs_of
from sites.calc.program.sheet import KeyedLine
from sites.calc.rules.stages import MINUTES_A_DAY
from weather.calc.arrays import DayArray

_TINY = 1e-6


@dataclass(frozen=True, slots=True)
class SupplyTimer:
    """A timer on a supply.

    Parameters
    ----------
    code
        The controller.
    lines
        Its program, in run order within a letter.
    as_of
        First day of intervals that name none.
    flow_l_min
        Flow of each station, as planned [L/min].
    limit_l_min
        Flow that its supply is said to give [L/min]; None: nobody told.
    """

    code: str
    lines: tuple[KeyedLine, ...]
    as_of: date
    flow_l_min: Mapping[int, float]
    limit_l_min: float | None

    def __post_init__(self) -> None:
        """Refuse a supply that gives nothing."""
        if self.limit_l_min is not None and self.limit_l_min <= 0:
            raise ValueError("a supply gives more than nothing")


@dataclass(frozen=True, slots=True)
class _Run:
    """A run on the clock of the first midnight [min], with its flow [L/min]."""

    begin: float
    end: float
    timer: str
    station: int
    flow: float


def beyond_one_supply(timers: Sequence[SupplyTimer], days: DayArray) -> str:
    """The first time at which stations of several timers take more than the supply gives; empty: never.

    The smallest flow that was told counts for all: the book does not say which timers share a pipe.

    Parameters
    ----------
    timers
        Timers of a garden.
    days
        Days to look at, one after the other [datetime64 days].
    """
    told = [timer.limit_l_min for timer in timers if timer.limit_l_min is not None]
    if len(timers) < 2 or not told:
        return ""
    limit = min(told)
    runs = [run for timer in timers for run in _runs(timer, days)]
    active: list[_Run] = []
    for run in sorted(runs, key=lambda one: (one.begin, one.timer, one.station)):
        active = [one for one in active if one.end > run.begin + _TINY] + [run]
        total = sum(one.flow for one in active)
        if len({one.timer for one in active}) > 1 and total > limit + _TINY:
            return _words(active, run, runs, days, total, limit)
    return ""


def _runs(timer: SupplyTimer, days: DayArray) -> list[_Run]:
    """Runs of a timer."""
    return [
        _Run(begin, begin + minutes, timer.code, station, timer.flow_l_min.get(station, 0.0))
        for begin, minutes, station in runs_of(timer.lines, days, timer.as_of)
    ]


def _words(
    active: Sequence[_Run], last: _Run, runs: Sequence[_Run], days: DayArray, total: float, limit: float
) -> str:
    """The sentence."""
    first: date = np.asarray(days[0]).astype("datetime64[D]").item()
    named = " and ".join(f"station {one.station} of controller {one.timer}" for one in active)
    number = last.begin // MINUTES_A_DAY
    day = first + timedelta(days=int(number))
    other = next(one.timer for one in active if one.timer != last.timer)
    ends = max(one.end for one in runs if one.timer == other and one.begin // MINUTES_A_DAY <= number)
    return (
        f"{named[0].upper()}{named[1:]} run together on {day:%a} {day.day} {day:%b} at {_clock(last.begin)}"
        f" and take {total:.1f} L/min; the supply is said to give {limit:.1f}"
        f" L/min, if both draw from it. What controller {other} starts that day has ended at {_clock(ends)}."
    )


def _clock(minute: float) -> str:
    """A time of day."""
    return f"{int(minute) // 60 % 24:02d}:{int(minute) % 60:02d}"

"""What the timers of all gardens are set to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.scoring.program_physics import Program
from sites.calc.program.days import DayPattern, runs_on
from weather.calc.arrays import BoolArray, FloatArray, IntArray

MOST_STARTS: Final = 8
_FIRST_HOUR: Final = 1


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
    low_patterns, in_low
        Day pattern of the letter for low demand, which runs before (None: there is none), and its zones.
    spacing_min
        Time from one start to the next [min], (controllers,).
    adjust_pct
        Seasonal adjust that the minutes above already hold [%], (controllers,).
    """

    patterns: tuple[DayPattern | None, ...]
    starts: IntArray
    minutes: FloatArray
    low_patterns: tuple[DayPattern | None, ...]
    in_low: BoolArray
    spacing_min: FloatArray
    adjust_pct: FloatArray

    def start_min(self, lead_min: FloatArray) -> IntArray:
        """Clock times of the low letter's start and of all the others [min], (controllers, 1 + starts).

        Parameters
        ----------
        lead_min
            Minutes of the low letter [min], (controllers,).
        """
        first = 60 * _FIRST_HOUR + np.zeros(len(self.starts))
        main = (first + np.ceil(lead_min))[:, None] + np.arange(MOST_STARTS) * self.spacing_min[:, None]
        return np.ceil(np.column_stack([first, main])).astype(np.int64)

    def on(self, day: np.datetime64) -> Program:
        """The program of one day.

        Parameters
        ----------
        day
            The day.
        """
        number = np.arange(MOST_STARTS)[None, :]
        hours = _FIRST_HOUR + np.ceil(number * self.spacing_min[:, None] / 60.0).astype(np.int64)
        one = np.array([day])
        runs, low = (
            np.array([bool(pattern and runs_on(pattern, one)[0]) for pattern in patterns])
            for patterns in (self.patterns, self.low_patterns)
        )
        return Program(
            runs=runs,
            low_runs=low,
            start_hours=np.where((number < self.starts[:, None]) & (hours < 24), hours, -1),
            minutes=np.where(self.in_low, 0.0, self.minutes),
            low_minutes=np.where(self.in_low, self.minutes, 0.0),
        )

"""Runs of a keyed-in program on the clock."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np

from sites.calc.program.days import parse_days, parse_starts, runs_on
from sites.calc.program.sheet import KeyedLine
from sites.calc.rules.stages import MINUTES_A_DAY
from weather.calc.arrays import DayArray


def passes_of(lines: Sequence[KeyedLine], days: DayArray, week: date) -> list[tuple[float, float, str]]:
    """Begin, end [min after the first midnight] and letter of every pass of a program, by begin.

    Parameters
    ----------
    lines
        The program, in run order within a letter.
    days
        Days to look at [datetime64 days], (days,).
    week
        First day of intervals that name none.
    """
    found = []
    for letter in sorted({line.letter for line in lines}):
        own = [line for line in lines if line.letter == letter]
        length = sum(run_minutes(line) for line in own)
        running = np.flatnonzero(runs_on(parse_days(own[0].days, week), days))
        for start in parse_starts(own[0].starts):
            found += [
                (MINUTES_A_DAY * float(day) + start, MINUTES_A_DAY * float(day) + start + length, letter)
                for day in running
            ]
    return sorted(found)


def runs_of(lines: Sequence[KeyedLine], days: DayArray, week: date) -> list[tuple[float, float, int]]:
    """Begin [min after the first midnight], minutes and station of every run of a program.

    Parameters
    ----------
    lines
        The program, in run order within a letter.
    days
        Days to look at [datetime64 days], (days,).
    week
        First day of intervals that name none.
    """
    found = []
    for begin, _, letter in passes_of(lines, days, week):
        at = begin
        for line in lines:
            if line.letter == letter and run_minutes(line) > 0:
                found.append((at, run_minutes(line), line.station))
                at += run_minutes(line)
    return found


def run_minutes(line: KeyedLine) -> float:
    """Minutes of a run with seasonal adjust [min].

    Parameters
    ----------
    line
        A station's line.
    """
    return line.run_min * line.seasonal_adjust_pct / 100.0

"""Leaks: use that never stops, in meters that are read by the hour or by the day.

By the hour, water that flows in every hour of several days is nobody's watering. By the day it is only told
of meters that feed nothing but the garden: there the days without watering show what still flows. A garden
that is watered every day by the same amount looks alike, so a season that asks for water tells a leak only
where days of watering stand out above it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from fleet.calc.ledger.periods import UsePeriods, group_numbers
from fleet.calc.ledger.readings import RegisterReads
from weather.calc.arrays import BoolArray, DayArray, FloatArray, IntArray

BY_HOUR, BY_DAY = "hours", "days"
LEAST_HOUR_L = 4.0  # litres an hour below which a dripping tap is left alone. [judgement]
LEAST_DAY_L = 60.0  # litres a day that a leak found by days must lose. [judgement]
LEAST_HOURLY_DAYS = 3  # days whose every hour had flow. Common practice of leak alerts, no source
LEAST_DAILY_DAYS = 14  # two weeks hold resting days of any usual program. [judgement]
_LONGEST_INTERVAL_H = 2.0
_COVERED_H = 20.0  # hours of a day that must be known
_LOOK_D = 28  # newest days of a run that tell its rate
_ALIKE = 1.5  # largest over smallest of the resting days
_STANDS_OUT = 2.0  # a day of watering over a resting one
_RESTING = 0.10  # of the largest need of a day: below it nothing asks for water


@dataclass(frozen=True, slots=True)
class MeterDays:
    """Days of meters, flat, sorted by meter and day, shape (rows,).

    Parameters
    ----------
    meter
        Index that tells the meters apart [1].
    day
        Site-local day, datetime64[D] [1].
    floor_l_h
        Least flow of the day's hours [L/h]; NaN where the day is not read by the hour.
    volume_l
        Volume of the day [L]; NaN where not known.
    rests
        Whether hardly anything needed water on the day [1].
    is_whole_house
        Whether the meter also feeds the house [1].
    """

    meter: IntArray
    day: DayArray
    floor_l_h: FloatArray
    volume_l: FloatArray
    rests: BoolArray
    is_whole_house: BoolArray

    def where(self, keep: slice | BoolArray) -> MeterDays:
        """Days that a mask or a slice picks."""
        return MeterDays(*(getattr(self, name)[keep] for name in self.__slots__))


@dataclass(frozen=True, slots=True)
class Leak:
    """Use that did not stop.

    Parameters
    ----------
    meter
        Index of the meter [1].
    since, until
        First day, and the day after the last one on which it was seen, ISO dates [1].
    rate_l_h
        Flow [L/h].
    litres
        At most so much, were it a leak from the first day on [L].
    basis
        What told it: `hours` or `days` [1].
    """

    meter: int
    since: str
    until: str
    rate_l_h: float
    litres: float
    basis: str


def hourly_floors(reads: RegisterReads) -> tuple[IntArray, DayArray, FloatArray]:
    """Least flow of each meter's days that are read by the hour: meter, day, flow [L/h].

    Parameters
    ----------
    reads
        Readings of any meters, sorted by meter and moment [1].
    """
    hours = np.diff(reads.read_at).astype(np.float64) / 3600.0
    rise = np.diff(reads.reading)
    good = (reads.meter[1:] == reads.meter[:-1]) & (hours > 0) & (hours <= _LONGEST_INTERVAL_H)
    good &= (rise >= 0) & ~reads.is_restart[1:] & ~reads.is_estimated[1:] & ~reads.is_estimated[:-1]
    good &= reads.litres_per_unit[1:] == reads.litres_per_unit[:-1]
    place = np.flatnonzero(good)
    if place.size == 0:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype="datetime64[D]"), np.zeros(0)
    meter, day = reads.meter[place], reads.day[place]
    flow = rise[place] * reads.litres_per_unit[place] / hours[place]
    group = group_numbers(meter, day.astype(np.int64))
    first = np.unique(group, return_index=True)[1]
    floor = np.minimum.reduceat(flow, first)
    covered = np.add.reduceat(hours[place], first) >= _COVERED_H
    return meter[first][covered], day[first][covered], floor[covered]


def meter_days(
    *,
    periods: UsePeriods,
    floors: tuple[IntArray, DayArray, FloatArray],
    need_l: FloatArray,
    peak_need_l: FloatArray,
    is_whole_house: dict[int, bool],
) -> MeterDays:
    """Days of meters from their volumes of one day and the least flow of their hours.

    Parameters
    ----------
    periods
        Sound periods of meters; only those of a single day count [L].
    floors
        Meter, day and flow of `hourly_floors` [L/h].
    need_l
        Need of each period, NaN where not known, shape (periods,) [L].
    peak_need_l
        Largest need of a day of the period's site, shape (periods,) [L].
    is_whole_house
        Whether each meter also feeds the house [1].
    """
    single = np.flatnonzero(periods.days == 1)
    rests = need_l[single] <= _RESTING * peak_need_l[single]
    known = {
        (int(m), int(d)): (float(v), bool(r))
        for m, d, v, r in zip(
            periods.meter[single],
            periods.start[single].astype(np.int64),
            periods.volume_l[single],
            rests,
            strict=True,
        )
    }
    meter, day, flow = floors
    least = {(int(m), int(d)): float(f) for m, d, f in zip(meter, day.astype(np.int64), flow, strict=True)}
    keys = sorted(known.keys() | least.keys())
    nothing = (np.nan, False)
    return MeterDays(
        meter=np.array([key[0] for key in keys], dtype=np.int64),
        day=np.array([key[1] for key in keys], dtype=np.int64).astype("datetime64[D]"),
        floor_l_h=np.array([least.get(key, np.nan) for key in keys], dtype=np.float64),
        volume_l=np.array([known.get(key, nothing)[0] for key in keys], dtype=np.float64),
        rests=np.array([known.get(key, nothing)[1] for key in keys], dtype=np.bool_),
        is_whole_house=np.array([is_whole_house[key[0]] for key in keys], dtype=np.bool_),
    )


def find_leaks(days: MeterDays) -> list[Leak]:
    """Leaks of all meters, by the hour where the hours are known, else by the day.

    Parameters
    ----------
    days
        Days of the meters [1].
    """
    hourly = np.isfinite(days.floor_l_h)
    by_hour = days.where(hourly & (days.floor_l_h >= LEAST_HOUR_L))
    found = [_hourly_leak(run) for run in _runs(by_hour) if run.day.size >= LEAST_HOURLY_DAYS]
    told_by_hour = np.unique(days.meter[hourly])
    by_day = days.where(
        (days.volume_l >= LEAST_DAY_L) & ~days.is_whole_house & ~np.isin(days.meter, told_by_hour)
    )
    long_runs = (run for run in _runs(by_day) if run.day.size >= LEAST_DAILY_DAYS)
    found += [leak for run in long_runs if (leak := _daily_leak(run)) is not None]
    return sorted(found, key=lambda leak: (leak.meter, leak.since))


def _runs(days: MeterDays) -> list[MeterDays]:
    """Stretches of days of one meter without a gap."""
    if days.day.size == 0:
        return []
    number = days.day.astype(np.int64)
    breaks = np.flatnonzero((np.diff(days.meter) != 0) | (np.diff(number) != 1)) + 1
    edges = [0, *breaks.tolist(), days.day.size]
    return [days.where(slice(a, b)) for a, b in pairwise(edges)]


def _hourly_leak(run: MeterDays) -> Leak:
    """A leak of days whose every hour had flow."""
    return _leak(run, float(np.median(run.floor_l_h[-_LOOK_D:])), BY_HOUR)


def _daily_leak(run: MeterDays) -> Leak | None:
    """A leak of days that never stood still, None where watering may be all of it."""
    newest = run.volume_l[-_LOOK_D:]
    lowest = np.sort(newest)[: max(3, newest.size // 3)]
    if lowest[-1] > _ALIKE * lowest[0]:
        return None
    floor = float(np.median(lowest))
    stands_out = int(np.sum(newest >= _STANDS_OUT * floor)) >= 2
    asks = ~run.rests[-_LOOK_D:]
    if asks.mean() > 0.5 and not stands_out:
        return None
    return _leak(run, floor / 24.0, BY_DAY)


def _leak(run: MeterDays, rate_l_h: float, basis: str) -> Leak:
    """A run as a leak."""
    return Leak(
        meter=int(run.meter[0]),
        since=str(run.day[0]),
        until=str(run.day[-1] + 1),
        rate_l_h=rate_l_h,
        litres=rate_l_h * 24.0 * run.day.size,
        basis=basis,
    )

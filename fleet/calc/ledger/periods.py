"""Periods of metered use: what a meter passed from one day to another, with all that is wrong with it named.

A period runs from its start day up to, but without, its end day. Nothing here averages over a bad period:
it is left out, and a `UseProblem` says which site, which days and why.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weather.calc.arrays import BoolArray, DayArray, FloatArray, IntArray

NEGATIVE_VOLUME = "negative_volume"
EMPTY_PERIOD = "empty_period"
OVERLAPPING_PERIODS = "overlapping_periods"
METERS_READ_APART = "meters_read_apart"
BILLS_DIFFER = "bills_and_reads_differ"
ONE_READ_ONLY = "one_read_only"
ESTIMATED_VOLUME = "estimated_volume"
ONLY_ESTIMATED_READS = "only_estimated_reads"
READS_OUT_OF_ORDER = "reads_out_of_order"
TWO_READS_AT_ONE_TIME = "two_reads_at_one_time"
READING_FELL = "reading_fell"
UNIT_CHANGED = "unit_changed"
NO_CLOSING_READ = "no_closing_read"
METER_OF_TWO_SITES = "meter_of_two_sites"

FAR = np.int64(10**7)  # days; keeps the groups of a sorted key apart


@dataclass(frozen=True, slots=True, order=True)
class UseProblem:
    """One thing that keeps a part of a site's water from being judged.

    Parameters
    ----------
    site
        Index of the site in the caller's order [1].
    code
        Name of the problem, one of this module's constants [1].
    start, end
        Days concerned, ISO dates, the end not included [1].
    """

    site: int
    code: str
    start: str
    end: str


@dataclass(frozen=True, slots=True)
class UsePeriods:
    """Metered volumes of several sites, flat, one entry a period.

    Parameters
    ----------
    site
        Index of the site, shape (periods,) [1].
    meter
        Index that tells the meters apart, shape (periods,) [1].
    start, end
        First day and the day after the last, datetime64[D], shape (periods,) [1].
    volume_l
        Volume that passed, shape (periods,) [L].
    spans_estimate
        True where an estimated read lay inside and was passed over, shape (periods,) [1].
    is_whole_house
        True where the meter also feeds the house, shape (periods,) [1].
    """

    site: IntArray
    meter: IntArray
    start: DayArray
    end: DayArray
    volume_l: FloatArray
    spans_estimate: BoolArray
    is_whole_house: BoolArray

    def __post_init__(self) -> None:
        """Reject arrays that do not belong together."""
        for name in self.__slots__:
            if getattr(self, name).shape != self.site.shape:
                raise ValueError(f"{name} has another shape than site")
        if self.start.dtype != np.dtype("datetime64[D]") or self.end.dtype != np.dtype("datetime64[D]"):
            raise ValueError("start and end must be datetime64[D]")

    @property
    def days(self) -> FloatArray:
        """Length of each period [d], shape (periods,)."""
        return (self.end - self.start).astype(np.float64)

    def where(self, keep: BoolArray | IntArray) -> UsePeriods:
        """Periods that a mask or a list of places picks."""
        return UsePeriods(*(getattr(self, name)[keep] for name in self.__slots__))


@dataclass(frozen=True, slots=True)
class MeteredUse:
    """Periods that can be used, and what was wrong with the others."""

    periods: UsePeriods
    problems: tuple[UseProblem, ...]


def no_periods() -> UsePeriods:
    """Empty set of periods."""
    whole, day = np.zeros(0, dtype=np.int64), np.zeros(0, dtype="datetime64[D]")
    mark = np.zeros(0, dtype=np.bool_)
    return UsePeriods(whole, whole, day, day, np.zeros(0), mark, mark)


def joined(*parts: UsePeriods) -> UsePeriods:
    """All periods of several sets, one after the other."""
    names = UsePeriods.__slots__
    return UsePeriods(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))


def named_problems(code: str, periods: UsePeriods, bad: BoolArray) -> list[UseProblem]:
    """One problem for each period that the mask picks."""
    return [
        UseProblem(int(periods.site[i]), code, str(periods.start[i]), str(periods.end[i]))
        for i in np.flatnonzero(bad)
    ]


def sound_periods(periods: UsePeriods) -> MeteredUse:
    """Periods sorted by site, meter and start, without negative, empty and overlapping ones.

    Of two periods of one meter that overlap neither is kept: which of them is right cannot be told.

    Parameters
    ----------
    periods
        Periods as delivered, in any order [L].
    """
    negative = ~(periods.volume_l >= 0.0)
    empty = (periods.days < 1.0) & ~negative
    problems = named_problems(NEGATIVE_VOLUME, periods, negative)
    problems += named_problems(EMPTY_PERIOD, periods, empty)
    kept = periods.where(~negative & ~empty)
    kept = kept.where(np.lexsort((kept.end, kept.start, kept.meter, kept.is_whole_house, kept.site)))
    overlapping = _overlapping(kept)
    problems += named_problems(OVERLAPPING_PERIODS, kept, overlapping)
    return MeteredUse(kept.where(~overlapping), tuple(sorted(problems)))


def _overlapping(periods: UsePeriods) -> BoolArray:
    """True where a period of sorted `periods` shares a day with another of the same meter."""
    if periods.site.size < 2:
        return np.zeros(periods.site.shape, dtype=np.bool_)
    group = group_numbers(periods.site, periods.is_whole_house.astype(np.int64), periods.meter)
    start, end = periods.start.astype(np.int64), periods.end.astype(np.int64)
    latest_end = np.maximum.accumulate(group * FAR + end)
    shares = np.zeros(start.shape, dtype=np.bool_)
    shares[1:] = latest_end[:-1] > group[1:] * FAR + start[1:]
    reaches = np.zeros(start.shape, dtype=np.bool_)
    reaches[:-1] = (group[:-1] == group[1:]) & (end[:-1] > start[1:])
    return shares | reaches


def estimates_made_good(periods: UsePeriods, is_estimated: BoolArray) -> MeteredUse:
    """Volumes with estimated ones added to the actual one that follows on, which makes them good.

    A volume that the supplier estimated is put right by the next that somebody read, so only the two
    together tell what passed (CalTRACK 2.0, 2.2.3). An estimate that no actual volume follows on is left
    out and named.

    Parameters
    ----------
    periods
        Volumes as delivered, in any order [L].
    is_estimated
        Whether each was estimated, shape (periods,) [1].
    """
    if not is_estimated.any():
        return MeteredUse(periods, ())
    order = np.lexsort((periods.end, periods.start, periods.meter, periods.site))
    periods, guessed = periods.where(order), is_estimated[order]
    joins = np.zeros(guessed.shape, dtype=np.bool_)
    joins[1:] = guessed[:-1] & (periods.meter[1:] == periods.meter[:-1])
    joins[1:] &= periods.start[1:] == periods.end[:-1]
    group = np.cumsum(~joins) - 1
    first = np.flatnonzero(~joins)
    last = np.append(first[1:], guessed.size) - 1
    merged = UsePeriods(
        periods.site[first],
        periods.meter[first],
        periods.start[first],
        periods.end[last],
        np.asarray(np.bincount(group, periods.volume_l), dtype=np.float64),
        np.bincount(group, guessed) > 0,
        periods.is_whole_house[first],
    )
    open_end = guessed[last]
    return MeteredUse(
        merged.where(~open_end), tuple(sorted(named_problems(ESTIMATED_VOLUME, merged, open_end)))
    )


def group_numbers(*keys: IntArray) -> IntArray:
    """Running number of each run of equal keys, shape (rows,) [1].

    Parameters
    ----------
    keys
        Key columns of rows that are sorted by them, each of shape (rows,) [1].
    """
    if keys[0].size == 0:
        return np.zeros(0, dtype=np.int64)
    changes = np.zeros(keys[0].shape, dtype=np.bool_)
    for key in keys:
        changes[1:] |= key[1:] != key[:-1]
    return np.cumsum(changes, dtype=np.int64)

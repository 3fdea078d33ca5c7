"""From what a register showed to the volumes that passed it: roll-over, exchange, reset, estimated reads."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.calc.ledger.periods import (
    NO_CLOSING_READ,
    ONE_READ_ONLY,
    ONLY_ESTIMATED_READS,
    READING_FELL,
    READS_OUT_OF_ORDER,
    TWO_READS_AT_ONE_TIME,
    UNIT_CHANGED,
    MeteredUse,
    UsePeriods,
    UseProblem,
    group_numbers,
    no_periods,
)
from weather.calc.arrays import BoolArray, DayArray, FloatArray, IntArray

# A register that turned over shows a use of less than half its range; more is a fallen reading. [judgement]
_LARGEST_TURN = 0.5


@dataclass(frozen=True, slots=True)
class RegisterReads:
    """Readings of registers, flat, one entry a reading, in the order in which they were written down.

    Parameters
    ----------
    site
        Index of the site, shape (reads,) [1].
    meter
        Index that tells the meters apart, shape (reads,) [1].
    read_at
        Moment of the reading in UTC, datetime64[s], shape (reads,) [1]; its order holds when clocks change.
    day
        Site-local day of the reading, datetime64[D], shape (reads,) [1].
    reading
        What the register showed, in its own unit, shape (reads,) [1].
    litres_per_unit
        Litres in the register's unit, shape (reads,) [L].
    digits
        Digits before the point that the register has, 0 where unknown, shape (reads,) [1].
    is_estimated
        True where nobody looked at the register, shape (reads,) [1].
    is_restart
        True where a new register (exchange) or a reset begins with this reading, shape (reads,) [1].
    is_whole_house
        True where the meter also feeds the house, shape (reads,) [1].
    """

    site: IntArray
    meter: IntArray
    read_at: DayArray
    day: DayArray
    reading: FloatArray
    litres_per_unit: FloatArray
    digits: IntArray
    is_estimated: BoolArray
    is_restart: BoolArray
    is_whole_house: BoolArray

    def __post_init__(self) -> None:
        """Reject arrays that do not belong together."""
        for name in self.__slots__:
            if getattr(self, name).shape != self.site.shape:
                raise ValueError(f"{name} has another shape than site")
        if self.read_at.dtype != np.dtype("datetime64[s]"):
            raise ValueError("read_at must be datetime64[s]")
        if self.day.dtype != np.dtype("datetime64[D]"):
            raise ValueError("day must be datetime64[D]")

    def where(self, keep: BoolArray | IntArray) -> RegisterReads:
        """Readings that a mask or a list of places picks."""
        return RegisterReads(*(getattr(self, name)[keep] for name in self.__slots__))


def volumes_of_reads(reads: RegisterReads) -> MeteredUse:
    """Volumes between readings, one period from each day of reading to the next.

    Estimated readings are passed over: the period reaches from the actual reading before to the one
    after, and says so. Between a reading and a restart nothing is known unless a closing reading was
    taken at the same time. A reading below the one before is a turn of the register where its digits are
    known and the use so found stays under half its range; otherwise that period is left out and named.

    Parameters
    ----------
    reads
        Readings in the order in which they were written down, of any number of meters [1].
    """
    problems = _order_problems(reads)
    order = np.lexsort((reads.is_restart, reads.read_at, reads.meter, reads.site))
    reads = reads.where(order)
    reads, twice = _without_doubles(reads)
    lone = _lone_meters(reads)
    reads, spans_estimate, only_estimated = _without_estimates(reads)
    problems += twice + only_estimated + lone
    if reads.site.size < 2:
        return MeteredUse(no_periods(), tuple(sorted(problems)))
    volume_l, code = _volumes(reads)
    periods = UsePeriods(
        reads.site[:-1],
        reads.meter[:-1],
        reads.day[:-1],
        reads.day[1:],
        volume_l,
        spans_estimate[1:],
        reads.is_whole_house[:-1],
    )
    group = group_numbers(reads.site, reads.meter)
    same = group[1:] == group[:-1]
    bad = same & (code != "")
    problems += [
        UseProblem(int(periods.site[i]), str(code[i]), str(periods.start[i]), str(periods.end[i]))
        for i in np.flatnonzero(bad)
        if code[i] != NO_CLOSING_READ or periods.end[i] > periods.start[i]
    ]
    return MeteredUse(_by_day(periods.where(same & (code == ""))), tuple(sorted(problems)))


def _order_problems(reads: RegisterReads) -> list[UseProblem]:
    """One problem for each meter whose readings were not written down in the order of time."""
    order = np.lexsort((np.arange(reads.site.size), reads.meter, reads.site))
    reads = reads.where(order)
    group = group_numbers(reads.site, reads.meter)
    back = np.flatnonzero((group[1:] == group[:-1]) & (reads.read_at[1:] < reads.read_at[:-1])) + 1
    _, first = np.unique(group[back], return_index=True)
    days = reads.day
    return [
        UseProblem(int(reads.site[i]), READS_OUT_OF_ORDER, str(days[i]), str(days[i - 1]))
        for i in back[first]
    ]


def _without_doubles(reads: RegisterReads) -> tuple[RegisterReads, list[UseProblem]]:
    """Sorted readings without those at one time that contradict each other."""
    group = group_numbers(reads.site, reads.meter, reads.is_restart.astype(np.int64))
    again = np.zeros(group.shape, dtype=np.bool_)
    again[1:] = (group[1:] == group[:-1]) & (reads.read_at[1:] == reads.read_at[:-1])
    differs = np.zeros(group.shape, dtype=np.bool_)
    differs[1:] = again[1:] & (reads.reading[1:] != reads.reading[:-1])
    contradicts = differs.copy()
    contradicts[:-1] |= differs[1:]
    days = reads.day
    problems = [
        UseProblem(int(reads.site[i]), TWO_READS_AT_ONE_TIME, str(days[i]), str(days[i]))
        for i in np.flatnonzero(differs)
    ]
    return reads.where(~(again | contradicts)), problems


def _lone_meters(reads: RegisterReads) -> list[UseProblem]:
    """One problem for each meter with a single reading."""
    if reads.site.size == 0:
        return []
    group = group_numbers(reads.site, reads.meter)
    _, first, count = np.unique(group, return_index=True, return_counts=True)
    days = reads.day
    return [
        UseProblem(int(reads.site[i]), ONE_READ_ONLY, str(days[i]), str(days[i])) for i in first[count == 1]
    ]


def _without_estimates(reads: RegisterReads) -> tuple[RegisterReads, BoolArray, list[UseProblem]]:
    """Actual readings, a mark where an estimated one was passed over before it, and meters without any."""
    actual = ~reads.is_estimated | reads.is_restart
    group = group_numbers(reads.site, reads.meter)
    estimates_so_far = np.cumsum(~actual)
    kept = reads.where(actual)
    spans = np.zeros(kept.site.shape, dtype=np.bool_)
    spans[1:] = np.diff(estimates_so_far[actual]) > 0
    _, first, count = np.unique(group, return_index=True, return_counts=True)
    silent = ~np.isin(group[first], group[actual]) & (count > 1)
    days = reads.day
    problems = [
        UseProblem(int(reads.site[i]), ONLY_ESTIMATED_READS, str(days[i]), str(days[i + n - 1]))
        for i, n in zip(first[silent], count[silent], strict=True)
    ]
    return kept, spans, problems


def _volumes(reads: RegisterReads) -> tuple[FloatArray, np.ndarray[tuple[int], np.dtype[np.str_]]]:
    """Volume between each reading and the next [L], and the name of what forbids it (empty: nothing)."""
    rise = np.diff(reads.reading)
    turned = rise + 10.0 ** reads.digits[1:]
    may_turn = (rise < 0) & (reads.digits[1:] > 0)
    may_turn &= (turned >= 0) & (turned < _LARGEST_TURN * 10.0 ** reads.digits[1:])
    volume_l = np.where(may_turn, turned, rise) * reads.litres_per_unit[1:]
    code = np.where((rise < 0) & ~may_turn, READING_FELL, "")
    code = np.where(reads.litres_per_unit[1:] != reads.litres_per_unit[:-1], UNIT_CHANGED, code)
    code = np.where(reads.is_restart[1:], NO_CLOSING_READ, code)
    return volume_l, code


def _by_day(periods: UsePeriods) -> UsePeriods:
    """Periods of one day of reading joined to the one that leads from it to the next day of reading."""
    if periods.site.size == 0:
        return periods
    start = periods.start.astype(np.int64)
    group = group_numbers(periods.site, periods.meter, start)
    _, first, place = np.unique(group, return_index=True, return_inverse=True)
    last = np.append(first[1:], group.size) - 1
    joined = UsePeriods(
        periods.site[first],
        periods.meter[first],
        periods.start[first],
        periods.end[last],
        np.asarray(np.bincount(place, weights=periods.volume_l), dtype=np.float64),
        np.bincount(place, weights=periods.spans_estimate) > 0,
        periods.is_whole_house[first],
    )
    # several readings on the last day of reading: no whole day lies between them
    return joined.where(joined.end > joined.start)

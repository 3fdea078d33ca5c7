"""From rows of bypass logs and programs as set to the day-by-day arrays of the watch."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from fleet.calc.watch.inputs import NO_PERIOD, UNSEEN
from fleet.calc.watch.outside import in_the_logs_phase
from sites.calc.balance.irrigation import CUT_SHORT_SHARE, BypassRows

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]
CountArray: TypeAlias = npt.NDArray[np.int16]
DayArray: TypeAlias = npt.NDArray[np.datetime64]
BoolArray: TypeAlias = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class DailyLog:
    """What the log says of each day, all (days, sites).

    Parameters
    ----------
    book_starts
        Starts by the program in the book, in the phase that the log shows [1].
    is_known
        Whether a program was known on the day.
    scheduled, skipped
        Starts of a daily row, -1 and 0 on days without one [1].
    starts, ran
        Starts offered (scheduled less skipped, else by the book) and starts that ran, -1 unseen [1].
    cut_short
        Starts of those that the sensor stopped midway [1].
    period_starts, period_ran, period_days
        Totals on the last day of a row of several days, -1, -1 and 0 elsewhere [1, 1, d].
    period_scheduled
        Starts that such a row itself says were scheduled, skipped ones included, -1 elsewhere [1].
    """

    book_starts: CountArray
    is_known: BoolArray
    scheduled: CountArray
    skipped: CountArray
    starts: CountArray
    ran: CountArray
    cut_short: CountArray
    period_starts: CountArray
    period_ran: CountArray
    period_days: CountArray
    period_scheduled: CountArray

    @property
    def blocked(self) -> CountArray:
        """Starts blocked, 0 on days not seen [1]."""
        return np.where(self.ran >= 0, self.starts - self.ran, 0).astype(np.int16)


def daily_log(
    rows: BypassRows,
    *,
    days: DayArray,
    controller_ids: IntArray,
    book_starts: npt.NDArray[np.floating],
    is_known: BoolArray,
) -> DailyLog:
    """Log and program of each day and controller [1].

    A day without a row is not a day without starts: its starts come from the program, unseen. A row without a
    scheduled count takes the program's. A skip is never a bypass: skipped starts are not among those offered.

    Parameters
    ----------
    rows
        Bypass logs; rows of other controllers and rows that reach before the first day are left out.
    days
        Days in order, (days,) [datetime64 day].
    controller_ids
        Controllers, (sites,) [1].
    book_starts
        Starts by the program as set, (days, sites) [1].
    is_known
        Whether a program was known, (days, sites).
    """
    book = np.where(is_known, np.round(book_starts), 0).astype(np.int16)
    start, length, site, kept = _places(rows, days, controller_ids)
    single = kept & (length == 1)
    grid = book.shape
    told = np.full(grid, UNSEEN, dtype=np.int16)
    has_count = single & np.isfinite(rows.scheduled)
    told[start[has_count], site[has_count]] = rows.scheduled[has_count].astype(np.int16)
    phased = in_the_logs_phase(told, book, is_known)
    at = (start[single], site[single])
    scheduled_of_row = np.where(np.isnan(rows.scheduled[single]), phased[at], rows.scheduled[single])
    scheduled_of_row = np.maximum(scheduled_of_row, rows.bypassed[single] + rows.skipped[single])
    scheduled = np.full(grid, UNSEEN, dtype=np.int16)
    skipped, cut_short = np.zeros(grid, dtype=np.int16), np.zeros(grid, dtype=np.int16)
    starts, ran = phased.copy(), np.full(grid, UNSEEN, dtype=np.int16)
    scheduled[at] = scheduled_of_row.astype(np.int16)
    skipped[at] = rows.skipped[single].astype(np.int16)
    starts[at] = (scheduled_of_row - rows.skipped[single]).astype(np.int16)
    ran[at] = starts[at] - rows.bypassed[single].astype(np.int16)
    cut_short[at] = np.minimum(rows.cut_short[single], ran[at]).astype(np.int16)
    _stand_still(rows, (start, length, site, kept), phased, (scheduled, skipped, starts, ran))
    period = _periods(rows, start, length, site, kept & (length > 1), phased)
    return DailyLog(phased, is_known, scheduled, skipped, starts, ran, cut_short, *period)


def runs_with_cuts(log: DailyLog, spread: FloatArray) -> FloatArray:
    """Starts that ran where they are not the plain count: spread periods and starts cut short, else NaN [1].

    A start cut short gave the governing zone, which closes the pass, about half of its dose.

    Parameters
    ----------
    log
        Daily log.
    spread
        Starts that ran on the days of counted periods, NaN elsewhere, (days, sites) [1].
    """
    cut = (log.cut_short > 0) & (log.ran >= 0)
    return np.where(cut, log.ran - CUT_SHORT_SHARE * log.cut_short, spread)


def _places(
    rows: BypassRows, days: DayArray, controller_ids: IntArray
) -> tuple[IntArray, IntArray, IntArray, BoolArray]:
    """First day index, length and site of each row, and whether it lies inside the span."""
    start = (rows.start - days[0]).astype("timedelta64[D]").astype(np.int64)
    length = (rows.end - rows.start).astype("timedelta64[D]").astype(np.int64)
    order = np.argsort(controller_ids)
    found = np.minimum(np.searchsorted(controller_ids, rows.controller_id, sorter=order), order.size - 1)
    site = order[found]
    kept = (controller_ids[site] == rows.controller_id) & (start >= 0) & (start + length <= days.size)
    return np.where(kept, start, 0), length, site, kept


def _stand_still(
    rows: BypassRows,
    places: tuple[IntArray, IntArray, IntArray, BoolArray],
    book: CountArray,
    daily: tuple[CountArray, CountArray, CountArray, CountArray],
) -> None:
    """Write periods in which every start was skipped as such days; in place.

    They say nothing on the sensor, but they say that the timer stood still. Days with a row of their own
    keep it; without starts in the book the whole count stands on the last day.
    """
    start, length, site, kept = places
    scheduled, skipped, starts, ran = daily
    all_skipped = (rows.skipped > 0) & (rows.bypassed <= 0) & ~(rows.skipped < rows.scheduled)
    for row in np.flatnonzero(kept & (length > 1) & all_skipped):
        days, at = slice(start[row], start[row] + length[row]), site[row]
        by_book = book[days, at].copy()
        if np.isnan(rows.scheduled[row]) and rows.skipped[row] < by_book.sum():
            continue
        if not by_book.any():
            by_book[-1] = rows.skipped[row]
        free = scheduled[days, at] < 0
        for values, told in ((scheduled, by_book), (skipped, by_book), (starts, 0), (ran, UNSEEN)):
            values[days, at] = np.where(free, told, values[days, at])


def _periods(
    rows: BypassRows, start: IntArray, length: IntArray, site: IntArray, kept: BoolArray, book: CountArray
) -> tuple[CountArray, CountArray, CountArray, CountArray]:
    """Starts, runs, days and the row's own scheduled starts of each row of several days, on its last day."""
    offered = np.full(book.shape, NO_PERIOD, dtype=np.int16)
    ran = np.full(book.shape, NO_PERIOD, dtype=np.int16)
    days = np.zeros(book.shape, dtype=np.int16)
    told = np.full(book.shape, NO_PERIOD, dtype=np.int16)
    total = np.concatenate(
        [np.zeros((1, book.shape[1]), dtype=np.int64), np.cumsum(book, axis=0, dtype=np.int64)]
    )
    end = start + length
    by_book = total[np.minimum(end, book.shape[0]), site] - total[start, site]
    scheduled = np.where(np.isnan(rows.scheduled), by_book, rows.scheduled)
    left = scheduled - rows.skipped
    runs = np.maximum(left - rows.bypassed, 0.0)
    useful = kept & (left > 0)
    at = (end[useful] - 1, site[useful])
    offered[at] = np.maximum(left, runs)[useful].astype(np.int16)
    ran[at] = runs[useful].astype(np.int16)
    days[at] = length[useful].astype(np.int16)
    counted = useful & np.isfinite(rows.scheduled)
    told[end[counted] - 1, site[counted]] = rows.scheduled[counted].astype(np.int16)
    return offered, ran, days, told

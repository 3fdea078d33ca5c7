"""Causes outside the sensor, by simple tests on the log against the program in the book.

Most calls turn out to be one of these, so they are tested before a sensor is blamed:

* `no_power`: a program is set and the log shows no start at all, or every start skipped, up to the last day;
* `program_differs`: the starts of the log do not fit the program in the book, in whatever phase; of a row
  of several days only the total can be held against the book;
* `overridden`: the sensor input is switched off. A log cannot part it from a cut wire, since both never
  block; it takes a stated share of that probability, a larger one when the program was changed at the same
  time, because then somebody stood at the timer.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import betaln

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]
CountArray: TypeAlias = npt.NDArray[np.integer]

PHASES = (0, 1, -1, 2, -2, 3, -3)
_TEST_DAYS = 28
_FEWEST_DAYS = 8
_FITS_SHARE = 0.95  # of days on which a log that follows the book agrees with it
_DIFFERS_PRIOR = 0.02
_FEWEST_SILENT_DAYS = 7
_FEWEST_SILENT_STARTS = 4
_SILENT_PROBABILITY = 0.95
_FEWEST_PERIOD_DAYS = 14
_PERIOD_LASTS_DAYS = 35  # an older total says nothing on today's program
_PERIOD_SLACK_SHARE = 0.15
_PERIOD_SLACK_DAYS = 2  # the days of both readings may be counted or not
_PERIOD_PROBABILITY = 0.95
"""Of a total that misses the book's by more than the slack (own judgement, no source)."""
OVERRIDDEN_SHARE = 0.3
OVERRIDDEN_SHARE_AT_TIMER = 0.7
"""Shares of "never blocks" that are a sensor input switched off (own judgement, no source)."""


@dataclass(frozen=True, slots=True)
class OutsideCauses:
    """Probabilities of causes outside the sensor, and the day index on which each began (-1: none).

    Parameters
    ----------
    no_power, program_differs
        Probability, (sites,) [1].
    no_power_since, program_since
        Day index, -1 where there is none, (sites,) [1].
    silent_by_skips
        Whether the silence is one of skipped starts, not of missing ones, (sites,).
    total_told, total_by_book
        Starts of the newest total of several days and of the book in that time where the two part, else -1,
        (sites,) [1].
    """

    no_power: FloatArray
    no_power_since: IntArray
    silent_by_skips: npt.NDArray[np.bool_]
    program_differs: FloatArray
    program_since: IntArray
    total_told: IntArray
    total_by_book: IntArray


def outside_causes(
    scheduled: CountArray, skipped: CountArray, book_starts: CountArray, is_known: npt.NDArray[np.bool_]
) -> OutsideCauses:
    """Probabilities of no power and of another program than the book's [1].

    Parameters
    ----------
    scheduled
        Starts scheduled by the log's daily rows, -1 on days without such a row, (days, sites) [1].
    skipped
        Starts skipped for any other cause than the sensor, (days, sites) [1].
    book_starts
        Starts by the program in the book, in the phase that the log shows, (days, sites) [1].
    is_known
        Whether a program was known on the day, (days, sites).
    """
    silent, silent_since, by_skips = _silence(scheduled, skipped, book_starts, is_known)
    differs, differs_since = _other_program(scheduled, book_starts, is_known)
    return OutsideCauses(
        no_power=silent,
        no_power_since=silent_since,
        silent_by_skips=by_skips,
        program_differs=np.where(silent > 0.5, 0.0, differs),
        program_since=differs_since,
        total_told=np.full(silent.shape, -1, dtype=np.int64),
        total_by_book=np.full(silent.shape, -1, dtype=np.int64),
    )


def with_period_totals(
    outside: OutsideCauses,
    period_scheduled: CountArray,
    period_days: CountArray,
    book_starts: CountArray,
    is_known: npt.NDArray[np.bool_],
) -> OutsideCauses:
    """Outside causes in which the newest total of several days was held against the book, too [1].

    Parameters
    ----------
    outside
        Causes by the daily rows.
    period_scheduled, period_days
        Scheduled starts and days of a row of several days on its last day, -1 and 0 elsewhere,
        (days, sites) [1, d].
    book_starts
        Starts by the program in the book, (days, sites) [1].
    is_known
        Whether a program was known on the day, (days, sites).
    """
    days, sites = period_scheduled.shape
    site = np.arange(sites)
    told = (period_scheduled >= 0) & (period_days >= _FEWEST_PERIOD_DAYS)
    last = np.where(told, np.arange(days)[:, None], -1).max(axis=0, initial=-1)
    at = np.maximum(last, 0)
    first = np.maximum(last - period_days[at, site] + 1, 0)
    number = np.arange(days)[:, None]
    inside = (number >= first) & (number <= last)
    book = np.where(inside, book_starts, 0)
    most = book.max(axis=0, initial=0)
    slack = np.maximum(_PERIOD_SLACK_DAYS * most, _PERIOD_SLACK_SHARE * book.sum(axis=0))
    misses = np.abs(period_scheduled[at, site] - book.sum(axis=0)) > slack
    usable = (last >= days - _PERIOD_LASTS_DAYS) & (is_known | ~inside).all(axis=0) & (most > 0)
    differs = usable & misses & (outside.no_power < 0.5) & (outside.program_differs < _PERIOD_PROBABILITY)
    return replace(
        outside,
        program_differs=np.where(differs, _PERIOD_PROBABILITY, outside.program_differs),
        program_since=np.where(differs, first, outside.program_since),
        total_told=np.where(differs, period_scheduled[at, site], -1).astype(np.int64),
        total_by_book=np.where(differs, book.sum(axis=0), -1).astype(np.int64),
    )


def in_the_logs_phase(
    scheduled: CountArray, book_starts: CountArray, is_known: npt.NDArray[np.bool_]
) -> npt.NDArray[np.int16]:
    """Starts by the book, moved by the few days that make them fit the log best, (days, sites) [1].

    An interval of days has its phase in the timer, and the book may be off by a day or two.

    Parameters
    ----------
    scheduled
        Starts scheduled by the log's daily rows, -1 on days without one, (days, sites) [1].
    book_starts
        Starts by the program in the book, (days, sites) [1].
    is_known
        Whether a program was known on the day, (days, sites).
    """
    seen = (scheduled >= 0) & is_known
    fits = np.stack(
        [
            ((scheduled == _moved(book_starts, phase)) & seen)[-2 * _TEST_DAYS :].sum(axis=0)
            for phase in PHASES
        ]
    )
    best = np.argmax(fits, axis=0)
    better = fits.max(axis=0) >= fits[0] + 4
    result = book_starts.astype(np.int16)
    for number, phase in enumerate(PHASES[1:], start=1):
        chosen = better & (best == number)
        result[:, chosen] = _moved(book_starts, phase)[:, chosen]
    return result


def overridden_share(since: FloatArray, program_since: IntArray, program_differs: FloatArray) -> FloatArray:
    """Share of "never blocks" that is a sensor input switched off, (sites,) [1].

    Parameters
    ----------
    since
        Day index on which the blocking ended, (sites,) [1].
    program_since, program_differs
        Day index and probability of another program, (sites,) [1].
    """
    at_timer = (program_differs > 0.5) & (np.abs(since - program_since) <= 3)
    return np.where(at_timer, OVERRIDDEN_SHARE_AT_TIMER, OVERRIDDEN_SHARE)


def _silence(
    scheduled: CountArray, skipped: CountArray, book_starts: CountArray, is_known: npt.NDArray[np.bool_]
) -> tuple[FloatArray, IntArray, npt.NDArray[np.bool_]]:
    """Probability of no power, its first day, and whether the starts were skipped rather than missing."""
    days = scheduled.shape[0]
    number = np.arange(days)[:, None]
    logged = scheduled >= 0
    expected = logged & is_known & (book_starts > 0)
    alive = logged & (scheduled > skipped)
    last_alive = np.where(alive, number, -1).max(axis=0, initial=-1)
    after = number > last_alive[None, :]
    silent = after & (expected | (logged & (scheduled > 0)))
    offered = np.where(scheduled > 0, scheduled, book_starts)
    starts = (offered * silent).sum(axis=0)
    first = np.where(silent, number, days).min(axis=0, initial=days)
    newest = np.where(logged, number, -1).max(axis=0, initial=-1)
    found = (starts >= _FEWEST_SILENT_STARTS) & (newest - first + 1 >= _FEWEST_SILENT_DAYS)
    by_skips = ((skipped > 0) & silent).any(axis=0)
    return np.where(found, _SILENT_PROBABILITY, 0.0), np.where(found, first, -1), found & by_skips


def _other_program(
    scheduled: CountArray, book_starts: CountArray, is_known: npt.NDArray[np.bool_]
) -> tuple[FloatArray, IntArray]:
    """Probability that the timer holds another program, and the first day of the misfit."""
    seen = ((scheduled >= 0) & is_known)[-_TEST_DAYS:]
    fits = seen & (scheduled == book_starts)[-_TEST_DAYS:]
    n = seen.sum(axis=0).astype(np.float64)
    m = fits.sum(axis=0).astype(np.float64)
    follows = m * np.log(_FITS_SHARE) + (n - m) * np.log1p(-_FITS_SHARE)
    other = betaln(m + 1.0, n - m + 1.0)
    odds = np.exp(np.clip(np.log(_DIFFERS_PRIOR) + other - follows, -50.0, 50.0))
    probability = np.where(n >= _FEWEST_DAYS, odds / (1.0 + odds), 0.0)
    logged = (scheduled >= 0) & is_known
    step = np.where(logged, np.where(scheduled == book_starts, -1, 1), 0)
    pile = np.concatenate([np.zeros((1, step.shape[1]), dtype=np.int64), np.cumsum(step, axis=0)])
    # The last lowest point: from there on the misfits outweigh the fits.
    since = pile.shape[0] - 1 - np.argmin(pile[::-1], axis=0)
    return probability, np.where(probability > 0.5, np.minimum(since, step.shape[0] - 1), -1)


def _moved(starts: CountArray, days: int) -> CountArray:
    """Starts moved by some days; the days that come in at the edge keep their own."""
    if days == 0:
        return starts
    moved = np.roll(starts, days, axis=0)
    if days > 0:
        moved[:days] = starts[:days]
    else:
        moved[days:] = starts[days:]
    return moved

"""Counts of a whole period (a counter read at a visit, a card), spread over its days by the balance."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from fleet.calc.watch.filter import FilterOptions, watch_fleet
from fleet.calc.watch.inputs import WatchInputs, take_sites
from fleet.calc.watch.settings import FleetFit, WatchSettings

FloatArray: TypeAlias = npt.NDArray[np.float64]


def spread_periods(inputs: WatchInputs, fit: FleetFit, settings: WatchSettings) -> FloatArray:
    """Starts that ran on each day of the counted periods, NaN elsewhere, (days, sites) [1].

    A first pass tells how many starts a good sensor would have let run on each day; the period's total is
    shared out in that proportion. The total is kept, and no day gets more runs than starts.

    Parameters
    ----------
    inputs
        Sites with daily counts, periods or both.
    fit
        Fleet-level numbers.
    settings
        Fixed settings.
    """
    result = np.full(inputs.starts.shape, np.nan)
    sites = np.flatnonzero((inputs.period_days > 0).any(axis=0))
    if not sites.size:
        return result
    some = take_sites(inputs, sites)
    run = watch_fleet(some, fit, settings, options=FilterOptions(branches=False))
    starts = some.starts.astype(np.float64)
    guess = np.nan_to_num(1.0 - run.expected_rate.astype(np.float64), nan=0.0) * starts
    ends, columns = np.nonzero(some.period_days > 0)
    for end, column in zip(ends, columns, strict=True):
        first = max(0, end - int(some.period_days[end, column]) + 1)
        days = slice(first, end + 1)
        result[days, sites[column]] = share_out(
            guess[days, column], starts[days, column], float(some.period_ran[end, column])
        )
    return result


def seen_counts(
    inputs: WatchInputs, blocked: npt.NDArray[np.integer], spread: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Starts offered and blocked on the days with a count, 0 elsewhere, both (days, sites) [1].

    The days of a counted period add up to the row's own total: skipped starts are not among those offered,
    and where the timer offered more starts than the book says, they are counted.

    Parameters
    ----------
    inputs
        Sites with daily counts, periods or both.
    blocked
        Starts blocked by the daily rows, 0 on days without one, (days, sites) [1].
    spread
        Starts that ran on the days of counted periods, NaN elsewhere, (days, sites) [1].
    """
    starts = np.where(inputs.seen, inputs.starts, 0).astype(np.float64)
    stopped = np.where(inputs.seen, blocked, 0).astype(np.float64)
    for end, site in zip(*np.nonzero(inputs.period_days > 0), strict=True):
        days = slice(max(0, end - int(inputs.period_days[end, site]) + 1), end + 1)
        free = ~inputs.seen[days, site]
        by_book = np.where(free, inputs.starts[days, site], 0).astype(np.float64)
        held = np.where(free, np.maximum(by_book - np.nan_to_num(spread[days, site]), 0.0), 0.0)
        offered = float(inputs.period_starts[end, site])
        starts[days, site] += by_book * _factor(offered, by_book)
        total = offered - float(inputs.period_ran[end, site])
        shape = held if held.sum() > 0 else by_book
        stopped[days, site] += shape * _factor(total, shape)
    return starts, stopped


def _factor(total: float, parts: FloatArray) -> float:
    """What the parts have to be multiplied by to add up to the total; 0 where they are all 0."""
    whole = float(parts.sum())
    return total / whole if whole > 0 else 0.0


def share_out(guess: FloatArray, most: FloatArray, total: float) -> FloatArray:
    """The total shared out in proportion to a guess, no part above its most [1].

    Parameters
    ----------
    guess
        Proportions, at least 0, (days,) [1].
    most
        Upper limits, (days,) [1].
    total
        What the parts add up to, if the limits allow it [1].
    """
    part = np.zeros(guess.shape)
    weight = np.maximum(guess, 1e-6) * (most > 0)
    left = min(total, float(most.sum()))
    for _ in range(guess.size + 1):
        room = most - part
        open_ = room > 1e-12
        if left <= 1e-9 or not open_.any():
            break
        share = np.where(open_, weight, 0.0)
        step = np.minimum(left * share / share.sum(), room)
        part += step
        left -= float(step.sum())
    return part

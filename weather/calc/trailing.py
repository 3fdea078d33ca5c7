"""Means over the days before, with unknown days left out."""

from __future__ import annotations

import numpy as np

from weather.calc.arrays import BoolArray, FloatArray, IntArray


def trailing_mean(values: FloatArray, window_d: int, least: int) -> FloatArray:
    """Mean of the known values among the last days, the day itself among them.

    Parameters
    ----------
    values
        Any quantity, NaN = unknown [any unit], shape (days, locations).
    window_d
        Length of the window [d].
    least
        Known values that a mean needs [1].

    Returns
    -------
    FloatArray
        Mean [unit of values], same shape; NaN where fewer were known.
    """
    known = np.isfinite(values)
    sums = np.cumsum(np.where(known, values, 0.0), axis=0)
    counts = np.cumsum(known, axis=0)
    if values.shape[0] > window_d:
        earlier_sums, earlier_counts = sums[:-window_d].copy(), counts[:-window_d].copy()
        sums[window_d:] -= earlier_sums
        counts[window_d:] -= earlier_counts
    enough = counts >= max(least, 1)
    return np.where(enough, sums / np.maximum(counts, 1), np.nan)


def days_since(known: BoolArray) -> IntArray:
    """How many days ago the last known one was.

    Parameters
    ----------
    known
        True where the day is known, shape (days, locations) [1].

    Returns
    -------
    IntArray
        0 on a known day, 1 on the day after it, and so on [d], same shape; before the first known day the
        count begins at 1 with the first row.
    """
    rows = np.arange(known.shape[0], dtype=np.int64)[:, np.newaxis]
    last = np.maximum.accumulate(np.where(known, rows, -1), axis=0)
    return rows - last


def last_known(values: FloatArray, known: BoolArray) -> FloatArray:
    """Value of the last known day.

    Parameters
    ----------
    values
        Any quantity [any unit], shape (days, locations).
    known
        True where the day counts as known [1], same shape.

    Returns
    -------
    FloatArray
        That of the last known day, the day itself among them; NaN before the first, same shape.
    """
    rows = np.arange(known.shape[0], dtype=np.int64)[:, np.newaxis]
    last = np.maximum.accumulate(np.where(known, rows, -1), axis=0)
    carried = np.take_along_axis(values, np.maximum(last, 0), axis=0)
    return np.where(last < 0, np.nan, carried)

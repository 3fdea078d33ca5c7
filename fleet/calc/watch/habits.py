"""What a garden's earlier season taught of it: its own errors of use and threshold against the book.

A misreading that begins in spring leaves little time in which to learn how the garden behaved before, so
it is easily taken for the garden's habit. Logs of the season before, which the watch does not look at any
more, tell the habit; the garden may have changed since, so its spread grows by a drift.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Habits:
    """Offsets of each garden by its earlier logs, NaN where nothing is known, all (sites,) [1].

    Parameters
    ----------
    use_mean, use_sd
        Log error of use over dose, and its standard deviation.
    threshold_mean, threshold_sd
        Log error of the depletion at the threshold, and its standard deviation.
    """

    use_mean: FloatArray
    use_sd: FloatArray
    threshold_mean: FloatArray
    threshold_sd: FloatArray

    def __post_init__(self) -> None:
        """Reject spreads that are not above zero, and gardens that are known by half."""
        parts = np.stack([self.use_mean, self.use_sd, self.threshold_mean, self.threshold_sd])
        known = np.isfinite(parts)
        if np.any(known.any(axis=0) != known.all(axis=0)):
            raise ValueError("a habit needs both offsets and both spreads")
        if np.any(parts[[1, 3]] <= 0.0):
            raise ValueError("spreads of a habit must be above 0")

    @property
    def known(self) -> npt.NDArray[np.bool_]:
        """Gardens with a habit, (sites,)."""
        return np.isfinite(self.use_mean)

    def take(self, index: IntArray | npt.NDArray[np.bool_]) -> Habits:
        """Habits of some of the gardens.

        Parameters
        ----------
        index
            Positions, or which of them, (n,) [1].
        """
        return Habits(
            self.use_mean[index], self.use_sd[index], self.threshold_mean[index], self.threshold_sd[index]
        )


def no_habits(site_count: int) -> Habits:
    """Nothing is known of any garden.

    Parameters
    ----------
    site_count
        Number of gardens [1].
    """
    unknown = np.full(site_count, np.nan)
    return Habits(unknown, unknown, unknown, unknown)


def only(habits: Habits, kept: npt.NDArray[np.bool_]) -> Habits:
    """The same habits, unknown where they are not kept.

    Parameters
    ----------
    habits
        Habits to choose from.
    kept
        Which to keep, (sites,).
    """
    return Habits(
        *(
            np.where(kept, part, np.nan)
            for part in (habits.use_mean, habits.use_sd, habits.threshold_mean, habits.threshold_sd)
        )
    )


def widened(habits: Habits, use_drift: float, threshold_drift: float) -> Habits:
    """Habits with the spread that a season adds.

    Parameters
    ----------
    habits
        Habits as they were learned.
    use_drift, threshold_drift
        Standard deviation of what may have changed since then [1].
    """
    return Habits(
        habits.use_mean,
        np.hypot(habits.use_sd, use_drift),
        habits.threshold_mean,
        np.hypot(habits.threshold_sd, threshold_drift),
    )

"""How much evidence each fault would have left in the days seen: what the weather let the watch see at all.

A wet month in which a good sensor blocks everything says nothing on stuck wet; a dry month in which it blocks
nothing says nothing on stuck dry. Such a controller is not called healthy in that respect.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from fleet.calc.watch.settings import CAUSES, WATCH_DAYS_KEPT, WatchSettings

FloatArray: TypeAlias = npt.NDArray[np.float64]

_CLIP = (0.03, 0.97)
_READS_SHARE = 0.7  # a misreading shows less than its rate, because its water follows what really ran
_ERRATIC_RATE = 0.5


def divergence(fault: FloatArray, healthy: FloatArray) -> FloatArray:
    """Expected log evidence of one start for a fault against healthy (Kullback and Leibler 1951) [nat].

    Parameters
    ----------
    fault, healthy
        Probability that the start is blocked, inside 0..1 [1].
    """
    result: FloatArray = fault * np.log(fault / healthy) + (1.0 - fault) * np.log(
        (1.0 - fault) / (1.0 - healthy)
    )
    return result


def visibility(
    expected_rate: npt.NDArray[np.floating],
    starts: npt.NDArray[np.integer] | FloatArray,
    seen: npt.NDArray[np.bool_],
    settings: WatchSettings,
    *,
    last_days: int = WATCH_DAYS_KEPT,
) -> FloatArray:
    """Evidence that each fault would have left over the last days, (sites, 5) [nat].

    Parameters
    ----------
    expected_rate
        Bypass rate of a good sensor, NaN without starts, (days, sites) [1].
    starts
        Starts offered; a smaller number where starts share one error, (days, sites) [1].
    seen
        Days with a count of their own, (days, sites).
    settings
        Temper, and the factors of the faults.
    last_days
        Length of the window [d].
    """
    rate = np.clip(np.nan_to_num(expected_rate[-last_days:].astype(np.float64), nan=0.5), *_CLIP)
    weight = settings.temper * starts[-last_days:] * seen[-last_days:]
    result = np.empty((rate.shape[1], len(CAUSES)))
    for number, (fault, share) in enumerate(_fault_rates(rate, settings)):
        result[:, number] = share * (weight * divergence(fault, rate)).sum(axis=0)
    return result


def _fault_rates(rate: FloatArray, settings: WatchSettings) -> list[tuple[FloatArray, float]]:
    """Bypass rate under each fault in the order of CAUSES, and the share of its evidence that shows."""
    wet = 1.0 - (1.0 - rate) * settings.reads_wet.et / settings.reads_wet.dose
    dry = 1.0 - (1.0 - rate) * settings.reads_dry.et / settings.reads_dry.dose
    stuck = np.full(rate.shape, settings.stuck_share)
    return [
        (stuck, 1.0),
        (1.0 - stuck, 1.0),
        (np.clip(wet, *_CLIP), _READS_SHARE),
        (np.clip(dry, *_CLIP), _READS_SHARE),
        (np.full(rate.shape, _ERRATIC_RATE), 1.0),
    ]

"""What the filter says of a fleet, day by day."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

SingleArray: TypeAlias = npt.NDArray[np.float32]
FloatArray: TypeAlias = npt.NDArray[np.float64]

_LEAST = 1e-12


@dataclass(frozen=True, slots=True)
class WatchRun:
    """Posterior of every site and day.

    Parameters
    ----------
    probability
        Probability of healthy and of each cause in the order of CAUSES, (days, sites, 6) [1].
    expected_rate
        Bypass rate of a good sensor here, before the day's count was seen; NaN without starts, (days, sites)
        [1].
    depletion_mm, depletion_sd_mm
        Depletion at the end of the day if the sensor is healthy, and its standard deviation, (days, sites)
        [mm].
    since
        Day index on which each cause would have begun, (sites, 5) [1].
    node_weight
        Posterior of the offset nodes if healthy, (sites, nodes) [1].
    log_evidence
        Log probability of all counts by the healthy model with water, without temper, (sites,) [1].
    location_shift_mm
        Common shift of each location and day, (days, locations) [mm].
    """

    probability: SingleArray
    expected_rate: SingleArray
    depletion_mm: SingleArray
    depletion_sd_mm: SingleArray
    since: SingleArray
    node_weight: SingleArray
    log_evidence: FloatArray
    location_shift_mm: FloatArray


def with_fault_odds(probability: SingleArray, sites: npt.NDArray[np.bool_], factor: float) -> None:
    """Multiply the odds of any fault of some sites, in place.

    Parameters
    ----------
    probability
        Probability of healthy and of each cause, (days, sites, 6) [1].
    sites
        Which sites, (sites,).
    factor
        Factor on the odds [1].
    """
    if not sites.any() or factor == 1.0:
        return
    some = probability[:, sites]
    some[..., 1:] *= factor
    probability[:, sites] = some / some.sum(axis=-1, keepdims=True)


def fault_score(probability: npt.NDArray[np.floating]) -> FloatArray:
    """Log odds of any fault against healthy, shape without the cause axis [1].

    Parameters
    ----------
    probability
        Probability of healthy and of each cause, (..., 6) [1].
    """
    healthy = np.maximum(probability[..., 0].astype(np.float64), _LEAST)
    fault = np.maximum(probability[..., 1:].sum(axis=-1, dtype=np.float64), _LEAST)
    return np.asarray(np.log(fault) - np.log(healthy))

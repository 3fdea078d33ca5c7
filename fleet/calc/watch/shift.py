"""The error that all sites of a location share on a day: rain that fell elsewhere, ET that was off.

Each site says in which direction its healthy prediction was wrong, and how surely. What the others at the
location say together is taken out of a site's depletion before its own count is judged, so that one storm
the gauge missed does not raise two hundred flags. A site never votes on its own correction.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]

_SLOW = 0.97
_MEMORY = 0.9
_RAIN_MEMORY = 0.7


@dataclass(frozen=True, slots=True)
class Guard:
    """State of the guard and of recent rain.

    Parameters
    ----------
    slow_mm, piled_mm
        Usual shift, and departures from it piled up, (locations,) [mm].
    recent_rain_mm
        Rain of the last days, fading, (sites,) [mm].
    """

    slow_mm: FloatArray
    piled_mm: FloatArray
    recent_rain_mm: FloatArray


def starting_guard(locations: int, sites: int) -> Guard:
    """The guard before any day.

    Parameters
    ----------
    locations, sites
        How many of each [1].
    """
    return Guard(slow_mm=np.zeros(locations), piled_mm=np.zeros(locations), recent_rain_mm=np.zeros(sites))


def common_shift(
    score_per_mm: FloatArray,
    information_per_mm2: FloatArray,
    location: IntArray,
    prior_sd_mm: FloatArray,
    locations: int,
) -> tuple[FloatArray, FloatArray]:
    """Shift of each site by what the others at its location say, and of each location by all its sites [mm].

    Parameters
    ----------
    score_per_mm
        Slope of the site's log likelihood against its depletion, weighted by its probability of being
        healthy, (sites,) [1/mm].
    information_per_mm2
        Information on the depletion, weighted alike, at least 0, (sites,) [1/mm2].
    location
        Location of each site, (sites,) [1].
    prior_sd_mm
        Spread of the common error, (sites,); 0 allows none [mm].
    locations
        Number of locations [1].
    """
    score = np.bincount(location, weights=score_per_mm, minlength=locations)
    information = np.bincount(location, weights=information_per_mm2, minlength=locations)
    with np.errstate(divide="ignore"):
        precision = 1.0 / prior_sd_mm**2
    others = (score[location] - score_per_mm) / (information[location] - information_per_mm2 + precision)
    count = np.bincount(location, minlength=locations)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean_precision = np.bincount(location, weights=precision, minlength=locations) / count
        together = np.where(count > 0, score / (information + mean_precision), 0.0)
    return others, together


def prior_shift_sd(guard: Guard, sd_mm: float, sd_share: float) -> FloatArray:
    """Spread of the common error at each site after the recent rain, (sites,) [mm].

    Parameters
    ----------
    guard
        Holds the recent rain.
    sd_mm
        Fixed part [mm].
    sd_share
        Part per mm of recent rain [1].
    """
    return sd_mm + sd_share * guard.recent_rain_mm


def rained(guard: Guard, rain_mm: FloatArray) -> Guard:
    """The guard after today's effective rain.

    Parameters
    ----------
    guard
        State of yesterday.
    rain_mm
        Effective rain of today, (sites,) [mm].
    """
    return Guard(
        slow_mm=guard.slow_mm,
        piled_mm=guard.piled_mm,
        recent_rain_mm=_RAIN_MEMORY * guard.recent_rain_mm + rain_mm,
    )


def shifted(guard: Guard, together_mm: FloatArray) -> Guard:
    """The guard after today's common shift.

    Parameters
    ----------
    guard
        State of yesterday.
    together_mm
        Common shift of each location, (locations,) [mm].
    """
    return Guard(
        slow_mm=_SLOW * guard.slow_mm + (1.0 - _SLOW) * together_mm,
        piled_mm=_MEMORY * guard.piled_mm + (together_mm - guard.slow_mm),
        recent_rain_mm=guard.recent_rain_mm,
    )


def evidence_share(guard: Guard, guard_mm: float) -> FloatArray:
    """Exponent on the evidence while a location's weather does not add up, (locations,) [1].

    Parameters
    ----------
    guard
        Holds the departures.
    guard_mm
        Departure at which the evidence counts half; infinite switches the guard off [mm].
    """
    return 1.0 / (1.0 + (guard.piled_mm / guard_mm) ** 2)

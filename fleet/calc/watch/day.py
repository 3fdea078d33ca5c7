"""One day of water at the sensor, for every hypothesis, site and node at once.

State is the depletion at the sensor's spot and its variance; depletion below zero is water above field
capacity that still drains. These functions change the state arrays they are given: the filter owns them, and
a copy a day would double the time. Order within a day: rain before the starts, starts, irrigation, drainage,
the rest of the rain, ET.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

SingleArray: TypeAlias = npt.NDArray[np.float32]

RAIN_LOST_MM = 1.0
"""First millimetre of a day's rain, held by the leaves [mm] (common practice, no source)."""
RAIN_KEPT = 0.9
"""Share of the rest that reaches the root zone [1] (common practice, no source)."""
_CLIPPED_VARIANCE = np.float32(0.3)
_LEAST_STRESS = np.float32(0.05)
_DAY_H = 24.0


@dataclass(slots=True)
class Water:
    """Depletion [mm] and its variance [mm2] at the sensor, (hypotheses, sites, nodes)."""

    depletion_mm: SingleArray
    variance_mm2: SingleArray


def effective_rain(rain_mm: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Rain that reaches the root zone [mm/d].

    Parameters
    ----------
    rain_mm
        Rain of the day [mm/d].
    """
    return RAIN_KEPT * np.maximum(rain_mm - RAIN_LOST_MM, 0.0)


def add_rain(water: Water, rain_mm: SingleArray, sd_mm: SingleArray, floor_mm: SingleArray) -> None:
    """Lower the depletion by effective rain and widen its variance.

    Parameters
    ----------
    water
        State, changed in place [mm].
    rain_mm
        Effective rain, (hypotheses, sites, 1) [mm].
    sd_mm
        Standard deviation of the rain at the site, (1, sites, 1) [mm].
    floor_mm
        Lowest depletion, (1, sites, 1) [mm].
    """
    water.depletion_mm -= rain_mm
    water.variance_mm2 += sd_mm * sd_mm
    _hold_above(water, floor_mm)


def add_irrigation(
    water: Water, depth_mm: SingleArray, variance_mm2: SingleArray, floor_mm: SingleArray, keep: float
) -> None:
    """Lower the depletion by the starts that ran, then let water above field capacity drain.

    Parameters
    ----------
    water
        State, changed in place [mm].
    depth_mm
        Net irrigation at the spot, (hypotheses, sites, nodes) [mm].
    variance_mm2
        Its variance, broadcastable [mm2].
    floor_mm
        Lowest depletion, (1, sites, 1) [mm].
    keep
        Share of the water above field capacity that is still there a day later [1].
    """
    water.depletion_mm -= depth_mm
    water.variance_mm2 += variance_mm2
    _hold_above(water, floor_mm)
    drained = np.minimum(water.depletion_mm, np.float32(0.0))
    drained *= np.float32(1.0 - keep)
    water.depletion_mm -= drained


def take_et(water: Water, demand_mm: SingleArray, available_mm: SingleArray, et_cv: float) -> None:
    """Raise the depletion by ET under the plant's own stress (FAO-56 Eq. 84 with p = 0.5).

    Parameters
    ----------
    water
        State, changed in place [mm].
    demand_mm
        Landscape ET without stress, (hypotheses, sites, nodes) [mm].
    available_mm
        Total available water, (1, sites, 1) [mm].
    et_cv
        Relative error of the day's ET [1].
    """
    stress = available_mm - water.depletion_mm
    stress *= np.float32(2.0) / available_mm
    np.clip(stress, _LEAST_STRESS, np.float32(1.0), out=stress)
    spread = demand_mm * np.float32(et_cv)
    water.variance_mm2 += spread * spread
    stress *= demand_mm
    water.depletion_mm += stress
    np.minimum(water.depletion_mm, available_mm, out=water.depletion_mm)


def kept_after_a_day(drainage_h: float) -> float:
    """Share of the water above field capacity that is left after a day [1].

    Parameters
    ----------
    drainage_h
        Time in which it falls to 1/e [h].
    """
    return float(np.exp(-_DAY_H / drainage_h))


def _hold_above(water: Water, floor_mm: SingleArray) -> None:
    """Let what cannot be held run off or drain; a state pressed against the floor is well known."""
    below = water.depletion_mm < floor_mm
    if below.any():
        water.variance_mm2[below] *= _CLIPPED_VARIANCE
        np.maximum(water.depletion_mm, floor_mm, out=water.depletion_mm)

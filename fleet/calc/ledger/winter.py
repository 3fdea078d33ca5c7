"""The house's own share of a whole-house meter: a base with bounds, never taken off in silence.

Where gardens rest in winter, use on days without need is the house. Where they are watered all year it is
not ("assuming zero winter irrigation is not valid", UF/SWFWMD), so the base is only known to lie between
what people use indoors and the lowest use seen.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weather.calc.arrays import BoolArray, FloatArray
from weather.calc.units import L_PER_GALLON

# City of Redwood City water budget, contract exhibit of 2017: 57.6 gal per resident-day, two residents
INDOOR_L_D = 2 * 57.6 * L_PER_GALLON
_REST_SHARE = 0.05  # of the largest need: below it a garden rests. [judgement]
_LEAST_REST_PERIODS = 2
_LARGE_HOUSE = 3.0  # times INDOOR_L_D: more than this in winter is not only a house. [judgement]


@dataclass(frozen=True, slots=True)
class WinterBase:
    """Use of the house, arrays (sites,).

    Parameters
    ----------
    base_l_d, low_l_d, high_l_d
        Base taken off and its bounds [L/d]; NaN where there is no period to tell it.
    is_bounded
        Whether only bounds are known, because the garden may be watered in winter [1].
    """

    base_l_d: FloatArray
    low_l_d: FloatArray
    high_l_d: FloatArray
    is_bounded: BoolArray


def winter_base(use_l_d: FloatArray, need_l_d: FloatArray, days: FloatArray) -> WinterBase:
    """Use of the house behind whole-house meters [L/d], with bounds.

    Parameters
    ----------
    use_l_d
        Use a day, shape (sites, periods) [L/d].
    need_l_d
        Need a day, shape (sites, periods) [L/d].
    days
        Length of each period, 0 where there is none, shape (sites, periods) [d].
    """
    seen = days > 0
    peak = np.max(np.where(seen, need_l_d, 0.0), axis=1, initial=0.0)
    rest = seen & (need_l_d <= _REST_SHARE * peak[:, None]) & (peak[:, None] > 0)
    rest_days = np.sum(days * rest, axis=1)
    calm = np.divide(
        np.sum(use_l_d * days * rest, axis=1), rest_days, out=np.full(peak.shape, np.nan), where=rest_days > 0
    )
    lowest = np.min(np.where(seen, use_l_d, np.inf), axis=1, initial=np.inf)
    highest = np.max(np.where(rest, use_l_d, -np.inf), axis=1, initial=-np.inf)
    known = np.isfinite(lowest)
    is_bounded = known & ((np.sum(rest, axis=1) < _LEAST_REST_PERIODS) | (calm > _LARGE_HOUSE * INDOOR_L_D))
    low = np.where(is_bounded, np.minimum(INDOOR_L_D, lowest), lowest)
    high = np.where(is_bounded, lowest, highest)
    base = np.where(is_bounded, (low + np.where(known, high, 0.0)) / 2.0, calm)
    base, low, high = (np.where(known, part, np.nan) for part in (base, low, high))
    return WinterBase(base, low, high, is_bounded)

"""How far off ET may be that no equation gave: the mean of the seven days before, and other years.

Shares marked "measured" are root mean squares of (substitute - full) / full over the days above 2 mm/d of
the test stations Maricopa AZ (hot desert) and McLean IL (humid continental), the larger of the two; a test
computes them again. The other is common practice, no source.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from weather.calc.arrays import FloatArray, IntArray
from weather.calc.spread_rules import EQUATION_MM

# Shares of ET [1].
ET_MEAN_7_DAYS: Final = 0.37  # measured: 0.360 at McLean on the first day of a gap
ET_MEAN_7_DAYS_PER_DAY: Final = 0.004  # measured: 0.408 at McLean on the 14th
ET_CLIMATOLOGY: Final = (
    0.40  # assumption: not under the 7-day mean of a humid place; measured 0.21 in the desert
)


def _spread_mm(reference_et_mm: FloatArray, share: FloatArray) -> FloatArray:
    """Share of the value, with the floor."""
    return np.asarray(np.hypot(share * reference_et_mm, EQUATION_MM))


def et_sd_of_mean_mm(reference_et_mm: FloatArray, days_in_gap: IntArray) -> FloatArray:
    """Standard deviation of ET that was put in as the mean of the seven days before.

    Parameters
    ----------
    reference_et_mm
        The mean [mm/d], any shape.
    days_in_gap
        Which day of its gap it is, 1 for the first [d], same shape.

    Returns
    -------
    FloatArray
        Standard deviation [mm/d], same shape.
    """
    share = ET_MEAN_7_DAYS + ET_MEAN_7_DAYS_PER_DAY * (days_in_gap.astype(np.float64) - 1.0)
    return _spread_mm(reference_et_mm, share)


def et_sd_of_climatology_mm(reference_et_mm: FloatArray) -> FloatArray:
    """Standard deviation of ET that was put in from other years.

    Parameters
    ----------
    reference_et_mm
        The value put in [mm/d], any shape.

    Returns
    -------
    FloatArray
        Standard deviation [mm/d], same shape.
    """
    return _spread_mm(reference_et_mm, np.full_like(reference_et_mm, ET_CLIMATOLOGY))

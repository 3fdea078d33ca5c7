"""ET of days without temperatures: the mean of the seven days before, then what other years had."""

from __future__ import annotations

from typing import Final

import numpy as np

from weather.calc.arrays import DayArray, FloatArray, IntArray
from weather.calc.daily_weather import Places
from weather.calc.fill_codes import EtMethod, Fill, FillArray
from weather.calc.radiation import day_of_year, extraterrestrial_radiation
from weather.calc.trailing import days_since, last_known, trailing_mean
from weather.calc.uncertainty import et_sd_of_climatology_mm, et_sd_of_mean_mm

MEAN_WINDOW_D: Final = 7
MEAN_LEAST: Final = 3
MEAN_LIMIT_D: Final = 14  # beyond this, other years know better
MEAN_LIMIT_ALONE_D: Final = 60  # where there are no other years
_MID_MONTH_D: Final = np.array(
    [15.5, 45.0, 74.5, 105.0, 135.5, 166.0, 196.5, 227.5, 258.0, 288.5, 319.0, 349.5]
)


def bridge_gaps(
    days: DayArray,
    places: Places,
    reference_et_mm: FloatArray,
    sd_mm: FloatArray,
    fills: FillArray,
    climatology_mm: FloatArray,
) -> tuple[FloatArray, FloatArray, IntArray, FillArray]:
    """ET with its unknown days put in, its spread, how it came about, and the codes of what was filled.

    Parameters
    ----------
    days
        Consecutive days, datetime64[D], shape (days,).
    places
        Positions [deg, m], shape (locations,).
    reference_et_mm
        ET as the equation gave it, NaN = unknown [mm/d], shape (days, locations).
    sd_mm
        Its standard deviation [mm/d], same shape.
    fills
        Sums of `Fill` of the equation's inputs [1], same shape.
    climatology_mm
        Mean ET of the months in other years [mm/d], shape (12, locations); NaN = none.

    Returns
    -------
    tuple[FloatArray, FloatArray, IntArray, FillArray]
        ET and its standard deviation [mm/d], `EtMethod` and `Fill` codes [1], all (days, locations).

    Notes
    -----
    The mean is taken of ET over radiation above the air, so that a long gap follows the season.
    """
    known = np.isfinite(reference_et_mm)
    method = np.where(known, EtMethod.FAO56.value, EtMethod.UNKNOWN.value)
    if bool(known.all()):
        return reference_et_mm, sd_mm, method, fills
    numbers = day_of_year(days)
    above = extraterrestrial_radiation(numbers, places.latitude_deg)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(above > 0.0, np.maximum(reference_et_mm, 0.0) / above, np.nan)
    age = days_since(known)
    mean = last_known(trailing_mean(ratio, MEAN_WINDOW_D, MEAN_LEAST), known) * above
    usual = _of_days(climatology_mm, numbers)
    limit = np.where(np.isfinite(usual), MEAN_LIMIT_D, MEAN_LIMIT_ALONE_D)
    by_mean = ~known & np.isfinite(mean) & (age <= limit)
    by_usual = ~known & ~by_mean & np.isfinite(usual)
    value = np.where(by_mean, mean, np.where(by_usual, usual, reference_et_mm))
    spread = np.where(by_mean, et_sd_of_mean_mm(mean, age), sd_mm)
    spread = np.where(by_usual, et_sd_of_climatology_mm(usual), spread)
    method = np.where(by_mean, EtMethod.MEAN_7_DAYS.value, method)
    method = np.where(by_usual, EtMethod.CLIMATOLOGY.value, method)
    # What the equation would have rested on does not matter where it gave nothing.
    codes = np.where(known, fills, 0)
    codes = np.where(by_mean, Fill.ETO_MEAN_7_DAYS.value, codes)
    codes = np.where(by_usual, Fill.ETO_CLIMATOLOGY.value, codes)
    return value, spread, method, codes.astype(np.uint16)


def _of_days(monthly_mm: FloatArray, day_numbers: FloatArray) -> FloatArray:
    """Values of months drawn as lines between the middles of the months, for each day."""
    middles = np.r_[_MID_MONTH_D[-1] - 365.0, _MID_MONTH_D, _MID_MONTH_D[0] + 365.0]
    around = np.vstack([monthly_mm[-1:], monthly_mm, monthly_mm[:1]])
    right = np.clip(np.searchsorted(middles, day_numbers), 1, middles.size - 1)
    share = ((day_numbers - middles[right - 1]) / (middles[right] - middles[right - 1]))[:, np.newaxis]
    left_value, right_value = around[right - 1], around[right]
    drawn = (1.0 - share) * left_value + share * right_value
    # Where only one of the two months is known, it stands alone.
    drawn = np.where(np.isnan(drawn), left_value, drawn)
    return np.where(np.isnan(drawn), right_value, drawn)

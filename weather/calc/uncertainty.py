"""How far off a day's ET and rain may be: measured, filled or forecast.

Shares of ET marked "measured" are root mean squares of (substitute - full) / full over the days above 2 mm/d
of the test stations Maricopa AZ (hot desert) and McLean IL (humid continental), the larger of the two; a test
computes them again. The others are common practice, no source, and stand here to be replaced by scores
against what came.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from weather.calc.arrays import BoolArray, FloatArray, IntArray
from weather.calc.substitutes import Fallback

# Shares of ET [1].
ET_STATION: Final = 0.05  # assumption: instruments in order
ET_GRID: Final = 0.15  # assumption: gridded product instead of a station
ET_HUMIDITY_FROM_TMIN: Final = 0.18  # measured: 0.176 at McLean
ET_SOLAR_FROM_RANGE: Final = 0.09  # measured: 0.086 at McLean
ET_WIND_DEFAULT: Final = 0.21  # measured: 0.209 at Maricopa
FALLBACK_SHARES: Final = {
    Fallback.HUMIDITY_FROM_TMIN: ET_HUMIDITY_FROM_TMIN,
    Fallback.SOLAR_FROM_RANGE: ET_SOLAR_FROM_RANGE,
    Fallback.WIND_DEFAULT: ET_WIND_DEFAULT,
}
ET_MEAN_7_DAYS: Final = 0.37  # measured: 0.360 at McLean on the first day of a gap
ET_MEAN_7_DAYS_PER_DAY: Final = 0.004  # measured: 0.408 at McLean on the 14th
ET_CLIMATOLOGY: Final = (
    0.40  # assumption: not under the 7-day mean of a humid place; measured 0.21 in the desert
)
ET_NEIGHBOUR: Final = 0.06  # assumption: for each variable taken over
ET_NEIGHBOUR_LONG: Final = 1.5  # factor beyond the third day in a row
ET_FLOOR_MM: Final = 0.15  # assumption: no day is known better [mm/d]
# Rain: a share [1] and a depth [mm] that also holds on dry days.
RAIN_GAUGE: Final = (0.10, 0.1)  # assumption: catch of a gauge
RAIN_GRID: Final = (0.40, 0.5)  # assumption: a grid smears showers
RAIN_PER_KM: Final = (0.03, 0.05)  # assumption: for each km to the gauge that lends its rain
# Forecasts by lead [d].
ET_FORECAST: Final = 0.10  # assumption: share on the day of issue
ET_FORECAST_PER_DAY: Final = 0.02  # assumption
RAIN_FORECAST: Final = (0.50, 1.0)  # assumption: on the day of issue
RAIN_FORECAST_PER_DAY: Final = (0.07, 0.4)  # assumption


def _spread_mm(reference_et_mm: FloatArray, share: FloatArray) -> FloatArray:
    """Share of the value, with the floor."""
    return np.asarray(np.hypot(share * reference_et_mm, ET_FLOOR_MM))


def et_sd_mm(
    reference_et_mm: FloatArray,
    fallbacks: IntArray,
    copied_variables: FloatArray,
    is_grid: BoolArray,
) -> FloatArray:
    """Standard deviation of ET that the equation gave.

    Parameters
    ----------
    reference_et_mm
        ET for scheduling [mm/d], shape (days, locations).
    fallbacks
        Sums of `Fallback` codes [1], same shape.
    copied_variables
        Number of variables taken over from neighbours, each counted `ET_NEIGHBOUR_LONG` squared beyond its
        third day in a row [1], same shape.
    is_grid
        True where a gridded product was used, shape (locations,) or (days, locations) [1].

    Returns
    -------
    FloatArray
        Standard deviation [mm/d], same shape; NaN where ET is.
    """
    squares = np.where(is_grid, ET_GRID**2, ET_STATION**2) + ET_NEIGHBOUR**2 * copied_variables
    for code, share in FALLBACK_SHARES.items():
        squares = squares + np.where((fallbacks & code.value) != 0, share**2, 0.0)
    return _spread_mm(reference_et_mm, np.sqrt(squares))


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


def rain_sd_mm(rain_mm: FloatArray, is_grid: BoolArray, distance_km: FloatArray) -> FloatArray:
    """Standard deviation of rain that was measured here or lent by a gauge nearby.

    Parameters
    ----------
    rain_mm
        Rain [mm/d], shape (days, locations).
    is_grid
        True where a gridded product tells the rain [1], same shape or (locations,).
    distance_km
        Way to the gauge that lent it, 0 where it is the location's own [km], same shape.

    Returns
    -------
    FloatArray
        Standard deviation [mm/d], same shape; NaN where rain is.
    """
    share = np.where(is_grid, RAIN_GRID[0], RAIN_GAUGE[0]) + RAIN_PER_KM[0] * distance_km
    depth = np.where(is_grid, RAIN_GRID[1], RAIN_GAUGE[1]) + RAIN_PER_KM[1] * distance_km
    return np.asarray(share * rain_mm + depth)


def forecast_et_sd_mm(reference_et_mm: FloatArray, own_sd_mm: FloatArray, lead_d: FloatArray) -> FloatArray:
    """Standard deviation of forecast ET: that of its inputs, and the forecast's own by lead.

    Parameters
    ----------
    reference_et_mm
        Forecast ET [mm/d], shape (days, locations).
    own_sd_mm
        Standard deviation as if its inputs had been measured [mm/d], same shape.
    lead_d
        Days from issue to the day, 0 for the same day [d], shape (days, 1) or same.

    Returns
    -------
    FloatArray
        Standard deviation [mm/d], same shape, growing with lead.
    """
    share = ET_FORECAST + ET_FORECAST_PER_DAY * lead_d
    return np.asarray(np.hypot(own_sd_mm, share * reference_et_mm))


def forecast_rain_sd_mm(rain_mm: FloatArray, lead_d: FloatArray) -> FloatArray:
    """Standard deviation of forecast rain by lead.

    Parameters
    ----------
    rain_mm
        Forecast rain [mm/d], shape (days, locations).
    lead_d
        Days from issue to the day, 0 for the same day [d], shape (days, 1) or same.

    Returns
    -------
    FloatArray
        Standard deviation [mm/d], same shape, growing with lead.
    """
    share = RAIN_FORECAST[0] + RAIN_FORECAST_PER_DAY[0] * lead_d
    depth = RAIN_FORECAST[1] + RAIN_FORECAST_PER_DAY[1] * lead_d
    return np.asarray(share * rain_mm + depth)

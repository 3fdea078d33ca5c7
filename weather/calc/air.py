"""State of the air: pressure, vapour and wind (FAO-56, chapter 3)."""

from __future__ import annotations

from typing import TypeVar

import numpy as np

from weather.calc.arrays import FloatArray

Value = TypeVar("Value", float, FloatArray)

REFERENCE_WIND_HEIGHT_M = 2.0


def air_pressure_kpa(elevation_m: FloatArray) -> FloatArray:
    """Mean air pressure at an elevation.

    Parameters
    ----------
    elevation_m
        Height above the sea [m], any shape.

    Returns
    -------
    FloatArray
        Pressure [kPa], same shape.

    Notes
    -----
    FAO-56 (Allen, Pereira, Raes and Smith 1998), Eq. 7.
    """
    return np.asarray(101.3 * ((293.0 - 0.0065 * elevation_m) / 293.0) ** 5.26)


def psychrometric_constant(pressure_kpa: FloatArray) -> FloatArray:
    """Psychrometric constant at a pressure.

    Parameters
    ----------
    pressure_kpa
        Air pressure [kPa], any shape.

    Returns
    -------
    FloatArray
        Constant [kPa/C], same shape.

    Notes
    -----
    FAO-56, Eq. 8.
    """
    return 0.000665 * pressure_kpa


def saturation_vapour_pressure_kpa(temperature_c: FloatArray) -> FloatArray:
    """Vapour pressure of saturated air.

    Parameters
    ----------
    temperature_c
        Air temperature [C], any shape.

    Returns
    -------
    FloatArray
        Vapour pressure [kPa], same shape.

    Notes
    -----
    FAO-56, Eq. 11; with the dew point it gives the actual vapour pressure (Eq. 14).
    """
    return np.asarray(0.6108 * np.exp(17.27 * temperature_c / (temperature_c + 237.3)))


def saturation_slope(temperature_c: FloatArray) -> FloatArray:
    """Slope of the saturation curve.

    Parameters
    ----------
    temperature_c
        Air temperature, here the mean of the day's extremes [C], any shape.

    Returns
    -------
    FloatArray
        Slope [kPa/C], same shape.

    Notes
    -----
    FAO-56, Eq. 13.
    """
    warmth = temperature_c + 237.3
    return np.asarray((4098.0 * 0.6108) * np.exp(17.27 * temperature_c / warmth) / (warmth * warmth))


def vapour_pressure_from_humidity_kpa(
    saturation_at_tmin_kpa: FloatArray,
    saturation_at_tmax_kpa: FloatArray,
    rh_min_pct: FloatArray,
    rh_max_pct: FloatArray,
) -> FloatArray:
    """Actual vapour pressure from the day's lowest and highest relative humidity.

    Parameters
    ----------
    saturation_at_tmin_kpa, saturation_at_tmax_kpa
        Saturation vapour pressure at the day's extremes of temperature [kPa].
    rh_min_pct
        Lowest relative humidity [%]; NaN where unknown: then the highest alone decides.
    rh_max_pct
        Highest relative humidity [%]; NaN where unknown: then the result is NaN.

    Returns
    -------
    FloatArray
        Actual vapour pressure [kPa].

    Notes
    -----
    FAO-56, Eq. 17, and Eq. 18 where only the highest is known.
    """
    from_max = saturation_at_tmin_kpa * (rh_max_pct / 100.0)
    from_min = saturation_at_tmax_kpa * (rh_min_pct / 100.0)
    return np.where(np.isnan(from_min), from_max, 0.5 * (from_max + from_min))


def dew_point_c(vapour_pressure_kpa: FloatArray) -> FloatArray:
    """Dew point of air with a known vapour pressure.

    Parameters
    ----------
    vapour_pressure_kpa
        Actual vapour pressure, above zero [kPa], any shape.

    Returns
    -------
    FloatArray
        Dew point [C], same shape.

    Notes
    -----
    Inverse of FAO-56, Eq. 11.
    """
    logarithm = np.log(vapour_pressure_kpa / 0.6108)
    return np.asarray(237.3 * logarithm / (17.27 - logarithm))


def wind_factor_to_2m(wind_height_m: FloatArray) -> FloatArray:
    """Factor that turns the wind at its height of measurement into wind at 2 m.

    Parameters
    ----------
    wind_height_m
        Height of the instrument above short grass, above 0.1 m [m], any shape.

    Returns
    -------
    FloatArray
        Factor [1], same shape; at 2 m it is 1.

    Notes
    -----
    FAO-56, Eq. 47. The printed factor is 1.0002 at 2 m; a wind measured there is taken as it is.
    """
    height = np.asarray(wind_height_m, dtype=np.float64)
    if bool(np.any(height <= 0.1)):
        raise ValueError("wind_height_m must be above 0.1 m: the logarithmic profile ends there")
    factor = 4.87 / np.log(67.8 * height - 5.42)
    return np.where(height == REFERENCE_WIND_HEIGHT_M, 1.0, factor)

"""Sun and sky: radiation above the air, on the ground, and net (FAO-56, chapter 3)."""

from __future__ import annotations

import numpy as np

from weather.calc.arrays import DayArray, FloatArray

SOLAR_CONSTANT_MJ_M2_MIN = 0.0820
STEFAN_BOLTZMANN_MJ = 4.903e-9  # [MJ/K4/m2/d]
KELVIN = 273.16  # FAO-56 writes 273.16 in Eq. 39
ALBEDO_OF_GRASS = 0.23
INTERIOR_COEFFICIENT = 0.16  # kRs of FAO-56, Eq. 50, where land masses dominate
_RELATIVE_SHORTWAVE_FLOOR = 0.3  # ASCE-EWRI 2005, Eq. 18: Rs/Rso is held between 0.3 and 1


def day_of_year(days: DayArray) -> FloatArray:
    """Number of each day in its year, 1 on 1 January.

    Parameters
    ----------
    days
        Calendar days, datetime64[D], shape (days,).

    Returns
    -------
    FloatArray
        Day of the year [d], shape (days,).
    """
    return np.asarray((days - days.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.float64) + 1.0)


def _column(day_numbers: FloatArray, latitude_deg: FloatArray) -> FloatArray:
    """Day numbers shaped to spread over the latitudes."""
    return day_numbers.reshape(day_numbers.shape + (1,) * np.ndim(latitude_deg))


def _declination_rad(day_numbers: FloatArray) -> FloatArray:
    """Declination of the sun, FAO-56 Eq. 24."""
    return np.asarray(0.409 * np.sin(2.0 * np.pi / 365.0 * day_numbers - 1.39))


def _cosine_of_sunset(tangents: FloatArray) -> FloatArray:
    """Cosine of the sunset hour angle, held to polar day and night (FAO-56 Eq. 25)."""
    return np.clip(-tangents, -1.0, 1.0)


def extraterrestrial_radiation(day_numbers: FloatArray, latitude_deg: FloatArray) -> FloatArray:
    """Radiation that reaches a level plane above the air in a day.

    Parameters
    ----------
    day_numbers
        Day of the year, 1 to 366 [d], shape (days,).
    latitude_deg
        Latitude, north positive [deg], shape (locations,) or a number.

    Returns
    -------
    FloatArray
        Radiation [MJ/m2/d], shape (days, locations); 0 in the polar night.

    Notes
    -----
    FAO-56, Eq. 21 with Eq. 23 to 25.
    """
    latitude = np.deg2rad(np.asarray(latitude_deg, dtype=np.float64))
    numbers = _column(np.asarray(day_numbers, dtype=np.float64), latitude)
    return radiation_above_air(numbers, np.sin(latitude), np.cos(latitude))


def radiation_above_air(
    day_numbers: FloatArray, sine_latitude: FloatArray, cosine_latitude: FloatArray
) -> FloatArray:
    """Radiation above the air where the latitudes' sines are known already, for use in a loop of blocks.

    Parameters
    ----------
    day_numbers
        Day of the year [d], shape (days, 1).
    sine_latitude, cosine_latitude
        Sine and cosine of the latitudes [1], shape (locations,).

    Returns
    -------
    FloatArray
        Radiation [MJ/m2/d], shape (days, locations).

    Notes
    -----
    FAO-56, Eq. 21 with Eq. 23 to 25.
    """
    declination = _declination_rad(day_numbers)
    distance = 1.0 + 0.033 * np.cos(2.0 * np.pi / 365.0 * day_numbers)
    scale = 24.0 * 60.0 / np.pi * SOLAR_CONSTANT_MJ_M2_MIN * distance
    cosine = _cosine_of_sunset((sine_latitude / cosine_latitude) * np.tan(declination))
    low = sine_latitude * (scale * np.sin(declination))
    high = cosine_latitude * (scale * np.cos(declination))
    # sin(arccos(x)) = sqrt(1 - x2) spares one trigonometric function for each day and location.
    return np.asarray(np.arccos(cosine) * low + high * np.sqrt(1.0 - cosine * cosine))


def clear_sky_radiation(extraterrestrial_mj_m2: FloatArray, elevation_m: FloatArray) -> FloatArray:
    """Solar radiation under a cloudless sky.

    Parameters
    ----------
    extraterrestrial_mj_m2
        Radiation above the air [MJ/m2/d], shape (days, locations).
    elevation_m
        Height above the sea [m], shape (locations,) or a number.

    Returns
    -------
    FloatArray
        Clear-sky radiation [MJ/m2/d], shape (days, locations).

    Notes
    -----
    FAO-56, Eq. 37.
    """
    return np.asarray((0.75 + 2e-5 * elevation_m) * extraterrestrial_mj_m2)


def solar_from_temperature_range(
    tmin_c: FloatArray,
    tmax_c: FloatArray,
    extraterrestrial_mj_m2: FloatArray,
    clear_sky_mj_m2: FloatArray,
    coefficient: FloatArray | float = INTERIOR_COEFFICIENT,
) -> FloatArray:
    """Solar radiation from the day's temperature range, never above the clear sky's.

    Parameters
    ----------
    tmin_c, tmax_c
        Extremes of the air temperature [C], shape (days, locations); NaN gives NaN.
    extraterrestrial_mj_m2, clear_sky_mj_m2
        Radiation above the air and under a clear sky [MJ/m2/d], same shape.
    coefficient
        kRs [C**-0.5], a number or shape (locations,): 0.16 inland, 0.19 on a coast, or calibrated.

    Returns
    -------
    FloatArray
        Solar radiation [MJ/m2/d], shape (days, locations).

    Notes
    -----
    Hargreaves' radiation formula, FAO-56, Eq. 50.
    """
    reach = np.sqrt(np.maximum(tmax_c - tmin_c, 0.0))
    return np.minimum(coefficient * reach * extraterrestrial_mj_m2, clear_sky_mj_m2)


def net_longwave_radiation(
    tmin_c: FloatArray,
    tmax_c: FloatArray,
    vapour_pressure_kpa: FloatArray,
    solar_mj_m2: FloatArray,
    clear_sky_mj_m2: FloatArray,
) -> FloatArray:
    """Long-wave radiation that leaves the surface.

    Parameters
    ----------
    tmin_c, tmax_c
        Extremes of the air temperature [C], shape (days, locations).
    vapour_pressure_kpa
        Actual vapour pressure [kPa], same shape.
    solar_mj_m2, clear_sky_mj_m2
        Solar radiation, measured and under a clear sky [MJ/m2/d], same shape.

    Returns
    -------
    FloatArray
        Net outgoing long-wave radiation [MJ/m2/d], same shape.

    Notes
    -----
    FAO-56, Eq. 39. Their ratio is held between 0.3 and 1 (ASCE-EWRI 2005, Eq. 18), and is 1 where the
    sun does not rise.
    """
    # Without sun the ratio has no meaning; 1 is the choice of a clear winter night.
    with np.errstate(divide="ignore", invalid="ignore"):
        relative = np.where(clear_sky_mj_m2 > 0.0, solar_mj_m2 / clear_sky_mj_m2, 1.0)
    relative = np.clip(relative, _RELATIVE_SHORTWAVE_FLOOR, 1.0)
    low = tmin_c + KELVIN
    high = tmax_c + KELVIN
    low *= low
    high *= high
    emitted = (0.5 * STEFAN_BOLTZMANN_MJ) * (low * low + high * high)
    return emitted * (0.34 - 0.14 * np.sqrt(vapour_pressure_kpa)) * (1.35 * relative - 0.35)


def net_radiation(solar_mj_m2: FloatArray, net_longwave_mj_m2: FloatArray) -> FloatArray:
    """Radiation that short grass keeps.

    Parameters
    ----------
    solar_mj_m2
        Solar radiation on the ground [MJ/m2/d].
    net_longwave_mj_m2
        Net outgoing long-wave radiation [MJ/m2/d].

    Returns
    -------
    FloatArray
        Net radiation [MJ/m2/d].

    Notes
    -----
    FAO-56, Eq. 38 and 40 with an albedo of 0.23.
    """
    return (1.0 - ALBEDO_OF_GRASS) * solar_mj_m2 - net_longwave_mj_m2

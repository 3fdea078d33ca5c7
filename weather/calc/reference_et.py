"""Grass (short) and alfalfa (tall) reference evapotranspiration of days, for all locations at once."""

from __future__ import annotations

import enum
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weather.calc.air import air_pressure_kpa, psychrometric_constant, saturation_slope, wind_factor_to_2m
from weather.calc.arrays import FloatArray
from weather.calc.daily_weather import DailyWeather, Places
from weather.calc.radiation import (
    day_of_year,
    net_longwave_radiation,
    net_radiation,
    radiation_above_air,
)
from weather.calc.substitutes import Assumptions, CompleteInputs, complete_inputs
from weather.calc.units import LATENT_MM_PER_MJ

_BLOCK = 16_384  # values handled at a time, so that the temporary arrays stay in the processor's cache


class Surface(enum.Enum):
    """Reference surface with the daily constants of ASCE-EWRI 2005, Table 1."""

    SHORT = (900.0, 0.34)
    TALL = (1600.0, 0.38)


@dataclass(frozen=True, slots=True)
class ReferenceEt:
    """Reference ET with what it rests on.

    Parameters
    ----------
    raw_mm
        Value of the equation, which may be slightly negative on cold damp days [mm/d], shape
        (days, locations); NaN where an extreme of the temperature is unknown.
    fallbacks
        Sum of `substitutes.Fallback` codes of each value, uint8, same shape.
    taken
        Vapour pressure [kPa], wind at 2 m [m/s] and solar radiation [MJ/m2/d] as the equation took them,
        where they were asked for; same shape.
    """

    raw_mm: FloatArray
    fallbacks: NDArray[np.uint8]
    taken: tuple[FloatArray, FloatArray, FloatArray] | None = None

    def __post_init__(self) -> None:
        """Reject arrays that do not belong together."""
        if self.raw_mm.shape != self.fallbacks.shape:
            raise ValueError("raw_mm and fallbacks must share one shape (days, locations)")

    def scheduling_mm(self) -> FloatArray:
        """Value for scheduling: never below zero [mm/d], shape (days, locations); NaN stays NaN."""
        return np.maximum(self.raw_mm, 0.0)


def penman_monteith_mm(
    available_energy_mj_m2: FloatArray,
    mean_temperature_c: FloatArray,
    wind_2m_m_s: FloatArray,
    vapour_deficit_kpa: FloatArray,
    slope: FloatArray,
    psychrometric: FloatArray,
    surface: Surface = Surface.SHORT,
) -> FloatArray:
    """Reference ET of one day from its energy, air and wind.

    Parameters
    ----------
    available_energy_mj_m2
        Net radiation less the heat that goes into the soil [MJ/m2/d].
    mean_temperature_c
        Mean of the day's extremes [C], not the mean of its samples.
    wind_2m_m_s
        Mean wind at 2 m [m/s].
    vapour_deficit_kpa
        Saturation less actual vapour pressure [kPa].
    slope
        Slope of the saturation curve [kPa/C].
    psychrometric
        Psychrometric constant [kPa/C].
    surface
        Short (grass) or tall (alfalfa) reference [1].

    Returns
    -------
    FloatArray
        Reference ET [mm/d].

    Notes
    -----
    FAO-56, Eq. 6; ASCE-EWRI 2005, Eq. 1 with its daily constants.
    """
    numerator_constant, denominator_constant = surface.value
    aerodynamic = psychrometric * numerator_constant / (mean_temperature_c + 273.0)
    aerodynamic = aerodynamic * wind_2m_m_s * vapour_deficit_kpa
    radiative = LATENT_MM_PER_MJ * slope * available_energy_mj_m2
    return (radiative + aerodynamic) / (slope + psychrometric * (1.0 + denominator_constant * wind_2m_m_s))


def reference_et(
    weather: DailyWeather,
    places: Places,
    assumptions: Assumptions | None = None,
    surface: Surface = Surface.SHORT,
    *,
    keeps_inputs: bool = False,
) -> ReferenceEt:
    """Reference ET of each day and location, with FAO-56's substitutes where values are missing.

    Parameters
    ----------
    weather
        Daily values, arrays of shape (days, locations), NaN = unknown [as named].
    places
        Latitude and elevation, shape (locations,) [deg, m].
    assumptions
        Substitutes; None = inland coefficient, dew point at Tmin [as named].
    surface
        Short (grass, the one that schedules) or tall (alfalfa, for comparison) [1].
    keeps_inputs
        Also return what the equation took, substitutes among it [1].

    Returns
    -------
    ReferenceEt
        Values [mm/d] and what each rests on, shape (days, locations).

    Notes
    -----
    FAO-56 (1998), Eq. 6 with chapter 3. Humidity comes from the dew point, else from both extremes of
    relative humidity, else from the highest, else from Tmin (Eq. 14, 17, 18, 48); solar radiation, else the
    temperature range (Eq. 50); wind, else 2 m/s.
    """
    count_days, count = weather.shape
    if places.count != count:
        raise ValueError(f"{places.count} places for {count} columns of weather")
    assumed = assumptions or Assumptions()
    numbers = day_of_year(weather.days)
    psychrometric = psychrometric_constant(air_pressure_kpa(places.elevation_m))
    per_height = wind_factor_to_2m(weather.wind_height_m)
    raw_mm = np.empty((count_days, count))
    codes = np.zeros((count_days, count), dtype=np.uint8)
    taken = np.empty((3, count_days, count)) if keeps_inputs else None
    width = max(1, -(-count // max(1, -(-count // _BLOCK))))  # equal parts, none over a block
    height = max(1, _BLOCK // width)
    for left in range(0, count, width):
        columns = slice(left, left + width)
        latitude, elevation = np.deg2rad(places.latitude_deg[columns]), places.elevation_m[columns]
        sine, cosine = np.sin(latitude), np.cos(latitude)
        for top in range(0, count_days, height):
            cut = (slice(top, top + height), columns)
            energy = radiation_above_air(numbers[cut[0], np.newaxis], sine, cosine)
            inputs = complete_inputs(weather, cut, assumed, energy, elevation, per_height, codes)
            raw_mm[cut] = _block_mm(inputs, psychrometric[columns], surface)
            if taken is not None:
                taken[0][cut], taken[1][cut] = inputs.vapour_kpa, inputs.wind_2m_m_s
                taken[2][cut] = inputs.solar_mj_m2
    kept = None if taken is None else (taken[0], taken[1], taken[2])
    return ReferenceEt(raw_mm=raw_mm, fallbacks=codes, taken=kept)


def _block_mm(inputs: CompleteInputs, psychrometric: FloatArray, surface: Surface) -> FloatArray:
    """Reference ET of one block with complete inputs."""
    mean = 0.5 * (inputs.tmin_c + inputs.tmax_c)
    longwave = net_longwave_radiation(
        inputs.tmin_c, inputs.tmax_c, inputs.vapour_kpa, inputs.solar_mj_m2, inputs.clear_sky_mj_m2
    )
    return penman_monteith_mm(
        net_radiation(inputs.solar_mj_m2, longwave),
        mean,
        inputs.wind_2m_m_s,
        inputs.saturation_kpa - inputs.vapour_kpa,
        saturation_slope(mean),
        psychrometric,
        surface,
    )

"""FAO-56's substitutes (chapter 3) for humidity, radiation and wind that nobody measured."""

from __future__ import annotations

import enum
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weather.calc.air import saturation_vapour_pressure_kpa, vapour_pressure_from_humidity_kpa
from weather.calc.arrays import BoolArray, FloatArray
from weather.calc.daily_weather import DailyWeather
from weather.calc.radiation import (
    INTERIOR_COEFFICIENT,
    clear_sky_radiation,
    solar_from_temperature_range,
)

DEFAULT_WIND_M_S = 2.0  # FAO-56, chapter 3: where no wind is known
SUSPECT_WIND_FLOOR_M_S = 0.5  # FAO-56, chapter 3: never under this for a wind that was not measured well


class Fallback(enum.IntFlag):
    """Which of FAO-56's substitutes (chapter 3) a day's value rests on."""

    NONE = 0
    HUMIDITY_FROM_RH = 1
    HUMIDITY_FROM_RH_MAX = 2
    HUMIDITY_FROM_TMIN = 4
    SOLAR_FROM_RANGE = 8
    WIND_DEFAULT = 16


@dataclass(frozen=True, slots=True)
class Assumptions:
    """What stands in for values that nobody measured.

    Parameters
    ----------
    solar_coefficient
        kRs of FAO-56, Eq. 50 [C**-0.5], a number or shape (locations,).
    dew_gap_c
        How far the dew point lies under Tmin where only Tmin is known [C], a number or shape (locations,):
        0 in a humid climate, 2 to 3 in a dry one (FAO-56, chapter 3).
    wind_is_suspect
        True where a given wind was filled or failed a check, shape (days, locations); None = nowhere.
    """

    solar_coefficient: FloatArray | float = INTERIOR_COEFFICIENT
    dew_gap_c: FloatArray | float = 0.0
    wind_is_suspect: BoolArray | None = None

    def __post_init__(self) -> None:
        """Reject assumptions out of this world."""
        coefficient = np.asarray(self.solar_coefficient)
        if not bool(np.all((coefficient > 0.05) & (coefficient < 0.4))):
            raise ValueError("solar_coefficient must lie between 0.05 and 0.4 per root of a degree")
        if not bool(np.all((np.asarray(self.dew_gap_c) >= 0.0) & (np.asarray(self.dew_gap_c) <= 20.0))):
            raise ValueError("dew_gap_c must lie between 0 and 20 C")


@dataclass(frozen=True, slots=True)
class CompleteInputs:
    """Inputs of the equation for one block of days and locations, nothing missing but temperatures.

    Parameters
    ----------
    tmin_c, tmax_c
        Extremes of the air temperature [C].
    saturation_kpa, vapour_kpa
        Saturation and actual vapour pressure [kPa].
    wind_2m_m_s
        Wind at 2 m [m/s].
    solar_mj_m2, clear_sky_mj_m2
        Solar radiation, given and under a clear sky [MJ/m2/d].
    """

    tmin_c: FloatArray
    tmax_c: FloatArray
    saturation_kpa: FloatArray
    vapour_kpa: FloatArray
    wind_2m_m_s: FloatArray
    solar_mj_m2: FloatArray
    clear_sky_mj_m2: FloatArray


def _note(noted: NDArray[np.uint8], where: BoolArray, code: Fallback) -> None:
    """Add a code to the values marked, in place: `noted` is this block's part of the result."""
    noted[where] |= np.uint8(code.value)


def _cut(values: FloatArray | float, cut: tuple[slice, slice]) -> FloatArray | float:
    """Part of a number, of a row of locations, or of a table of days and locations."""
    if isinstance(values, float | int):
        return values
    return values[cut] if values.ndim == 2 else values[cut[1]]


def complete_inputs(
    weather: DailyWeather,
    cut: tuple[slice, slice],
    assumed: Assumptions,
    energy: FloatArray,
    elevation_m: FloatArray,
    per_height: FloatArray,
    codes: NDArray[np.uint8],
) -> CompleteInputs:
    """Inputs of the equation for one block of days and locations, substitutes put in.

    Parameters
    ----------
    weather
        Daily values of all days and locations [as named], NaN = unknown.
    cut
        Rows (days) and columns (locations) of the block [1].
    assumed
        What stands in for unknown values [as named].
    energy
        Radiation above the air of the block [MJ/m2/d].
    elevation_m
        Height of the block's locations [m], shape (locations of the block,).
    per_height
        Factor of the wind's height for all locations [1].
    codes
        `Fallback` codes of all values [1]; this block's part is written.

    Returns
    -------
    CompleteInputs
        Values of the block [as named]; NaN only where an extreme of the temperature is unknown.
    """
    tmin, tmax, noted = weather.tmin_c[cut], weather.tmax_c[cut], codes[cut]
    at_tmin = saturation_vapour_pressure_kpa(tmin)
    at_tmax = saturation_vapour_pressure_kpa(tmax)
    vapour = saturation_vapour_pressure_kpa(weather.tdew_c[cut])
    if np.isnan(vapour.min(initial=0.0)):
        humidity = (weather.rh_min_pct[cut], weather.rh_max_pct[cut])
        vapour = _vapour_without_dew(vapour, (at_tmin, at_tmax), humidity, noted)
        alone = np.isnan(vapour)
        _note(noted, alone, Fallback.HUMIDITY_FROM_TMIN)
        gap = _cut(assumed.dew_gap_c, cut)
        vapour = np.where(alone, saturation_vapour_pressure_kpa(np.asarray(tmin - gap)), vapour)
    clear_sky = clear_sky_radiation(energy, elevation_m)
    solar = weather.solar_mj_m2[cut]
    if np.isnan(solar.min(initial=0.0)):
        missing = np.isnan(solar)
        _note(noted, missing, Fallback.SOLAR_FROM_RANGE)
        coefficient = _cut(assumed.solar_coefficient, cut)
        from_range = solar_from_temperature_range(tmin, tmax, energy, clear_sky, coefficient)
        solar = np.where(missing, from_range, solar)
    wind = weather.wind_m_s[cut] * _cut(per_height, cut)
    if np.isnan(wind.min(initial=0.0)):
        missing = np.isnan(wind)
        _note(noted, missing, Fallback.WIND_DEFAULT)
        wind = np.where(missing, DEFAULT_WIND_M_S, wind)
    if assumed.wind_is_suspect is not None:
        floor = np.where(assumed.wind_is_suspect[cut], SUSPECT_WIND_FLOOR_M_S, 0.0)
        wind = np.maximum(wind, floor)
    return CompleteInputs(tmin, tmax, 0.5 * (at_tmin + at_tmax), vapour, wind, solar, clear_sky)


def _vapour_without_dew(
    vapour: FloatArray,
    saturation: tuple[FloatArray, FloatArray],
    humidity: tuple[FloatArray, FloatArray],
    noted: NDArray[np.uint8],
) -> FloatArray:
    """Vapour pressure from relative humidity where the dew point is unknown."""
    rh_min, rh_max = humidity
    from_humidity = vapour_pressure_from_humidity_kpa(saturation[0], saturation[1], rh_min, rh_max)
    used = np.isnan(vapour) & ~np.isnan(from_humidity)
    lonely = used & np.isnan(rh_min)
    _note(noted, used & ~lonely, Fallback.HUMIDITY_FROM_RH)
    _note(noted, lonely, Fallback.HUMIDITY_FROM_RH_MAX)
    return np.where(used, from_humidity, vapour)

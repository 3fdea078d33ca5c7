"""The spread of ET: what the stored spread of each value brings to it, through the equation itself."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from weather.calc.air import (
    air_pressure_kpa,
    psychrometric_constant,
    saturation_slope,
    saturation_vapour_pressure_kpa,
)
from weather.calc.arrays import FloatArray
from weather.calc.radiation import (
    clear_sky_radiation,
    net_longwave_radiation,
    net_radiation,
    radiation_above_air,
)
from weather.calc.reference_et import penman_monteith_mm
from weather.calc.spread_rules import EQUATION_MM, INPUTS

EQUATION: Final = "equation"


def parts_of_et(
    values: Mapping[str, FloatArray],
    spreads: Mapping[str, FloatArray],
    *,
    day_numbers: FloatArray,
    latitude_deg: FloatArray,
    elevation_m: FloatArray,
) -> dict[str, FloatArray]:
    """What each value brings to the standard deviation of the equation's ET.

    Parameters
    ----------
    values
        Values as the equation took them, by the names of `INPUTS`; wind at 2 m [as named].
    spreads
        Their standard deviations in the same units [as named], same shape.
    day_numbers
        Day of the year [d], a shape that fits: (days, 1) for a table of days and locations.
    latitude_deg, elevation_m
        Where it is [deg, m], a shape that fits: (locations,).

    Returns
    -------
    dict[str, FloatArray]
        Standard deviation of ET by value, and `equation` for what the equation leaves open on any day [mm/d].

    Notes
    -----
    Each value is moved by its spread to both sides, the others held: half of the way between the two
    answers. A dew point is moved down only, for air holds no more than it can. Errors are taken as
    independent.
    """
    latitude = np.deg2rad(latitude_deg)
    energy = radiation_above_air(day_numbers, np.sin(latitude), np.cos(latitude))
    clear_sky = clear_sky_radiation(energy, elevation_m)
    psychrometric = psychrometric_constant(air_pressure_kpa(elevation_m))

    def answer(**moved: FloatArray) -> FloatArray:
        tmin, tmax, dew, wind, solar = (moved.get(name, values[name]) for name in INPUTS)
        mean, vapour = 0.5 * (tmin + tmax), saturation_vapour_pressure_kpa(dew)
        saturation = 0.5 * (saturation_vapour_pressure_kpa(tmin) + saturation_vapour_pressure_kpa(tmax))
        longwave = net_longwave_radiation(tmin, tmax, vapour, solar, clear_sky)
        return penman_monteith_mm(
            net_radiation(solar, longwave),
            mean,
            wind,
            saturation - vapour,
            saturation_slope(mean),
            psychrometric,
        )

    parts: dict[str, FloatArray] = {}
    for name in INPUTS:
        low, high = values[name] - spreads[name], values[name] + spreads[name]
        if name == "tdew_c":
            parts[name] = np.abs(answer(tdew_c=low) - answer())
            continue
        if name in ("wind_m_s", "solar_mj_m2"):
            low = np.maximum(low, 0.0)
        parts[name] = 0.5 * np.abs(answer(**{name: high}) - answer(**{name: low}))
    parts[EQUATION] = np.where(np.isnan(parts["tmin_c"]), np.nan, EQUATION_MM)
    return parts


def total_mm(parts: Mapping[str, FloatArray]) -> FloatArray:
    """Standard deviation of ET from its parts.

    Parameters
    ----------
    parts
        Parts as of `parts_of_et` [mm/d].

    Returns
    -------
    FloatArray
        Root of the sum of their squares [mm/d].
    """
    return np.asarray(np.sqrt(np.sum([part**2 for part in parts.values()], axis=0)))

"""What the equation of ET took on each day, told or put in, at one level: what its spread is made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TypedDict

import numpy as np

from weather.calc.air import (
    dew_point_c,
    saturation_vapour_pressure_kpa,
    vapour_pressure_from_humidity_kpa,
    wind_factor_to_2m,
)
from weather.calc.arrays import DayArray, FloatArray, IntArray
from weather.calc.daily_weather import DailyWeather, Places
from weather.calc.et_spread import parts_of_et
from weather.calc.radiation import clear_sky_radiation, day_of_year, extraterrestrial_radiation
from weather.calc.reference_et import reference_et
from weather.calc.spread_rules import INPUTS, TOLD
from weather.calc.substitutes import Assumptions
from weather.calc.value_spreads import Spreads, dew_spread_of_humidity_k


def with_dew(weather: DailyWeather) -> DailyWeather:
    """The same days with the dew point of their humidity, and with wind at 2 m.

    Parameters
    ----------
    weather
        Days as told or filled so far [as named].

    Returns
    -------
    DailyWeather
        Days at one level [as named].
    """
    vapour = vapour_pressure_from_humidity_kpa(
        saturation_vapour_pressure_kpa(weather.tmin_c),
        saturation_vapour_pressure_kpa(weather.tmax_c),
        weather.rh_min_pct,
        weather.rh_max_pct,
    )
    dew = dew_point_c(np.where(vapour > 0.0, vapour, np.nan))
    return replace(
        weather,
        tdew_c=np.where(np.isnan(weather.tdew_c), dew, weather.tdew_c),
        wind_m_s=weather.wind_m_s * wind_factor_to_2m(weather.wind_height_m),
        wind_height_m=np.full(weather.shape[1], 2.0),
    )


def spreads_at_level(weather: DailyWeather, level: DailyWeather, told: Spreads) -> Spreads:
    """Spreads of the days of `with_dew`.

    Parameters
    ----------
    weather, level
        Days as told, and at one level [as named].
    told
        Spreads as told [unit of the value; K].

    Returns
    -------
    Spreads
        The same with wind at 2 m, and with the dew point of humidity [as named].
    """
    of_humidity = dew_spread_of_humidity_k(level, told)
    return told | {
        "tdew_c": np.where(np.isnan(weather.tdew_c), of_humidity, told["tdew_c"]),
        "wind_m_s": told["wind_m_s"] * wind_factor_to_2m(weather.wind_height_m),
    }


@dataclass(frozen=True, slots=True)
class TakenInputs:
    """What the equation took and gave. All arrays are (days, locations).

    Parameters
    ----------
    days
        Consecutive days, datetime64[D].
    places
        Where [deg, m].
    values
        Values by the names of `spread_rules.INPUTS`; wind at 2 m [as named].
    raw_mm
        ET of the equation [mm/d].
    fallbacks
        `Fallback` codes [1].
    clear_sky_mj_m2
        Solar radiation under a clear sky [MJ/m2/d].
    """

    days: DayArray
    places: Places
    values: Mapping[str, FloatArray]
    raw_mm: FloatArray
    fallbacks: IntArray
    clear_sky_mj_m2: FloatArray

    def parts_of_et(self, spreads: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
        """Return what each value brings to the spread of ET [mm/d], by the spreads of the values."""
        return parts_of_et(
            self.values,
            spreads,
            day_numbers=day_of_year(self.days)[:, np.newaxis],
            latitude_deg=self.places.latitude_deg,
            elevation_m=self.places.elevation_m,
        )


def taken_inputs(weather: DailyWeather, places: Places, assumed: Assumptions) -> TakenInputs:
    """ET of days at one level, with everything that the equation took.

    Parameters
    ----------
    weather
        Days as of `with_dew`, lent values among them [as named].
    places
        Where [deg, m], shape (locations,).
    assumed
        What stands in for unknown values [as named].

    Returns
    -------
    TakenInputs
        What it took and gave [as named].
    """
    computed = reference_et(weather, places, assumed, keeps_inputs=True)
    if computed.taken is None:
        raise ValueError("the equation was not asked to keep its inputs")
    vapour, wind, solar = computed.taken
    above = extraterrestrial_radiation(day_of_year(weather.days), places.latitude_deg)
    dew = dew_point_c(np.where(vapour > 0.0, vapour, np.nan))
    return TakenInputs(
        days=weather.days,
        places=places,
        values={
            "tmin_c": weather.tmin_c,
            "tmax_c": weather.tmax_c,
            "tdew_c": np.where(np.isnan(weather.tdew_c), dew, weather.tdew_c),
            "wind_m_s": wind,
            "solar_mj_m2": solar,
        },
        raw_mm=computed.raw_mm,
        fallbacks=computed.fallbacks.astype(np.int64),
        clear_sky_mj_m2=clear_sky_radiation(above, places.elevation_m),
    )


class KeptInputs(TypedDict):
    """What is stored of the inputs: values that are not as told, and spreads of all."""

    used: Spreads
    spreads: Spreads


def kept_inputs(weather: DailyWeather, told: Spreads, taken: TakenInputs, spreads: Spreads) -> KeptInputs:
    """What is stored: values that the equation took instead of told ones, and the spread of every value.

    Parameters
    ----------
    weather
        Days as told [as named].
    told
        Spreads as told [unit of the value; K].
    taken
        What the equation took [as named].
    spreads
        Spreads of that [as named].

    Returns
    -------
    KeptInputs
        Used values by `INPUTS`, NaN where the told one was used or ET has no equation; and spreads by `TOLD`
        but rain: of the used value where there is one, else of the told one.
    """
    used: Spreads = {}
    kept: Spreads = {}
    has_et = np.isfinite(taken.raw_mm)
    for name in TOLD[:-1]:
        if name not in INPUTS:
            kept[name] = told[name]
            continue
        put_in = np.isnan(getattr(weather, name)) & has_et
        used[name] = np.where(put_in, taken.values[name], np.nan)
        kept[name] = np.where(put_in, spreads[name], told[name])
    return {"used": used, "spreads": kept}

"""Spreads of a day's values in their own units, from who told them and what stood in for them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from weather.calc.air import saturation_slope, saturation_vapour_pressure_kpa
from weather.calc.arrays import BoolArray, FloatArray, IntArray
from weather.calc.borrowing import Lent
from weather.calc.daily_weather import DailyWeather
from weather.calc.spread_rules import GROUP_OF, LENT, LENT_LONG, REMARKED, SUBSTITUTE, TOLD, told_spread
from weather.calc.substitutes import Fallback
from weather.calc.told_quality import Quality

Spreads = dict[str, FloatArray]
_BY_HUMIDITY: Final = Fallback.HUMIDITY_FROM_RH | Fallback.HUMIDITY_FROM_RH_MAX


def told_spreads(weather: DailyWeather, quality: Quality) -> Spreads:
    """Spreads of the values as they were told.

    Parameters
    ----------
    weather
        Days as measured [as named], NaN = unknown.
    quality
        Who told them, and what was remarked [1].

    Returns
    -------
    Spreads
        Standard deviations by column of `spread_rules.TOLD` [unit of the value; K], NaN where it is unknown.
    """
    spreads = {}
    for name in TOLD:
        group = GROUP_OF[name]
        own = told_spread(name, getattr(weather, name), quality.is_grid[group])
        spreads[name] = own * np.where(quality.is_remarked[group], REMARKED, 1.0)
    return spreads


def dew_spread_of_humidity_k(weather: DailyWeather, spreads: Mapping[str, FloatArray]) -> FloatArray:
    """Spread of a dew point that was computed from relative humidity, by the spreads of what it rests on.

    Parameters
    ----------
    weather
        Days with the dew point of their humidity put in [as named].
    spreads
        Standard deviations of temperatures and humidities [K, %].

    Returns
    -------
    FloatArray
        Standard deviation [K], NaN where no humidity is known. FAO-56, Eq. 17 and 18, in the first order;
        with the highest humidity alone what the substitute adds comes on top.
    """
    at_tmin, at_tmax = (saturation_vapour_pressure_kpa(t) for t in (weather.tmin_c, weather.tmax_c))
    alone = np.isnan(weather.rh_min_pct)
    share_max = np.where(alone, 1.0, 0.5)
    terms = [
        share_max * at_tmin * spreads["rh_max_pct"] / 100.0,
        share_max * saturation_slope(weather.tmin_c) * weather.rh_max_pct / 100.0 * spreads["tmin_c"],
        np.where(alone, 0.0, 0.5 * at_tmax * spreads["rh_min_pct"] / 100.0),
        np.where(
            alone,
            0.0,
            0.5 * saturation_slope(weather.tmax_c) * weather.rh_min_pct / 100.0 * spreads["tmax_c"],
        ),
    ]
    of_vapour = np.sqrt(np.sum([term**2 for term in terms], axis=0))
    own = of_vapour / saturation_slope(weather.tdew_c)
    without_min = SUBSTITUTE.rules["tdew_c:from_rh_max"].spread(weather.tdew_c)
    return np.asarray(np.where(alone, np.hypot(own, without_min), own))


def lent_spread(name: str, lent: Lent, told: FloatArray, own: FloatArray) -> FloatArray:
    """Spreads of a variable with those of lent values put in.

    Parameters
    ----------
    name
        Its column [1].
    lent
        The values with what was lent [as named].
    told
        Spreads of the told values [unit of the variable].
    own
        Spreads that its own source would have given [same unit]: a lent value is never surer.

    Returns
    -------
    FloatArray
        Standard deviations [same unit], wider with the way and beyond the third day of a gap.
    """
    adds = LENT.rules[name].spread(lent.values, lent.distance_km) * np.where(lent.is_long, LENT_LONG, 1.0)
    base = np.fmax(lent.lender_spread, own)
    return np.where(lent.is_lent, np.hypot(base, adds), told)


def lent_rain_spread_mm(
    rain_mm: FloatArray, is_grid: BoolArray, is_remarked: BoolArray, distance_km: FloatArray
) -> FloatArray:
    """Spreads of rain that was measured here or lent by a gauge nearby.

    Parameters
    ----------
    rain_mm
        Rain [mm/d], shape (days, locations).
    is_grid, is_remarked
        Whether a gridded product told it, and whether a check remarked it [1], same shape.
    distance_km
        Way to the gauge that lent it, 0 where it is the location's own [km], same shape.

    Returns
    -------
    FloatArray
        Standard deviations [mm/d], NaN where rain is.
    """
    own = told_spread("rain_mm", rain_mm, is_grid) * np.where(is_remarked, REMARKED, 1.0)
    return np.asarray(own + LENT.rules["rain_mm"].spread(rain_mm, distance_km))


def with_substitutes(
    spreads: Mapping[str, FloatArray],
    base: Mapping[str, FloatArray],
    fallbacks: IntArray,
    *,
    has_learned: BoolArray,
    clear_sky_mj_m2: FloatArray,
    tmin_c: FloatArray,
) -> Spreads:
    """Spreads with those of FAO-56's substitutes put in.

    Parameters
    ----------
    spreads
        Spreads of told and lent values [as named].
    base
        Spreads that told values of the same size would have [as named]: a substitute is never surer.
    fallbacks
        `Fallback` codes of the equation [1].
    has_learned
        True where the location's own days taught how far the dew point lies under Tmin [1].
    clear_sky_mj_m2
        Solar radiation under a clear sky [MJ/m2/d].
    tmin_c
        Lowest temperature as used [C]: where it is unknown, nothing is put in.

    Returns
    -------
    Spreads
        Standard deviations by column [unit of the value].
    """
    rules = SUBSTITUTE.rules
    dew = np.where(
        has_learned,
        rules["tdew_c:from_tmin_learned"].spread(tmin_c),
        rules["tdew_c:from_tmin"].spread(tmin_c),
    )
    dew = np.hypot(dew, spreads["tmin_c"])
    wind = rules["wind_m_s:default"].spread(tmin_c)
    solar = rules["solar_mj_m2:from_range"].spread(clear_sky_mj_m2)
    whole = dict(spreads)
    for name, code, adds in (
        ("tdew_c", Fallback.HUMIDITY_FROM_TMIN, dew),
        ("wind_m_s", Fallback.WIND_DEFAULT, wind),
        ("solar_mj_m2", Fallback.SOLAR_FROM_RANGE, solar),
    ):
        stands_in = (fallbacks & code.value) != 0
        whole[name] = np.where(stands_in, np.hypot(base[name], adds), spreads[name])
    return whole

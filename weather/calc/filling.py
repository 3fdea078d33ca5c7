"""Filling of days: neighbours, FAO-56's substitutes, mean of seven days, other years; rain only from gauges.

Nothing is filled silently: each value carries a code, and a spread that grows with what it rests on.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Final

import numpy as np

from weather.calc.air import (
    dew_point_c,
    saturation_vapour_pressure_kpa,
    vapour_pressure_from_humidity_kpa,
    wind_factor_to_2m,
)
from weather.calc.arrays import BoolArray, FloatArray, IntArray
from weather.calc.borrowing import Borrowed, borrow, borrow_rain, is_gauge_dry
from weather.calc.daily_weather import DailyWeather, Places
from weather.calc.et_gaps import bridge_gaps
from weather.calc.fill_codes import Fill, FillArray
from weather.calc.neighbours import Neighbours, nearest_neighbours
from weather.calc.radiation import (
    INTERIOR_COEFFICIENT,
    day_of_year,
    extraterrestrial_radiation,
)
from weather.calc.reference_et import ReferenceEt, reference_et
from weather.calc.substitutes import Assumptions, Fallback
from weather.calc.trailing import trailing_mean
from weather.calc.uncertainty import et_sd_mm, rain_sd_mm

LEARNED_OVER_D: Final = 60  # window in which a location's own solar coefficient and dryness are learned
LEARNED_LEAST: Final = 20
_COEFFICIENT_RANGE: Final = (0.10, 0.24)
_WIDEST_DEW_GAP_C: Final = 15.0


@dataclass(frozen=True, slots=True)
class FillSettings:
    """How far values may travel.

    Parameters
    ----------
    neighbour_km, neighbour_m
        Way and difference in height to a location that lends temperature, humidity, wind or sun [km, m].
    neighbours
        How many of them are asked [1].
    rain_km
        Way to a gauge that lends its rain [km].
    """

    neighbour_km: float = 50.0
    neighbour_m: float = 200.0
    neighbours: int = 3
    rain_km: float = 10.0

    def __post_init__(self) -> None:
        """Reject settings that switch the order of things."""
        if not 0.0 <= self.rain_km <= self.neighbour_km or self.neighbours < 1 or self.neighbour_m < 0.0:
            raise ValueError("expected 0 <= rain_km <= neighbour_km, neighbours >= 1 and neighbour_m >= 0")


@dataclass(frozen=True, slots=True)
class FilledDays:
    """Days ready for use. All arrays are (days, locations); NaN = unknown in spite of all.

    Parameters
    ----------
    reference_et_raw_mm
        ET as the equation gave it, or as it was put in [mm/d].
    reference_et_mm, reference_et_sd_mm
        ET for scheduling, never below zero, and its standard deviation [mm/d].
    rain_mm, rain_sd_mm
        Rain measured here or lent by a gauge nearby, and its standard deviation [mm/d].
    method
        `fill_codes.EtMethod` [1].
    fills
        Sums of `Fill` [1].
    is_gauge_dry
        True where a gauge stood dry for a month beside wet neighbours [1].
    """

    reference_et_raw_mm: FloatArray
    reference_et_mm: FloatArray
    reference_et_sd_mm: FloatArray
    rain_mm: FloatArray
    rain_sd_mm: FloatArray
    method: IntArray
    fills: FillArray
    is_gauge_dry: BoolArray

    def __post_init__(self) -> None:
        """Reject arrays that do not belong together."""
        shapes = {getattr(self, field.name).shape for field in fields(self)}
        if len(shapes) != 1:
            raise ValueError("all arrays of filled days must share one shape (days, locations)")


def fill_days(
    weather: DailyWeather,
    places: Places,
    *,
    is_grid: BoolArray,
    climatology_mm: FloatArray,
    settings: FillSettings | None = None,
) -> FilledDays:
    """ET and rain of each day, measured or filled, with what each rests on.

    Parameters
    ----------
    weather
        Measured days, NaN = unknown [as named]. To fill its first day well it begins 60 days earlier.
    places
        Positions and heights [deg, m], shape (locations,).
    is_grid
        True where a gridded product measured [1], shape (days, locations).
    climatology_mm
        Mean ET of the months in other years [mm/d], shape (12, locations); NaN = none.
    settings
        Ways that values may travel [km, m]; None = the defaults.

    Returns
    -------
    FilledDays
        Arrays of shape (days, locations) [as named].
    """
    limits = settings or FillSettings()
    near = nearest_neighbours(
        places, within_km=limits.neighbour_km, within_m=limits.neighbour_m, most=limits.neighbours
    )
    whole, fills, copied = _borrowed(_with_dew(weather), near)
    assumed = learned_assumptions(weather, places)
    assumed = replace(assumed, wind_is_suspect=(fills & Fill.WIND_NEIGHBOUR.value) != 0)
    computed = reference_et(whole, places, assumed)
    fills |= substitute_fills(weather, computed)
    spread = et_sd_mm(computed.scheduling_mm(), computed.fallbacks.astype(np.int64), copied, is_grid)
    raw, sd, method, fills = bridge_gaps(weather.days, places, computed.raw_mm, spread, fills, climatology_mm)
    lent = borrow_rain(weather.rain_mm, near, limits.rain_km)
    fills[lent.is_borrowed] |= np.uint16(Fill.RAIN_NEARBY.value)
    from_grid = np.where(lent.is_borrowed, lent.take(is_grid), is_grid)
    return FilledDays(
        reference_et_raw_mm=raw,
        reference_et_mm=np.maximum(raw, 0.0),
        reference_et_sd_mm=sd,
        rain_mm=lent.values,
        rain_sd_mm=rain_sd_mm(lent.values, from_grid, lent.distance_km),
        method=method,
        fills=fills,
        is_gauge_dry=is_gauge_dry(weather.rain_mm, near) & ~is_grid,
    )


def learned_assumptions(weather: DailyWeather, places: Places) -> Assumptions:
    """What a location's own last 60 days say about its sun and its dryness.

    Parameters
    ----------
    weather
        Measured days [as named], shape (days, locations).
    places
        Positions and heights [deg, m], shape (locations,).

    Returns
    -------
    Assumptions
        Coefficient of FAO-56, Eq. 50 [C**-0.5] and gap between Tmin and dew point [C], both of shape
        (days, locations): FAO-56's own 0.16 and 0 where fewer than 20 days tell.
    """
    above = extraterrestrial_radiation(day_of_year(weather.days), places.latitude_deg)
    reach = np.sqrt(np.maximum(weather.tmax_c - weather.tmin_c, 0.0)) * above
    both = np.isfinite(reach) & np.isfinite(weather.solar_mj_m2) & (reach > 0.0)
    measured = trailing_mean(np.where(both, weather.solar_mj_m2, np.nan), LEARNED_OVER_D, LEARNED_LEAST)
    expected = trailing_mean(np.where(both, reach, np.nan), LEARNED_OVER_D, LEARNED_LEAST)
    coefficient = np.clip(measured / expected, *_COEFFICIENT_RANGE)
    gap = trailing_mean(weather.tmin_c - _with_dew(weather).tdew_c, LEARNED_OVER_D, LEARNED_LEAST)
    return Assumptions(
        solar_coefficient=np.where(np.isnan(coefficient), INTERIOR_COEFFICIENT, coefficient),
        dew_gap_c=np.where(np.isnan(gap), 0.0, np.clip(gap, 0.0, _WIDEST_DEW_GAP_C)),
    )


def _with_dew(weather: DailyWeather) -> DailyWeather:
    """The same days with the dew point of their humidity, and with wind at 2 m."""
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


def _borrowed(weather: DailyWeather, near: Neighbours) -> tuple[DailyWeather, FillArray, FloatArray]:
    """Days with what neighbours could lend, its codes, and how many variables were taken."""
    fills = np.zeros(weather.shape, dtype=np.uint16)
    copied = np.zeros(weather.shape)
    taken: dict[str, FloatArray] = {}
    for name, code, kind in (
        ("tmin_c", Fill.TMIN_NEIGHBOUR, Borrowed.TEMPERATURE),
        ("tmax_c", Fill.TMAX_NEIGHBOUR, Borrowed.TEMPERATURE),
        ("tdew_c", Fill.DEW_NEIGHBOUR, Borrowed.TEMPERATURE),
        ("wind_m_s", Fill.WIND_NEIGHBOUR, Borrowed.RATIO),
        ("solar_mj_m2", Fill.SOLAR_NEIGHBOUR, Borrowed.RATIO),
    ):
        values, weight = borrow(getattr(weather, name), near, kind)
        fills[weight > 0.0] |= np.uint16(code.value)
        copied += weight
        taken[name] = values
    crossed = taken["tmin_c"] > taken["tmax_c"]
    own_tmin = np.isfinite(weather.tmin_c)
    taken["tmax_c"] = np.where(crossed & own_tmin, taken["tmin_c"], taken["tmax_c"])
    taken["tmin_c"] = np.where(crossed & ~own_tmin, taken["tmax_c"], taken["tmin_c"])
    whole = replace(
        weather,
        tmin_c=taken["tmin_c"],
        tmax_c=taken["tmax_c"],
        tdew_c=taken["tdew_c"],
        wind_m_s=taken["wind_m_s"],
        solar_mj_m2=taken["solar_mj_m2"],
    )
    return whole, fills, copied


def substitute_fills(weather: DailyWeather, computed: ReferenceEt) -> FillArray:
    """Codes of FAO-56's substitutes that stand for something nobody measured.

    Parameters
    ----------
    weather
        Days as measured [as named], shape (days, locations).
    computed
        What the equation gave for them, with its codes [mm/d, 1], same shape.

    Returns
    -------
    FillArray
        Sums of `Fill` [1], same shape.
    """
    fills = np.zeros(computed.fallbacks.shape, dtype=np.uint16)
    for fallback, fill in (
        (Fallback.HUMIDITY_FROM_TMIN, Fill.DEW_FROM_TMIN),
        (Fallback.SOLAR_FROM_RANGE, Fill.SOLAR_FROM_RANGE),
        (Fallback.WIND_DEFAULT, Fill.WIND_DEFAULT),
    ):
        fills[(computed.fallbacks & fallback.value) != 0] |= np.uint16(fill.value)
    alone = np.isnan(weather.tdew_c) & np.isnan(weather.rh_min_pct) & np.isfinite(weather.rh_max_pct)
    fills[alone] |= np.uint16(Fill.HUMIDITY_FROM_MAX.value)
    return fills

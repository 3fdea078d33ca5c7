"""Filling of days: neighbours, FAO-56's substitutes, mean of seven days, other years; rain only from gauges.

Nothing is filled silently: each value carries a code, and a spread that grows with what it rests on.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Final

import numpy as np

from weather.calc.arrays import BoolArray, FloatArray, IntArray
from weather.calc.borrowing import Borrowed, borrow, borrow_rain, is_gauge_dry
from weather.calc.daily_weather import DailyWeather, Places
from weather.calc.et_gaps import bridge_gaps
from weather.calc.et_spread import total_mm
from weather.calc.fill_codes import Fill, FillArray
from weather.calc.neighbours import Neighbours, nearest_neighbours
from weather.calc.radiation import (
    INTERIOR_COEFFICIENT,
    day_of_year,
    extraterrestrial_radiation,
)
from weather.calc.spread_rules import GROUP_OF, told_spread
from weather.calc.substitutes import Assumptions, Fallback
from weather.calc.taken_inputs import kept_inputs, spreads_at_level, taken_inputs, with_dew
from weather.calc.told_quality import Quality
from weather.calc.trailing import trailing_mean
from weather.calc.value_spreads import (
    Spreads,
    dew_spread_of_humidity_k,
    lent_rain_spread_mm,
    lent_spread,
    told_spreads,
    with_substitutes,
)

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
    used
        Values that the equation took where they are not as told, by column [as named; wind at 2 m].
    spreads
        Standard deviations of told and of used values, by column of `spread_rules.TOLD` but rain [unit of the
        value; K].
    """

    reference_et_raw_mm: FloatArray
    reference_et_mm: FloatArray
    reference_et_sd_mm: FloatArray
    rain_mm: FloatArray
    rain_sd_mm: FloatArray
    method: IntArray
    fills: FillArray
    is_gauge_dry: BoolArray
    used: Spreads
    spreads: Spreads

    def __post_init__(self) -> None:
        """Reject arrays that do not belong together."""
        alone = [getattr(self, field.name) for field in fields(self)[:-2]]
        shapes = {array.shape for array in (*alone, *self.used.values(), *self.spreads.values())}
        if len(shapes) != 1:
            raise ValueError("all arrays of filled days must share one shape (days, locations)")


def fill_days(
    weather: DailyWeather,
    places: Places,
    *,
    quality: Quality,
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
    quality
        Who told each value, and what a check remarked [1], shape (days, locations).
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
    told = told_spreads(weather, quality)
    whole, fills, spreads = _borrowed(weather, told, near, quality)
    assumed = learned_assumptions(weather, places)
    has_learned = np.asarray(assumed.dew_gap_c) > 0.0
    assumed = replace(assumed, wind_is_suspect=(fills & Fill.WIND_NEIGHBOUR.value) != 0)
    taken = taken_inputs(whole, places, assumed)
    spreads = with_substitutes(
        spreads,
        _own_spreads(taken.values, quality),
        taken.fallbacks,
        has_learned=has_learned,
        clear_sky_mj_m2=taken.clear_sky_mj_m2,
        tmin_c=whole.tmin_c,
    )
    fills |= substitute_fills(weather, taken.fallbacks)
    spread = total_mm(taken.parts_of_et(spreads))
    raw, sd, method, fills = bridge_gaps(weather.days, places, taken.raw_mm, spread, fills, climatology_mm)
    lent = borrow_rain(weather.rain_mm, near, limits.rain_km)
    fills[lent.is_borrowed] |= np.uint16(Fill.RAIN_NEARBY.value)
    is_grid, is_remarked = (lent.take(marks["rain"]) for marks in (quality.is_grid, quality.is_remarked))
    return FilledDays(
        reference_et_raw_mm=raw,
        reference_et_mm=np.maximum(raw, 0.0),
        reference_et_sd_mm=sd,
        rain_mm=lent.values,
        rain_sd_mm=lent_rain_spread_mm(lent.values, is_grid, is_remarked, lent.distance_km),
        method=method,
        fills=fills,
        is_gauge_dry=is_gauge_dry(weather.rain_mm, near) & ~quality.is_grid["rain"],
        **kept_inputs(weather, told, taken, spreads),
    )


def _own_spreads(values: Mapping[str, FloatArray], quality: Quality) -> Spreads:
    """Spreads that the locations' own sources would give to values of this size."""
    return {name: told_spread(name, array, quality.is_grid[GROUP_OF[name]]) for name, array in values.items()}


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
    gap = trailing_mean(weather.tmin_c - with_dew(weather).tdew_c, LEARNED_OVER_D, LEARNED_LEAST)
    return Assumptions(
        solar_coefficient=np.where(np.isnan(coefficient), INTERIOR_COEFFICIENT, coefficient),
        dew_gap_c=np.where(np.isnan(gap), 0.0, np.clip(gap, 0.0, _WIDEST_DEW_GAP_C)),
    )


def _borrowed(
    weather: DailyWeather, told: Spreads, near: Neighbours, quality: Quality
) -> tuple[DailyWeather, FillArray, Spreads]:
    """Days with what neighbours could lend, its codes, and the spreads of what is known so far."""
    level = with_dew(weather)
    known = spreads_at_level(weather, level, told)
    fills = np.zeros(weather.shape, dtype=np.uint16)
    taken: dict[str, FloatArray] = {}
    for name, code, kind in (
        ("tmin_c", Fill.TMIN_NEIGHBOUR, Borrowed.TEMPERATURE),
        ("tmax_c", Fill.TMAX_NEIGHBOUR, Borrowed.TEMPERATURE),
        ("tdew_c", Fill.DEW_NEIGHBOUR, Borrowed.TEMPERATURE),
        ("wind_m_s", Fill.WIND_NEIGHBOUR, Borrowed.RATIO),
        ("solar_mj_m2", Fill.SOLAR_NEIGHBOUR, Borrowed.RATIO),
    ):
        lent = borrow(getattr(level, name), known[name], near, kind)
        fills[lent.is_lent] |= np.uint16(code.value)
        own = told_spread(name, lent.values, quality.is_grid[GROUP_OF[name]])
        known[name] = lent_spread(name, lent, known[name], own)
        taken[name] = lent.values
    crossed = taken["tmin_c"] > taken["tmax_c"]
    own_tmin = np.isfinite(weather.tmin_c)
    taken["tmax_c"] = np.where(crossed & own_tmin, taken["tmin_c"], taken["tmax_c"])
    taken["tmin_c"] = np.where(crossed & ~own_tmin, taken["tmax_c"], taken["tmin_c"])
    # Humidities of days whose temperatures were lent.
    whole = with_dew(
        replace(
            level,
            tmin_c=taken["tmin_c"],
            tmax_c=taken["tmax_c"],
            tdew_c=taken["tdew_c"],
            wind_m_s=taken["wind_m_s"],
            solar_mj_m2=taken["solar_mj_m2"],
        )
    )
    of_humidity = dew_spread_of_humidity_k(whole, known)
    known["tdew_c"] = np.where(np.isnan(known["tdew_c"]), of_humidity, known["tdew_c"])
    return whole, fills, known


def substitute_fills(weather: DailyWeather, fallbacks: IntArray) -> FillArray:
    """Codes of FAO-56's substitutes that stand for something nobody measured.

    Parameters
    ----------
    weather
        Days as measured [as named], shape (days, locations).
    fallbacks
        `Fallback` codes of the equation [1], same shape.

    Returns
    -------
    FillArray
        Sums of `Fill` [1], same shape.
    """
    fills = np.zeros(fallbacks.shape, dtype=np.uint16)
    for fallback, fill in (
        (Fallback.HUMIDITY_FROM_TMIN, Fill.DEW_FROM_TMIN),
        (Fallback.SOLAR_FROM_RANGE, Fill.SOLAR_FROM_RANGE),
        (Fallback.WIND_DEFAULT, Fill.WIND_DEFAULT),
    ):
        fills[(fallbacks & fallback.value) != 0] |= np.uint16(fill.value)
    alone = np.isnan(weather.tdew_c) & np.isnan(weather.rh_min_pct) & np.isfinite(weather.rh_max_pct)
    fills[alone] |= np.uint16(Fill.HUMIDITY_FROM_MAX.value)
    return fills

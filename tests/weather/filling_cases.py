"""Weather with holes, and its filling, for the tests of it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from tests.weather.station_data import MARICOPA, build_weather, maricopa_weather
from weather.calc.arrays import BoolArray, FloatArray
from weather.calc.daily_weather import DailyWeather, Places
from weather.calc.filling import FilledDays, FillSettings, fill_days
from weather.calc.source_chain import GROUPS
from weather.calc.told_quality import Quality

VALUES = ("tmin_c", "tmax_c", "tdew_c", "rh_min_pct", "rh_max_pct", "wind_m_s", "solar_mj_m2", "rain_mm")
NO_YEARS = np.full((12, 1), np.nan)


def quality_of(is_grid: BoolArray) -> Quality:
    """Marks of days that one source told, without a remark."""
    return Quality(dict.fromkeys(GROUPS, is_grid), dict.fromkeys(GROUPS, np.zeros_like(is_grid)))


def one_station(count: int = 200, start: int = 2000) -> DailyWeather:
    """Days of Maricopa in 2008."""
    full = maricopa_weather()
    cut = slice(start, start + count)
    return build_weather(
        full.days[cut], **{name: getattr(full, name)[cut] for name in VALUES}, wind_height_m=3.0
    )


def pair(count: int = 120, warmer_c: float = 2.0, windier: float = 1.4) -> tuple[DailyWeather, Places]:
    """Maricopa, and a place 9 km away that is warmer and windier by a fixed measure."""
    one = one_station(count)
    factors = {"wind_m_s": (windier, 0.0), **dict.fromkeys(("tmin_c", "tmax_c", "tdew_c"), (1.0, warmer_c))}
    columns = {}
    for name in VALUES:
        factor, shift = factors.get(name, (1.0, 0.0))
        own = getattr(one, name)
        columns[name] = np.hstack([own, own * factor + shift])
    weather = build_weather(one.days, **columns, wind_height_m=3.0)
    return weather, Places(
        np.array([33.069, 33.15]), np.array([-111.972, -111.972]), np.array([361.0, 380.0])
    )


def filled(
    weather: DailyWeather, places: Places = MARICOPA, climatology: FloatArray | None = None, **settings_: Any
) -> FilledDays:
    count = places.count
    return fill_days(
        weather,
        places,
        quality=quality_of(np.zeros(weather.shape, dtype=np.bool_)),
        climatology_mm=np.full((12, count), np.nan) if climatology is None else climatology,
        settings=FillSettings(**settings_) if settings_ else None,
    )


def holed(weather: DailyWeather, where: tuple[Any, Any], *names: str) -> DailyWeather:
    changed = {}
    for name in names:
        values = getattr(weather, name).copy()
        values[where] = np.nan
        changed[name] = values
    return replace(weather, **changed)

"""Station files of tests/data/weather as the formulas take them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from weather.calc.arrays import FloatArray
from weather.calc.daily_weather import DailyWeather, Places

DATA = Path(__file__).parent.parent / "data" / "weather"
MARICOPA = Places(np.array([33.069]), np.array([-111.972]), np.array([361.0]))
MCLEAN = Places(np.array([40.491]), np.array([-88.9]), np.array([256.0]))


def unknown(shape: tuple[int, ...]) -> FloatArray:
    """Values that nobody measured."""
    return np.full(shape, np.nan)


def build_weather(days: object, **columns: object) -> DailyWeather:
    """Weather of days from the given columns; (days,) becomes one location; the rest is unknown."""
    day_array = np.asarray(days, dtype="datetime64[D]").reshape(-1)
    given = {
        name: np.asarray(values, dtype=np.float64).reshape(day_array.size, -1)
        for name, values in columns.items()
        if name != "wind_height_m"
    }
    count = next(iter(given.values())).shape[1]
    height = np.broadcast_to(np.asarray(columns.get("wind_height_m", 2.0), dtype=np.float64), (count,))
    names = ("tmin_c", "tmax_c", "tdew_c", "rh_min_pct", "rh_max_pct", "wind_m_s", "solar_mj_m2", "rain_mm")
    filled = {name: given.get(name, unknown((day_array.size, count))) for name in names}
    return DailyWeather(days=day_array, wind_height_m=height.copy(), **filled)


def maricopa() -> pd.DataFrame:
    """The 6,575 days of Maricopa with published ETo of several programs."""
    return pd.read_csv(DATA / "maricopa_az_2003_2020_daily.csv", parse_dates=["date"])


def maricopa_weather() -> DailyWeather:
    """Maricopa's measurements: dew point, wind at 3 m, solar radiation."""
    frame = maricopa()
    return build_weather(
        frame["date"].to_numpy(),
        tmin_c=frame["tmin_c"],
        tmax_c=frame["tmax_c"],
        tdew_c=frame["tdew_c"],
        rh_min_pct=frame["rhmin_pct"],
        rh_max_pct=frame["rhmax_pct"],
        wind_m_s=frame["wind_3m_m_s"],
        wind_height_m=3.0,
        solar_mj_m2=frame["solar_mj_m2_d"],
        rain_mm=frame["rain_mm"],
    )


def mclean_weather() -> DailyWeather:
    """McLean County's measurements of 2015: relative humidity, wind at 10 m, solar radiation."""
    frame = pd.read_csv(DATA / "mclean_il_2015_daily.csv", parse_dates=["date"])
    return build_weather(
        frame["date"].to_numpy(),
        tmin_c=frame["tmin_c"],
        tmax_c=frame["tmax_c"],
        rh_min_pct=frame["rhmin_pct"],
        rh_max_pct=frame["rhmax_pct"],
        wind_m_s=frame["wind_10m_m_s"],
        wind_height_m=10.0,
        solar_mj_m2=frame["solar_mj_m2_d"],
        rain_mm=frame["rain_mm"],
    )

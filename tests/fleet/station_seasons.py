"""Measured seasons of the three stations of tests/data/weather, with their ET, as the score takes them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from tests.weather.station_data import DATA, MARICOPA, MCLEAN, build_weather, maricopa_weather, mclean_weather
from weather.calc.daily_weather import DailyWeather, Places
from weather.calc.reference_et import reference_et

GAINESVILLE = Places(np.array([29.69]), np.array([-82.28]), np.array([38.0]))


def gainesville_weather() -> DailyWeather:
    """Gainesville's temperatures, wind and rain; the few days that lack take the day before."""
    frame = pd.read_csv(DATA / "gainesville_fl_2018_2024_daily.csv", parse_dates=["date"], index_col="date")
    whole = frame.reindex(pd.date_range(frame.index[0], frame.index[-1])).ffill(limit=3)
    return build_weather(
        whole.index.to_numpy(),
        tmin_c=whole["tmin_c"],
        tmax_c=whole["tmax_c"],
        wind_m_s=whole["wind_m_s"],
        rain_mm=whole["rain_mm"].fillna(0.0),
    )


STATIONS = {
    "Maricopa": (maricopa_weather, MARICOPA),
    "McLean": (mclean_weather, MCLEAN),
    "Gainesville": (gainesville_weather, GAINESVILLE),
}


def write_station(name: str, path: Path) -> None:
    """A station's daily ET and rain as a CSV file, as the export of weather writes them."""
    read, place = STATIONS[name]
    weather = read()
    et = reference_et(weather, place).scheduling_mm()[:, 0]
    rows = (
        f"{day},{'' if np.isnan(one) else round(float(one), 3)},{round(float(rain), 2)}\n"
        for day, one, rain in zip(weather.days, et, weather.rain_mm[:, 0], strict=True)
    )
    path.write_text("date,eto_mm,rain_mm\n" + "".join(rows), encoding="utf-8")

"""Five years of invented weather over Alder Ford: warm dry summers, some storms, a heat wave, a gap."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fleet.demo.ground_plan import ORIGIN_LAT
from weather.calc.daily_weather import DailyWeather, Places
from weather.calc.radiation import extraterrestrial_radiation
from weather.calc.reference_et import reference_et

Floats = NDArray[np.float64]
# name, latitude, longitude, elevation [m], how much warmer [K] and wetter [1] than the river
LOCATIONS: Final = (
    ("Alder Ford river", 41.198, -104.705, 1492.0, 0.0, 1.0),
    ("Alder Ford hill", 41.212, -104.674, 1575.0, -0.7, 1.15),
    ("Alder Ford sands", 41.188, -104.672, 1487.0, 0.3, 0.85),
)


@dataclass(frozen=True, slots=True)
class Sky:
    """True daily weather; arrays of shape (days, locations)."""

    days: NDArray[np.datetime64]
    tmin_c: Floats
    tmax_c: Floats
    tdew_c: Floats
    wind_m_s: Floats
    solar_mj_m2: Floats
    rain_mm: Floats


def invent_sky(rng: np.random.Generator, *, until: date, years: int = 5) -> Sky:
    """The weather of `years` up to `until` (exclusive), and of eight more days: the truth of the forecast."""
    first = until - timedelta(days=round(365.25 * years))
    days = np.arange(np.datetime64(first), np.datetime64(until) + 8)
    count, places = days.size, len(LOCATIONS)
    doy = ((days - days.astype("datetime64[Y]")).astype(int) + 1).astype(float)
    season = np.cos(2 * np.pi * (doy - 201) / 365.25)
    anomaly = _autoregressive(rng, count, 0.72, 2.6)
    anomaly = anomaly + _heat_wave(days, until)
    rain = _rain(rng, doy, days, until)
    is_wet = rain > 0.2
    mean_c = 9.2 + 13.0 * season + anomaly - 1.5 * is_wet
    spread_c = np.clip(14.5 + 1.5 * season + rng.normal(0, 1.8, count) - 4.0 * is_wet, 5.0, 22.0)
    clearness = np.clip(np.where(is_wet, 0.47, 0.69) + rng.normal(0, 0.06, count), 0.2, 0.76)
    radiation = extraterrestrial_radiation(doy, np.array([ORIGIN_LAT]))[:, 0]
    wind = np.clip(rng.lognormal(0.85, 0.35, count), 0.6, 9.0)
    shape = (count, places)
    gauges = rng.lognormal(0, 0.28, shape) * (rng.random(shape) > 0.06)
    warmer = np.array([place[4] for place in LOCATIONS])
    wetter = np.array([place[5] for place in LOCATIONS])
    tmin = mean_c[:, None] - spread_c[:, None] / 2 + warmer + rng.normal(0, 0.5, shape)
    tmax = mean_c[:, None] + spread_c[:, None] / 2 + warmer + rng.normal(0, 0.5, shape)
    return Sky(
        days=days,
        tmin_c=np.round(tmin, 1),
        tmax_c=np.round(np.maximum(tmax, tmin + 1.0), 1),
        tdew_c=np.round(tmin - rng.gamma(2.0, 1.1, shape) + 1.5 * is_wet[:, None], 1),
        wind_m_s=np.round(wind[:, None] * rng.lognormal(0, 0.1, shape), 1),
        solar_mj_m2=np.round(radiation[:, None] * clearness[:, None] * rng.normal(1, 0.02, shape), 2),
        rain_mm=np.round(rain[:, None] * wetter * gauges, 1),
    )


def _autoregressive(rng: np.random.Generator, count: int, keep: float, spread: float) -> Floats:
    """A series that remembers yesterday."""
    steps = rng.normal(0, spread * np.sqrt(1 - keep**2), count)
    series = np.empty(count)
    last = 0.0
    for index, step in enumerate(steps):
        last = keep * last + step
        series[index] = last
    return series


def _heat_wave(days: NDArray[np.datetime64], until: date) -> Floats:
    """Nine hot days that end a week before today."""
    back = (np.datetime64(until) - days).astype(int)
    return np.where((back >= 8) & (back <= 16), 5.5, 0.0)


def _rain(rng: np.random.Generator, doy: Floats, days: NDArray[np.datetime64], until: date) -> Floats:
    """Rain of a two-state chain with gamma amounts, and two storms in the last six weeks [mm]."""
    wet_season = 0.5 + 0.5 * np.cos(2 * np.pi * (doy - 140) / 365.25)
    rain = np.zeros(doy.size)
    wet = False
    for index, share in enumerate(wet_season):
        chance = (0.38 if wet else 0.08) + 0.12 * share
        wet = bool(rng.random() < chance)
        if wet:
            rain[index] = rng.gamma(0.75, 4.0 + 3.0 * share)
    back = (np.datetime64(until) - days).astype(int)
    rain[back == 38] = 34.0
    rain[back == 23] = 41.0
    return rain


def true_reference_et(sky: Sky) -> Floats:
    """Reference ET of the true weather [mm/d], shape (days, locations)."""
    unknown = np.full(sky.tmin_c.shape, np.nan)
    weather = DailyWeather(
        days=sky.days,
        tmin_c=sky.tmin_c,
        tmax_c=sky.tmax_c,
        tdew_c=sky.tdew_c,
        rh_min_pct=unknown,
        rh_max_pct=unknown,
        wind_m_s=sky.wind_m_s,
        wind_height_m=np.full(len(LOCATIONS), 2.0),
        solar_mj_m2=sky.solar_mj_m2,
        rain_mm=sky.rain_mm,
    )
    places = Places(
        latitude_deg=np.array([place[1] for place in LOCATIONS]),
        longitude_deg=np.array([place[2] for place in LOCATIONS]),
        elevation_m=np.array([place[3] for place in LOCATIONS]),
    )
    return reference_et(weather, places).scheduling_mm()

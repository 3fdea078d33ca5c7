"""What records keep of the truth: weather with its errors, logs with their gaps."""

from __future__ import annotations

from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

from fleet.calc.watch.habits import no_habits
from fleet.calc.watch.inputs import WatchInputs, no_periods
from fleet.scoring.watch_climates import SeasonWeather
from fleet.scoring.watch_gardens import BookGardens, Errors, book_water

FloatArray: TypeAlias = npt.NDArray[np.float64]

FIRST_DAY: Final = np.datetime64("2026-04-01")


def recorded_weather(
    weather: SeasonWeather, errors: Errors, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Rain and ET as the locations' records have them, both (days, locations) [mm/d].

    Parameters
    ----------
    weather
        True weather.
    errors
        How far records stray.
    rng
        Source of chance.
    """
    shape = weather.rain_mm.shape
    rain = weather.rain_mm * np.exp(rng.normal(0.0, errors.rain_location, shape))
    rain = np.where(rng.random(shape) < errors.missed_shower, 0.0, rain)
    phantom = (rng.random(shape) < errors.phantom_rain) & (weather.rain_mm > 0)
    mean_wet = float(weather.rain_mm[weather.rain_mm > 0].mean()) if (weather.rain_mm > 0).any() else 0.0
    showers = (rng.random(shape) < errors.phantom_rain * phantom.mean()) & (weather.rain_mm == 0)
    rain = np.where(showers, rng.exponential(mean_wet, shape), rain)
    week = np.repeat(rng.normal(0.0, errors.et_week, (shape[0] // 7 + 1, shape[1])), 7, axis=0)[: shape[0]]
    return rain, weather.reference_et_mm * np.exp(week)


def logged_days(days: int, sites: int, errors: Errors, rng: np.random.Generator) -> npt.NDArray[np.bool_]:
    """Days that the log holds, single days and some longer gaps missing, (days, sites).

    Parameters
    ----------
    days, sites
        Shape of the result [1].
    errors
        Share of missing days and of logs with a gap.
    rng
        Source of chance.
    """
    seen = rng.random((days, sites)) >= errors.missing_day
    gap = rng.random(sites) < errors.gap_share
    begin, length = rng.integers(0, days, sites), rng.integers(10, 29, sites)
    number = np.arange(days)[:, None]
    return np.asarray(seen & ~(gap & (number >= begin) & (number < begin + length)))


def book_inputs(
    book: BookGardens,
    starts: npt.NDArray[np.int16],
    ran: npt.NDArray[np.int16],
    recorded: tuple[FloatArray, FloatArray],
) -> WatchInputs:
    """The watch's inputs by book, log and recorded weather.

    Parameters
    ----------
    book
        The book's picture of the gardens.
    starts, ran
        What the log holds, both (days, sites) [1].
    recorded
        Rain and ET as recorded, both (days, locations) [mm/d].
    """
    days, sites = ran.shape
    threshold, available, excess, slope = book_water(book)
    rain_mm, et_mm = recorded
    return WatchInputs(
        days=np.arange(FIRST_DAY, FIRST_DAY + days),
        location=book.location,
        use_group=book.use_group,
        soil_group=book.soil_group,
        landscape_coefficient=book.coefficient,
        threshold_depletion_mm=threshold,
        available_water_mm=available,
        excess_water_mm=excess,
        tension_slope_mm=slope,
        first_day=np.zeros(sites, dtype=np.int64),
        reference_et_mm=et_mm[:, book.location],
        rain_mm=rain_mm[:, book.location],
        dose_mm=np.broadcast_to(book.dose_mm, (days, sites)).copy(),
        starts=starts,
        ran=ran,
        **no_periods(days, sites),
        habits=no_habits(sites),
    )

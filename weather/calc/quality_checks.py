"""The checks themselves, on rows of any number of series at once."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from weather.calc.air import wind_factor_to_2m
from weather.calc.arrays import BoolArray, FloatArray, IntArray
from weather.calc.quality import Flag, FlagArray
from weather.calc.radiation import clear_sky_radiation, day_of_year, radiation_above_air
from weather.calc.units import fahrenheit_to_c
from weather.calc.weather_rows import WeatherRows

# Limits: see the head of quality.py.
SOLAR_REFUSED_RATIO: Final = 1.2  # of a clear sky's, and 1 MJ/m2 on top for dark winters
SOLAR_HIGH_RATIO: Final = 1.1
SOLAR_LOW_RATIO: Final = 0.05
NEVER_CLEAR_RATIO: Final = 0.85
NEVER_CLEAR_DAYS: Final = 60
NEVER_CLEAR_LEAST: Final = 45
RANGE_WIDE_C: Final = 32.0
RANGE_NARROW_C: Final = 0.5
WIND_STRONG_M_S: Final = 15.0
WIND_CALM_M_S: Final = 0.5
CALM_DAYS: Final = 4
FLAT_DAYS: Final = 5
RAIN_HEAVY_MM: Final = 200.0
NEIGHBOUR_REACH_C: Final = 8.0
FAHRENHEIT_REACH_C: Final = 15.0
FAHRENHEIT_SHARE: Final = 0.1
FAHRENHEIT_LEAST: Final = 3
_SEASON_LAG_D: Final = 30.0


def check_rows(rows: WeatherRows, neighbour_mean_c: FloatArray | None = None) -> FlagArray:
    """What the checks find in each row.

    Parameters
    ----------
    rows
        Rows of any series [as named], shape (rows,); NaN is never a fault here.
    neighbour_mean_c
        Mean temperature that the neighbours had on the row's day, brought to its height [C], shape
        (rows,); NaN = no neighbour; None = none at all.

    Returns
    -------
    FlagArray
        Sums of `quality.Flag` [1], shape (rows,).
    """
    neighbours = np.full(len(rows), np.nan) if neighbour_mean_c is None else neighbour_mean_c
    codes = np.zeros(len(rows), dtype=np.uint32)
    by_subject = (
        _temperature(rows),
        _humidity(rows),
        _sun(rows),
        _wind_and_rain(rows),
        _series(rows),
        _neighbours(rows, neighbours),
    )
    for found in by_subject:
        for flag, where in found.items():
            codes[where] |= np.uint32(flag.value)
    return codes


def seasonal_ceiling_c(
    day_numbers: FloatArray, latitude_deg: FloatArray, elevation_m: FloatArray
) -> FloatArray:
    """Air temperature that no day of this season, latitude and height passes in Celsius.

    Parameters
    ----------
    day_numbers
        Day of the year [d], shape (rows,).
    latitude_deg
        Latitude [deg], shape (rows,).
    elevation_m
        Height above the sea [m], shape (rows,).

    Returns
    -------
    FloatArray
        Ceiling [C], shape (rows,).

    Notes
    -----
    A line over the radiation above the air one month before, less 2 C a kilometre. Common practice, no
    source: drawn over monthly record highs from memory (31 C in January at 33 N, 24 C in January at 40 N and
    1,600 m, 50 C in July at 33 N) with some degrees of room.
    """
    latitude = np.deg2rad(latitude_deg)
    sun = radiation_above_air(day_numbers - _SEASON_LAG_D, np.sin(latitude), np.cos(latitude))
    return np.asarray(17.0 + 0.87 * sun - 0.002 * elevation_m)


def _temperature(rows: WeatherRows) -> dict[Flag, BoolArray]:
    """Extremes against each other, and Celsius that looks like Fahrenheit."""
    reach = rows.tmax_c - rows.tmin_c
    return {
        Flag.TMAX_BELOW_TMIN: reach < 0.0,
        Flag.RANGE_WIDE: reach > RANGE_WIDE_C,
        Flag.RANGE_NARROW: (reach >= 0.0) & (reach < RANGE_NARROW_C),
    }


def _humidity(rows: WeatherRows) -> dict[Flag, BoolArray]:
    """Dew point and relative humidity."""
    dew_above_tmax = rows.tdew_c > rows.tmax_c + 0.5
    highest = np.fmax(rows.rh_max_pct, rows.rh_min_pct)
    # A day whose highest humidity is one percent has never been measured; a fraction looks like that.
    lonely_min = np.isnan(rows.rh_max_pct)
    as_fraction = (highest <= 1.0) & (~lonely_min | _all_of_series(rows, lonely_min, highest <= 1.0))
    return {
        Flag.DEW_ABOVE_TMAX: dew_above_tmax,
        Flag.DEW_ABOVE_TMIN: (rows.tdew_c > rows.tmin_c) & ~dew_above_tmax,
        Flag.HUMIDITY_AS_FRACTION: as_fraction,
        Flag.HUMIDITY_REVERSED: rows.rh_max_pct < rows.rh_min_pct,
        Flag.HUMIDITY_ABOVE_100: highest > 100.0,
    }


def _all_of_series(rows: WeatherRows, among: BoolArray, mark: BoolArray) -> BoolArray:
    """True for the rows of a series where every row among some carries the mark."""
    _, places = np.unique(rows.series, return_inverse=True)
    size = int(places.max(initial=-1)) + 1
    asked = np.bincount(places[among], minlength=size)
    marked = np.bincount(places[among & mark], minlength=size)
    return np.asarray(((asked > 0) & (asked == marked))[places])


def _sun(rows: WeatherRows) -> dict[Flag, BoolArray]:
    """Solar radiation against the clear sky of the day."""
    latitude = np.deg2rad(rows.latitude_deg)
    above = radiation_above_air(day_of_year(rows.days), np.sin(latitude), np.cos(latitude))
    clear = clear_sky_radiation(above, rows.elevation_m)
    refused = rows.solar_mj_m2 > SOLAR_REFUSED_RATIO * clear + 1.0
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(clear > 0.0, rows.solar_mj_m2 / clear, np.nan)
    order = rows.in_order()
    frame = pd.DataFrame({"ratio": ratio[order]}, index=pd.DatetimeIndex(rows.days[order]))
    window = frame.groupby(rows.series[order])["ratio"].rolling(
        f"{NEVER_CLEAR_DAYS}D", min_periods=NEVER_CLEAR_LEAST
    )
    highest = np.empty(len(rows))
    highest[order] = window.max().to_numpy()
    return {
        Flag.SOLAR_ABOVE_CLEAR_SKY: refused,
        Flag.SOLAR_HIGH: (rows.solar_mj_m2 > SOLAR_HIGH_RATIO * clear + 0.5) & ~refused,
        Flag.SOLAR_LOW: (ratio < SOLAR_LOW_RATIO) & (clear > 2.0),
        Flag.SOLAR_NEVER_CLEAR: highest < NEVER_CLEAR_RATIO,
    }


def _wind_and_rain(rows: WeatherRows) -> dict[Flag, BoolArray]:
    """Wind at 2 m and rain against what is common."""
    wind_2m = rows.wind_m_s * wind_factor_to_2m(rows.wind_height_m)
    return {
        Flag.WIND_STRONG: wind_2m > WIND_STRONG_M_S,
        Flag.WIND_CALM: _run_lengths(rows, wind_2m < WIND_CALM_M_S) >= CALM_DAYS,
        Flag.RAIN_HEAVY: rows.rain_mm > RAIN_HEAVY_MM,
    }


def _series(rows: WeatherRows) -> dict[Flag, BoolArray]:
    """Values that stand still, and Fahrenheit told from the whole series."""
    flat = np.zeros(len(rows), dtype=np.bool_)
    # Humidity may rest at 100 % and rain at 0 in earnest.
    for values in (rows.tmin_c, rows.tmax_c, rows.wind_m_s, rows.solar_mj_m2):
        flat |= _run_lengths(rows, _same_as_before(rows, values), counts_first=True) >= FLAT_DAYS
    too_warm = rows.tmax_c > seasonal_ceiling_c(day_of_year(rows.days), rows.latitude_deg, rows.elevation_m)
    _, places = np.unique(rows.series, return_inverse=True)
    known = np.isfinite(rows.tmax_c)
    count_known = np.bincount(places[known], minlength=int(places.max(initial=-1)) + 1)
    count_warm = np.bincount(places[too_warm], minlength=count_known.size)
    suspected = (count_warm >= FAHRENHEIT_LEAST) & (count_warm >= FAHRENHEIT_SHARE * count_known)
    return {Flag.FLAT_LINE: flat, Flag.LIKELY_FAHRENHEIT: too_warm | (suspected[places] & known)}


def _follows(rows: WeatherRows, order: IntArray) -> BoolArray:
    """True where an ordered row is the day after the one before, in the same series."""
    series, days = rows.series[order], rows.days[order].astype(np.int64)
    follows = np.zeros(order.size, dtype=np.bool_)
    follows[1:] = (series[1:] == series[:-1]) & (days[1:] == days[:-1] + 1)
    return follows


def _same_as_before(rows: WeatherRows, values: FloatArray) -> BoolArray:
    """True where a value equals that of the day before."""
    order = rows.in_order()
    ordered = values[order]
    same = np.zeros(len(rows), dtype=np.bool_)
    same[order[1:]] = (ordered[1:] == ordered[:-1]) & _follows(rows, order)[1:]
    return same


def _run_lengths(rows: WeatherRows, mark: BoolArray, *, counts_first: bool = False) -> IntArray:
    """Length of the run of marked days that each row belongs to; 0 outside of runs.

    With `counts_first` a mark means "like the day before", and the day before the first mark counts too.
    """
    order = rows.in_order()
    ordered = mark[order]
    follows = _follows(rows, order)
    starts = ~ordered if counts_first else ~(ordered & follows & np.r_[False, ordered[:-1]])
    groups = np.cumsum(starts)
    lengths = np.bincount(groups)[groups]
    if not counts_first:
        lengths = np.where(ordered, lengths, 0)
    result = np.empty(len(rows), dtype=np.int64)
    result[order] = lengths
    return result


def _neighbours(rows: WeatherRows, neighbour_mean_c: FloatArray) -> dict[Flag, BoolArray]:
    """Mean temperature against the neighbours'; Fahrenheit where only the exchange brings them together."""
    mean = 0.5 * (rows.tmin_c + rows.tmax_c)
    away = np.abs(mean - neighbour_mean_c)
    as_fahrenheit = np.abs(fahrenheit_to_c(mean) - neighbour_mean_c)
    fahrenheit = (away > FAHRENHEIT_REACH_C) & (as_fahrenheit < NEIGHBOUR_REACH_C)
    return {
        Flag.FAR_FROM_NEIGHBOURS: (away > NEIGHBOUR_REACH_C) & ~fahrenheit,
        Flag.LIKELY_FAHRENHEIT: fahrenheit,
    }

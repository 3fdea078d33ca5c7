"""Daily weather as rows of a file or a response: what the quality checks look at."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from weather.calc.arrays import BoolArray, DayArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class WeatherRows:
    """Rows of several series, one series a location (and, of forecasts, an issue). All arrays are (rows,).

    Parameters
    ----------
    series
        Number of the row's series [1]; each day stands at most once in a series.
    days
        Day of each row, datetime64[D].
    latitude_deg, elevation_m
        Where it was measured [deg, m].
    tmin_c, tmax_c, tdew_c
        Extremes of the air temperature and dew point [C]; NaN = unknown, as in the others.
    rh_min_pct, rh_max_pct
        Extremes of the relative humidity [%].
    wind_m_s, wind_height_m
        Mean wind and the height of its measurement [m/s, m].
    solar_mj_m2
        Solar radiation [MJ/m2/d].
    rain_mm
        Rain [mm/d].
    """

    series: IntArray
    days: DayArray
    latitude_deg: FloatArray
    elevation_m: FloatArray
    tmin_c: FloatArray
    tmax_c: FloatArray
    tdew_c: FloatArray
    rh_min_pct: FloatArray
    rh_max_pct: FloatArray
    wind_m_s: FloatArray
    wind_height_m: FloatArray
    solar_mj_m2: FloatArray
    rain_mm: FloatArray

    def __post_init__(self) -> None:
        """Reject arrays of different lengths."""
        for field in fields(self):
            if getattr(self, field.name).shape != self.series.shape or self.series.ndim != 1:
                raise ValueError(f"{field.name} must have the shape {self.series.shape} (rows,)")

    def __len__(self) -> int:
        """Number of rows."""
        return self.series.size

    def take(self, rows: IntArray | BoolArray) -> WeatherRows:
        """Return the rows at the positions or under the mask."""
        return WeatherRows(*(getattr(self, field.name)[rows] for field in fields(self)))

    def in_order(self) -> IntArray:
        """Positions that bring the rows into the order of series and day, shape (rows,) [1]."""
        return np.lexsort((self.days.astype(np.int64), self.series)).astype(np.int64)

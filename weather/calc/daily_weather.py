"""What the sky's formulas take: measured daily values of several places."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from weather.calc.arrays import DayArray, FloatArray

_ONE_DAY = np.timedelta64(1, "D")
_HIGHEST_LATITUDE_DEG = 90.0
_LOWEST_GROUND_M = -450.0
_HIGHEST_GROUND_M = 9_000.0


@dataclass(frozen=True, slots=True)
class Places:
    """Where the values were measured.

    Parameters
    ----------
    latitude_deg, longitude_deg
        Position in WGS 84, north and east positive [deg], shape (locations,).
    elevation_m
        Height above the sea [m], shape (locations,).
    """

    latitude_deg: FloatArray
    longitude_deg: FloatArray
    elevation_m: FloatArray

    def __post_init__(self) -> None:
        """Reject positions that are none."""
        sizes = {getattr(self, field.name).shape for field in fields(self)}
        if len(sizes) != 1 or len(next(iter(sizes))) != 1:
            raise ValueError("latitude_deg, longitude_deg and elevation_m must share one shape (locations,)")
        if not bool(np.all(np.abs(self.latitude_deg) <= _HIGHEST_LATITUDE_DEG)):
            raise ValueError("latitude_deg must lie between -90 and 90")
        if not bool(np.all(np.abs(self.longitude_deg) <= 2 * _HIGHEST_LATITUDE_DEG)):
            raise ValueError("longitude_deg must lie between -180 and 180")
        inside = (self.elevation_m >= _LOWEST_GROUND_M) & (self.elevation_m <= _HIGHEST_GROUND_M)
        if not bool(np.all(inside)):
            raise ValueError("elevation_m must lie between -450 and 9000")

    @property
    def count(self) -> int:
        """Number of places."""
        return self.latitude_deg.size


@dataclass(frozen=True, slots=True)
class DailyWeather:
    """Measured or forecast weather, NaN where a value is unknown.

    Parameters
    ----------
    days
        Consecutive days, datetime64[D], shape (days,).
    tmin_c, tmax_c
        Extremes of the air temperature [C], shape (days, locations).
    tdew_c
        Mean dew point of the day [C], same shape.
    rh_min_pct, rh_max_pct
        Extremes of the relative humidity [%], same shape.
    wind_m_s
        Mean wind at its height of measurement [m/s], same shape.
    wind_height_m
        That height [m], same shape or shape (locations,).
    solar_mj_m2
        Solar radiation on the ground [MJ/m2/d], shape (days, locations).
    rain_mm
        Rain [mm/d], same shape.
    """

    days: DayArray
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
        """Reject arrays that do not belong together."""
        if self.days.dtype != np.dtype("datetime64[D]") or self.days.ndim != 1:
            raise ValueError("days must be datetime64[D] of one dimension")
        if self.days.size > 1 and not bool(np.all(np.diff(self.days) == _ONE_DAY)):
            raise ValueError("days must follow each other without a gap")
        shape = self.tmin_c.shape
        if len(shape) != 2 or shape[0] != self.days.size:
            raise ValueError(f"tmin_c has the shape {shape}, expected ({self.days.size}, locations)")
        for field in fields(self)[2:]:
            array = getattr(self, field.name)
            fits = array.shape == shape or (field.name == "wind_height_m" and array.shape == shape[1:])
            if not fits:
                raise ValueError(f"{field.name} has the shape {array.shape}, expected {shape}")

    @property
    def shape(self) -> tuple[int, int]:
        """Numbers of days and of locations."""
        return self.days.size, self.tmin_c.shape[1]

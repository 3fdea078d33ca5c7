"""The seam between the sky and everything that uses it: daily values on one grid of days and locations."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from datetime import date

import numpy as np

from weather.calc.arrays import BoolArray, DayArray, FloatArray, IntArray
from weather.calc.neighbours import chord_to_km, unit_vectors
from weather.calc.spread_rules import LENT

_MARKS = ("is_filled", "is_forecast", "is_rain_lent")
_NOT_BY_DAY = ("days", "location_ids", "positions_deg")
_NEVER_NEGATIVE = ("reference_et_mm", "reference_et_sd_mm", "rain_mm", "rain_sd_mm")
_ONE_DAY = np.timedelta64(1, "D")


@dataclass(frozen=True, slots=True)
class PairedRain:
    """Rain of places that take it from a gauge of their own or nearby.

    Parameters
    ----------
    rain_mm, rain_sd_mm
        Rain and the standard deviation of its error [mm/d], shape (days, pairs); NaN = unknown.
    is_stood_in
        True where the gauge told nothing and the location's rain stands in for it [1], same shape.
    column
        Column of each asked place, shape (n,) [1].
    """

    rain_mm: FloatArray
    rain_sd_mm: FloatArray
    is_stood_in: BoolArray
    column: IntArray


@dataclass(frozen=True, slots=True)
class WeatherDays:
    """Daily weather of several locations, as the water balance and the watch use it.

    Parameters
    ----------
    days
        Consecutive days, datetime64[D], shape (days,).
    location_ids
        Distinct ids of the locations, int64, shape (locations,).
    reference_et_mm
        Grass reference ET, never below zero [mm/d], shape (days, locations); NaN = unknown.
    reference_et_sd_mm
        Standard deviation of its error [mm/d], same shape; NaN where the value is.
    rain_mm
        Rain [mm/d], same shape; NaN = unknown, which is not "no rain".
    rain_sd_mm
        Standard deviation of its error [mm/d], same shape; NaN where the value is.
    tmin_c, tmax_c
        Air temperature, lowest and highest of the day [C], same shape; NaN = unknown.
    is_filled
        True where any of the values was filled instead of measured, same shape.
    is_forecast
        True where the values come from a forecast, same shape.
    is_rain_lent
        True where the rain is that of a gauge nearby, not the location's own, same shape.
    positions_deg
        Latitudes and longitudes of the locations [deg], shape (locations, 2); None = not known.
    """

    days: DayArray
    location_ids: IntArray
    reference_et_mm: FloatArray
    reference_et_sd_mm: FloatArray
    rain_mm: FloatArray
    rain_sd_mm: FloatArray
    tmin_c: FloatArray
    tmax_c: FloatArray
    is_filled: BoolArray
    is_forecast: BoolArray
    is_rain_lent: BoolArray
    positions_deg: FloatArray | None = None

    def __post_init__(self) -> None:
        """Reject what no later stage could use rightly."""
        if self.days.dtype != np.dtype("datetime64[D]") or self.days.ndim != 1:
            raise ValueError("days must be datetime64[D] of one dimension")
        if self.days.size > 1 and not bool(np.all(np.diff(self.days) == _ONE_DAY)):
            raise ValueError("days must follow each other without a gap")
        if self.location_ids.ndim != 1 or np.unique(self.location_ids).size != self.location_ids.size:
            raise ValueError("location_ids must be distinct and of one dimension")
        shape = (self.days.size, self.location_ids.size)
        for field in fields(self):
            if field.name in _NOT_BY_DAY:
                continue
            array = getattr(self, field.name)
            if array.shape != shape:
                raise ValueError(f"{field.name} has the shape {array.shape}, expected {shape}")
            wanted = np.bool_ if field.name in _MARKS else np.float64
            if array.dtype != wanted:
                raise ValueError(f"{field.name} holds {array.dtype}, expected {np.dtype(wanted)}")
        for name in _NEVER_NEGATIVE:
            if bool(np.any(getattr(self, name) < 0.0)):
                raise ValueError(f"{name} must not be negative")

    def between(self, start: date, end: date) -> WeatherDays:
        """The days of a span that these days hold wholly.

        Parameters
        ----------
        start, end
            First day, and the day after the last.

        Returns
        -------
        WeatherDays
            The same locations on fewer days.
        """
        first = int((np.datetime64(start, "D") - self.days[0]).astype(np.int64))
        last = first + (end - start).days
        if first < 0 or last > self.days.size:
            raise ValueError(f"{start} to {end} is not among these days")
        by_day = {
            field.name: getattr(self, field.name)[first:last]
            for field in fields(self)
            if field.name not in ("location_ids", "positions_deg")
        }
        return replace(self, **by_day)

    def columns_of(self, location_ids: IntArray) -> IntArray:
        """Column of each given location in the arrays, -1 where it is not among them.

        Parameters
        ----------
        location_ids
            Ids to look up (one a zone, for instance), shape (n,) [1].

        Returns
        -------
        IntArray
            Column numbers, shape (n,) [1].
        """
        if self.location_ids.size == 0:
            return np.full(location_ids.shape, -1, dtype=np.int64)
        order = np.argsort(self.location_ids)
        found = np.searchsorted(self.location_ids, location_ids, sorter=order)
        columns = order[np.minimum(found, order.size - 1)].astype(np.int64)
        return np.where(self.location_ids[columns] == location_ids, columns, -1)

    def rain_of(self, location_ids: IntArray, gauge_ids: IntArray) -> PairedRain:
        """Rain of places by their gauge; a day that the gauge does not tell takes the location's own rain.

        Parameters
        ----------
        location_ids
            Id of each place's location, shape (n,) [1].
        gauge_ids
            Id of the location whose gauge counts instead, 0 or less = none, same shape [1].

        Returns
        -------
        PairedRain
            One column for each pair of location and gauge [mm/d], shape (days, pairs). Rain that stands in is
            less sure by the way from the gauge to the location. Where the location knows none, what a gauge
            nearby lent to the silent one is the last resort.
        """
        gauges = np.where(gauge_ids > 0, gauge_ids, location_ids)
        pairs, column = np.unique(np.column_stack([location_ids, gauges]), axis=0, return_inverse=True)
        own, near = (self.columns_of(pairs[:, side]) for side in (0, 1))
        has_gauge = pairs[:, 0] != pairs[:, 1]
        by_gauge, by_location = self._taken(self.rain_mm, near), self._taken(self.rain_mm, own)
        lent = self._taken(self.is_rain_lent.astype(np.float64), near) > 0.0
        knows = ~np.isnan(by_gauge) & ~(lent & has_gauge)
        resort = ~knows & np.isnan(by_location)
        farther = LENT.rules["rain_mm"].spread(by_location, np.where(has_gauge, self._way_km(own, near), 0.0))
        sd_by_gauge = self._taken(self.rain_sd_mm, near)
        return PairedRain(
            rain_mm=np.where(knows | resort, by_gauge, by_location),
            rain_sd_mm=np.where(
                knows | resort, sd_by_gauge, self._taken(self.rain_sd_mm, own) + np.nan_to_num(farther)
            ),
            is_stood_in=np.asarray(~knows & has_gauge),
            column=column.reshape(-1).astype(np.int64),
        )

    def _way_km(self, here: IntArray, there: IntArray) -> FloatArray:
        """Ways between two columns each [km]; 0 where a position is not known."""
        if self.positions_deg is None or self.positions_deg.size == 0:
            return np.zeros(here.size)
        units = unit_vectors(self.positions_deg[:, 0], self.positions_deg[:, 1])
        chord = np.linalg.norm(units[np.maximum(here, 0)] - units[np.maximum(there, 0)], axis=1)
        return np.where((here >= 0) & (there >= 0), np.nan_to_num(chord_to_km(chord)), 0.0)

    def _taken(self, values: FloatArray, columns: IntArray) -> FloatArray:
        """Columns of an array, NaN where there is none."""
        if values.shape[1] == 0:
            return np.full((values.shape[0], columns.size), np.nan)
        return np.where(columns >= 0, values[:, np.maximum(columns, 0)], np.nan)

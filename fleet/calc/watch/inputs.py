"""What the sensor watch is given: logs, programs, weather and book values of controllers, as plain arrays."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from fleet.calc.watch.habits import Habits

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]
CountArray: TypeAlias = npt.NDArray[np.int16]
DayArray: TypeAlias = npt.NDArray[np.datetime64]

UNSEEN = -1
"""Marks a day without a count of its own: no row in the log, or a day inside a counted period."""

NO_PERIOD = -1

_PER_SITE = (
    "location",
    "use_group",
    "soil_group",
    "landscape_coefficient",
    "threshold_depletion_mm",
    "available_water_mm",
    "excess_water_mm",
    "tension_slope_mm",
    "first_day",
)
_PER_DAY = ("reference_et_mm", "rain_mm", "dose_mm", "starts", "ran", "period_ran", "period_starts")


class BadWatchInputs(ValueError):
    """The arrays contradict each other or hold what cannot be."""


@dataclass(frozen=True, slots=True)
class WatchInputs:
    """Governed controllers and their days.

    Parameters
    ----------
    days
        Days in order, without gaps, (days,) [datetime64 day].
    location, use_group, soil_group
        Number of the weather location, of the group of planting and head, of the soil, (sites,) [1].
    landscape_coefficient
        Landscape coefficient of the governing zone, (sites,) [1].
    threshold_depletion_mm
        Depletion at the threshold by the retention curve of the book's soil, (sites,) [mm].
    available_water_mm
        Total available water of the root zone, (sites,) [mm].
    excess_water_mm
        Water between field capacity and saturation, (sites,) [mm].
    tension_slope_mm
        Change of depletion for one unit of ln(tension) at the threshold, (sites,) [mm].
    first_day
        Index of the first day whose log counts (sensor installed or last repaired), (sites,) [1].
    reference_et_mm, rain_mm
        Weather at the site's location, NaN where unknown, (days, sites) [mm/d].
    dose_mm
        Net depth of one start at the governing zone, (days, sites) [mm].
    starts
        Starts offered: scheduled less skipped by the log, else by the program, (days, sites) [1].
    ran
        Starts that ran, `UNSEEN` on a day without a count of its own, (days, sites) [1].
    period_starts, period_ran
        On the last day of a period that was counted as a whole: its starts and how many of them ran;
        elsewhere `NO_PERIOD`, (days, sites) [1].
    period_days
        Length of the period that ends on the day, 0 elsewhere, (days, sites) [d].
    habits
        What the season before these days taught of each garden.
    """

    days: DayArray
    location: IntArray
    use_group: IntArray
    soil_group: IntArray
    landscape_coefficient: FloatArray
    threshold_depletion_mm: FloatArray
    available_water_mm: FloatArray
    excess_water_mm: FloatArray
    tension_slope_mm: FloatArray
    first_day: IntArray
    reference_et_mm: FloatArray
    rain_mm: FloatArray
    dose_mm: FloatArray
    starts: CountArray
    ran: CountArray
    period_starts: CountArray
    period_ran: CountArray
    period_days: CountArray
    habits: Habits

    def __post_init__(self) -> None:
        """Reject arrays that do not fit together."""
        sites = self.location.shape
        grid = (self.days.size, *sites)
        for name in _PER_SITE:
            if getattr(self, name).shape != sites:
                raise BadWatchInputs(f"{name} must have one value a site")
        for name in (*_PER_DAY, "period_days"):
            if getattr(self, name).shape != grid:
                raise BadWatchInputs(f"{name} must have one value a day and site")
        if self.habits.use_mean.shape != sites:
            raise BadWatchInputs("habits must have one value a site")
        if np.any(self.threshold_depletion_mm <= 0.0) or np.any(self.available_water_mm <= 0.0):
            raise BadWatchInputs("threshold depletion and available water must be above 0 mm")
        if np.any(self.ran > self.starts):
            raise BadWatchInputs("more starts ran than were offered")
        if np.any(self.period_ran > self.period_starts):
            raise BadWatchInputs("more starts of a period ran than were offered")
        if np.any(self.starts < 0) or np.any(self.dose_mm < 0.0):
            raise BadWatchInputs("starts and doses cannot be negative")

    @property
    def site_count(self) -> int:
        """Number of controllers."""
        return int(self.location.size)

    @property
    def day_count(self) -> int:
        """Number of days."""
        return int(self.days.size)

    @property
    def seen(self) -> npt.NDArray[np.bool_]:
        """Days with a count of their own that speaks on the sensor, (days, sites)."""
        after_start = np.arange(self.day_count)[:, None] >= self.first_day[None, :]
        return (self.ran >= 0) & (self.starts > 0) & after_start


def take_sites(inputs: WatchInputs, index: IntArray) -> WatchInputs:
    """The same days for some of the sites, in the order of `index`.

    Parameters
    ----------
    inputs
        All sites.
    index
        Positions of the wanted sites, (n,) [1].
    """
    chosen = {}
    for field in fields(inputs):
        value = getattr(inputs, field.name)
        if field.name == "habits":
            value = value.take(index)
        elif field.name != "days":
            value = value[..., index]
        chosen[field.name] = value
    return WatchInputs(**chosen)


def no_periods(day_count: int, site_count: int) -> dict[str, CountArray]:
    """The three period arrays of a log that holds daily counts only.

    Parameters
    ----------
    day_count, site_count
        Shape of the arrays [1].
    """
    shape = (day_count, site_count)
    return {
        "period_starts": np.full(shape, NO_PERIOD, dtype=np.int16),
        "period_ran": np.full(shape, NO_PERIOD, dtype=np.int16),
        "period_days": np.zeros(shape, dtype=np.int16),
    }

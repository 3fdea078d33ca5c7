"""Days that come in from a file or a service, before anything is stored."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

import numpy as np

from weather.calc.arrays import FloatArray
from weather.calc.quality import REJECTING, Flag, flags_of_words, words_of_codes
from weather.calc.quality_checks import check_rows
from weather.calc.weather_rows import WeatherRows

OBSERVED: Final = "observed"
FORECAST: Final = "forecast"
WIND_HEIGHT_M: Final = 2.0
# Raw values of a day, in the order of the stored columns.
RAW: Final = (
    "tmin_c",
    "tmax_c",
    "tdew_c",
    "rh_min_pct",
    "rh_max_pct",
    "wind_m_s",
    "wind_height_m",
    "solar_mj_m2",
    "rain_mm",
)


@dataclass(frozen=True, slots=True)
class NewPlace:
    """A named point that days belong to.

    Parameters
    ----------
    name
        Natural key of the location [1].
    latitude_deg, longitude_deg
        Position in WGS 84 [deg].
    elevation_m
        Height above the sea [m].
    is_grid
        True for a point of a gridded product [1].
    """

    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    is_grid: bool = False

    def __post_init__(self) -> None:
        """Reject points that are none."""
        if not self.name or not -90 <= self.latitude_deg <= 90 or not -180 <= self.longitude_deg <= 180:
            raise ValueError(f"{self.name!r} is no named point on earth")
        if not -450 <= self.elevation_m <= 9000:
            raise ValueError(f"{self.name}: elevation {self.elevation_m} m is not between -450 and 9000")


@dataclass(frozen=True, slots=True)
class NewDay:
    """One day of one place; values as in `RAW`, None = not told.

    Parameters
    ----------
    place
        Where [as named].
    day
        Local calendar day [1].
    kind
        `observed` or `forecast` [1].
    issued
        Day of issue of a forecast; an observed day carries its own day [1].
    values
        Raw values in the order of `RAW` [as named].
    flags
        Code words of the checks [1].
    row
        Row of its file, 0 where there is none [1].
    """

    place: NewPlace
    day: date
    kind: str
    issued: date
    values: tuple[float | None, ...]
    flags: str = ""
    row: int = 0

    def __post_init__(self) -> None:
        """Reject a day whose issue or values do not fit."""
        if len(self.values) != len(RAW):
            raise ValueError(f"{len(self.values)} values, expected {len(RAW)}")
        if self.value("wind_height_m") is None:
            raise ValueError("wind_height_m is never unknown: without a wind it is 2 m")
        fits = self.issued == self.day if self.kind == OBSERVED else self.issued <= self.day
        if self.kind not in (OBSERVED, FORECAST) or not fits:
            raise ValueError(f"{self.day} cannot be {self.kind} with the issue of {self.issued}")

    @property
    def key(self) -> tuple[str, date, str, date]:
        """Natural key: location, day, kind, issue."""
        return self.place.name, self.day, self.kind, self.issued

    def value(self, name: str) -> float | None:
        """Return one raw value by its name."""
        return self.values[RAW.index(name)]


@dataclass(frozen=True, slots=True)
class CheckedDays:
    """Days that may be stored, and those that a check refused, with the flag that did.

    Parameters
    ----------
    good
        Days with their flags [as named].
    refused
        Days that must not be stored, each with its worst flag [as named].
    """

    good: tuple[NewDay, ...]
    refused: tuple[tuple[NewDay, Flag], ...]


def check_days(days: Sequence[NewDay], neighbour_mean_c: FloatArray | None = None) -> CheckedDays:
    """Days parted by the quality checks.

    Parameters
    ----------
    days
        Days of any places; the checks of series see each place's days together [as named].
    neighbour_mean_c
        Mean temperature of the neighbours on each day [C], shape (days,); NaN or None = unknown.

    Returns
    -------
    CheckedDays
        Good ones with their flags, and refused ones [as named].
    """
    if not days:
        return CheckedDays((), ())
    words = words_of_codes(check_rows(as_rows(days), neighbour_mean_c))
    good: list[NewDay] = []
    refused: list[tuple[NewDay, Flag]] = []
    for day, found in zip(days, words, strict=True):
        against = flags_of_words(found) & REJECTING
        if against:
            refused.append((day, next(flag for flag in Flag if flag & against)))
        else:
            good.append(replace(day, flags=found))
    return CheckedDays(tuple(good), tuple(refused))


def as_rows(days: Sequence[NewDay]) -> WeatherRows:
    """Arrays of days; one series a place, and of forecasts one a place and issue.

    Parameters
    ----------
    days
        Days of any places [as named].

    Returns
    -------
    WeatherRows
        Arrays of shape (days,) [as named].
    """
    numbers: dict[tuple[str, date | None], int] = {}
    series = [
        numbers.setdefault((day.place.name, day.issued if day.kind == FORECAST else None), len(numbers))
        for day in days
    ]
    table = np.array([day.values for day in days], dtype=np.float64).reshape(-1, len(RAW))
    columns = {name: table[:, place].copy() for place, name in enumerate(RAW)}
    columns["wind_height_m"] = np.nan_to_num(columns["wind_height_m"], nan=WIND_HEIGHT_M)
    return WeatherRows(
        series=np.array(series, dtype=np.int64),
        days=np.array([day.day for day in days], dtype="datetime64[D]"),
        latitude_deg=np.array([day.place.latitude_deg for day in days]),
        elevation_m=np.array([day.place.elevation_m for day in days]),
        **columns,
    )

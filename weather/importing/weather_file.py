"""The weather file: read, and checked row by row, against its own series and against its neighbours."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Final

import numpy as np

from weather.calc.neighbour_means import neighbour_means_c
from weather.calc.new_days import FORECAST, OBSERVED, RAW, WIND_HEIGHT_M, NewDay, NewPlace, check_days
from weather.calc.quality import EXPECTED
from weather.calc.spread_rules import SPREAD_COLUMN, USED_COLUMN
from weather.calc.tall_reference import TallMonth, tall_reference_months
from weather.importing.repeated import refuse_repeated
from weather.importing.rows import CellError, Column, Row, Table, choice, day, number, read_csv, text
from weather.selectors import mean_temperatures_near

_HOTTEST_C: Final = 60.0
_COLDEST_C: Final = -90.0
_FAHRENHEIT_MOST: Final = 150.0


def _temperature(cell: str) -> float:
    """A temperature; Fahrenheit passes here, so that the checks can name it with the whole series."""
    value = number(-1000.0, 10_000.0)(cell)
    if value > _FAHRENHEIT_MOST or value < _COLDEST_C:
        raise CellError(
            f"degrees Celsius from {_COLDEST_C:g} to {_HOTTEST_C:g}; are these tenths of a degree?"
        )
    return value


# Limits of what a cell may hold at all; the quality checks say what is plausible.
COLUMNS: Final = (
    Column("location", text(80), required=True),
    Column("latitude", number(-90, 90), required=True),
    Column("longitude", number(-180, 180), required=True),
    Column("elevation_m", number(-450, 9000), required=True),
    Column("date", day, required=True),
    # Empty only in the rows of a rain gauge: see `_lacks_temperature`.
    Column("tmin_c", _temperature, required=True, may_be_empty=True),
    Column("tmax_c", _temperature, required=True, may_be_empty=True),
    Column("tdew_c", _temperature),
    Column("rh_min_pct", number(0, 110)),
    Column("rh_max_pct", number(0, 110)),
    Column("wind_m_s", number(0, 60)),
    Column("wind_height_m", number(0.5, 100), default=WIND_HEIGHT_M),
    Column("solar_mj_m2", number(0, 1000)),
    Column("rain_mm", number(0, 2000)),
    Column("kind", choice((OBSERVED, FORECAST)), default=OBSERVED),
    Column("issued", day),
    # Of our own export and download: its ET is compared with ours, the other columns are read over.
    Column("eto_mm", number(-5, 30)),
    *(Column(name, text(400)) for name in ("eto_method", "filled", "flags", "source")),
    *(Column(name, text(400)) for name in ("eto_sd_mm", "eto_sd_parts_mm")),
    *(Column(name, text(400)) for name in (*USED_COLUMN.values(), *SPREAD_COLUMN.values())),
)


@dataclass(frozen=True, slots=True)
class WeatherFile:
    """A read file: its table with the problems, the good days, and what the reader should be asked."""

    table: Table
    days: tuple[NewDay, ...]
    questions: tuple[TallMonth, ...]


def read_weather(path: Path, *, today: date) -> WeatherFile:
    """Return the good days of a weather file with their flags, and the problems of the others.

    Parameters
    ----------
    path
        The file.
    today
        Observed days end today, or tomorrow where the place's day is ahead of ours.
    """
    table = read_csv(path, COLUMNS)
    places: dict[str, NewPlace] = {}
    refuse_repeated(table, key=_known_by, column="date", once="each day of a location once")
    days: list[NewDay] = []
    published: list[float] = []
    for row in table.rows:
        new = _day_of(table, row, places, today)
        if new is not None:
            days.append(new)
            eto = row.values["eto_mm"]
            published.append(eto if isinstance(eto, float) and not row.values["eto_method"] else np.nan)
    stored = mean_temperatures_near(places=[(day.place, day.day) for day in days if day.kind == OBSERVED])
    checked = check_days(days, neighbour_means_c(days, stored))
    for new, flag in checked.refused:
        column, expected = EXPECTED[flag]
        table.refuse(new.row, column, new.value(column), expected)
    return WeatherFile(table, checked.good, tall_reference_months(days, np.array(published)))


def _known_by(row: Row) -> tuple[object, ...] | None:
    """A day is known by its location and kind, a forecast by its day of issue, too."""
    kind = row.values.get("kind")
    known = (row.values.get("location"), row.values.get("date"), kind)
    return None if None in known else (*known, row.values.get("issued") if kind == FORECAST else None)


def _day_of(
    table: Table,
    row: Row,
    places: dict[str, NewPlace],
    today: date,
) -> NewDay | None:
    """The row as a day, or None where it does not fit the rows before it."""
    values = row.values
    when, issued, kind = values["date"], values["issued"], str(values["kind"])
    place = NewPlace(
        str(values["location"]),
        _float(values["latitude"]),
        _float(values["longitude"]),
        _float(values["elevation_m"]),
    )
    if not isinstance(when, date):
        raise TypeError("the column date is parsed as a day")
    first = places.setdefault(place.name, place)
    if first != place:
        expected = f"{first.latitude_deg:g}, {first.longitude_deg:g}, {first.elevation_m:g} m"
        table.refuse(
            row.number,
            "latitude",
            values["latitude"],
            f"the position of {place.name}'s first row: {expected}",
        )
        return None
    if kind == OBSERVED and when > today + timedelta(days=1):
        table.refuse(row.number, "date", when, f"no observed day after {today}; is it a forecast?")
        return None
    if kind == FORECAST and (not isinstance(issued, date) or issued > when):
        table.refuse(row.number, "issued", issued, "the forecast's day of issue, not after its day")
        return None
    if _lacks_temperature(table, row):
        return None
    told_on = issued if kind == FORECAST and isinstance(issued, date) else when
    raw = tuple(value if isinstance(value := values[name], float) else None for name in RAW)
    return NewDay(first, when, kind, told_on, raw, row=row.number)


def _lacks_temperature(table: Table, row: Row) -> bool:
    """Whether a row lacks a temperature that it must have: only a rain gauge goes without both."""
    lacking = [name for name in ("tmin_c", "tmax_c") if row.values[name] is None]
    if not lacking or (len(lacking) == 2 and row.values["rain_mm"] is not None):
        return False
    table.refuse(
        row.number, lacking[0], "", f"a value for {lacking[0]} (only rows of a rain gauge have neither)"
    )
    return True


def _float(value: object) -> float:
    """A cell that its column parsed as a number."""
    if not isinstance(value, float):
        raise TypeError("this column is parsed as a number")
    return value

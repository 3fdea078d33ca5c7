"""Reads of the weather page: stored days, each value with its spread and where it comes from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from weather.calc.et_spread import EQUATION
from weather.calc.fill_codes import MEANING as FILL_MEANING
from weather.calc.quality import MEANING as FLAG_MEANING
from weather.calc.quality import Flag, flags_of_words
from weather.calc.source_chain import SOURCE_WORDS
from weather.calc.spread_rules import TOLD, USED_COLUMN
from weather.models import DailyWeather, Location
from weather.selectors import GAP_SOURCE
from weather.source_status import part_phrases
from weather.stored_spreads import spread_of, stored_parts, value_of

VARIABLE_WORDS: Final[Mapping[str, str]] = {
    "tmin_c": "lowest temperature",
    "tmax_c": "highest temperature",
    "tdew_c": "dew point",
    "rh_min_pct": "lowest humidity",
    "rh_max_pct": "highest humidity",
    "wind_m_s": "wind",
    "solar_mj_m2": "solar radiation",
    "eto_mm": "reference ET",
    "rain_mm": "rain",
    EQUATION: "the equation itself",
}


@dataclass(frozen=True, slots=True)
class ShownValue:
    """A value of a day with its spread; `how` says what it rests on where nobody told it."""

    name: str
    word: str
    value: float | None
    spread: float | None
    how: str = ""

    @property
    def is_put_in(self) -> bool:
        """Return whether something stands in for a value that nobody told."""
        return bool(self.how)


@dataclass(frozen=True, slots=True)
class DayRow:
    """One stored day of a location, for the table."""

    day: date
    kind: str
    values: Mapping[str, ShownValue]  # by column; `rain_mm` and `eto_mm` as used
    filled: tuple[str, ...]
    flags: tuple[str, ...]
    source: str
    parts: tuple[str, ...]
    spread_parts: tuple[tuple[str, float], ...] = ()  # what each value brings to the spread of ET [mm/d]

    @property
    def tmax_c(self) -> float | None:
        """Return the highest temperature [C]."""
        return self.values["tmax_c"].value

    @property
    def rain_mm(self) -> float | None:
        """Return the rain as used [mm/d]."""
        return self.values["rain_mm"].value

    @property
    def eto_sd_mm(self) -> float | None:
        """Return the spread of ET [mm/d]."""
        return self.values["eto_mm"].spread

    @property
    def is_forecast(self) -> bool:
        """Return whether the day was foretold."""
        return self.kind == DailyWeather.Kind.FORECAST

    @property
    def main_parts(self) -> tuple[tuple[str, float], ...]:
        """Return the two largest parts of the spread of ET where something was put in or foretold."""
        return self.spread_parts[:2] if self.filled or self.is_forecast else ()

    @property
    def source_word(self) -> str:
        """Return where the day comes from."""
        if self.source == GAP_SOURCE:
            return "nobody measured it"
        words = SOURCE_WORDS.get(self.source, (self.source, ""))[0]
        return f"forecast: {words}" if self.is_forecast else words


def day_rows(*, location: Location, start: date, end: date) -> tuple[DayRow, ...]:
    """Return stored days, newest first; of forecasts the newest issue, where nothing was measured.

    Parameters
    ----------
    location
        The location.
    start, end
        First day, and the day after the last.
    """
    rows = DailyWeather.objects.filter(location=location, day__gte=start, day__lt=end)
    by_day: dict[date, DailyWeather] = {}
    # Observed comes after forecast in this order, and a later issue after an earlier one.
    for row in rows.order_by("day", "kind", "issued"):
        known = by_day.get(row.day)
        if known is None or known.kind == row.kind or row.source != GAP_SOURCE:
            by_day[row.day] = row
    return rows_of(sorted(by_day.values(), key=lambda row: row.day, reverse=True), location=location)


def rows_of(stored: Iterable[DailyWeather], *, location: Location) -> tuple[DayRow, ...]:
    """Return stored days as a reader sees them.

    Parameters
    ----------
    stored
        Days of one location.
    location
        That location.
    """
    days = list(stored)
    parts = stored_parts(days, latitude_deg=location.latitude, elevation_m=location.elevation_m)
    return tuple(
        DayRow(
            day=row.day,
            kind=row.kind,
            values=_values(row),
            filled=tuple(fill_phrase(word) for word in row.filled.split()),
            flags=tuple(_flag_phrases(row.flags)),
            source=row.source,
            parts=part_phrases(row.parts),
            spread_parts=tuple(
                (VARIABLE_WORDS[name], mm) for name, mm in sorted(found.items(), key=lambda part: -part[1])
            ),
        )
        for row, found in zip(days, parts, strict=True)
    )


def _values(row: DailyWeather) -> dict[str, ShownValue]:
    """Every value of a day with its spread."""
    how = dict(word.split(":", 1) for word in row.filled.split())
    shown = {}
    for name in TOLD[:-1]:
        put_in = name in USED_COLUMN and getattr(row, USED_COLUMN[name]) is not None
        meaning = FILL_MEANING.get(how.get(name, ""), "from relative humidity") if put_in else ""
        shown[name] = ShownValue(
            name, VARIABLE_WORDS[name], value_of(row, name), spread_of(row, name), meaning
        )
    for name, value, spread in (
        ("rain_mm", row.rain_used_mm, row.rain_sd_mm),
        ("eto_mm", row.eto_mm, row.eto_sd_mm),
    ):
        meaning = FILL_MEANING[how[name]] if name in how else ""
        shown[name] = ShownValue(name, VARIABLE_WORDS[name], value, spread, meaning)
    return shown


def fill_phrase(word: str) -> str:
    """Return a stored fill as a reader's phrase: `wind: 2 m/s assumed`."""
    variable, _, method = word.partition(":")
    return f"{VARIABLE_WORDS.get(variable, variable)}: {FILL_MEANING.get(method, method)}"


def _flag_phrases(words: str) -> list[str]:
    """Stored code words as phrases."""
    found = flags_of_words(words)
    return [FLAG_MEANING[flag] for flag in Flag if flag & found and flag in FLAG_MEANING]

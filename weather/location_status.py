"""Reads of the weather page: how each location stands, its last days, and when the services last answered."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np
from django.db.models import Avg, Count, Max, Min, Q

from weather.calc.spread_rules import TOLD
from weather.calc.weather_days import WeatherDays
from weather.day_status import DayRow, ShownValue, day_rows
from weather.models import DailyWeather, Location
from weather.plot_frame import Track
from weather.selectors import GAP_SOURCE, weather_days

SHOWN_DAYS: Final = 60
FORECAST_DAYS: Final = 8
_WEEK: Final = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class LocationRow:
    """How one location stood over the last 60 days before the newest day of all."""

    pk: int
    name: str
    is_grid: bool
    newest_day: date | None
    days_late: int | None  # None: never measured
    missing: int
    filled: int
    flagged: int
    et_week_mm: float | None
    latitude_deg: float
    longitude_deg: float
    is_gauge: bool = False  # measured rain and no temperature: its own ET is nobody's

    @property
    def shape(self) -> str:
        """Return the state: never measured, late, or in order."""
        if self.days_late is None:
            return "few"
        return "watch" if self.days_late else "ok"

    @property
    def state_words(self) -> str:
        """Return the state in words."""
        if self.days_late is None:
            return "never measured"
        late = f"{self.days_late} day{'' if self.days_late == 1 else 's'} late"
        return late if self.days_late else "in order"

    @property
    def is_late(self) -> bool:
        """Return whether it lags behind the newest day of all, or was never measured."""
        return self.days_late != 0


@dataclass(frozen=True, slots=True)
class LocationList:
    """All locations, and what they say together."""

    rows: tuple[LocationRow, ...]
    newest_day: date | None

    @property
    def late(self) -> int:
        """Return how many lag behind the newest day of all, or were never measured."""
        return sum(1 for row in self.rows if row.is_late)

    @property
    def missing(self) -> int:
        """Return the location-days that nobody measured."""
        return sum(row.missing for row in self.rows)

    @property
    def filled(self) -> int:
        """Return the measured location-days that were filled in part."""
        return sum(row.filled for row in self.rows)


@dataclass(frozen=True, slots=True)
class FillGroup:
    """One way of filling: on how many days, and which variables."""

    how: str
    days: int
    variables: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LocationDetail:
    """One location with its last days."""

    location: Location
    sky: WeatherDays
    days: tuple[DayRow, ...]
    fills: tuple[FillGroup, ...]
    remarks: tuple[tuple[str, int], ...]
    first_day: date | None

    def tracks(self) -> dict[str, Track]:
        """Return each value over the days of the plots, with its spread."""
        days: list[date] = self.sky.days.tolist()
        rows = {row.day: row for row in self.days}
        nothing = ShownValue("", "", None, None)
        tracks = {}
        for name in (*TOLD, "eto_mm"):
            cells = [rows[day].values[name] if day in rows else nothing for day in days]
            tracks[name] = Track(
                values=np.array([cell.value for cell in cells], dtype=np.float64),
                spreads=np.array([cell.spread for cell in cells], dtype=np.float64),
                is_marked=np.array(
                    [
                        cell.is_put_in or (day in rows and rows[day].is_forecast)
                        for day, cell in zip(days, cells, strict=True)
                    ]
                ),
            )
        return tracks

    @property
    def is_gauge(self) -> bool:
        """Return whether the location measured rain and no temperature in these days."""
        told = [day for day in self.days if day.source != GAP_SOURCE and not day.is_forecast]
        return bool(told) and all(day.values["tmax_c"].how or day.tmax_c is None for day in told)

    @property
    def has_unknown_rain(self) -> bool:
        """Return whether the rain of some shown day is unknown."""
        return any(day.rain_mm is None and day.kind == DailyWeather.Kind.OBSERVED for day in self.days)


def location_list() -> LocationList:
    """Return every location with its counts over the last 60 days; three queries for any number of them."""
    places = list(Location.objects.order_by("name"))
    newest = max((place.newest_day for place in places if place.newest_day), default=None)
    if newest is None:
        empty = (
            LocationRow(p.pk, p.name, p.is_grid, None, None, 0, 0, 0, None, p.latitude, p.longitude)
            for p in places
        )
        return LocationList(tuple(empty), None)
    start = newest - timedelta(days=SHOWN_DAYS - 1)
    recent = DailyWeather.objects.filter(kind=DailyWeather.Kind.OBSERVED, day__gte=start, day__lte=newest)
    measured = ~Q(source=GAP_SOURCE)
    counts = {
        row["location_id"]: row
        for row in recent.order_by()
        .values("location_id")
        .annotate(
            told=Count("pk", filter=measured),
            filled=Count("pk", filter=measured & ~Q(filled="")),
            warm=Count("pk", filter=Q(tmax_c__isnull=False)),
            flagged=Count("pk", filter=~Q(flags="")),
            week=Avg("eto_mm", filter=Q(day__gt=newest - _WEEK)),
        )
    }
    firsts = _first_days([place.pk for place in places])
    rows = []
    for place in places:
        count = counts.get(place.pk)
        first = max(start, firsts.get(place.pk, newest + timedelta(days=1)))
        due = (newest - first).days + 1
        is_gauge = bool(count and count["told"] and not count["warm"])
        rows.append(
            LocationRow(
                pk=place.pk,
                name=place.name,
                is_grid=place.is_grid,
                newest_day=place.newest_day,
                days_late=None if place.newest_day is None else (newest - place.newest_day).days,
                missing=max(0, due - (count["told"] if count else 0)),
                filled=count["filled"] if count and not is_gauge else 0,
                flagged=count["flagged"] if count else 0,
                et_week_mm=count["week"] if count else None,
                latitude_deg=place.latitude,
                longitude_deg=place.longitude,
                is_gauge=is_gauge,
            )
        )
    return LocationList(tuple(rows), newest)


def _first_days(location_ids: Sequence[int]) -> dict[int, date]:
    """First measured day by location."""
    rows = DailyWeather.objects.filter(location_id__in=location_ids, kind=DailyWeather.Kind.OBSERVED)
    return dict(rows.order_by().values_list("location_id").annotate(first=Min("day")))


def location_detail(*, pk: int) -> LocationDetail | None:
    """Return one location with its last 60 days and the coming week, or None where there is no such one."""
    location = Location.objects.filter(pk=pk).first()
    if location is None:
        return None
    stored = DailyWeather.objects.filter(location=location)
    last = stored.filter(kind=DailyWeather.Kind.OBSERVED).aggregate(last=Max("day"))["last"]
    anchor = location.newest_day or last or stored.aggregate(first=Min("day"))["first"]
    if anchor is None:
        return None
    start = anchor - timedelta(days=SHOWN_DAYS - 1)
    end = max(anchor, last or anchor) + timedelta(days=FORECAST_DAYS)
    sky = weather_days(location_ids=[location.pk], start=start, end=end)
    days = day_rows(location=location, start=start, end=end)
    observed = [day for day in days if day.kind == DailyWeather.Kind.OBSERVED]
    return LocationDetail(
        location=location,
        sky=sky,
        days=days,
        fills=_fill_groups(day.filled for day in observed),
        remarks=tuple(Counter(word for day in observed for word in day.flags).most_common()),
        first_day=stored.filter(kind=DailyWeather.Kind.OBSERVED).aggregate(first=Min("day"))["first"],
    )


def _fill_groups(days: Iterable[tuple[str, ...]]) -> tuple[FillGroup, ...]:
    """Ways of filling, the most frequent first."""
    counts: Counter[str] = Counter()
    variables: dict[str, list[str]] = {}
    for phrases in days:
        parted = [phrase.partition(": ")[::2] for phrase in phrases]
        counts.update({how for _, how in parted})
        for variable, how in parted:
            known = variables.setdefault(how, [])
            if variable not in known:
                known.append(variable)
    return tuple(FillGroup(how, count, tuple(variables[how])) for how, count in counts.most_common())

"""Storing daily weather: an upsert by location, day, kind and issue, and what follows from a change."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from django.db import transaction
from django.db.models import Max

from weather.calc.new_days import FORECAST, RAW, NewDay, NewPlace
from weather.models import DailyWeather, Location
from weather.selectors import GAP_SOURCE
from weather.services.fill_weather import GAUGE_DRY, WeatherFill, fill_weather

_BATCH: Final = 2_000
Key = tuple[str, date, str, date]
Stored = tuple[tuple[float | None, ...], str, str]  # raw values, flags, source


@dataclass(frozen=True, slots=True)
class WeatherRecord:
    """What storing did.

    Parameters
    ----------
    added, changed, unchanged
        Days that were new, that differed from what was stored, and that did not.
    locations
        Locations that the days belong to.
    filled
        Rows whose ET or rain was computed anew, gaps among them.
    """

    added: int
    changed: int
    unchanged: int
    locations: int
    filled: int


@dataclass(frozen=True, slots=True)
class WeatherDifference:
    """Days against what is stored: new ones, and those that would change a stored one."""

    new: tuple[NewDay, ...]
    changed: tuple[NewDay, ...]


def compare_daily_weather(*, days: Sequence[NewDay], source: str, wins: bool = True) -> WeatherDifference:
    """Return which days are new and which differ from what is stored.

    Parameters
    ----------
    days
        Checked days; the same key twice is not allowed.
    source
        Where they come from.
    wins
        True: a day replaces the stored one. False: it does so only where the same source told it before;
        into another source's day it puts only what that one did not know.
    """
    stored = _stored(days)
    new, changed = [], []
    for day in days:
        before = stored.get(day.key)
        if before is None or before[2] == GAP_SOURCE:
            new.append(day)
            continue
        merged = day if wins or before[2] == source else _only_unknown(day, before)
        if (merged.values, merged.flags) != before[:2]:
            changed.append(merged)
    return WeatherDifference(tuple(new), tuple(changed))


@transaction.atomic
def record_daily_weather(
    *, days: Sequence[NewDay], source: str, now: datetime, wins: bool = True
) -> WeatherRecord:
    """Store days, compute and fill what they touch, and mark what is out of date because of them.

    Parameters
    ----------
    days
        Checked days; the same key twice is not allowed.
    source
        Where they come from: a service's name, or a file's.
    now
        When they were fetched.
    wins
        As in `compare_daily_weather`.
    """
    if not days:
        return WeatherRecord(0, 0, 0, 0, 0)
    difference = compare_daily_weather(days=days, source=source, wins=wins)
    ids, moved = _upsert_locations({day.place.name: day.place for day in days})
    touched = [*difference.new, *difference.changed]
    _upsert(touched, ids, source, now)
    _keep_newest_days(list(ids.values()))
    start = {ids[name]: date.min for name in moved}
    issues = {day.issued for day in touched if day.kind == FORECAST}
    for day in touched:
        if day.kind != FORECAST:
            start[ids[day.place.name]] = min(day.day, start.get(ids[day.place.name], day.day))
    filled = fill_weather(since=start, issues=issues, now=now) if start or issues else WeatherFill(0, 0)
    return WeatherRecord(
        added=len(difference.new),
        changed=len(difference.changed),
        unchanged=len(days) - len(touched),
        locations=len(ids),
        filled=filled.rows,
    )


def _stored(days: Sequence[NewDay]) -> dict[Key, Stored]:
    """What is stored of the places and days, by natural key."""
    if not days:
        return {}
    names = sorted({day.place.name for day in days})
    first, last = min(day.day for day in days), max(day.day for day in days)
    stored: dict[Key, Stored] = {}
    for left in range(0, len(names), _BATCH // 4):
        rows = DailyWeather.objects.filter(
            location__name__in=names[left : left + _BATCH // 4], day__gte=first, day__lte=last
        ).values_list("location__name", "day", "kind", "issued", "flags", "source", *RAW)
        for name, day, kind, issued, flags, source, *values in rows.iterator(chunk_size=_BATCH):
            # What only the filling can see is no remark on the row itself.
            own = " ".join(word for word in flags.split() if word != GAUGE_DRY)
            stored[name, day, kind, issued] = (tuple(values), own, source)
    return stored


def _only_unknown(day: NewDay, before: Stored) -> NewDay:
    """The stored day with what only the new one knows."""
    values, flags, _ = before
    known = dict(zip(RAW, values, strict=True))
    told = dict(zip(RAW, day.values, strict=True))
    adds_wind = known["wind_m_s"] is None and told["wind_m_s"] is not None
    merged = {name: told[name] if known[name] is None else known[name] for name in RAW}
    # A wind belongs to the height at which it was measured.
    merged["wind_height_m"] = told["wind_height_m"] if adds_wind else known["wind_height_m"]
    return NewDay(
        day.place, day.day, day.kind, day.issued, tuple(merged[name] for name in RAW), flags, day.row
    )


def _upsert_locations(places: dict[str, NewPlace]) -> tuple[dict[str, int], set[str]]:
    """Ids by name, and the names of known locations that moved."""
    before = {
        name: (latitude, longitude, elevation_m)
        for name, latitude, longitude, elevation_m in Location.objects.filter(
            name__in=list(places)
        ).values_list("name", "latitude", "longitude", "elevation_m")
    }
    wanted = {
        name: (place.latitude_deg, place.longitude_deg, place.elevation_m) for name, place in places.items()
    }
    other = [name for name in places if before.get(name) != wanted[name]]
    Location.objects.bulk_create(
        [
            Location(
                name=name,
                latitude=places[name].latitude_deg,
                longitude=places[name].longitude_deg,
                elevation_m=places[name].elevation_m,
                is_grid=places[name].is_grid,
            )
            for name in other
        ],
        batch_size=_BATCH,
        update_conflicts=True,
        unique_fields=["name"],
        update_fields=["latitude", "longitude", "elevation_m", "is_grid"],
    )
    ids = dict(Location.objects.filter(name__in=list(places)).values_list("name", "pk"))
    return ids, {name for name in other if name in before}


def _upsert(days: Sequence[NewDay], ids: dict[str, int], source: str, now: datetime) -> None:
    """Raw values of the days; what was computed stands until it is computed again."""
    DailyWeather.objects.bulk_create(
        [
            DailyWeather(
                location_id=ids[day.place.name],
                day=day.day,
                kind=day.kind,
                issued=day.issued,
                source=source[:80],
                fetched_at=now,
                flags=day.flags,
                **dict(zip(RAW, day.values, strict=True)),
            )
            for day in days
        ],
        batch_size=_BATCH,
        update_conflicts=True,
        unique_fields=["location", "day", "kind", "issued"],
        update_fields=[*RAW, "source", "fetched_at", "flags"],
    )


def _keep_newest_days(location_ids: Sequence[int]) -> None:
    """Keep each location's newest measured day beside it."""
    newest = dict(
        DailyWeather.objects.filter(kind=DailyWeather.Kind.OBSERVED, location_id__in=location_ids)
        .exclude(source=GAP_SOURCE)
        .order_by()
        .values_list("location_id")
        .annotate(newest=Max("day"))
    )
    changed = []
    for location in Location.objects.filter(pk__in=location_ids):
        if newest.get(location.pk) != location.newest_day:
            location.newest_day = newest.get(location.pk)
            changed.append(location)
    Location.objects.bulk_update(changed, ["newest_day"], batch_size=_BATCH)

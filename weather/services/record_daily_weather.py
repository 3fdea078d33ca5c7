"""Storing daily weather: an upsert by location, day, kind and issue, and what follows from a change."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Final

from django.db import transaction
from django.db.models import Max

from weather.calc.new_days import FORECAST, RAW, NewDay, NewPlace
from weather.calc.source_chain import ChosenDay
from weather.models import DailyWeather, Location
from weather.selectors import GAP_SOURCE
from weather.services.fill_weather import GAUGE_DRY, WeatherFill, fill_weather
from weather.services.told_days import Key, ToldDays, keep_told_days, put_together, told_days

_BATCH: Final = 2_000
Stored = tuple[tuple[float | None, ...], str, str, str]  # raw values, flags, source, parts


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


def compare_daily_weather(*, days: Sequence[NewDay], source: str) -> WeatherDifference:
    """Return which days are new and which would differ from what is stored.

    Parameters
    ----------
    days
        Checked days; the same key twice is not allowed.
    source
        Where they come from. Where other sources told a day too, their order decides variable by variable.
    """
    if not days:
        return WeatherDifference((), ())
    return _difference(days, put_together(days=days, told=_told(days), label=source))


def changed_days(*, days: Sequence[NewDay], chosen: Mapping[Key, ChosenDay]) -> tuple[NewDay, ...]:
    """Return the stored days that an order of sources would change, with their values as chosen.

    Parameters
    ----------
    days
        Days that are stored.
    chosen
        What their sources tell together, by natural key.
    """
    return _difference(days, chosen).changed if days else ()


def _difference(days: Sequence[NewDay], chosen: Mapping[Key, ChosenDay]) -> WeatherDifference:
    """New days and changed ones, as their sources tell them together."""
    stored = _stored(days)
    new, changed = [], []
    for day in days:
        before, now = stored.get(day.key), chosen[day.key]
        made = replace(day, values=now.values, flags=now.flags)
        if before is None or before[2] == GAP_SOURCE:
            new.append(made)
        elif (now.values, now.flags, now.parts) != (*before[:2], before[3]):
            changed.append(made)
    return WeatherDifference(tuple(new), tuple(changed))


@transaction.atomic
def record_daily_weather(*, days: Sequence[NewDay], source: str, now: datetime) -> WeatherRecord:
    """Store days, compute and fill what they touch, and mark what is out of date because of them.

    Parameters
    ----------
    days
        Checked days; the same key twice is not allowed.
    source
        Where they come from: a service's name, or a file's. What other sources told is kept beside, and the
        order of the sources decides variable by variable.
    now
        When they were fetched.
    """
    if not days:
        return WeatherRecord(0, 0, 0, 0, 0)
    told = _told(days)
    chosen = put_together(days=days, told=told, label=source)
    difference = _difference(days, chosen)
    ids, moved = _upsert_locations({day.place.name: day.place for day in days})
    keep_told_days(days=days, told=told, ids=ids, label=source, now=now)
    touched = [*difference.new, *difference.changed]
    filled = write_chosen_days(days=touched, chosen=chosen, ids=ids, moved=moved, now=now)
    return WeatherRecord(
        added=len(difference.new),
        changed=len(difference.changed),
        unchanged=len(days) - len(touched),
        locations=len(ids),
        filled=filled.rows,
    )


def write_chosen_days(
    *,
    days: Sequence[NewDay],
    chosen: Mapping[Key, ChosenDay],
    ids: Mapping[str, int],
    moved: Collection[str] = (),
    now: datetime,
) -> WeatherFill:
    """Write days as their sources tell them together, and compute what they touch.

    Parameters
    ----------
    days
        Days that are new or changed, with their values as chosen.
    chosen
        Where each comes from, by natural key.
    ids
        Ids of the locations by name.
    moved
        Names of locations that moved: all of their days are computed again.
    now
        When it is done.
    """
    _upsert(days, chosen, ids, now)
    _keep_newest_days(list(ids.values()))
    start = {ids[name]: date.min for name in moved}
    issues = {day.issued for day in days if day.kind == FORECAST}
    for day in days:
        if day.kind != FORECAST:
            start[ids[day.place.name]] = min(day.day, start.get(ids[day.place.name], day.day))
    return fill_weather(since=start, issues=issues, now=now) if start or issues else WeatherFill(0, 0)


def _told(days: Sequence[NewDay]) -> ToldDays:
    """What every source told of the places and days."""
    dates = [day.day for day in days]
    return told_days(names=sorted({day.place.name for day in days}), first=min(dates), last=max(dates))


def _stored(days: Sequence[NewDay]) -> dict[Key, Stored]:
    """What is stored of the places and days, by natural key."""
    names = sorted({day.place.name for day in days})
    first, last = min(day.day for day in days), max(day.day for day in days)
    stored: dict[Key, Stored] = {}
    for left in range(0, len(names), _BATCH // 4):
        rows = DailyWeather.objects.filter(
            location__name__in=names[left : left + _BATCH // 4], day__gte=first, day__lte=last
        ).values_list("location__name", "day", "kind", "issued", "flags", "source", "parts", *RAW)
        for name, day, kind, issued, flags, source, parts, *values in rows.iterator(chunk_size=_BATCH):
            # What only the filling can see is no remark on the row itself.
            own = " ".join(word for word in flags.split() if word != GAUGE_DRY)
            stored[name, day, kind, issued] = (tuple(values), own, source, parts)
    return stored


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


def _upsert(
    days: Sequence[NewDay], chosen: Mapping[Key, ChosenDay], ids: Mapping[str, int], now: datetime
) -> None:
    """Raw values of the days; what was computed stands until it is computed again."""
    DailyWeather.objects.bulk_create(
        [
            DailyWeather(
                location_id=ids[day.place.name],
                day=day.day,
                kind=day.kind,
                issued=day.issued,
                source=chosen[day.key].label,
                parts=chosen[day.key].parts,
                fetched_at=now,
                flags=day.flags,
                **dict(zip(RAW, day.values, strict=True)),
            )
            for day in days
        ],
        batch_size=_BATCH,
        update_conflicts=True,
        unique_fields=["location", "day", "kind", "issued"],
        update_fields=[*RAW, "source", "parts", "fetched_at", "flags"],
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

"""Whose rain a site takes, with its last report, the days on which it was silent, and what else there is."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np
from django.db.models import Max, Min, Q

from sites.models import Site
from sites.models.choices import RainFrom
from weather.calc.neighbours import chord_to_km, unit_vectors
from weather.models import DailyWeather, Location
from weather.selectors import GAP_SOURCE, weather_days

LOOKED_BACK_D: Final = 60
OFFERED_WITHIN_KM: Final = 30.0
OFFERED: Final = 8
# A box of so many degrees holds the circle anywhere south of 60 degrees north.
_BOX_DEG: Final = 0.6


@dataclass(frozen=True, slots=True)
class Gauge:
    """A location that tells rain: how far away [km], and what it last told [mm]."""

    pk: int
    name: str
    distance_km: float | None
    last_day: date | None


@dataclass(frozen=True, slots=True)
class SilentDay:
    """A day on which the gauge told nothing: the rain that stands in for it, with its spread [mm]."""

    day: date
    rain_mm: float | None
    rain_sd_mm: float | None


@dataclass(frozen=True, slots=True)
class RainStanding:
    """Whose rain counts: `gauge` is None where it is the location's own."""

    choice: str
    station_id: int | None
    location: Location | None
    gauge: Gauge | None
    last_mm: float | None
    location_last_day: date | None
    silent: tuple[SilentDay, ...]
    own: Gauge | None
    stations: tuple[Gauge, ...]

    @property
    def is_own(self) -> bool:
        """Return whether the site's own gauge counts."""
        return self.gauge is not None and self.own is not None and self.gauge.pk == self.own.pk

    @property
    def is_missing(self) -> bool:
        """Return whether a chosen gauge or station is not there any more."""
        return self.gauge is None and self.choice in (RainFrom.OWN, RainFrom.STATION)


def rain_standing(*, site: Site) -> RainStanding:
    """Return whose rain a site takes.

    Parameters
    ----------
    site
        The site, with `location` and `rain_location`.
    """
    location, teller = site.location, site.rain_location
    last_days = _last_days(site, [place.pk for place in (location, teller) if place is not None])
    gauges = _gauges(site, last_days)
    gauge = gauges.get(teller.pk) if teller is not None else None
    own = next((one for one in gauges.values() if one.name == site.code), None)
    ways = [(one.distance_km, one.pk) for one in gauges.values() if one.distance_km is not None]
    near = [gauges[pk] for way, pk in sorted(ways) if way <= OFFERED_WITHIN_KM and gauges[pk] is not own]
    return RainStanding(
        choice=site.rain_from,
        station_id=site.rain_station_id,
        location=location,
        gauge=gauge,
        last_mm=_rain_on(gauge.pk, gauge.last_day) if gauge else None,
        location_last_day=last_days.get(location.pk) if location else None,
        silent=_silent_days(site) if gauge else (),
        own=own,
        stations=tuple(near[:OFFERED]),
    )


def first_report(*, location_id: int) -> date | None:
    """Return the first day of which a gauge told rain: before, it was not there, and so was not silent."""
    told = DailyWeather.objects.filter(
        location_id=location_id, kind=DailyWeather.Kind.OBSERVED, rain_mm__isnull=False
    )
    first: date | None = told.aggregate(first=Min("day"))["first"]
    return first


def _last_days(site: Site, others: list[int]) -> dict[int, date]:
    """Newest day with rain that a location told itself, of locations around a site and some others."""
    wanted = Q(location_id__in=others) | Q(location__name=site.code)
    if site.latitude is not None and site.longitude is not None:
        wanted |= Q(
            location__is_grid=False,
            location__latitude__range=(site.latitude - _BOX_DEG, site.latitude + _BOX_DEG),
            location__longitude__range=(site.longitude - _BOX_DEG, site.longitude + _BOX_DEG),
        )
    told = DailyWeather.objects.filter(wanted, kind=DailyWeather.Kind.OBSERVED, rain_mm__isnull=False)
    rows = told.exclude(source=GAP_SOURCE).order_by().values_list("location_id")
    return dict(rows.annotate(last=Max("day")))


def _gauges(site: Site, last_days: dict[int, date]) -> dict[int, Gauge]:
    """Locations that told rain, with their way from the site; the one in use among them."""
    wanted = {*last_days, *([site.rain_location_id] if site.rain_location_id else [])}
    places = list(Location.objects.filter(pk__in=wanted, is_grid=False))
    ways: list[float | None] = [None] * len(places)
    if site.latitude is not None and site.longitude is not None and places:
        here = unit_vectors(np.array([site.latitude]), np.array([site.longitude]))
        there = unit_vectors(
            np.array([place.latitude for place in places]), np.array([place.longitude for place in places])
        )
        ways = list(chord_to_km(np.linalg.norm(there - here, axis=1)).tolist())
    return {
        place.pk: Gauge(place.pk, place.name, way, last_days.get(place.pk))
        for place, way in zip(places, ways, strict=True)
    }


def _rain_on(location_id: int, day: date | None) -> float | None:
    """Rain that a location told of a day [mm]."""
    if day is None:
        return None
    rows = DailyWeather.objects.filter(location_id=location_id, day=day, kind=DailyWeather.Kind.OBSERVED)
    return rows.values_list("rain_mm", flat=True).first()


def _silent_days(site: Site) -> tuple[SilentDay, ...]:
    """Days of the last 60 before the location's newest on which the gauge, once there, told nothing."""
    location, teller = site.location, site.rain_location
    if location is None or teller is None or location.newest_day is None:
        return ()
    end = location.newest_day + timedelta(days=1)
    start = max(end - timedelta(days=LOOKED_BACK_D), first_report(location_id=teller.pk) or end)
    if start >= end:
        return ()
    sky = weather_days(location_ids=[location.pk, teller.pk], start=start, end=end)
    rain = sky.rain_of(np.array([location.pk]), np.array([teller.pk]))
    return tuple(
        SilentDay(sky.days[at].item(), _known(rain.rain_mm[at, 0]), _known(rain.rain_sd_mm[at, 0]))
        for at in reversed(np.flatnonzero(rain.is_stood_in[:, 0]).tolist())
    )


def _known(value: float) -> float | None:
    """A number, None where it is not known."""
    return None if np.isnan(value) else float(value)

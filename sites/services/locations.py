"""Which weather each site gets, and where weather has to be pulled for the sites."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np
from django.db import transaction
from django.db.models import Max

from sites.calc.nearest_location import (
    RAIN_WITHIN_KM,
    WITHIN_KM,
    WITHIN_M,
    NearestLocation,
    nearest_location,
)
from sites.models import Site
from sites.models.choices import RainFrom
from weather.calc.arrays import FloatArray
from weather.calc.daily_weather import Places
from weather.models import DailyWeather, Location

# A location that fell this far behind the newest one tells no site's weather any more.
FORGOTTEN_AFTER: Final = timedelta(days=60)
_READ: Final = (
    "code",
    "latitude",
    "longitude",
    "location_id",
    "rain_location_id",
    "rain_from",
    "rain_station_id",
    "no_weather_reason",
)
NO_POSITION: Final = "the site has no position"
NO_LOCATION: Final = "no location has any weather yet"


@dataclass(frozen=True, slots=True)
class LocationAssignment:
    """What assigning did.

    Parameters
    ----------
    sites
        Sites looked at.
    changed
        Sites whose location, rain gauge or reason changed.
    without_weather
        Codes of the sites without weather, with the reason.
    """

    sites: int
    changed: int
    without_weather: tuple[tuple[str, str], ...]

    def summary(self) -> str:
        """One line for the end of a command."""
        lacking = f"; {len(self.without_weather)} without weather" if self.without_weather else ""
        return f"Weather locations of {self.sites} sites: {self.changed} changed{lacking}."


@transaction.atomic
def assign_locations(
    *,
    within_km: float = WITHIN_KM,
    within_m: float = WITHIN_M,
    rain_within_km: float = RAIN_WITHIN_KM,
    site_ids: Collection[int] | None = None,
) -> LocationAssignment:
    """Give each site the nearest location that tells weather, and a nearer rain gauge where there is one.

    A location that only measures rain is a gauge, not weather, as long as any other tells temperatures. A
    gauge that is named as the site's code is the site's own: it tells its rain wherever it is said to stand,
    and serves no other site by itself.
    What somebody chose for a site goes before: a chosen gauge stays, however silent it is.

    Parameters
    ----------
    within_km, within_m
        Farthest way, and largest difference in height between a location and the rain gauge taken
        instead of it. (The book of sites knows no heights.)
    rain_within_km
        Farthest way to a gauge.
    site_ids
        Only these sites; None: all.
    """
    book = Site.objects.order_by("pk") if site_ids is None else Site.objects.filter(pk__in=list(site_ids))
    sites = list(book.only(*_READ))
    chosen_own = _own_gauges([site.code for site in sites if site.rain_from == RainFrom.OWN])
    living = _living_locations()
    telling = _ids_that_tell(living, "tmax_c")
    locations = [location for location in living if location.pk in telling] or living
    ids = np.array([location.pk for location in locations], dtype=np.int64)
    position = [_column([getattr(site, name) for site in sites]) for name in ("latitude", "longitude")]
    found = nearest_location(
        position[0], position[1], np.full(len(sites), np.nan), _places(locations), within_km=within_km
    )
    heights = _places(locations).elevation_m
    own_height = np.where(found.chosen >= 0, heights[found.chosen] if len(locations) else np.nan, np.nan)
    wet = _ids_that_tell(living, "rain_mm")
    gauges = [location for location in living if location.pk in wet and not location.is_grid]
    owned = _names_of_own_gauges()
    own = {gauge.name: gauge for gauge in gauges if gauge.name in owned}
    # A customer's gauge serves others only where somebody chooses it.
    gauges = [gauge for gauge in gauges if gauge.name not in owned]
    rain = nearest_location(
        position[0], position[1], own_height, _places(gauges), within_km=rain_within_km, within_m=within_m
    )
    changed, lacking = [], []
    for at, site in enumerate(sites):
        place = int(ids[found.chosen[at]]) if found.chosen[at] >= 0 else None
        reason = "" if place is not None else _reason(site, found, at, locations, within_km)
        nearest = gauges[int(rain.chosen[at])].pk if rain.chosen[at] >= 0 else None
        own_pk = own[site.code].pk if site.code in own else None
        gauge_pk = _gauge_of(site, nearest, own_pk, chosen_own) if place is not None else None
        gauge_pk = None if gauge_pk == place else gauge_pk
        if reason:
            lacking.append((site.code, reason))
        before = (site.location_id, site.rain_location_id, site.no_weather_reason)
        if before != (place, gauge_pk, reason):
            site.location_id, site.rain_location_id, site.no_weather_reason = place, gauge_pk, reason
            changed.append(site)
    Site.objects.bulk_update(changed, ["location", "rain_location", "no_weather_reason"], batch_size=500)
    return LocationAssignment(len(sites), len(changed), tuple(sorted(lacking)))


def _gauge_of(site: Site, nearest: int | None, own: int | None, chosen_own: Mapping[str, int]) -> int | None:
    """Location whose gauge tells a site's rain, None for the site's own location."""
    if site.rain_from == RainFrom.LOCATION:
        return None
    if site.rain_from == RainFrom.OWN:
        return chosen_own.get(site.code)
    if site.rain_from == RainFrom.STATION:
        return site.rain_station_id
    return nearest if own is None else own


def _own_gauges(codes: Sequence[str]) -> dict[str, int]:
    """Gauges that are named as sites, silent ones among them."""
    if not codes:
        return {}
    return dict(Location.objects.filter(name__in=codes, is_grid=False).values_list("name", "pk"))


def _names_of_own_gauges() -> set[str]:
    """Locations that are named as a site: its own gauge."""
    named = Location.objects.filter(name__in=Site.objects.values("code"))
    return set(named.values_list("name", flat=True))


def _living_locations() -> list[Location]:
    """Locations that tell weather: some day was measured, and not long before the newest of all."""
    newest = Location.objects.aggregate(newest=Max("newest_day"))["newest"]
    if newest is None:
        return []
    return list(Location.objects.filter(newest_day__gte=newest - FORGOTTEN_AFTER).order_by("pk"))


def _ids_that_tell(locations: Sequence[Location], variable: str) -> set[int]:
    """Locations that measured a variable themselves lately."""
    newest: date | None = max(
        (location.newest_day for location in locations if location.newest_day), default=None
    )
    if newest is None:
        return set()
    rows = DailyWeather.objects.filter(
        kind=DailyWeather.Kind.OBSERVED, day__gt=newest - FORGOTTEN_AFTER, **{f"{variable}__isnull": False}
    )
    return set(rows.order_by().values_list("location_id", flat=True).distinct())


def _places(locations: Sequence[Location]) -> Places:
    """Positions and heights as arrays."""
    return Places(
        *(
            _column([getattr(location, name) for location in locations])
            for name in ("latitude", "longitude", "elevation_m")
        )
    )


def _column(values: Sequence[float | None]) -> FloatArray:
    """Numbers as an array, NaN where unknown."""
    return np.array(values, dtype=np.float64).reshape(-1)


def _reason(
    site: Site, found: NearestLocation, at: int, locations: Sequence[Location], within_km: float
) -> str:
    """Why a site has no weather, in words for its page."""
    if site.latitude is None or site.longitude is None:
        return NO_POSITION
    if found.nearest[at] < 0:
        return NO_LOCATION
    name = locations[int(found.nearest[at])].name
    return f"the nearest location, {name}, is {found.distance_km[at]:.0f} km away (at most {within_km:g} km)"

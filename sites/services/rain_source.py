"""Whose rain a site takes: its location's, the nearest gauge's, a chosen station's or its own gauge's."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from sites.models import Site
from sites.models.choices import RainFrom
from sites.services.history import ChangeNote, record_changes
from sites.services.locations import assign_locations
from weather.models import Location

KIND = "rain_source"


class BadRainSource(ValueError):
    """A choice that the site cannot have; says why."""


@dataclass(frozen=True, slots=True)
class RainChosen:
    """What was chosen before and now, in words, and whose rain counts from now on (empty: the location's)."""

    site_code: str
    before: str
    after: str
    gauge: str


@transaction.atomic
def choose_rain(
    *, site_id: int, rain_from: str, station_id: int | None = None, by: str, at: datetime
) -> RainChosen:
    """Choose whose rain a site takes; its balance is computed again with the next run.

    Parameters
    ----------
    site_id
        The site.
    rain_from
        One of `RainFrom`.
    station_id
        The station, where one is chosen.
    by, at
        Who and when, for the history.

    Raises
    ------
    BadRainSource
        No such choice, no such station, or no gauge of the site's own.
    """
    site = Site.objects.select_for_update(of=("self",)).select_related("rain_station").get(pk=site_id)
    if rain_from not in RainFrom.values:
        raise BadRainSource(f"{rain_from!r} is no choice for rain")
    before = rain_words(site)
    station = None
    if rain_from == RainFrom.STATION:
        station = Location.objects.filter(pk=station_id or 0, is_grid=False).first()
        if station is None:
            raise BadRainSource("there is no such station")
    if rain_from == RainFrom.OWN and not Location.objects.filter(name=site.code, is_grid=False).exists():
        raise BadRainSource(f"no gauge is named {site.code}: bring its days as a weather file first")
    site.rain_from, site.rain_station = RainFrom(rain_from), station
    site.save(update_fields=["rain_from", "rain_station"])
    assign_locations(site_ids=[site.pk])
    after = rain_words(site)
    if before != after:
        note = ChangeNote(KIND, site.code, site.code, {"rain": before}, {"rain": after})
        record_changes(notes=[note], by=by, at=at)
    gauge = Site.objects.values_list("rain_location__name", flat=True).get(pk=site.pk)
    return RainChosen(site.code, before, after, gauge or "")


def rain_words(site: Site) -> str:
    """Return a site's choice in words."""
    if site.rain_from == RainFrom.STATION:
        return f"the station {site.rain_station.name}" if site.rain_station else "a station that is gone"
    return str(RainFrom(site.rain_from).label)

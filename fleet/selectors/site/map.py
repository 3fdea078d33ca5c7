"""Sites and zones for the map: codes, places and states, a few columns for thousands of rows."""

from __future__ import annotations

import json
from dataclasses import dataclass

import shapely
from django.db.models import Q

from fleet.models import Technician, WatchState, WatchStatus
from sites.models import Site, Zone

# The state of a site is that of its worst controller; nothing known stands above nothing wrong.
SHAPE_OF_STATUS: dict[str, str] = {
    WatchStatus.HEALTHY: "ok",
    WatchStatus.WATCH: "watch",
    WatchStatus.FLAG: "act",
    WatchStatus.TOO_LITTLE_DATA: "few",
    WatchStatus.CANNOT_TELL: "few",
    WatchStatus.NO_LOG: "few",
    WatchStatus.COMMISSIONING: "rest",
    WatchStatus.OFF_SEASON: "rest",
    WatchStatus.RESTING: "rest",
}
WORST_FIRST: tuple[str, ...] = ("act", "watch", "few", "rest", "ok")
MOST_ZONES = 3000


@dataclass(frozen=True, slots=True)
class SiteMark:
    """One site on the map. `shape` is one of ok, act, watch, few, rest."""

    code: str
    longitude: float
    latitude: float
    shape: str
    name: str


@dataclass(frozen=True, slots=True)
class Yard:
    """A place where routes start or end."""

    longitude: float
    latitude: float


def site_shapes(*, site_ids: list[int] | None = None) -> dict[int, str]:
    """Return the shape of each watched site by its id; sites without a watched controller are not in it."""
    rows = WatchState.objects.order_by()
    if site_ids is not None:
        rows = rows.filter(controller__site_id__in=site_ids)
    worst: dict[int, str] = {}
    for site_id, status in rows.values_list("controller__site_id", "status"):
        shape = SHAPE_OF_STATUS.get(status, "few")
        known = worst.get(site_id)
        if known is None or WORST_FIRST.index(shape) < WORST_FIRST.index(known):
            worst[site_id] = shape
    return worst


def site_marks() -> list[SiteMark]:
    """Return every site that has a place, with its state."""
    shapes = site_shapes()
    rows = Site.objects.filter(longitude__isnull=False, latitude__isnull=False).order_by("code")
    return [
        SiteMark(
            code=code,
            longitude=longitude,
            latitude=latitude,
            shape=shapes.get(pk, "few"),
            name=name,
        )
        for pk, code, longitude, latitude, name in rows.values_list(
            "id", "code", "longitude", "latitude", "name"
        )
        if longitude is not None and latitude is not None
    ]


def yards() -> list[Yard]:
    """Return the places where technicians start or end, each once."""
    found: set[tuple[float, float]] = set()
    for row in Technician.objects.filter(is_active=True).values_list(
        "start_longitude", "start_latitude", "end_longitude", "end_latitude"
    ):
        found |= {(row[0], row[1]), (row[2], row[3])}
    return [Yard(longitude=longitude, latitude=latitude) for longitude, latitude in sorted(found)]


def zones_in_box(*, west: float, south: float, east: float, north: float) -> list[dict[str, object]]:
    """Return the zones that touch a box [deg] as GeoJSON features, at most a few thousand."""
    rows = (
        Zone.objects.filter(geometry__isnull=False)
        .filter(Q(min_lon__lte=east, max_lon__gte=west, min_lat__lte=north, max_lat__gte=south))
        .order_by("id")
        .values_list("station", "plant", "controller__code", "controller__site__code", "geometry")[
            :MOST_ZONES
        ]
    )
    return [
        {
            "type": "Feature",
            "properties": {
                "kind": "zone",
                "station": station,
                "plant": plant,
                "controller": controller,
                "site": site,
            },
            "geometry": json.loads(shapely.to_geojson(shapely.from_wkb(geometry)) or "null"),
        }
        for station, plant, controller, site, geometry in rows
    ]

"""Sites and zones for the map: codes, places and states, a few columns for thousands of rows."""

from __future__ import annotations

import json
from dataclasses import dataclass
from hashlib import blake2s
from typing import NamedTuple

import shapely
from django.db.models import Count, Max, Q, Sum, TextField
from django.db.models.functions import Cast

from fleet.models import Company, Technician, WatchState, WatchStatus
from sites.models import Change, Site, Zone

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
_RANK = {shape: rank for rank, shape in enumerate(WORST_FIRST)}
MOST_ZONES = 3000


class SiteMark(NamedTuple):
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
        if known is None or _RANK[shape] < _RANK[known]:
            worst[site_id] = shape
    return worst


def ground_text() -> str:
    """The company's quiet layers by name, as JSON; as it is stored, since nothing but a map reads it."""
    stored = Company.objects.annotate(text=Cast("map_layers", TextField())).values_list("text", flat=True)
    return str(stored.first() or "{}")


def marks_stamp() -> str:
    """A mark of the sites, their places and states; another one as soon as any of them is another.

    States are told by how many controllers each has and by the sum of their keys, places by their sums, and
    names by the newest entry of the history, without which nobody changes one.
    """
    states = WatchState.objects.order_by("status").values_list("status")
    told = [
        list(states.annotate(count=Count("pk"), keys=Sum("controller_id"))),
        Site.objects.aggregate(Count("pk"), Sum("longitude"), Sum("latitude"), Sum("pk")),
        Change.objects.aggregate(Max("pk")),
        [(yard.longitude, yard.latitude) for yard in yards()],
    ]
    return blake2s(repr(told).encode(), digest_size=12).hexdigest()


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

"""What the book holds already, by natural key: what a file's rows are checked and compared against."""

from __future__ import annotations

from dataclasses import dataclass, field

from sites.models import Controller, RuleSet, Sensor, Site, Zone


@dataclass(frozen=True, slots=True)
class KnownSite:
    """A site of the book: its row, clock, shape (WKB) and a point in it."""

    pk: int
    timezone: str
    longitude: float | None
    latitude: float | None
    geometry: bytes | None


@dataclass(frozen=True, slots=True)
class KnownController:
    """A controller of the book: its row, its stations, whether a sensor blocks it, what is assumed of it."""

    pk: int
    station_count: int
    governed: bool
    assumed: frozenset[str]


@dataclass(frozen=True, slots=True)
class KnownZone:
    """A zone of the book: its row, area, and whether it is drawn."""

    pk: int
    area_m2: float
    is_drawn: bool


@dataclass(frozen=True, slots=True)
class KnownBook:
    """The book before an import, by site, controller and station."""

    sites: dict[str, KnownSite] = field(default_factory=dict)
    controllers: dict[tuple[str, str], KnownController] = field(default_factory=dict)
    zones: dict[tuple[str, str, int], KnownZone] = field(default_factory=dict)
    sensors: frozenset[tuple[str, str]] = frozenset()
    rule_sets: frozenset[str] = frozenset()


def known_book() -> KnownBook:
    """The whole book's keys, in five queries."""
    sites = Site.objects.values_list("code", "pk", "timezone", "longitude", "latitude", "geometry")
    controllers = Controller.objects.values_list(
        "site__code", "code", "pk", "station_count", "governed", "assumed"
    )
    zones = Zone.objects.values_list(
        "controller__site__code", "controller__code", "station", "pk", "area_m2", "min_lon"
    )
    return KnownBook(
        sites={
            code: KnownSite(pk, zone, lon, lat, shape) for code, pk, zone, lon, lat, shape in sites.iterator()
        },
        controllers={
            (site, code): KnownController(pk, count, governed, frozenset(assumed.split()))
            for site, code, pk, count, governed, assumed in controllers.iterator()
        },
        zones={
            (site, code, station): KnownZone(pk, area, min_lon is not None)
            for site, code, station, pk, area, min_lon in zones.iterator()
        },
        sensors=frozenset(Sensor.objects.values_list("controller__site__code", "controller__code")),
        rule_sets=frozenset(RuleSet.objects.values_list("code", flat=True)),
    )

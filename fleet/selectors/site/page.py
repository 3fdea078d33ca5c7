"""What the page of one site shows: its zones and their water now, its sensors, what is due."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from fleet.models import Stop, VisitNeed, WatchState
from sites.calc.balance.days import BalanceDays
from sites.calc.zone_table import ZoneTable
from sites.charts import depletion_bar_svg
from sites.models import BalanceFront, Controller, Sensor, Site, Zone
from sites.selectors.balance import balance_days
from sites.selectors.garden import SETBACK_M, sensor_setback_m
from sites.selectors.zone_audits import mixed_zones
from sites.selectors.zones import zone_table

# Depletion beyond the allowed value counts as dry only where it is more than this much beyond it [mm].
_HARDLY_MM = 0.05
_LOOK_BACK_DAYS = 60


@dataclass(frozen=True, slots=True)
class ZoneRow:
    """A zone's line: what the book knows of it, and its water at the last computed day [mm]."""

    zone_id: int
    key: str
    controller: str
    station: int
    name: str
    plant: str
    head: str
    area_m2: float
    precipitation_rate_mm_h: float
    precipitation_rate_assumed: bool
    distribution_uniformity: float
    distribution_uniformity_assumed: bool
    landscape_coefficient: float
    landscape_coefficient_assumed: bool
    depletion_mm: float
    depletion_sd_mm: float
    allowed_mm: float
    is_dry: bool
    dry_days: int
    is_governing: bool
    is_mixed: bool  # heads of different rate, as the newest look at them found
    bar: str


@dataclass(frozen=True, slots=True)
class ControllerFacts:
    """A controller, what the watch says of it, and its sensor."""

    code: str
    pk: int
    gating: str
    assumed: tuple[str, ...]
    watch: WatchState | None
    sensor: Sensor | None
    setback_m: float

    @property
    def is_near_edge(self) -> bool:
        """Whether the sensor stands outside its zone, or nearer to its edge than the setback."""
        return self.setback_m < SETBACK_M


@dataclass(frozen=True, slots=True)
class SitePage:
    """The page: `until` is the last computed day of the balance, None where there is none."""

    site: Site
    today: date
    until: date | None
    zones: tuple[ZoneRow, ...]
    controllers: tuple[ControllerFacts, ...]
    needs: tuple[VisitNeed, ...]
    next_stop: Stop | None
    soil_word: str
    soil_is_assumed: bool

    @property
    def dry_zones(self) -> tuple[ZoneRow, ...]:
        """Zones drier than allowed, the longest dry first."""
        return tuple(sorted((zone for zone in self.zones if zone.is_dry), key=lambda zone: -zone.dry_days))

    @property
    def flagged(self) -> ControllerFacts | None:
        """The first controller with a flag."""
        return next((c for c in self.controllers if c.watch is not None and c.watch.status == "flag"), None)

    @property
    def has_many_controllers(self) -> bool:
        """Whether a station's number alone does not name a zone."""
        return len(self.controllers) > 1

    @property
    def has_assumed(self) -> bool:
        """Whether any value of the zones' table is assumed."""
        return any(
            zone.precipitation_rate_assumed or zone.distribution_uniformity_assumed for zone in self.zones
        )

    def zone_of(self, key: str) -> ZoneRow | None:
        """The zone of a key `A/6`, else the governing one, else the first."""
        governing = next((zone for zone in self.zones if zone.is_governing), None)
        first = self.zones[0] if self.zones else None
        return next((zone for zone in self.zones if zone.key == key), governing or first)


def site_page(*, site: Site, today: date) -> SitePage:
    """Everything of the page but its plot, program and history."""
    table = zone_table(site_ids=[site.pk])
    front = BalanceFront.objects.filter(site=site).first()
    until = front.last_day if front is not None else None
    last = until or today
    balance = balance_days(
        zone_ids=table.zone_id, start=last - timedelta(days=_LOOK_BACK_DAYS), end=last + timedelta(days=1)
    )
    controllers = (
        Controller.objects.filter(site=site).select_related("watch_state", "sensor").order_by("code")
    )
    soils = {zone.soil for zone in Zone.objects.filter(controller__site=site).only("soil") if zone.soil}
    return SitePage(
        site=site,
        today=today,
        until=until,
        zones=_zone_rows(table, balance),
        controllers=tuple(
            ControllerFacts(
                code=row.code,
                pk=row.pk,
                gating=row.get_gating_display() if row.governed else "",
                assumed=tuple(word.replace("_", " ") for word in row.assumed.split()),
                watch=getattr(row, "watch_state", None),
                sensor=getattr(row, "sensor", None),
                setback_m=sensor_setback_m(sensor=row.sensor) if hasattr(row, "sensor") else float("nan"),
            )
            for row in controllers
        ),
        needs=tuple(
            VisitNeed.objects.filter(site=site, state=VisitNeed.State.OPEN).order_by("-value_per_day")
        ),
        next_stop=Stop.objects.filter(visit__site=site, route__day__gte=today)
        .select_related("route__technician", "visit")
        .order_by("arrive")
        .first(),
        soil_word=site.get_soil_display() if site.soil else ("loam" if not soils else ""),
        soil_is_assumed=not site.soil and not soils,
    )


def _zone_rows(table: ZoneTable, balance: BalanceDays) -> tuple[ZoneRow, ...]:
    """Lines of the zones' table."""
    zones = {
        zone.pk: zone
        for zone in Zone.objects.filter(pk__in=table.zone_id.tolist()).select_related("controller")
    }
    mixed = mixed_zones(zone_ids=list(zones))
    rows = []
    for at, pk in enumerate(table.zone_id.tolist()):
        zone = zones[pk]
        depletion = float(balance.depletion_mm[-1, at])
        allowed = float(table.allowed_depletion_mm[at])
        beyond = balance.depletion_mm[:, at] > allowed + _HARDLY_MM
        rows.append(
            ZoneRow(
                zone_id=pk,
                key=f"{zone.controller.code}/{zone.station}",
                controller=zone.controller.code,
                station=zone.station,
                name=zone.name,
                plant=zone.plant.replace("_", " "),
                head=zone.head.replace("_", " "),
                area_m2=zone.area_m2,
                precipitation_rate_mm_h=float(table.precipitation_rate_mm_h[at]),
                precipitation_rate_assumed=bool(table.precipitation_rate_assumed[at]),
                distribution_uniformity=float(table.distribution_uniformity[at]),
                distribution_uniformity_assumed=bool(table.distribution_uniformity_assumed[at]),
                landscape_coefficient=float(table.landscape_coefficient[at]),
                landscape_coefficient_assumed=bool(table.landscape_coefficient_assumed[at]),
                depletion_mm=depletion,
                depletion_sd_mm=float(balance.depletion_sd_mm[-1, at]),
                allowed_mm=allowed,
                is_dry=bool(beyond[-1]),
                dry_days=_days_at_end(beyond),
                is_governing=bool(table.is_governing[at]),
                is_mixed=pk in mixed,
                bar=depletion_bar_svg(depletion, allowed),
            )
        )
    return tuple(rows)


def _days_at_end(beyond: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> int:
    """How many days up to the last are true without a break."""
    breaks = np.flatnonzero(~beyond)
    return int(beyond.size - 1 - breaks[-1]) if breaks.size else int(beyond.size)

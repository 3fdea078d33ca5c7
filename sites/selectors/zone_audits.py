"""Audits of a site's zones, and what stands in them now: measured, typed or assumed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Prefetch

from sites.calc.audit.entry import RunEffect, run_effect
from sites.calc.audit.words import rating
from sites.calc.balance.run_off import cycles_and_soak, runoff_limit_min
from sites.models import ProgramLine, ProgramSet, Site, Zone, ZoneAudit
from sites.selectors.zones import zone_table

_TEN_MM = 10.0


@dataclass(frozen=True, slots=True)
class ZoneStanding:
    """A zone with the values that count now, and where each is from.

    `rate_from` and `uniformity_from` are `audit`, `typed` (book or flow) or `assumed`.
    """

    zone: Zone
    key: str
    precipitation_rate_mm_h: float
    distribution_uniformity: float
    rate_from: str
    uniformity_from: str
    word: str  # how good the uniformity is; empty where it is assumed or has no scale
    audits: tuple[ZoneAudit, ...]  # newest first, those taken back left out
    mixed: ZoneAudit | None  # the newest look at the heads, where it found mixed ones

    @property
    def newest(self) -> ZoneAudit | None:
        """The newest audit."""
        return self.audits[0] if self.audits else None


def zone_standings(*, site: Site) -> list[ZoneStanding]:
    """Every zone of a site with its audits, in the order of controllers and stations."""
    table = zone_table(site_ids=[site.pk])
    kept = ZoneAudit.objects.filter(withdrawn_at__isnull=True).order_by("-done_on", "-id")
    zones = {
        zone.pk: zone
        for zone in Zone.objects.filter(controller__site=site)
        .select_related("controller__site")
        .prefetch_related(Prefetch("audits", queryset=kept, to_attr="kept_audits"))
    }
    return [
        _standing(
            zones[pk],
            float(table.precipitation_rate_mm_h[at]),
            float(table.distribution_uniformity[at]),
            rate_assumed=bool(table.precipitation_rate_assumed[at]),
            uniformity_assumed=bool(table.distribution_uniformity_assumed[at]),
        )
        for at, pk in enumerate(table.zone_id.tolist())
    ]


def mixed_zones(*, zone_ids: Sequence[int]) -> set[int]:
    """Zones in which the newest look at the heads found different rates."""
    looks = ZoneAudit.objects.filter(zone_id__in=list(zone_ids), withdrawn_at__isnull=True).exclude(heads={})
    newest = dict(looks.order_by("done_on", "id").values_list("zone_id", "is_mixed"))
    return {zone_id for zone_id, is_mixed in newest.items() if is_mixed}


def _standing(
    zone: Zone, rate: float, uniformity: float, *, rate_assumed: bool, uniformity_assumed: bool
) -> ZoneStanding:
    """One zone."""
    audits: tuple[ZoneAudit, ...] = tuple(getattr(zone, "kept_audits", ()))
    looked = next((audit for audit in audits if audit.heads), None)
    return ZoneStanding(
        zone=zone,
        key=f"{zone.controller.code}/{zone.station}",
        precipitation_rate_mm_h=rate,
        distribution_uniformity=uniformity,
        rate_from=_source(rate_assumed, [audit.precipitation_rate_mm_h for audit in audits], rate),
        uniformity_from=_source(
            uniformity_assumed, [audit.distribution_uniformity for audit in audits], uniformity
        ),
        word="" if uniformity_assumed else rating(uniformity, zone.head),
        audits=audits,
        mixed=looked if looked is not None and looked.is_mixed else None,
    )


def _source(is_assumed: bool, measured: list[float | None], value: float) -> str:
    """Where a value is from."""
    if is_assumed:
        return "assumed"
    newest = next((one for one in measured if one is not None), None)
    return "audit" if newest == value else "typed"


def run_effects(
    *, zone: Zone, before: tuple[float, float], after: tuple[float, float], day: date
) -> list[RunEffect]:
    """What an audit does to the runs that are set for a zone; to one of 10 mm where none is known.

    Parameters
    ----------
    zone
        The zone.
    before, after
        PR [mm/h] and DU [1].
    day
        The newest program set up to this day counts.
    """
    newest = ProgramSet.objects.filter(controller=zone.controller, as_of__lte=day).order_by("-as_of").first()
    lines = ProgramLine.objects.filter(program_set=newest, station=zone.station, run_min__gt=0)
    effects = [
        run_effect(line.letter, line.run_min * line.seasonal_adjust_pct / 100, before=before, after=after)
        for line in lines.order_by("letter")
    ]
    if effects:
        return effects
    minutes = _TEN_MM / (before[0] / 60 * (0.4 + 0.6 * before[1]))
    return [run_effect("", minutes, before=before, after=after)]


def runoff_limits(*, zone_id: int, site_id: int, rates_mm_h: tuple[float, ...]) -> list[float]:
    """Longest run of a zone before water runs off [min], for each of some rates; infinite: none."""
    table = zone_table(site_ids=[site_id])
    at = int(table.positions_of([zone_id])[0])
    intake, room = table.intake_rate_mm_h[at], table.surface_accumulation_mm[at]
    return [float(runoff_limit_min(rate, intake, room)) for rate in rates_mm_h]


@dataclass(frozen=True, slots=True)
class RunSplit:
    """A run in cycles: how many, minutes of each, and the soak between them [min]."""

    cycles: int
    cycle_min: float
    soak_min: float


def run_splits(*, zone_id: int, site_id: int, rate_mm_h: float, minutes: list[float]) -> list[RunSplit]:
    """How runs of a zone are split so that nothing runs off.

    Parameters
    ----------
    zone_id, site_id
        The zone, and its site.
    rate_mm_h
        PR [mm/h].
    minutes
        Minutes of the whole runs [min].
    """
    table = zone_table(site_ids=[site_id])
    at = int(table.positions_of([zone_id])[0])
    split = cycles_and_soak(minutes, rate_mm_h, table.intake_rate_mm_h[at], table.surface_accumulation_mm[at])
    parts = zip(split.cycles, split.cycle_min, split.soak_min, strict=True)
    return [RunSplit(int(count), float(cycle), float(soak)) for count, cycle, soak in parts]

"""What the form of a stop needs beside the sheet: what was recorded, boxes, steps, numbers of the fit."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from django.db.models import Count

from fleet.calc.on_site.decision_help import COPPER_OHM_MM2_PER_M, HELP
from fleet.calc.on_site.sensor_reading import FIT_WORDS, SHOCK_RANGE_KOHM, Fit, shock_coefficients
from fleet.models import Finding, Photo, VisitKind
from fleet.quantities import unit_of
from fleet.selectors.on_site.day import StopSheet
from fleet.selectors.plan.stop_rows import company_zone, zone_of
from sites.models import Site, ValveBox, Zone

REASONS_NOT: Final = (
    "nobody to let me in",
    "the gate is locked",
    "a dog is loose",
    "the weather",
    "a part is missing",
    "no valid locate ticket",
    "it is for licensed people",
    "no time left",
    "the customer sent me away",
    "another reason, see the note",
)
# Wires of the trade: words and section [mm2]; AWG by ASTM B258.
WIRES: Final = (
    ("0.8 mm2 (18 AWG)", 0.823),
    ("1.3 mm2 (16 AWG)", 1.31),
    ("1.5 mm2", 1.5),
    ("2.1 mm2 (14 AWG)", 2.08),
)


@dataclass(frozen=True, slots=True)
class RecordedRow:
    """A finding that was recorded at this visit."""

    at: datetime
    words: str
    photos: int


def recorded_at_visit(*, sheet: StopSheet) -> tuple[RecordedRow, ...]:
    """What was recorded at a visit, the newest first."""
    site = Site.objects.filter(pk=sheet.stop.site_id or 0).only("timezone").first()
    zone = zone_of(site.timezone, company_zone()) if site is not None else company_zone()
    rows = []
    counts = Photo.objects.filter(visit_id=sheet.visit_id, finding__isnull=False).order_by()
    photos = dict(counts.values_list("finding_id").annotate(count=Count("pk")))
    for one in Finding.objects.filter(visit_id=sheet.visit_id):
        words = [one.kind.replace("_", " ").capitalize() or "Something else", one.get_verdict_display()]
        words += [one.note[:80]] if one.note else []
        rows.append(RecordedRow(one.recorded_at.astimezone(zone), ", ".join(words), photos.get(one.pk, 0)))
    loose = Photo.objects.filter(visit_id=sheet.visit_id, finding__isnull=True).order_by("-taken_at")
    newest = loose.first()
    if newest is not None:
        rows.append(RecordedRow(newest.taken_at.astimezone(zone), "Photos without a finding", loose.count()))
    return tuple(rows)


def boxes_of(*, sheet: StopSheet) -> tuple[ValveBox, ...]:
    """Valve boxes of the garden with their spare conductors."""
    return tuple(ValveBox.objects.filter(site_id=sheet.stop.site_id or 0).order_by("name"))


def audit_zones_of(*, sheet: StopSheet) -> tuple[Zone, ...]:
    """Zones that can be audited at this stop; none where an audit is no reason of the visit."""
    if all(reason.kind != VisitKind.AUDIT for reason in sheet.reasons):
        return ()
    zones = Zone.objects.filter(controller__site_id=sheet.stop.site_id or 0).select_related("controller")
    return tuple(zones.order_by("controller__code", "station"))


def steps_of(*, sheet: StopSheet) -> tuple[str, ...]:
    """Settings that all sensors of the garden offer [kPa], wettest first; empty where they differ."""
    offered = {sensor.threshold_steps_kpa for sensor in sheet.sensors}
    return tuple(f"{step:g}" for step in offered.pop()) if len(offered) == 1 else ()


def reading_facts(*, is_us: bool) -> dict[str, object]:
    """Numbers with which the page reads a sensor at once: bands, the published fit, copper."""
    a, b, c, d = shock_coefficients()
    low, high = SHOCK_RANGE_KOHM
    return {
        "isUs": is_us,
        "warmUnit": unit_of("temperature", is_us=is_us),
        "copper": COPPER_OHM_MM2_PER_M,
        "fit": {
            "name": FIT_WORDS[Fit.SHOCK_1998],
            "a": a,
            "b": b,
            "c": c,
            "d": d,
            "low": low,
            "high": high,
        },
        "bands": [
            {"high": one.high, "words": f"{one.words} {one.then}", "isGood": one.is_good}
            for one in HELP["resistance_kohm"]
        ],
    }

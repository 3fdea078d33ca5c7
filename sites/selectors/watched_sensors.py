"""What is known of sensors beside their setting: how long it stands, what was logged and seen since."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from django.db.models import F

from sites.calc.search.threshold import Watched
from sites.models import BypassLog, Change, Controller, Zone


def watched_sensors(*, rows: Sequence[Controller], today: date) -> tuple[Watched, ...]:
    """What is known of the sensor of each controller, in their order; nothing where it has none."""
    held = _held_since(rows)
    downs = _dry_downs(rows, held)
    planted: dict[int, date] = {}
    for pk, day in Zone.objects.filter(
        controller__in=[row.pk for row in rows], planted_on__isnull=False
    ).values_list("controller_id", "planted_on"):
        if day is not None:
            planted[pk] = max(day, planted.get(pk, day))
    return tuple(
        _watched(row, since, count, planted.get(row.pk), today)
        for row, since, count in zip(rows, held, downs, strict=True)
    )


def _watched(
    row: Controller, since: date | None, dry_downs: int | None, planted: date | None, today: date
) -> Watched:
    """What is known of one sensor."""
    sensor = getattr(row, "sensor", None)
    if sensor is None:
        return Watched()
    seen_on = sensor.turf_seen_on
    # What was seen before the setting was changed says nothing about the new one.
    is_fresh = seen_on is not None and (since is None or seen_on >= since)
    return Watched(
        held_days=None if since is None else (today - since).days,
        dry_downs=dry_downs,
        sensor_days=None if sensor.installed_on is None else (today - sensor.installed_on).days,
        planting_days=None if planted is None else (today - planted).days,
        turf_seen=sensor.turf_seen if is_fresh else "",
    )


def _held_since(rows: Sequence[Controller]) -> list[date | None]:
    """Since when each sensor's threshold stands: its last change, else the day it was put in."""
    keys = {f"{row.site.code}/{row.code}": row.pk for row in rows}
    changed: dict[int, date] = {}
    for key, at, after in (
        Change.objects.filter(kind="sensor", site_code__in={row.site.code for row in rows})
        .order_by("at")
        .values_list("key", "at", "after")
    ):
        if key in keys and "threshold_kpa" in (after or {}):
            changed[keys[key]] = at.date()
    return [
        changed.get(row.pk, row.sensor.installed_on if getattr(row, "sensor", None) else None) for row in rows
    ]


def _dry_downs(rows: Sequence[Controller], held: Sequence[date | None]) -> tuple[int | None, ...]:
    """Logged days on which a sensor blocked some starts and let others through, since its setting stands."""
    since = {row.pk: day for row, day in zip(rows, held, strict=True) if day is not None}
    counts: dict[int, int] = {}
    logs = BypassLog.objects.filter(
        controller_id__in=list(since),
        starts_bypassed__gt=0,
        starts_scheduled__gt=F("starts_bypassed") + F("starts_skipped"),
        start__gte=min(since.values(), default=date.min),
    )
    for pk, start in logs.values_list("controller_id", "start"):
        if start >= since[pk]:
            counts[pk] = counts.get(pk, 0) + 1
    return tuple(counts.get(row.pk, 0) if row.pk in since else None for row in rows)

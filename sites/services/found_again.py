"""What a visit had changed in the book, taken back: only where nobody changed it since."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from sites.models import Controller, ProgramLine, ProgramSet, Recommendation, Sensor, Zone
from sites.models.choices import ProgramStatus
from sites.services.found_on_site import LINE_COLUMNS
from sites.services.history import ChangeNote, record_changes
from sites.services.staleness import mark_sites_stale

REASON = "finding taken back"


@dataclass(frozen=True, slots=True)
class PutBack:
    """Whether a change was taken back; False: the book says something else by now."""

    done: bool


@dataclass(frozen=True, slots=True)
class TurfSeen:
    """What the book says of a garden's turf: of sensors (seen, on), and factors of zones, by row."""

    sensors: Mapping[int, tuple[str, str]]
    zones: Mapping[int, float]


def turf_of(*, site_id: int) -> TurfSeen:
    """What the book says of a garden's turf now."""
    sensors = Sensor.objects.filter(controller__site_id=site_id).values_list(
        "pk", "turf_seen", "turf_seen_on"
    )
    zones = Zone.objects.filter(controller__site_id=site_id).values_list("pk", "margin_factor")
    return TurfSeen({pk: (seen, on.isoformat() if on else "") for pk, seen, on in sensors}, dict(zones))


@transaction.atomic
def note_sensor_installed(*, controller_id: int, on: date, by: str, at: datetime) -> date | None:
    """Note the day on which a controller's sensor was put in; the day that stood there before."""
    sensor = Sensor.objects.filter(controller_id=controller_id).select_related("controller__site").first()
    if sensor is None or sensor.installed_on == on:
        return sensor.installed_on if sensor is not None else None
    Sensor.objects.filter(pk=sensor.pk).update(installed_on=on)
    _note_sensor(
        sensor, {"installed_on": _iso(sensor.installed_on)}, {"installed_on": on.isoformat()}, by, at
    )
    return sensor.installed_on


@transaction.atomic
def put_back_sensor(
    *, controller_id: int, column: str, after: object, before: object, by: str, at: datetime
) -> PutBack:
    """Set a sensor's threshold or day of installation back, if it is still as the visit left it."""
    if column not in ("threshold_kpa", "installed_on"):
        raise ValueError(f"{column} is not a column that a visit sets")
    sensor = Sensor.objects.filter(controller_id=controller_id).select_related("controller__site").first()
    now = getattr(sensor, column, None)
    if sensor is None or (_iso(now) if isinstance(now, date) else now) != after:
        return PutBack(False)
    value = date.fromisoformat(before) if column == "installed_on" and isinstance(before, str) else before
    Sensor.objects.filter(pk=sensor.pk).update(**{column: value})
    _note_sensor(sensor, {column: after}, {column: before}, by, at)
    return PutBack(True)


@transaction.atomic
def put_back_turf(
    *,
    site_code: str,
    sensors: Mapping[str, Sequence[Sequence[str]]],
    zones: Mapping[str, Sequence[float]],
    by: str,
    at: datetime,
) -> PutBack:
    """Take back what a visit noted of the turf: (before, after) by row of sensor and zone."""
    done = False
    for pk, (was, now) in sensors.items():
        done |= bool(
            Sensor.objects.filter(
                pk=int(pk), turf_seen=now[0], turf_seen_on=date.fromisoformat(now[1]) if now[1] else None
            ).update(turf_seen=was[0], turf_seen_on=date.fromisoformat(was[1]) if was[1] else None)
        )
    for pk, (before, after) in zones.items():
        done |= bool(Zone.objects.filter(pk=int(pk), margin_factor=after).update(margin_factor=before))
    if done:
        note = ChangeNote("turf", site_code, site_code, {"turf": "as found"}, {"turf": "as before"}, REASON)
        record_changes(notes=[note], by=by, at=at)
    return PutBack(done)


@transaction.atomic
def put_back_program(
    *,
    recommendation_id: int,
    program_set_id: int,
    status_before: str,
    lines_before: Sequence[Mapping[str, object]] | None,
    by: str,
    at: datetime,
) -> PutBack:
    """Take a program out of the book that a visit had keyed in: what stood there before stands again."""
    row = Recommendation.objects.filter(pk=recommendation_id).select_related("controller__site").first()
    kept = ProgramSet.objects.filter(pk=program_set_id).first()
    if row is None or kept is None or row.status != ProgramStatus.KEYED_IN:
        return PutBack(False)
    if ProgramSet.objects.filter(controller=row.controller, as_of__gt=kept.as_of).exists():
        return PutBack(False)
    since = kept.as_of
    kept.lines.all().delete()
    if lines_before is None:
        kept.delete()
    else:
        ProgramLine.objects.bulk_create(
            ProgramLine(program_set=kept, **{name: line[name] for name in LINE_COLUMNS})
            for line in lines_before
        )
    Recommendation.objects.filter(pk=row.pk).update(status=status_before)
    site = row.controller.site
    mark_sites_stale(since={site.pk: since})
    key = f"{site.code}/{row.controller.code}/{row.week.isoformat()}"
    before: dict[str, object] = {"status": ProgramStatus.KEYED_IN.value}
    note = ChangeNote("recommendation", key, site.code, before, {"status": status_before}, REASON)
    record_changes(notes=[note], by=by, at=at)
    return PutBack(True)


def _note_sensor(
    sensor: Sensor, before: dict[str, object], after: dict[str, object], by: str, at: datetime
) -> None:
    """An entry in the history."""
    controller: Controller = sensor.controller
    code = controller.site.code
    record_changes(
        notes=[ChangeNote("sensor", f"{code}/{controller.code}", code, before, after, "at a visit")],
        by=by,
        at=at,
    )


def _iso(day: date | None) -> str | None:
    """A day as text."""
    return day.isoformat() if day is not None else None

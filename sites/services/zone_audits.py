"""Audits of zones: kept as records; the zone carries what the newest one measured."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date, datetime

from django.db import transaction

from sites.calc.audit.entry import AuditEntry, BadEntry, audit_figures
from sites.calc.audit.words import is_mixed
from sites.models import Zone, ZoneAudit
from sites.services.history import ChangeNote, record_changes

# Field of the zone that an audit's column feeds.
MEASURED = ("distribution_uniformity", "precipitation_rate_mm_h", "flow_l_min")


class NoSuchAudit(LookupError):
    """There is no such audit, or it was taken back before."""


@dataclass(frozen=True, slots=True)
class AuditRecorded:
    """An audit that is kept, and what it changed in its zone: field to (before, after)."""

    audit_id: int
    changed: dict[str, tuple[float | None, float | None]]
    is_new: bool


@transaction.atomic
def record_zone_audit(
    *,
    zone_id: int,
    entry: AuditEntry,
    done_on: date,
    done_by: str,
    note: str,
    client_key: str,
    today: date,
    by: str,
    at: datetime,
) -> AuditRecorded:
    """Keep an audit, and let its zone carry what it measured; the same form twice is kept once.

    Raises
    ------
    BadEntry
        The entry measures nothing, cannot be, or lies in the future.
    """
    figures = audit_figures(entry)
    measured = (figures.precipitation_rate_mm_h, entry.pressure_kpa, entry.static_pressure_kpa)
    if all(value is None for value in measured) and not entry.heads:
        raise BadEntry("cans", "nothing was measured: enter cans, or flow and area, or a pressure, or heads")
    if done_on > today:
        raise BadEntry("done_on", f"a day up to {today.isoformat()}")
    if not done_by.strip():
        raise BadEntry("done_by", "who measured")
    zone = Zone.objects.select_for_update().select_related("controller__site").get(pk=zone_id)
    held = ZoneAudit.objects.filter(zone=zone, client_key=client_key).first()
    if held is not None:
        return AuditRecorded(held.pk, {}, is_new=False)
    values = asdict(entry) | {"catch_ml": list(entry.catch_ml), "heads": dict(entry.heads or {})}
    row = ZoneAudit.objects.create(
        zone=zone,
        client_key=client_key,
        done_on=done_on,
        done_by=done_by.strip()[:120],
        recorded_by=by[:150],
        recorded_at=at,
        is_mixed=is_mixed(entry.heads),
        distribution_uniformity=figures.distribution_uniformity,
        precipitation_rate_mm_h=figures.precipitation_rate_mm_h,
        before={name: getattr(zone, name) for name in MEASURED},
        note=note.strip()[:400],
        **values,
    )
    changed = _carry(zone, {name: _newest(zone, name, getattr(zone, name)) for name in MEASURED})
    notes = [ChangeNote("zone_audit", _key(row), zone.controller.site.code, None, _told(row))]
    notes += _zone_notes(zone, changed, f"audit of {done_on.isoformat()} by {row.done_by}")
    record_changes(notes=notes, by=by, at=at)
    return AuditRecorded(row.pk, changed, is_new=True)


@transaction.atomic
def withdraw_zone_audit(*, audit_id: int, by: str, at: datetime) -> AuditRecorded:
    """Take an audit back: the zone carries again what older audits, or the book before, gave.

    A value that somebody else has changed since stays. Raises `NoSuchAudit`.
    """
    row = (
        ZoneAudit.objects.select_for_update(of=("self",))
        .filter(pk=audit_id, withdrawn_at__isnull=True)
        .select_related("zone__controller__site")
        .first()
    )
    if row is None:
        raise NoSuchAudit(f"audit {audit_id} is not there, or was taken back already")
    zone = row.zone
    ZoneAudit.objects.filter(pk=row.pk).update(withdrawn_at=at, withdrawn_by=by[:150])
    wanted = {
        name: _newest(zone, name, row.before.get(name))
        for name in MEASURED
        if getattr(row, name) is not None and getattr(zone, name) == getattr(row, name)
    }
    changed = _carry(zone, wanted)
    notes = [ChangeNote("zone_audit", _key(row), zone.controller.site.code, _told(row), None, "taken back")]
    notes += _zone_notes(zone, changed, f"audit of {row.done_on.isoformat()} taken back")
    record_changes(notes=notes, by=by, at=at)
    return AuditRecorded(row.pk, changed, is_new=False)


def _newest(zone: Zone, name: str, otherwise: float | None) -> float | None:
    """The newest measured value of a field, else what is given."""
    audits = ZoneAudit.objects.filter(zone=zone, withdrawn_at__isnull=True, **{f"{name}__isnull": False})
    value = audits.order_by("-done_on", "-id").values_list(name, flat=True).first()
    return otherwise if value is None else float(value)


def _carry(zone: Zone, wanted: dict[str, float | None]) -> dict[str, tuple[float | None, float | None]]:
    """Write what differs into the zone; what changed, from and to."""
    changed = {
        name: (getattr(zone, name), value) for name, value in wanted.items() if getattr(zone, name) != value
    }
    if changed:
        Zone.objects.filter(pk=zone.pk).update(**{name: after for name, (_, after) in changed.items()})
    return changed


def _zone_notes(
    zone: Zone, changed: dict[str, tuple[float | None, float | None]], reason: str
) -> list[ChangeNote]:
    """The zone's change as the history keeps it; none where nothing changed."""
    if not changed:
        return []
    site = zone.controller.site.code
    return [
        ChangeNote(
            kind="zone",
            key=f"{site}/{zone.controller.code}/{zone.station}",
            site_code=site,
            before={name: before for name, (before, _) in changed.items()},
            after={name: after for name, (_, after) in changed.items()},
            reason=reason,
        )
    ]


def _key(row: ZoneAudit) -> str:
    """Natural key of an audit in the history."""
    zone = row.zone
    return f"{zone.controller.site.code}/{zone.controller.code}/{zone.station}/{row.done_on.isoformat()}"


def _told(row: ZoneAudit) -> dict[str, object]:
    """The figures of an audit as the history keeps them."""
    told: dict[str, object] = {
        "cans": len(row.catch_ml) or None,
        "distribution_uniformity": row.distribution_uniformity,
        "precipitation_rate_mm_h": row.precipitation_rate_mm_h,
        "flow_l_min": row.flow_l_min,
        "pressure_kpa": row.pressure_kpa,
        "done_by": row.done_by,
    }
    return {name: value for name, value in told.items() if value is not None}

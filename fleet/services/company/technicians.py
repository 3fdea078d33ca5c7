"""Writes technicians and their certificates; each change goes to the history and can be put back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any, Final

from django.db import transaction

from fleet.models import Certificate, Technician
from fleet.services.company.stock import truck_of
from sites.models import Change
from sites.services.history import ChangeNote, record_changes

KIND: Final = "technician"
CERTIFICATE: Final = "certificate "
FIELDS: Final = (
    "name", "start_latitude", "start_longitude", "end_latitude", "end_longitude", "shift_start", "shift_end",
    "workdays", "days_off", "skills", "break_min", "is_active", "user_id",
)  # fmt: skip


class BadTechnician(ValueError):
    """Something of a technician that cannot be; the message says what was expected."""


@dataclass(frozen=True, slots=True)
class TechnicianSaved:
    """Who, and which fields changed."""

    technician_id: int
    is_new: bool
    changed: tuple[str, ...]


@transaction.atomic
def save_technician(
    *,
    technician_id: int | None,
    code: str,
    values: Mapping[str, Any],
    by: str,
    now: datetime,
    reason: str = "",
) -> TechnicianSaved:
    """Keep a technician, with a truck; the next plan reads all of it. Raises `BadTechnician`.

    Parameters
    ----------
    technician_id
        Who; None: somebody new.
    code
        Short code, that of a stored one stays.
    values
        Columns by name of `FIELDS`.
    by, now, reason
        For the history.
    """
    row = Technician() if technician_id is None else _row(technician_id)
    before = None if technician_id is None else facts_of(row)
    if technician_id is None:
        row.code = code.strip()[:40]
        if not row.code or Technician.objects.filter(code=row.code).exists():
            raise BadTechnician("code: expected a short one that nobody else has")
    for name in FIELDS:
        if name in values:
            setattr(row, name, values[name])
    if row.shift_end <= row.shift_start:
        raise BadTechnician("shift: it ends before it starts")
    others = Technician.objects.exclude(pk=row.pk)
    if row.user_id is not None and others.filter(user_id=row.user_id).exists():
        raise BadTechnician("account: another technician has it already")
    row.save()
    truck_of(technician_id=row.pk)
    after = facts_of(row)
    names = tuple(name for name in after if before is None or before[name] != after[name])
    if names:
        old = None if before is None else {name: before[name] for name in names}
        note = ChangeNote(KIND, row.code, "", old, {name: after[name] for name in names}, reason, row.pk)
        record_changes(notes=[note], by=by, at=now)
    return TechnicianSaved(row.pk, before is None, names)


@transaction.atomic
def put_back_technician(*, change_id: int, by: str, now: datetime) -> TechnicianSaved:
    """A technician as before an entry of the history; itself an entry. Raises `BadTechnician`."""
    entry = Change.objects.filter(pk=change_id, kind=KIND, before__isnull=False).first()
    row = Technician.objects.filter(code=entry.key).first() if entry is not None else None
    if entry is None or row is None:
        raise BadTechnician("This entry tells of nothing that can be put back.")
    if names := [name for name in entry.before or {} if name.startswith(CERTIFICATE)]:
        return _put_back_certificate(row, names[0], (entry.before or {})[names[0]], by, now)
    values = {name: _from_text(name, value) for name, value in (entry.before or {}).items() if name in FIELDS}
    saved = save_technician(
        technician_id=row.pk,
        code=row.code,
        values=values,
        by=by,
        now=now,
        reason=f"as before the change of {entry.at:%Y-%m-%d %H:%M} UTC",
    )
    if not saved.changed:
        raise BadTechnician("All is as it was before this change already.")
    return saved


@transaction.atomic
def save_certificate(
    *, technician_id: int, skill: str, number: str, valid_until: date, by: str, now: datetime
) -> TechnicianSaved:
    """Note a certificate, or another last day of the same number. Raises `BadTechnician`."""
    row = _row(technician_id)
    if not skill.strip() or not number.strip():
        raise BadTechnician("certificate: expected the skill that it is for, and its number")
    held = Certificate.objects.filter(technician=row, skill=skill.strip(), number=number.strip()).first()
    was = held.valid_until.isoformat() if held else None
    Certificate.objects.update_or_create(
        technician=row,
        skill=skill.strip()[:40],
        number=number.strip()[:60],
        defaults={"valid_until": valid_until},
    )
    name = f"{CERTIFICATE}{skill.strip()} {number.strip()}"
    if was != valid_until.isoformat():
        note = ChangeNote(KIND, row.code, "", {name: was}, {name: valid_until.isoformat()}, "", row.pk)
        record_changes(notes=[note], by=by, at=now)
    return TechnicianSaved(row.pk, is_new=was is None, changed=(name,))


@transaction.atomic
def remove_certificate(*, certificate_id: int, technician_id: int, by: str, now: datetime) -> TechnicianSaved:
    """Take a certificate out. Raises `BadTechnician`."""
    row = _row(technician_id)
    held = Certificate.objects.filter(pk=certificate_id, technician=row).first()
    if held is None:
        raise BadTechnician("This certificate is not there any more.")
    name = f"{CERTIFICATE}{held.skill} {held.number}"
    note = ChangeNote(KIND, row.code, "", {name: held.valid_until.isoformat()}, {name: None}, "", row.pk)
    held.delete()
    record_changes(notes=[note], by=by, at=now)
    return TechnicianSaved(row.pk, is_new=False, changed=(name,))


def _put_back_certificate(
    row: Technician, name: str, last: object, by: str, now: datetime
) -> TechnicianSaved:
    """A certificate as it was before: with its earlier last day, or not there."""
    skill, _, number = name.removeprefix(CERTIFICATE).partition(" ")
    held = Certificate.objects.filter(technician=row, skill=skill, number=number).first()
    if (held.valid_until.isoformat() if held else None) == last:
        raise BadTechnician("All is as it was before this change already.")
    if last is None and held is not None:
        return remove_certificate(certificate_id=held.pk, technician_id=row.pk, by=by, now=now)
    return save_certificate(
        technician_id=row.pk,
        skill=skill,
        number=number,
        valid_until=date.fromisoformat(str(last)),
        by=by,
        now=now,
    )


def facts_of(row: Technician) -> dict[str, object]:
    """Columns as JSON holds them."""
    return {
        name: f"{value:%H:%M}" if isinstance(value := getattr(row, name), time) else value for name in FIELDS
    }


def _row(technician_id: int) -> Technician:
    """The technician, held until the end of the deed."""
    row = Technician.objects.select_for_update().filter(pk=technician_id).first()
    if row is None:
        raise BadTechnician("This technician is not there any more.")
    return row


def _from_text(name: str, value: object) -> object:
    """A column as the model has it."""
    return time.fromisoformat(str(value)) if name in ("shift_start", "shift_end") else value

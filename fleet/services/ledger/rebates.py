"""Writes rebates and claims; each change goes to the history."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.forms.models import model_to_dict

from fleet.models import Rebate, RebateClaim
from sites.services.history import ChangeNote, record_changes


@dataclass(frozen=True, slots=True)
class RebateSaved:
    """What was written."""

    pk: int
    is_new: bool
    changed: tuple[str, ...]


@transaction.atomic
def save_rebate(*, rebate_id: int | None, values: Mapping[str, Any], by: str, now: datetime) -> RebateSaved:
    """Keep a rebate: a new one, or another word on a stored one.

    Parameters
    ----------
    rebate_id
        The stored one; None for a new one.
    values
        Columns by name, checked.
    by, now
        Who and when.
    """
    stored = None if rebate_id is None else Rebate.objects.select_for_update().get(pk=rebate_id)
    row = stored or Rebate()
    before = _plain(row) if stored else None
    for name, value in values.items():
        setattr(row, name, value)
    row.save()
    return _noted(row, before, kind="rebate", key=str(row), site_code="", by=by, now=now)


@transaction.atomic
def save_claim(
    *, rebate_id: int, site_id: int, values: Mapping[str, Any], by: str, now: datetime
) -> RebateSaved:
    """Keep what a garden's dossier holds beyond the book.

    Parameters
    ----------
    rebate_id, site_id
        Whose dossier.
    values
        Columns by name, checked.
    by, now
        Who and when.
    """
    stored = RebateClaim.objects.filter(rebate_id=rebate_id, site_id=site_id).first()
    row = stored or RebateClaim(rebate_id=rebate_id, site_id=site_id)
    before = _plain(row) if stored else None
    for name, value in values.items():
        setattr(row, name, value)
    row.save()
    return _noted(
        row, before, kind="rebate_claim", key=f"{row.site.code}/{row.rebate}", site_code=row.site.code,
        by=by, now=now,
    )  # fmt: skip


def _noted(
    row: Rebate | RebateClaim,
    before: dict[str, object] | None,
    *,
    kind: str,
    key: str,
    site_code: str,
    by: str,
    now: datetime,
) -> RebateSaved:
    """Write the change to the history, only the fields that differ."""
    after = _plain(row)
    changed = tuple(name for name in after if before is None or before[name] != after[name])
    if changed:
        note = ChangeNote(
            kind,
            key[:160],
            site_code,
            None if before is None else {name: before[name] for name in changed},
            {name: after[name] for name in changed},
            thing_id=row.pk,
        )
        record_changes(notes=[note], by=by, at=now)
    return RebateSaved(row.pk, before is None, changed)


def _plain(row: Rebate | RebateClaim) -> dict[str, object]:
    """Columns as JSON holds them."""
    values = model_to_dict(row)
    values.pop("id", None)
    return {name: value.isoformat() if isinstance(value, date) else value for name, value in values.items()}

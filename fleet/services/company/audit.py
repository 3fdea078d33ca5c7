"""The audit log: who saw, changed or took out customers' data. Only here are rows added and thrown away."""

from __future__ import annotations

from datetime import datetime, timedelta

from fleet.models import AuditEntry


def record_audit(
    *,
    by: str,
    what: str,
    at: datetime,
    kind: str = AuditEntry.Kind.TAKEN,
    site_code: str = "",
    request_id: str = "",
) -> None:
    """Keep one entry: a single insert."""
    AuditEntry.objects.create(
        by=by[:150],
        what=what[:200],
        at=at,
        kind=kind,
        site_code=site_code[:40],
        request_id=request_id[:32],
    )


def throw_old_audit(*, now: datetime, kept_days: int) -> int:
    """Throw away entries that are older than they are kept; how many went."""
    return AuditEntry.objects.filter(at__lt=now - timedelta(days=kept_days)).delete()[0]

"""The audit log as a page: filtered by person, garden, kind and day, the newest first."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.core.paginator import Page, Paginator

from fleet.models import AuditEntry

PER_PAGE = 100


@dataclass(frozen=True, slots=True)
class AuditAsked:
    """What is asked for; empty: everything."""

    by: str = ""
    site: str = ""
    kind: str = ""
    since: datetime | None = None
    until: datetime | None = None


def audit_entries(*, asked: AuditAsked, page: int) -> Page[AuditEntry]:
    """Entries that answer."""
    rows = AuditEntry.objects.all()
    if asked.by:
        rows = rows.filter(by=asked.by)
    if asked.site:
        rows = rows.filter(site_code=asked.site)
    if asked.kind:
        rows = rows.filter(kind=asked.kind)
    if asked.since:
        rows = rows.filter(at__gte=asked.since)
    if asked.until:
        rows = rows.filter(at__lt=asked.until)
    return Paginator(rows, PER_PAGE).get_page(page)

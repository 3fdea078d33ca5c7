"""Taking a customer's personal data away for good; the garden and its water figures stay, without a name."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

from django.db import transaction

from fleet.models import AuditEntry, Photo, ReportLink, VisitNeed
from fleet.selectors.company.personal_data import history_of, photos_of, without_personal
from fleet.selectors.company.personal_tables import TABLES
from fleet.selectors.on_site.photo_files import photo_path
from fleet.services.company.audit import record_audit, scrub_searches
from fleet.services.company.erase_traces import scrub_plans
from sites.models import Change, Site
from sites.services.history import ChangeNote, record_changes

# Needs whose reason is somebody's words; the others' reasons are ours.
WRITTEN_BY_PEOPLE: Final = (VisitNeed.Origin.PERSON, VisitNeed.Origin.IMPORTED, VisitNeed.Origin.FINDING)


@dataclass(frozen=True, slots=True)
class Erased:
    """How much went: entries of the history, photos, links."""

    history: int
    photos: int
    links: int


def erase_customer(*, site_id: int, by: str, at: datetime, folder: Path) -> Erased:
    """Take the personal data of a garden's customer away.

    Parameters
    ----------
    site_id
        The garden; its code, place, shapes, programs and water figures stay.
    by, at
        Who does it, and when: kept in the history and in the audit log.
    folder
        Where photos lie; files that no other photo needs go with them.
    """
    with transaction.atomic():
        site = Site.objects.select_for_update().get(pk=site_id)
        hashes = list(photos_of(site=site).values_list("sha256", flat=True))
        photos = photos_of(site=site).delete()[0]
        links = ReportLink.objects.filter(visit__site=site, revoked_at__isnull=True).update(revoked_at=at)
        for table in TABLES:
            if table.written:
                table.rows_of(site).update(**table.written)
        VisitNeed.objects.filter(site=site, origin__in=WRITTEN_BY_PEOPLE).update(reason="erased")
        scrub_plans(site=site)
        scrub_searches(site=site)
        entries = _scrub_history(site)
        had = bool(site.customer or site.phone or site.email or site.address)
        site.name = site.code
        site.address = site.customer = site.phone = site.email = site.access_notes = site.gate_code = ""
        site.save(
            update_fields=["name", "address", "customer", "phone", "email", "access_notes", "gate_code"]
        )
        note = ChangeNote("customer", site.code, site.code, {"personal data": had}, {"personal data": False})
        record_changes(notes=[note], by=by, at=at)
        record_audit(
            by=by,
            what=f"personal data erased: {entries} entries of history, {photos} photos, {links} links",
            at=at,
            kind=AuditEntry.Kind.CHANGED,
            site_code=site.code,
        )
        transaction.on_commit(lambda: _drop_files(folder, hashes))
    return Erased(entries, photos, links)


def _scrub_history(site: Site) -> int:
    """Take what says something of a person out of the history; how many entries changed."""
    changed = []
    for entry in history_of(site=site):
        before, after = without_personal(entry.kind, entry.before), without_personal(entry.kind, entry.after)
        if (before, after, "") != (entry.before, entry.after, entry.reason):
            entry.before, entry.after, entry.reason = before, after, ""
            changed.append(entry)
    Change.objects.bulk_update(changed, ["before", "after", "reason"], batch_size=500)
    return len(changed)


def _drop_files(folder: Path, hashes: list[str]) -> None:
    """Photos' files that no row names any more."""
    kept = set(Photo.objects.filter(sha256__in=hashes).values_list("sha256", flat=True))
    for sha256 in set(hashes) - kept:
        photo_path(folder=folder, sha256=sha256).unlink(missing_ok=True)

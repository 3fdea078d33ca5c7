"""All that is kept of one customer, for handing out; and what of it an erasure takes away."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import Q, QuerySet

from fleet.models import AuditEntry, Photo, ReportLink
from fleet.selectors.company.personal_tables import TABLES
from sites.models import Change, Site

# Of a site; its place, shapes and water figures stay: they say nothing of a person any more.
CONTACT: Final = ("name", "address", "customer", "phone", "email", "access_notes", "gate_code")
# Words that people wrote, by the key under which the history keeps them.
WRITTEN: Final = frozenset({
    "note", "reason", "follow_up", "caption", "access_notes", "gate_code", "ended_why", "decided_how",
    "resting_reason", "outside_reason", "not_possible_reason", "account", "invoice", "withdrawn_why",
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class DataTable:
    """One table of what is kept: a name, its columns, its rows."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Any, ...], ...]

    @property
    def label(self) -> str:
        """The name in words."""
        return self.name.replace("_", " ").capitalize()


@dataclass(frozen=True, slots=True)
class ErasureLine:
    """One line of what an erasure takes away or leaves: in words, and how many."""

    words: str
    count: int


def customer_tables(*, site: Site) -> tuple[DataTable, ...]:
    """Everything that is kept of a customer, table by table."""
    contact = ("code", *CONTACT, "timezone", "visit_from", "visit_to", "latitude", "longitude")
    history = ("at", "by", "kind", "key", "action", "before", "after", "reason")
    seen = ("at", "by", "kind", "what")
    sets: list[tuple[str, QuerySet[Any], tuple[str, ...]]] = [
        ("contact", Site.objects.filter(pk=site.pk), contact),
        *((table.name, table.rows_of(site), table.columns) for table in TABLES),
        ("history", history_of(site=site), history),
        ("who_saw_it", AuditEntry.objects.filter(site_code=site.code), seen),
    ]
    return tuple(DataTable(name, columns, tuple(rows.values_list(*columns))) for name, rows, columns in sets)


def photos_of(*, site: Site) -> QuerySet[Photo, Photo]:
    """Photos of a garden."""
    return Photo.objects.filter(visit__site=site)


def history_of(*, site: Site) -> QuerySet[Change, Change]:
    """Entries of the history that are a garden's."""
    return Change.objects.filter(Q(site_code=site.code) | Q(kind="site", key=site.code))


def erasure_lines(*, site: Site) -> tuple[ErasureLine, ...]:
    """What an erasure would take away."""
    contact = _kept_words(site)
    return (
        ErasureLine("contact facts: " + ", ".join(contact), len(contact)),
        ErasureLine(
            "entries of the history that hold contact facts or notes", _scrubbed(history_of(site=site))
        ),
        *(
            ErasureLine(
                f"{table.name.replace('_', ' ')}: what people wrote there",
                table.rows_with_words(site).count(),
            )
            for table in TABLES
            if table.written
        ),
        ErasureLine("photos, with their files", photos_of(site=site).count()),
        ErasureLine(
            "links to reports, taken back",
            ReportLink.objects.filter(visit__site=site, revoked_at__isnull=True).count(),
        ),
    )


def without_personal(kind: str, facts: dict[str, Any] | None) -> dict[str, Any] | None:
    """Facts of a history entry without what says something of a person."""
    if facts is None:
        return None
    gone = WRITTEN | (frozenset(CONTACT) if kind == "site" else frozenset())
    return {name: value for name, value in facts.items() if name not in gone}


def _scrubbed(changes: Iterable[Change]) -> int:
    """How many entries an erasure changes."""
    return sum(
        1
        for change in changes
        if change.reason
        or without_personal(change.kind, change.before) != change.before
        or without_personal(change.kind, change.after) != change.after
    )


def _kept_words(site: Site) -> list[str]:
    """Contact facts that a site has, in words."""
    return [
        name.replace("_", " ")
        for name in CONTACT
        if getattr(site, name) and not (name == "name" and site.name == site.code)
    ]

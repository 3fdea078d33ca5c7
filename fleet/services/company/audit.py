"""The audit log: who saw, changed or took out customers' data. Only here are rows added and thrown away."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

from fleet.models import AuditEntry
from sites.models import Site

# How the words of a search stand behind what was seen, and how short ones name nobody.
WORDS_BEGIN: Final = ", “"
FEWEST_LETTERS: Final = 3


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


def scrub_searches(*, site: Site) -> int:
    """Take out words by which somebody searched for a garden's customer; how many entries changed.

    That somebody searched, who and when, stays.
    """
    facts = [
        one.casefold()
        for one in (site.name, site.customer, site.phone, site.email, site.address, site.gate_code)
        if one
    ]
    rows = AuditEntry.objects.filter(what__contains=WORDS_BEGIN).values_list("pk", "what")
    found = []
    for pk, what in rows.iterator():
        words = what.partition(WORDS_BEGIN)[2].rstrip("”").strip().casefold()
        if len(words) >= FEWEST_LETTERS and any(words in one or one in words for one in facts):
            found.append(AuditEntry(pk=pk, what=what.partition(WORDS_BEGIN)[0] + ", words erased"))
    AuditEntry.objects.bulk_update(found, ["what"], batch_size=500)
    return len(found)


def throw_old_audit(*, now: datetime, kept_days: int) -> int:
    """Throw away entries that are older than they are kept; how many went."""
    return AuditEntry.objects.filter(at__lt=now - timedelta(days=kept_days)).delete()[0]

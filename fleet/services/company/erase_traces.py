"""Words about a customer that plans have copied: kept copies for undo, and what a broken day showed."""

from __future__ import annotations

from fleet.models import DayBreak, PlanRun, Visit, VisitNeed
from sites.models import Site


def scrub_plans(*, site: Site) -> int:
    """Take a garden's name and what people wrote of it out of copies of plans; how many changed."""
    visits = set(Visit.objects.filter(site=site).values_list("pk", flat=True))
    needs = set(VisitNeed.objects.filter(site=site).values_list("pk", flat=True))
    runs = [
        run
        for run in PlanRun.objects.filter(before__isnull=False).only("pk", "before").iterator(chunk_size=20)
        if isinstance(run.before, dict)
        and _emptied(run.before.get("stops"), "visit_id", visits, "not_possible_reason")
        | _emptied(run.before.get("needs"), "id", needs, "withdrawn_why")
    ]
    PlanRun.objects.bulk_update(runs, ["before"], batch_size=20)
    breaks = [
        one
        for one in DayBreak.objects.only("pk", "rows").iterator(chunk_size=200)
        if _emptied(one.rows, "site", {site.code}, "name", site.code)
    ]
    DayBreak.objects.bulk_update(breaks, ["rows"], batch_size=200)
    return len(runs) + len(breaks)


def _emptied(rows: object, key: str, whose: set[int] | set[str], column: str, left: str = "") -> bool:
    """Whether a column of those rows said anything else; it does not any more."""
    changed = False
    for row in rows if isinstance(rows, list) else ():
        if row.get(key) in whose and row.get(column, left) != left:
            row[column] = left
            changed = True
    return changed

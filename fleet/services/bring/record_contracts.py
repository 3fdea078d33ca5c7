"""Imports of service contracts: by garden and first day, through the same door as the form."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any, Final

from django.db import transaction

from fleet.calc.visits.contracts import CONTRACT_KINDS
from fleet.importing.contracts import ContractRow, read_contracts
from fleet.models import Company, ContractVisits, ServiceContract
from fleet.selectors.company.company import company_day
from fleet.services.visits.contract_facts import (
    BadContract,
    ContractInput,
    facts_of,
    lay_columns,
    lines_of,
    note_of,
    said_facts,
)
from sites.models import Site
from sites.services.history import record_changes
from weather.importing.rows import ImportReport, Table

BATCH: Final = 900
COLUMNS: Final = (
    "ends_on", "price", "currency", "notice_days", "ended_why", "visits_included", "used_before",
    "used_as_of",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Write:
    """A contract to write: its facts before (None: it is new) and after."""

    row: ServiceContract
    before: dict[str, Any] | None
    after: dict[str, Any]


def import_contracts(
    *, path: Path, by: str, now: datetime, dry_run: bool = False, keep_good: bool = False
) -> ImportReport:
    """Bring a contracts file in; a contract of the same garden and first day is replaced.

    Parameters
    ----------
    path
        The file.
    by, now
        Who imports, and when: kept in the history.
    dry_run, keep_good
        Report only; write the good rows of a file with bad ones.
    """
    table, rows = read_contracts(path)
    company = Company.objects.only("currency").first()
    currency = company.currency if company else ""
    held = _held({row.site_id for row in rows})
    wanted = _wanted(table, rows, currency)
    _refuse_overlaps(table, rows, held)
    bad = table.bad_rows()
    good = [row for row in rows if row.row not in bad]
    day = company_day(now=now)
    fresh, changed = [], []
    for row in good:
        stored = held.get(row.site_id, {}).get(row.first_day)
        before = facts_of(stored) if stored else None
        after = said_facts(wanted[row.row], before or {}, day)
        if stored is None:
            fresh.append(_Write(ServiceContract(site_id=row.site_id), None, after))
        elif before != after:
            changed.append(_Write(stored, before, after))
    write = not dry_run and (not table.problems or keep_good)
    if write:
        _write(fresh, changed, by=by, now=now)
    return ImportReport(
        table.file,
        len(fresh),
        len(changed),
        len(good) - len(fresh) - len(changed),
        tuple(table.problems),
        written=write,
    )


def _wanted(table: Table, rows: list[ContractRow], currency: str) -> dict[int, ContractInput]:
    """What each row says, by its number; rows that cannot be are refused."""
    found = {}
    for row in rows:
        if not row.currency and not currency:
            table.refuse(row.row, "currency", "", "three letters (ISO 4217): no company has one yet")
            continue
        try:
            found[row.row] = ContractInput(
                starts_on=row.first_day,
                last_day=row.last_day,
                price=row.price,
                currency=row.currency or currency,
                notice_days=row.counts["notice_days"],
                any_kind=row.counts["visits_any_kind"],
                visits=_by_kind(row.counts, "visits"),
                used_any=row.counts["used_any_kind"],
                used=_by_kind(row.counts, "used"),
                ended_why=row.ended_why,
            )
        except BadContract as error:
            table.refuse(
                row.row, "last_day", row.last_day, str(error).partition("expected ")[2] or str(error)
            )
    return found


def _by_kind(counts: Mapping[str, int], word: str) -> dict[str, int]:
    """Counts above 0 by kind."""
    return {kind: count for kind in CONTRACT_KINDS if (count := counts[f"{word}_{kind}"])}


def _held(site_ids: set[int]) -> dict[int, dict[date, ServiceContract]]:
    """Stored contracts of the gardens by first day, with their lines."""
    found: dict[int, dict[date, ServiceContract]] = {}
    for at in range(0, len(ids := sorted(site_ids)), BATCH):
        rows = ServiceContract.objects.filter(site_id__in=ids[at : at + BATCH]).select_related("site")
        for row in rows.prefetch_related("included"):
            found.setdefault(row.site_id, {})[row.starts_on] = row
    return found


@transaction.atomic
def _write(fresh: list[_Write], changed: list[_Write], *, by: str, now: datetime) -> None:
    """Write contracts with their lines and history, in bulk."""
    for one in (*fresh, *changed):
        lay_columns(one.row, one.after)
    ServiceContract.objects.bulk_create([one.row for one in fresh], batch_size=1_000)
    ServiceContract.objects.bulk_update([one.row for one in changed], COLUMNS, batch_size=200)
    for at in range(0, len(changed), BATCH):
        ContractVisits.objects.filter(contract__in=[one.row for one in changed[at : at + BATCH]]).delete()
    lines = [line for one in (*fresh, *changed) for line in lines_of(one.row, one.after)]
    ContractVisits.objects.bulk_create(lines, batch_size=2_000)
    for at in range(0, len(fresh), BATCH):
        part = fresh[at : at + BATCH]
        sites = Site.objects.only("code").in_bulk([one.row.site_id for one in part])
        for one in part:
            one.row.site = sites[one.row.site_id]
    record_changes(
        notes=[note_of(one.row, one.before, one.after) for one in (*fresh, *changed)], by=by, at=now
    )


def _refuse_overlaps(
    table: Table, rows: list[ContractRow], held: Mapping[int, Mapping[date, ServiceContract]]
) -> None:
    """Rows whose days another stored contract of the garden has, which no row replaces."""
    replaced = {(row.site_id, row.first_day) for row in rows}
    for row in rows:
        for first, other in held.get(row.site_id, {}).items():
            if (row.site_id, first) in replaced:
                continue
            if first <= row.last_day and row.first_day < other.ends_on:
                table.refuse(
                    row.row, "first_day", row.first_day,
                    f"days beside the garden's contract from {first} to {other.ends_on - timedelta(days=1)}",
                )  # fmt: skip
                break

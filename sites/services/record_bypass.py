"""Imports of bypass logs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path

from django.db import transaction

from sites.importing.bypass import COLUMNS, BypassRow, check_bypass, read_bypass
from sites.models import BypassLog
from sites.services.bypass_warnings import bypass_warnings
from sites.services.staleness import mark_sites_stale
from weather.importing.entries import read_entries
from weather.importing.rows import ImportReport, Table

_FIELDS = (
    "end", "starts_scheduled", "starts_bypassed", "starts_cut_short", "starts_skipped", "method", "note",
)  # fmt: skip


def import_bypass(*, path: Path, today: date, dry_run: bool = False, keep_good: bool = False) -> ImportReport:
    """Bring a bypass file in; a log of the same controller and first day is replaced.

    Parameters
    ----------
    path
        The file.
    today
        Logs of days after it are refused.
    dry_run, keep_good
        Report only; write the good rows of a file with bad ones.
    """
    table, rows = read_bypass(path, today=today)
    return _record(table, rows, write=not dry_run and (not table.problems or keep_good))


def record_bypass_entries(*, entries: Sequence[Mapping[str, object]], today: date) -> ImportReport:
    """Bring logs in that came as values; one with a problem, and nothing is written.

    Parameters
    ----------
    entries
        Values by the names of the bypass file's columns.
    today
        Logs of days after it are refused.
    """
    table = read_entries("entries", entries, COLUMNS)
    rows = check_bypass(table, today=today)
    return _record(table, rows, write=not table.problems)


def _record(table: Table, rows: list[BypassRow], *, write: bool) -> ImportReport:
    """Upsert the good rows where that is wanted; what was done, or would have been."""
    bad = table.bad_rows()
    logs = {(row.controller_id, row.start): row for row in rows if row.row not in bad}
    stored = {
        (controller, start): values
        for controller, start, *values in BypassLog.objects.filter(
            controller_id__in={controller for controller, _ in logs}
        ).values_list("controller_id", "start", *_FIELDS)
    }
    new = [key for key in logs if key not in stored]
    changed = [key for key in logs if key in stored and stored[key] != _values(logs[key])]
    if write and (new or changed):
        _write([logs[key] for key in (*new, *changed)])
    return ImportReport(
        file=table.file,
        added=len(new),
        changed=len(changed),
        unchanged=len(logs) - len(new) - len(changed),
        problems=tuple(table.problems),
        warnings=bypass_warnings(rows=list(logs.values())),
        written=write,
    )


def _values(row: BypassRow) -> list[object]:
    """A row's values in the order of the stored columns."""
    return [row.end, row.scheduled, row.bypassed, row.cut_short, row.skipped, row.method, row.note]


@transaction.atomic
def _write(rows: list[BypassRow]) -> None:
    """Upsert the logs and mark the balances that rest on them."""
    BypassLog.objects.bulk_create(
        [
            BypassLog(
                controller_id=row.controller_id,
                start=row.start,
                **dict(zip(_FIELDS, _values(row), strict=True)),
            )
            for row in rows
        ],
        batch_size=2_000,
        update_conflicts=True,
        unique_fields=["controller", "start"],
        update_fields=list(_FIELDS),
    )
    since: dict[int, date] = {}
    for row in rows:
        since[row.site_id] = min(row.start, since.get(row.site_id, row.start))
    mark_sites_stale(since=since)

"""Imports of meter volumes and register readings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path

from django.db import transaction

from sites.importing.meters import (
    READING_COLUMNS,
    VOLUME_COLUMNS,
    ReadingRow,
    VolumeRow,
    check_readings,
    check_volumes,
    read_readings,
    read_volumes,
)
from sites.models import Meter, MeterReading, MeterVolume
from weather.importing.entries import read_entries
from weather.importing.rows import ImportReport, Table

MeterKey = tuple[int, str, str]


def import_meter(*, path: Path, today: date, dry_run: bool = False, keep_good: bool = False) -> ImportReport:
    """Bring a meter file in; a period of the same meter and first day is replaced."""
    table, rows = read_volumes(path, today=today)
    return _record_volumes(table, rows, write=not dry_run and (not table.problems or keep_good))


def record_volume_entries(*, entries: Sequence[Mapping[str, object]], today: date) -> ImportReport:
    """Bring volumes in that came as values; one with a problem, and nothing is written."""
    table = read_entries("entries", entries, VOLUME_COLUMNS)
    rows = check_volumes(table, today=today)
    return _record_volumes(table, rows, write=not table.problems)


def _record_volumes(table: Table, rows: list[VolumeRow], *, write: bool) -> ImportReport:
    """Upsert the good periods where that is wanted."""
    bad = table.bad_rows()
    good = {(row.site_id, row.kind, row.start): row for row in rows if row.row not in bad}
    stored = {
        (site, kind, start): (end, volume, unit, guessed)
        for site, kind, start, end, volume, unit, guessed in MeterVolume.objects.filter(
            meter__site_id__in={row.site_id for row in rows}
        ).values_list("meter__site_id", "meter__kind", "start", "end", "volume_given", "unit", "is_estimated")
    }
    new = [key for key in good if key not in stored]
    changed = [
        key
        for key, row in good.items()
        if key in stored and stored[key] != (row.end, row.volume, row.unit, row.is_estimated)
    ]
    if write and (new or changed):
        _write_volumes([good[key] for key in (*new, *changed)])
    return _report(table, good_count=len(good), new=len(new), changed=len(changed), written=write)


def import_readings(
    *, path: Path, now: datetime, dry_run: bool = False, keep_good: bool = False
) -> ImportReport:
    """Bring a readings file in; a reading of the same meter, moment and event is replaced."""
    table, rows = read_readings(path, now=now)
    return _record_readings(table, rows, write=not dry_run and (not table.problems or keep_good))


def record_reading_entries(*, entries: Sequence[Mapping[str, object]], now: datetime) -> ImportReport:
    """Bring readings in that came as values; one with a problem, and nothing is written."""
    table = read_entries("entries", entries, READING_COLUMNS)
    rows = check_readings(table, now=now)
    return _record_readings(table, rows, write=not table.problems)


def _record_readings(table: Table, rows: list[ReadingRow], *, write: bool) -> ImportReport:
    """Upsert the good readings where that is wanted."""
    bad = table.bad_rows()
    good = {(row.site_id, row.meter_code, row.read_at, row.event): row for row in rows if row.row not in bad}
    stored = {
        (site, code, at, event): (reading, unit, digits, kind)
        for site, code, at, event, reading, unit, digits, kind in MeterReading.objects.filter(
            meter__site_id__in={row.site_id for row in rows}
        ).values_list(
            "meter__site_id", "meter__code", "read_at", "event", "reading", "unit", "digits", "read_kind"
        )
    }
    new = [key for key in good if key not in stored]
    changed = [
        key
        for key, row in good.items()
        if key in stored and stored[key] != (row.reading, row.unit, row.digits, row.read_kind)
    ]
    if write and (new or changed):
        _write_readings([good[key] for key in (*new, *changed)])
    return _report(table, good_count=len(good), new=len(new), changed=len(changed), written=write)


def _report(table: Table, *, good_count: int, new: int, changed: int, written: bool) -> ImportReport:
    """The report of either file."""
    return ImportReport(
        table.file, new, changed, good_count - new - changed, tuple(table.problems), written=written
    )


def _meters(keys: set[MeterKey]) -> dict[MeterKey, int]:
    """Ids of the meters, made where there is none."""
    Meter.objects.bulk_create(
        [Meter(site_id=site, kind=kind, code=code) for site, kind, code in sorted(keys)],
        ignore_conflicts=True,
        batch_size=2_000,
    )
    rows = Meter.objects.filter(site_id__in={site for site, _, _ in keys}).values_list(
        "site_id", "kind", "code", "pk"
    )
    return {(site, kind, code): pk for site, kind, code, pk in rows}


@transaction.atomic
def _write_volumes(rows: list[VolumeRow]) -> None:
    """Upsert the periods."""
    meters = _meters({(row.site_id, row.kind, "") for row in rows})
    MeterVolume.objects.bulk_create(
        [
            MeterVolume(
                meter_id=meters[row.site_id, row.kind, ""],
                start=row.start,
                end=row.end,
                volume_l=row.volume_l,
                volume_given=row.volume,
                unit=row.unit,
                is_estimated=row.is_estimated,
            )
            for row in rows
        ],
        batch_size=2_000,
        update_conflicts=True,
        unique_fields=["meter", "start"],
        update_fields=["end", "volume_l", "volume_given", "unit", "is_estimated"],
    )


@transaction.atomic
def _write_readings(rows: list[ReadingRow]) -> None:
    """Upsert the readings."""
    meters = _meters({(row.site_id, row.kind, row.meter_code) for row in rows})
    MeterReading.objects.bulk_create(
        [
            MeterReading(
                meter_id=meters[row.site_id, row.kind, row.meter_code],
                read_at=row.read_at,
                event=row.event,
                reading=row.reading,
                unit=row.unit,
                digits=row.digits,
                read_kind=row.read_kind,
            )
            for row in rows
        ],
        batch_size=2_000,
        update_conflicts=True,
        unique_fields=["meter", "read_at", "event"],
        update_fields=["reading", "unit", "digits", "read_kind"],
    )

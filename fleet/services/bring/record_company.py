"""Imports of technicians and tariffs."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from django.db import transaction

from fleet.importing.tariffs import read_tariffs
from fleet.importing.technicians import TechnicianRow, read_technicians
from fleet.models import Tariff, Technician, User
from sites.services.history import ChangeNote, record_changes
from weather.importing.rows import ImportReport


def import_technicians(
    *, path: Path, by: str, now: datetime, dry_run: bool = False, keep_good: bool = False
) -> ImportReport:
    """Bring a technicians file in; a login must be an account with the role technician."""
    table, rows = read_technicians(path)
    accounts = dict(
        User.objects.filter(username__in={row.login for row in rows}, role=User.Role.TECHNICIAN).values_list(
            "username", "pk"
        )
    )
    for row in rows:
        if row.login and row.login not in accounts:
            table.refuse(row.row, "login", row.login, "the name of an account with the role technician")
    bad = table.bad_rows()
    good = {row.code: row for row in rows if row.row not in bad}
    stored = {technician.code: technician for technician in Technician.objects.filter(code__in=good)}
    before = {code: _plain(technician) for code, technician in stored.items()}
    after = {code: _wanted(row, accounts) for code, row in good.items()}
    new = [code for code in good if code not in stored]
    changed = [code for code in good if code in stored and before[code] != after[code]]
    write = not dry_run and (not table.problems or keep_good)
    if write:
        with transaction.atomic():
            for code in (*new, *changed):
                Technician.objects.update_or_create(code=code, defaults=after[code])
            notes = [
                ChangeNote("technician", code, "", _text(before.get(code)), _text(after[code]))
                for code in (*new, *changed)
            ]
            record_changes(notes=notes, by=by, at=now)
    return ImportReport(
        table.file,
        len(new),
        len(changed),
        len(good) - len(new) - len(changed),
        tuple(table.problems),
        written=write,
    )


def _wanted(row: TechnicianRow, accounts: dict[str, int]) -> dict[str, object]:
    """The columns of a technician as the file wants them."""
    return {**row.columns, "user_id": accounts.get(row.login)}


def _plain(technician: Technician) -> dict[str, object]:
    """The columns of a stored technician, as a file would give them."""
    return {
        name: getattr(technician, name)
        for name in (
            "name", "start_latitude", "start_longitude", "end_latitude", "end_longitude", "shift_start",
            "shift_end", "workdays", "days_off", "skills", "break_min", "user_id",
        )
    }  # fmt: skip


def _text(columns: dict[str, object] | None) -> dict[str, object] | None:
    """Columns as JSON keeps them."""
    if columns is None:
        return None
    return {
        name: value if isinstance(value, (int, float, str)) else str(value) for name, value in columns.items()
    }


def import_tariffs(*, path: Path, dry_run: bool = False, keep_good: bool = False) -> ImportReport:
    """Bring a tariffs file in; a tier of the same supplier and first day is replaced."""
    table, rows = read_tariffs(path)
    bad = table.bad_rows()
    good = {(row.supplier, row.starts_on, row.tier_from_m3): row for row in rows if row.row not in bad}
    stored = {
        (supplier, starts_on, tier): (price, currency)
        for supplier, starts_on, tier, price, currency in Tariff.objects.values_list(
            "supplier", "starts_on", "tier_from_m3", "price_per_m3", "currency"
        )
    }
    new = [key for key in good if key not in stored]
    changed = [
        key for key, row in good.items() if key in stored and stored[key] != (row.price_per_m3, row.currency)
    ]
    write = not dry_run and (not table.problems or keep_good)
    if write:
        Tariff.objects.bulk_create(
            [
                Tariff(
                    supplier=row.supplier,
                    starts_on=row.starts_on,
                    tier_from_m3=row.tier_from_m3,
                    price_per_m3=row.price_per_m3,
                    currency=row.currency,
                )
                for row in (good[key] for key in (*new, *changed))
            ],
            update_conflicts=True,
            unique_fields=["supplier", "starts_on", "tier_from_m3"],
            update_fields=["price_per_m3", "currency"],
        )
    return ImportReport(
        table.file,
        len(new),
        len(changed),
        len(good) - len(new) - len(changed),
        tuple(table.problems),
        written=write,
    )

"""Imports of visits asked for: each becomes a need of its site."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

from django.db import transaction

from fleet.calc.visits.settings import VisitSettings, planned_min, visit_settings
from fleet.calc.visits.value import SKILLS, stated_value
from fleet.importing.visits import VisitRow, read_visits
from fleet.models import Company, VisitKind, VisitNeed
from fleet.selectors.company.company import company_day
from sites.services.history import ChangeNote, record_changes
from weather.importing.rows import ImportReport

_FIELDS = ("reason", "value_per_day", "service_min", "skill", "earliest", "latest", "promised", "note")


def import_visits(
    *, path: Path, by: str, now: datetime, dry_run: bool = False, keep_good: bool = False
) -> ImportReport:
    """Bring a visits file in; a visit of the same site, kind and day replaces its need while that is open.

    Parameters
    ----------
    path
        The file.
    by, now
        Who imports, and when: kept in the history.
    dry_run, keep_good
        Report only; write the good rows of a file with bad ones.
    """
    table, rows = read_visits(path)
    bad = table.bad_rows()
    good = {_key(row): row for row in rows if row.row not in bad}
    company = Company.objects.first()
    settings = visit_settings(company.settings if company else {})
    stored = {need.key: need for need in VisitNeed.objects.filter(key__in=good)}
    wanted = {key: _columns(row, settings) for key, row in good.items()}
    new = [key for key in good if key not in stored]
    changed = [
        key
        for key in good
        if key in stored
        and stored[key].state == VisitNeed.State.OPEN
        and any(getattr(stored[key], name) != wanted[key][name] for name in _FIELDS)
    ]
    write = not dry_run and (not table.problems or keep_good)
    if write:
        with transaction.atomic():
            _write({key: good[key] for key in (*new, *changed)}, wanted, stored, day=company_day(now=now))
            notes = [
                ChangeNote(
                    "visit_need", key, good[key].site, {} if key in stored else None, {"row": good[key].row}
                )
                for key in (*new, *changed)
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


def _key(row: VisitRow) -> str:
    """Natural key of the need that a row asks for."""
    return f"visit/{row.site}/{row.kind}/{row.day or 'any'}"


def _columns(row: VisitRow, settings: VisitSettings) -> dict[str, object]:
    """The need's columns."""
    return {
        "reason": row.note or f"{VisitKind(row.kind).label} asked for",
        "value_per_day": stated_value(row.value_per_day, row.priority, settings.priority_value),
        "service_min": row.service_min or planned_min(settings, row.kind),
        "skill": row.skill or ";".join(SKILLS.get(row.kind, ())),
        "earliest": row.earliest,
        "latest": row.latest,
        "promised": row.latest is not None,
        "note": row.note,
    }


def _write(
    rows: dict[str, VisitRow],
    wanted: dict[str, dict[str, object]],
    stored: dict[str, VisitNeed],
    *,
    day: date,
) -> None:
    """Upsert the needs; what was raised when stays."""
    VisitNeed.objects.bulk_create(
        [
            VisitNeed(
                key=key,
                site_id=row.site_id,
                kind=row.kind,
                origin=VisitNeed.Origin.IMPORTED,
                raised_on=stored[key].raised_on if key in stored else day,
                value_parts={"priority": wanted[key]["value_per_day"]},
                **wanted[key],
            )
            for key, row in rows.items()
        ],
        batch_size=1_000,
        update_conflicts=True,
        unique_fields=["key"],
        update_fields=[*_FIELDS, "value_parts"],
    )

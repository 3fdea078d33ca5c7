"""Imports of what controllers are set to."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, datetime
from pathlib import Path

from django.db import transaction

from sites.importing.programs import ProgramRow, read_programs
from sites.models import ProgramLine, ProgramSet, Site
from sites.services.history import ChangeNote, record_changes
from sites.services.staleness import mark_sites_stale
from weather.importing.rows import ImportReport, Table

Key = tuple[int, date]
Line = tuple[str, str, str, int, float, float]


def import_programs(
    *, path: Path, by: str, now: datetime, dry_run: bool = False, keep_good: bool = False
) -> ImportReport:
    """Bring a programs file in: rows of a controller with one `as_of` are its setting from that day on.

    Parameters
    ----------
    path
        The file.
    by, now
        Who imports, and when: kept in the history.
    dry_run
        Report only.
    keep_good
        Write the good settings of a file with bad rows; a setting with a bad row is left out whole.
    """
    table, rows = read_programs(path)
    bad = _settings_of_bad_rows(table)
    wanted: dict[Key, list[ProgramRow]] = defaultdict(list)
    for row in rows:
        if (row.site, row.controller, row.as_of) not in bad:
            wanted[row.controller_id, row.as_of].append(row)
    stored = _stored(wanted)
    new = {key: lines for key, lines in wanted.items() if key not in stored}
    changed = {key: lines for key, lines in wanted.items() if key in stored and stored[key] != _lines(lines)}
    write = not dry_run and (not table.problems or keep_good)
    if write and (new or changed):
        with transaction.atomic():
            _write({**new, **changed}, stored, by=by, now=now)
    return ImportReport(
        file=table.file,
        added=len(new),
        changed=len(changed),
        unchanged=len(wanted) - len(new) - len(changed),
        problems=tuple(table.problems),
        written=write,
    )


def _settings_of_bad_rows(table: Table) -> set[tuple[str, str, object]]:
    """(site, controller, as_of) of rows that were refused after parsing."""
    bad = table.bad_rows()
    return {
        (str(row.values["site"]), str(row.values["controller"]), row.values["as_of"])
        for row in table.rows
        if row.number in bad
    }


def _lines(rows: list[ProgramRow]) -> set[Line]:
    """What distinguishes one setting from another."""
    return {
        (row.letter, row.days, row.starts, row.station, row.run_min, row.seasonal_adjust_pct) for row in rows
    }


def _stored(wanted: dict[Key, list[ProgramRow]]) -> dict[Key, set[Line]]:
    """The settings of the database with the same keys."""
    stored: dict[Key, set[Line]] = {}
    controllers = {controller for controller, _ in wanted}
    rows = ProgramLine.objects.filter(program_set__controller_id__in=controllers).values_list(
        "program_set__controller_id", "program_set__as_of", "letter", "days", "starts", "station", "run_min",
        "seasonal_adjust_pct",
    )  # fmt: skip
    for controller, as_of, letter, days, starts, station, minutes, adjust in rows:
        if (controller, as_of) in wanted:
            stored.setdefault((controller, as_of), set()).add(
                (letter, days, starts, station, minutes, adjust)
            )
    return stored


def _write(
    wanted: dict[Key, list[ProgramRow]], stored: dict[Key, set[Line]], *, by: str, now: datetime
) -> None:
    """Replace the settings, note the change, and mark the balances that rest on them."""
    ProgramSet.objects.bulk_create(
        [ProgramSet(controller_id=controller, as_of=as_of) for controller, as_of in wanted],
        ignore_conflicts=True,
        batch_size=2_000,
    )
    controllers = {controller for controller, _ in wanted}
    ids = {
        (controller, as_of): pk
        for controller, as_of, pk in ProgramSet.objects.filter(controller_id__in=controllers).values_list(
            "controller_id", "as_of", "pk"
        )
    }
    replaced = [ids[key] for key in wanted if key in stored]
    ProgramLine.objects.filter(program_set_id__in=replaced).delete()
    ProgramLine.objects.bulk_create(
        [
            ProgramLine(
                program_set_id=ids[key],
                letter=row.letter,
                days=row.days,
                starts=row.starts,
                station=row.station,
                run_min=row.run_min,
                run_order=order,
                seasonal_adjust_pct=row.seasonal_adjust_pct,
            )
            for key, rows in wanted.items()
            for letter in sorted({row.letter for row in rows})
            for order, row in enumerate((row for row in rows if row.letter == letter), start=1)
        ],
        batch_size=2_000,
    )
    record_changes(notes=[_note(key, rows, stored.get(key)) for key, rows in wanted.items()], by=by, at=now)
    since: dict[str, date] = {}
    for (_, as_of), rows in wanted.items():
        since[rows[0].site] = min(as_of, since.get(rows[0].site, as_of))
    site_ids = dict(Site.objects.filter(code__in=since).values_list("code", "pk"))
    mark_sites_stale(since={site_ids[code]: day for code, day in since.items()})


def _note(key: Key, rows: list[ProgramRow], before: set[Line] | None) -> ChangeNote:
    """A changed setting for the history."""
    return ChangeNote(
        kind="program_set",
        key=f"{rows[0].site}/{rows[0].controller}/{key[1]}",
        site_code=rows[0].site,
        before=None if before is None else {"lines": sorted(before)},
        after={"lines": sorted(_lines(rows))},
    )

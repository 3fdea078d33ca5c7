"""Imports of weather files."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Final

from django.db import transaction

from weather.importing.rows import ImportReport
from weather.importing.weather_file import read_weather
from weather.services.record_daily_weather import compare_daily_weather, record_daily_weather
from weather.services.reference_questions import ask_about_reference

MOST_WARNINGS: Final = 200


@transaction.atomic
def import_weather(
    *, path: Path, now: datetime, dry_run: bool = False, keep_good: bool = False
) -> ImportReport:
    """Bring a weather file in; days that revise stored ones mark later results as out of date.

    Parameters
    ----------
    path
        The file.
    now
        When it is read; observed days after it are refused.
    dry_run
        Report only.
    keep_good
        Write the good rows of a file that also holds bad ones.
    """
    file = read_weather(path, today=now.date())
    bad = file.table.bad_rows()
    days = [day for day in file.days if day.row not in bad]
    source = f"file {path.name}"
    writes = not dry_run and (not file.table.problems or keep_good)
    if writes:
        record = record_daily_weather(days=days, source=source, now=now)
        ask_about_reference(months=file.questions, file=path.name, now=now)
        added, changed = record.added, record.changed
    else:
        difference = compare_daily_weather(days=days, source=source)
        added, changed = len(difference.new), len(difference.changed)
    flagged = [f"{file.table.file}: row {day.row}: {day.flags}" for day in days if day.flags]
    more = len(flagged) - MOST_WARNINGS
    listed = [*flagged[:MOST_WARNINGS], *([f"{more} more rows with remarks"] if more > 0 else [])]
    return ImportReport(
        file=file.table.file,
        added=added,
        changed=changed,
        unchanged=len(days) - added - changed,
        problems=tuple(file.table.problems),
        warnings=(*map(str, file.questions), *listed),
        written=writes,
    )

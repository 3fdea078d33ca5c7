"""The drop folder: weather files that another program lays down are brought in and put aside."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

from weather.importing.rows import ImportReport
from weather.services.import_weather import import_weather

DONE: Final = "done"
REFUSED: Final = "refused"


@dataclass(frozen=True, slots=True)
class DroppedFiles:
    """Reports of the files that were found, in the order of their names."""

    reports: tuple[ImportReport, ...]

    @property
    def problems(self) -> tuple[str, ...]:
        """Every refused row."""
        return tuple(str(problem) for report in self.reports for problem in report.problems)


def import_dropped_files(*, folder: Path, now: datetime) -> DroppedFiles:
    """Bring in each CSV of the folder; good files move to `done`, others to `refused` with the reasons.

    Parameters
    ----------
    folder
        The drop folder; a file is to be moved there whole, not written there.
    now
        When they are read.
    """
    if not folder.is_dir():
        return DroppedFiles(())
    reports = []
    for path in sorted(folder.glob("*.csv")):
        report = import_weather(path=path, now=now)
        target = folder / (DONE if report.written else REFUSED)
        target.mkdir(exist_ok=True)
        aside = target / f"{now:%Y%m%dT%H%M%S}-{path.name}"
        path.replace(aside)
        if report.problems:
            reasons = "\n".join(str(problem) for problem in report.problems)
            aside.with_suffix(".txt").write_text(reasons + "\n", encoding="utf-8")
        reports.append(report)
    return DroppedFiles(tuple(reports))

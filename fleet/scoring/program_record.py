"""Measured seasons for the score of issued programs, from a file of daily ET and rain."""

from __future__ import annotations

import csv
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from fleet.scoring.program_worlds import SEASON_DAYS
from sites.calc.search.weather import DaySpan


class RecordTooShortError(ValueError):
    """The file holds no whole season, or misses a column."""


def measured_seasons(path: Path) -> tuple[DaySpan, ...]:
    """Seasons from 1 April that the file holds whole, oldest first [mm/d].

    Parameters
    ----------
    path
        CSV with the columns `date`, `eto_mm` and `rain_mm`, as the weather export writes it; one location.
    """
    with path.open(newline="", encoding="utf-8-sig") as file:
        reader = csv.DictReader(file)
        if not {"date", "eto_mm", "rain_mm"} <= set(reader.fieldnames or ()):
            raise RecordTooShortError("expected the columns date, eto_mm and rain_mm")
        values = {row["date"]: (row["eto_mm"], row["rain_mm"]) for row in reader}
    years = sorted({int(day[:4]) for day in values})
    spans = [span for year in years if (span := _season(values, year)) is not None]
    if not spans:
        raise RecordTooShortError("expected at least one whole season, April to October")
    return tuple(spans)


def _season(values: dict[str, tuple[str, str]], year: int) -> DaySpan | None:
    """One season, None where a day of it is missing."""
    days = [(date(year, 4, 1) + timedelta(days=at)).isoformat() for at in range(SEASON_DAYS)]
    if any(day not in values or "" in values[day] for day in days):
        return None
    numbers = np.array([[float(text) for text in values[day]] for day in days])
    return DaySpan(numbers[:, :1], numbers[:, 1:])

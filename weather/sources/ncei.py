"""NCEI daily summaries: measured days of the stations around the sites, rain above all."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from weather.calc.neighbours import EARTH_RADIUS_KM
from weather.calc.new_days import OBSERVED, NewDay, NewPlace
from weather.sources.client import Client
from weather.sources.protocol import Answer, Point, Question, SourceChanged, SourceError
from weather.sources.reading import BOUNDS, day_of, list_at, mapping_at

NOTICE: Final = "Station data: NOAA National Centers for Environmental Information."
REACH_KM: Final = 15.0
MOST_STATIONS: Final = 50
STATIONS_AT_ONCE: Final = 10
WIND_HEIGHT_M: Final = 10.0
# Their name -> ours; `units=metric` agrees on C, mm and m/s.
VARIABLES: Final[dict[str, str]] = {
    "TMIN": "tmin_c",
    "TMAX": "tmax_c",
    "AWND": "wind_m_s",
    "PRCP": "rain_mm",
}
_POSITION: Final = ("LATITUDE", "LONGITUDE", "ELEVATION")


@dataclass(frozen=True, slots=True)
class DailySummaries:
    """Adapter: first the stations in the box around the points, then their days."""

    client: Client
    url: str
    name: str = "ncei"
    kind: str = OBSERVED
    notice: str = NOTICE

    def ask(self, points: Sequence[Point], question: Question) -> Iterator[Answer]:
        """Answers station by station, over all points."""
        if not points:
            return
        try:
            stations = self._stations(points, question)
        except SourceError as error:
            yield Answer("stations around the sites", error=error)
            return
        for left in range(0, len(stations), STATIONS_AT_ONCE):
            some = stations[left : left + STATIONS_AT_ONCE]
            try:
                yield from read_stations(self._days(some, question), question)
            except SourceError as error:
                yield Answer(", ".join(some), error=error)

    def _stations(self, points: Sequence[Point], question: Question) -> list[str]:
        """Ids of the stations in the box around the points."""
        north, west, south, east = box_around(points)
        told = self.client.get_json(
            f"{self.url.rstrip('/')}/access/services/search/v1/data",
            {
                "dataset": "daily-summaries",
                "bbox": f"{north:.4f},{west:.4f},{south:.4f},{east:.4f}",
                "startDate": f"{question.start}T00:00:00",
                "endDate": f"{question.end}T00:00:00",
                "dataTypes": "PRCP",
                "limit": str(MOST_STATIONS),
                "offset": "0",
            },
        )
        ids = set()
        for result in list_at(told, "results"):
            for station in list_at(result, "stations"):
                ids.add(str(mapping_at(station).get("id", "")).rpartition(":")[2])
        return sorted(one for one in ids if one.isalnum())

    def _days(self, stations: Sequence[str], question: Question) -> str:
        """Days of some stations as CSV."""
        return self.client.get_text(
            f"{self.url.rstrip('/')}/access/services/data/v1",
            {
                "dataset": "daily-summaries",
                "stations": ",".join(stations),
                "startDate": question.start.isoformat(),
                "endDate": date.fromordinal(question.end.toordinal() - 1).isoformat(),
                "dataTypes": ",".join(VARIABLES),
                "units": "metric",
                "format": "csv",
                "includeStationLocation": "1",
                "includeStationName": "1",
            },
        )


def box_around(points: Sequence[Point]) -> tuple[float, float, float, float]:
    """Return north, west, south and east of the box that reaches 15 km beyond the points [deg]."""
    up = math.degrees(REACH_KM / EARTH_RADIUS_KM)
    north = max(point.latitude_deg for point in points) + up
    south = min(point.latitude_deg for point in points) - up
    aside = up / max(0.1, math.cos(math.radians(max(abs(north), abs(south)))))
    west = min(point.longitude_deg for point in points) - aside
    east = max(point.longitude_deg for point in points) + aside
    return min(north, 90.0), max(west, -180.0), max(south, -90.0), min(east, 180.0)


def read_stations(text: str, question: Question) -> Iterator[Answer]:
    """Return the stations of an answer with their days; its units are judged by its values.

    Parameters
    ----------
    text
        The answer's CSV, with the stations' positions.
    question
        The days that were asked for; others are left out.
    """
    reader = csv.DictReader(io.StringIO(text, newline=""))
    lacking = {"STATION", "DATE", *_POSITION} - set(reader.fieldnames or ())
    if lacking:
        raise SourceChanged(f"the answer has no column {', '.join(sorted(lacking))}")
    by_station: dict[str, list[NewDay]] = {}
    errors: dict[str, SourceError] = {}
    for row in reader:
        station = row["STATION"] or ""
        try:
            made = _day(row, question)
        except SourceError as error:
            errors.setdefault(station, error)
            continue
        if made is not None:
            by_station.setdefault(station, []).append(made)
    for station in sorted({*by_station, *errors}):
        if station in errors:
            yield Answer(station, error=errors[station])
        else:
            yield Answer(station, tuple(by_station[station]))


def _day(row: Mapping[str, str | None], question: Question) -> NewDay | None:
    """One row as a day of its station; None where it was not asked for or holds nothing."""
    try:
        day = date.fromisoformat(str(row["DATE"]))
    except ValueError:
        raise SourceChanged(f"{row['DATE']!r:.40} is no day as 2026-06-14") from None
    if not question.start <= day < question.end:
        return None
    latitude, longitude, height = (_number(row.get(name)) for name in _POSITION)
    if latitude is None or longitude is None or height is None:
        raise SourceChanged(f"station {row['STATION']} has no position")
    values = {ours: _number(row.get(theirs)) for theirs, ours in VARIABLES.items()}
    warmest = max(values["tmin_c"] or 0.0, values["tmax_c"] or 0.0)
    if warmest > BOUNDS["tmax_c"][1]:
        raise SourceChanged(
            f"station {row['STATION']} has {warmest:g} degrees on {day}: these look like tenths or Fahrenheit"
        )
    try:
        place = NewPlace(f"ncei {row['STATION']}", latitude, longitude, height)
    except ValueError as error:
        raise SourceChanged(str(error)) from error
    wind_height = WIND_HEIGHT_M if values["wind_m_s"] is not None else None
    return day_of(place, day, OBSERVED, day, {**values, "wind_height_m": wind_height})


def _number(cell: str | None) -> float | None:
    """A cell's number; None where it is empty."""
    if cell is None or not cell.strip():
        return None
    try:
        value = float(cell)
    except ValueError:
        raise SourceChanged(f"{cell[:40]!r} stands where a number was agreed") from None
    return value if math.isfinite(value) else None

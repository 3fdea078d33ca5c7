"""NASA POWER: daily values of a global grid; solar radiation lags about a week, the newest days change."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from weather.calc.new_days import OBSERVED, WIND_HEIGHT_M
from weather.sources.client import Client
from weather.sources.protocol import Answer, Point, Question, SourceChanged, point_by_point
from weather.sources.reading import day_of, days_left_out, mapping_at, number_or_none

NOTICE: Final = "Data from the NASA POWER project (NASA Langley Research Center)."
# Their name -> ours and the unit agreed.
VARIABLES: Final[dict[str, tuple[str, str]]] = {
    "T2M_MIN": ("tmin_c", "C"),
    "T2M_MAX": ("tmax_c", "C"),
    "T2MDEW": ("tdew_c", "C"),
    "WS2M": ("wind_m_s", "m/s"),
    "ALLSKY_SFC_SW_DWN": ("solar_mj_m2", "MJ/m^2/day"),
    "PRECTOTCORR": ("rain_mm", "mm/day"),
}
_LOCAL: Final = "LST"
_FILL: Final = -999.0
_HEIGHT_AT: Final = 2  # in the coordinates of the answer's point


@dataclass(frozen=True, slots=True)
class NasaPower:
    """Adapter of the daily point service (community AG, local solar time)."""

    client: Client
    url: str
    name: str = "nasa_power"
    kind: str = OBSERVED
    notice: str = NOTICE

    def ask(self, points: Sequence[Point], question: Question) -> Iterator[Answer]:
        """Answers point by point."""
        return point_by_point(self._answer, points, question)

    def _answer(self, point: Point, question: Question) -> Answer:
        """Days of one point."""
        last = date.fromordinal(question.end.toordinal() - 1)
        told = self.client.get_json(
            f"{self.url.rstrip('/')}/api/temporal/daily/point",
            {
                "parameters": ",".join(VARIABLES),
                "community": "AG",
                "latitude": f"{point.latitude_deg:.4f}",
                "longitude": f"{point.longitude_deg:.4f}",
                "start": f"{question.start:%Y%m%d}",
                "end": f"{last:%Y%m%d}",
                "format": "JSON",
                "time-standard": _LOCAL,
            },
        )
        return read_answer(told, point, question)


def read_answer(told: object, point: Point, question: Question) -> Answer:
    """Return the days of an answer; its units and its clock are checked first.

    Parameters
    ----------
    told
        The answer's JSON.
    point
        The point that was asked for.
    question
        The days that were asked for; others are left out and remarked.
    """
    standard = mapping_at(told, "header").get("time_standard", _LOCAL)
    if standard != _LOCAL:
        raise SourceChanged(f"days of {standard}, agreed were local ones ({_LOCAL})")
    values, missing = _values(told)
    place = point.place(_height(told))
    inside = {day: by_name for day, by_name in values.items() if question.start <= day < question.end}
    days = [
        made
        for day, by_name in sorted(inside.items())
        if (made := day_of(place, day, OBSERVED, day, {**by_name, "wind_height_m": WIND_HEIGHT_M}))
    ]
    remarks = []
    if missing:
        remarks.append(f"{point.name}: no {', '.join(missing)}")
    if len(inside) < len(values):
        remarks.append(f"{point.name}: {len(values) - len(inside)} days that were not asked for")
    if holes := days_left_out(inside):
        remarks.append(f"{point.name}: {holes} days were left out of the answer")
    return Answer(point.name, tuple(days), remarks=tuple(remarks))


def _values(told: object) -> tuple[dict[date, dict[str, float | None]], list[str]]:
    """Values by day and our name, their units checked; and the variables that did not come."""
    fill = number_or_none(mapping_at(told, "header").get("fill_value", _FILL))
    series, stated = mapping_at(told, "properties", "parameter"), mapping_at(told, "parameters")
    values: dict[date, dict[str, float | None]] = {}
    missing = []
    for theirs, (ours, unit) in VARIABLES.items():
        if theirs not in series:
            missing.append(theirs)
            continue
        found = mapping_at(stated, theirs).get("units")
        if found != unit:
            raise SourceChanged(f"{theirs} comes in {found!r}, agreed was {unit!r}")
        for key, value in mapping_at(series, theirs).items():
            values.setdefault(_day(key), {})[ours] = number_or_none(value, fill=fill)
    return values, missing


def _day(key: str) -> date:
    """The day of a key as 20260614."""
    try:
        return datetime.strptime(key, "%Y%m%d").date()  # noqa: DTZ007 - a calendar day has no zone
    except ValueError:
        raise SourceChanged(f"{key[:20]!r} is no day as 20260614") from None


def _height(told: object) -> float | None:
    """Height of the grid cell, where the answer tells it."""
    coordinates = mapping_at(told, "geometry").get("coordinates")
    if not isinstance(coordinates, list) or len(coordinates) <= _HEIGHT_AT:
        return None
    return number_or_none(coordinates[_HEIGHT_AT], fill=_FILL)

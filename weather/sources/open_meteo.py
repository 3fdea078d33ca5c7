"""Open-Meteo: forecast days of weather models. Off unless the operator names an address: its free tier is for
non-commercial use only. Its own daily ET is summed from hours and is not mixed with ours.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from weather.calc.new_days import FORECAST
from weather.calc.units import km_h_to_m_s, knots_to_m_s, mph_to_m_s
from weather.sources.client import Client
from weather.sources.protocol import Answer, Point, Question, SourceChanged, point_by_point
from weather.sources.reading import day_of, days_left_out, list_at, mapping_at, number_or_none

Exchange = Callable[[float], float]
NOTICE: Final = "Weather data by Open-Meteo.com (CC BY 4.0); commercial use needs a paid key."
WIND_HEIGHT_M: Final = 10.0


def _as_it_is(value: float) -> float:
    """The value itself."""
    return value


# Their name -> ours, and exchange by their unit.
VARIABLES: Final[dict[str, tuple[str, dict[str, Exchange]]]] = {
    "temperature_2m_min": ("tmin_c", {"°C": _as_it_is}),
    "temperature_2m_max": ("tmax_c", {"°C": _as_it_is}),
    "relative_humidity_2m_min": ("rh_min_pct", {"%": _as_it_is}),
    "relative_humidity_2m_max": ("rh_max_pct", {"%": _as_it_is}),
    "wind_speed_10m_mean": (
        "wind_m_s",
        {"m/s": _as_it_is, "km/h": km_h_to_m_s, "mp/h": mph_to_m_s, "kn": knots_to_m_s},
    ),
    "shortwave_radiation_sum": ("solar_mj_m2", {"MJ/m²": _as_it_is}),
    "precipitation_sum": ("rain_mm", {"mm": _as_it_is}),
}


@dataclass(frozen=True, slots=True)
class OpenMeteo:
    """Adapter of the daily forecast."""

    client: Client
    url: str
    key: str = ""
    name: str = "open_meteo"
    kind: str = FORECAST
    notice: str = NOTICE

    def ask(self, points: Sequence[Point], question: Question) -> Iterator[Answer]:
        """Answers point by point."""
        return point_by_point(self._answer, points, question)

    def _answer(self, point: Point, question: Question) -> Answer:
        """Forecast days of one point."""
        start = max(question.start, question.today)
        last = date.fromordinal(question.end.toordinal() - 1)
        params = {
            "latitude": f"{point.latitude_deg:.4f}",
            "longitude": f"{point.longitude_deg:.4f}",
            "daily": ",".join(VARIABLES),
            "timezone": "auto",
            "wind_speed_unit": "ms",
            "start_date": start.isoformat(),
            "end_date": max(start, last).isoformat(),
        }
        if self.key:
            params["apikey"] = self.key
        return read_answer(
            self.client.get_json(f"{self.url.rstrip('/')}/v1/forecast", params), point, question
        )


def read_answer(told: object, point: Point, question: Question) -> Answer:
    """Return the days of an answer; its units are checked first.

    Parameters
    ----------
    told
        The answer's JSON.
    point
        The point that was asked for.
    question
        The days that were asked for; others are left out.
    """
    daily, units = mapping_at(told, "daily"), mapping_at(told, "daily_units")
    dates = [_day(value) for value in list_at(told, "daily", "time")]
    values: list[dict[str, float | None]] = [{} for _ in dates]
    missing = []
    for theirs, (ours, exchanges) in VARIABLES.items():
        if theirs not in daily:
            missing.append(theirs)
            continue
        exchange = exchanges.get(str(units.get(theirs)))
        if exchange is None:
            raise SourceChanged(
                f"{theirs} comes in {units.get(theirs)!r}, agreed was {' or '.join(exchanges)}"
            )
        column = list_at(daily, theirs)
        if len(column) != len(dates):
            raise SourceChanged(f"{theirs} has {len(column)} values for {len(dates)} days")
        for by_name, cell in zip(values, column, strict=True):
            number = number_or_none(cell)
            by_name[ours] = None if number is None else exchange(number)
    place = point.place(number_or_none(mapping_at(told).get("elevation")))
    days = [
        made
        for day, by_name in zip(dates, values, strict=True)
        if max(question.start, question.today) <= day < question.end
        and (
            made := day_of(place, day, FORECAST, question.today, {**by_name, "wind_height_m": WIND_HEIGHT_M})
        )
    ]
    remarks = [f"{point.name}: no {', '.join(missing)}"] if missing else []
    wanted = {day for day in dates if question.start <= day < question.end}
    if len(wanted) < len(dates):
        remarks.append(f"{point.name}: {len(dates) - len(wanted)} days that were not asked for")
    if holes := days_left_out(wanted):
        remarks.append(f"{point.name}: {holes} days were left out of the answer")
    return Answer(point.name, tuple(days), remarks=tuple(remarks))


def _day(value: object) -> date:
    """The day of a text as 2026-06-14."""
    try:
        return date.fromisoformat(str(value))
    except ValueError:
        raise SourceChanged(f"{value!r:.40} is no day as 2026-06-14") from None

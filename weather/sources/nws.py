"""US National Weather Service: gridded forecast of a week; no solar radiation, values for spells of time."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from weather.calc.new_days import FORECAST
from weather.calc.units import fahrenheit_to_c, km_h_to_m_s, mph_to_m_s
from weather.sources.client import Client
from weather.sources.protocol import Answer, Point, Question, SourceChanged, point_by_point
from weather.sources.reading import day_of, list_at, mapping_at, number_or_none, text_at
from weather.sources.spells import Spell, covered_share, day_bounds, mean, parse_spell, total, within

Exchange = Callable[[float], float]
NOTICE: Final = "Forecast: US National Weather Service."
WIND_HEIGHT_M: Final = 10.0
_WHOLE_DAY: Final = 0.8  # share of a day that must be foretold for it to count


def _as_it_is(value: float) -> float:
    """The value itself."""
    return value


# Unit code without its namespace -> exchange into ours, by variable.
UNITS: Final[dict[str, dict[str, Exchange]]] = {
    "temperature": {"degC": _as_it_is, "degF": fahrenheit_to_c},
    "maxTemperature": {"degC": _as_it_is, "degF": fahrenheit_to_c},
    "minTemperature": {"degC": _as_it_is, "degF": fahrenheit_to_c},
    "dewpoint": {"degC": _as_it_is, "degF": fahrenheit_to_c},
    "relativeHumidity": {"percent": _as_it_is},
    "windSpeed": {"km_h-1": km_h_to_m_s, "m_s-1": _as_it_is, "mi_h-1": mph_to_m_s},
    "quantitativePrecipitation": {"mm": _as_it_is},
}


@dataclass(frozen=True, slots=True)
class NationalWeatherService:
    """Adapter of the forecast grid data; its terms want a contact in the User-Agent."""

    client: Client
    url: str
    name: str = "nws"
    kind: str = FORECAST
    notice: str = NOTICE

    def ask(self, points: Sequence[Point], question: Question) -> Iterator[Answer]:
        """Answers point by point."""
        return point_by_point(self._answer, points, question)

    def _answer(self, point: Point, question: Question) -> Answer:
        """Forecast days of one point: first its grid cell and its clock, then the cell's data."""
        base = self.url.rstrip("/")
        position = f"{point.latitude_deg:.4f},{point.longitude_deg:.4f}"
        cell = mapping_at(self.client.get_json(f"{base}/points/{position}"), "properties")
        office, zone = text_at(cell, "gridId"), zone_of(text_at(cell, "timeZone"))
        across, up = (number_or_none(cell.get(name)) for name in ("gridX", "gridY"))
        if across is None or up is None or not office.isalnum():
            raise SourceChanged(f"no grid cell came for {position}")
        told = self.client.get_json(f"{base}/gridpoints/{office}/{across:.0f},{up:.0f}")
        return read_answer(told, point, question, zone)


def zone_of(name: str) -> ZoneInfo:
    """Return a time zone by its IANA name."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError):
        raise SourceChanged(f"{name[:40]!r} is no time zone") from None


def read_answer(told: object, point: Point, question: Question, zone: ZoneInfo) -> Answer:
    """Return the forecast days of a grid cell's data.

    Parameters
    ----------
    told
        The answer's JSON.
    point
        The point that was asked for.
    question
        Days asked for; the days of the forecast carry `today` as their issue.
    zone
        Clock of the point: days are its own, also on nights when clocks change.
    """
    properties = mapping_at(told, "properties")
    series = {name: _spells(properties, name) for name in UNITS}
    if not series["temperature"] and not series["maxTemperature"]:
        raise SourceChanged("the answer has neither temperature nor maxTemperature")
    height = properties.get("elevation")
    place = point.place(number_or_none(height.get("value")) if isinstance(height, dict) else None)
    days = []
    day = max(question.start, question.today)
    while day < question.end:
        made = day_of(place, day, FORECAST, question.today, _day_values(series, day, zone))
        # A day of which only humidity or wind is foretold says nothing of use.
        if made is not None and any(made.value(name) is not None for name in ("tmin_c", "tmax_c", "rain_mm")):
            days.append(made)
        day += timedelta(days=1)
    return Answer(point.name, tuple(days))


def _spells(properties: Mapping[str, object], name: str) -> list[Spell]:
    """Values of a variable in our unit; an empty list where it did not come."""
    variable = properties.get(name)
    if not isinstance(variable, dict) or not variable.get("values"):
        return []
    unit = str(variable.get("uom", "")).rpartition(":")[2]
    exchange = UNITS[name].get(unit)
    if exchange is None:
        raise SourceChanged(f"{name} comes in {variable.get('uom')!r}, agreed was {' or '.join(UNITS[name])}")
    spells = []
    for entry in list_at(variable, "values"):
        value = number_or_none(mapping_at(entry).get("value"))
        start, end = parse_spell(text_at(entry, "validTime"))
        if value is not None and start < end:
            spells.append(Spell(start, end, exchange(value)))
    return spells


def _day_values(series: Mapping[str, Sequence[Spell]], day: date, zone: ZoneInfo) -> dict[str, float | None]:
    """Raw values of one local day; None where the forecast does not cover it."""
    start, end = day_bounds(day, zone)

    def covered(name: str) -> bool:
        return covered_share(series[name], start, end) >= _WHOLE_DAY

    humidity = within(series["relativeHumidity"], start, end) if covered("relativeHumidity") else []
    wind = mean(series["windSpeed"], start, end) if covered("windSpeed") else None
    rain_spells = series["quantitativePrecipitation"]
    return {
        "tmin_c": _extreme(series, "minTemperature", day, zone, min),
        "tmax_c": _extreme(series, "maxTemperature", day, zone, max),
        "tdew_c": mean(series["dewpoint"], start, end) if covered("dewpoint") else None,
        "rh_min_pct": min(humidity, default=None),
        "rh_max_pct": max(humidity, default=None),
        "wind_m_s": wind,
        "wind_height_m": WIND_HEIGHT_M if wind is not None else None,
        "rain_mm": total(rain_spells, start, end) if covered("quantitativePrecipitation") else None,
    }


def _extreme(
    series: Mapping[str, Sequence[Spell]],
    name: str,
    day: date,
    zone: ZoneInfo,
    pick: Callable[[list[float]], float],
) -> float | None:
    """The day's extreme: of the hours where they cover the day, else the forecaster's own of that day."""
    start, end = day_bounds(day, zone)
    if covered_share(series["temperature"], start, end) >= _WHOLE_DAY:
        return pick(within(series["temperature"], start, end))
    # A night's lowest may begin on the evening before; its middle tells the day.
    own = [spell.value for spell in series[name] if start <= spell.middle < end]
    return pick(own) if own else None

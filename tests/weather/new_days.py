"""Incoming days for the tests of storing and filling."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from weather.calc.new_days import FORECAST, OBSERVED, RAW, NewDay, NewPlace

DAY = date(2026, 6, 15)
FORD = NewPlace("Alder Ford", 41.2, -104.7, 1500.0)
HILL = NewPlace("Alder Hill", 41.25, -104.7, 1580.0)
FAR = NewPlace("Far Plain", 44.0, -100.0, 500.0)


def new_day(place: NewPlace = FORD, day: date = DAY, issued: date | None = None, **values: Any) -> NewDay:
    """A plausible day in early summer; values override, None is unknown."""
    step = day.toordinal()
    given: dict[str, float | None] = {
        "tmin_c": 11.0 + 0.3 * (step % 7),
        "tmax_c": 27.0 + 0.4 * (step % 5),
        "tdew_c": 7.5 + 0.2 * (step % 3),
        "wind_m_s": 2.0 + 0.1 * (step % 4),
        "wind_height_m": 2.0,
        "solar_mj_m2": 26.0 + 0.3 * (step % 6),
        "rain_mm": 0.0,
        **values,
    }
    return NewDay(
        place=place,
        day=day,
        kind=OBSERVED if issued is None else FORECAST,
        issued=day if issued is None else issued,
        values=tuple(given.get(name) for name in RAW),
    )


def run_of_days(count: int, place: NewPlace = FORD, end: date = DAY, **values: Any) -> list[NewDay]:
    """Days up to `end`, inclusive."""
    return [new_day(place, end - timedelta(days=back), **values) for back in reversed(range(count))]

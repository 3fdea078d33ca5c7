"""Reads of the weather page: how far the stored forecasts of a location were off."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np

from weather.calc.fill_codes import METHOD_WORDS, EtMethod
from weather.calc.forecast_score import ForecastPairs, LeadScore, forecast_scores
from weather.models import DailyWeather

SCORED_DAYS: Final = 90
Numbers = tuple[float | None, float | None]


@dataclass(frozen=True, slots=True)
class ForecastStanding:
    """Scores of a location's forecasts over some days, and who foretold them."""

    first_day: date
    last_day: date
    issues: int
    sources: tuple[str, ...]
    leads: tuple[LeadScore, ...]


def forecast_standing(*, location_id: int, last_day: date) -> ForecastStanding | None:
    """Return how the forecasts of the last 90 measured days compare with what came; None without any.

    Parameters
    ----------
    location_id
        The location.
    last_day
        Newest measured day: what is filled is no truth to score against.
    """
    first_day = last_day - timedelta(days=SCORED_DAYS - 1)
    days = DailyWeather.objects.filter(location_id=location_id, day__gte=first_day, day__lte=last_day)
    came = {day: (et, rain) for day, et, rain in _measured(location_id, first_day, last_day)}
    foretold = [
        row
        for row in days.filter(kind=DailyWeather.Kind.FORECAST).values_list(
            "day", "issued", "source", "eto_mm", "eto_sd_mm", "rain_used_mm"
        )
        if row[0] in came
    ]
    if not foretold:
        return None
    table = np.array([row[3:] for row in foretold], dtype=np.float64)
    truth = np.array([came[row[0]] for row in foretold], dtype=np.float64)
    pairs = ForecastPairs(
        lead_d=np.array([(row[0] - row[1]).days for row in foretold], dtype=np.int64),
        et_foretold_mm=table[:, 0],
        et_sd_mm=table[:, 1],
        et_came_mm=truth[:, 0],
        rain_foretold_mm=table[:, 2],
        rain_came_mm=truth[:, 1],
    )
    return ForecastStanding(
        first_day=first_day,
        last_day=last_day,
        issues=len({row[1] for row in foretold}),
        sources=tuple(sorted({row[2] for row in foretold})),
        leads=forecast_scores(pairs),
    )


def _measured(location_id: int, first: date, last: date) -> list[tuple[date, float | None, float | None]]:
    """Days with ET from measurements, and rain that the location measured itself."""
    rows = DailyWeather.objects.filter(
        location_id=location_id, kind=DailyWeather.Kind.OBSERVED, day__gte=first, day__lte=last
    ).values_list("day", "eto_method", "eto_mm", "rain_mm")
    fao = METHOD_WORDS[EtMethod.FAO56]
    return [(day, et if method == fao else None, rain) for day, method, et, rain in rows]

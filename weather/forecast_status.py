"""Reads of the weather page: how far the stored forecasts of a location were off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np

from weather.calc.air import wind_factor_to_2m
from weather.calc.arrays import FloatArray
from weather.calc.fill_codes import METHOD_WORDS, EtMethod
from weather.calc.forecast_score import (
    ForecastPairs,
    LeadScore,
    ValueErrors,
    forecast_scores,
    value_errors,
)
from weather.calc.spread_rules import INPUTS
from weather.models import DailyWeather
from weather.selectors import GAP_SOURCE
from weather.stored_spreads import spread_of, value_of

SCORED_DAYS: Final = 90
SCORED: Final = (*INPUTS, "rain_mm")


@dataclass(frozen=True, slots=True)
class ForecastStanding:
    """Scores of a location's forecasts over some days, and who foretold them."""

    first_day: date
    last_day: date
    issues: int
    sources: tuple[str, ...]
    leads: tuple[LeadScore, ...]
    values: tuple[tuple[str, tuple[ValueErrors, ...]], ...]  # by column

    @property
    def judged(self) -> int:
        """Return how many values and leads have days enough to be judged."""
        return sum(one.is_told for _, errors in self.values for one in errors)

    @property
    def wide(self) -> int:
        """Return at how many of them errors are clearly larger than the spreads expect."""
        return sum(one.is_wide for _, errors in self.values for one in errors)


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
    observed = days.filter(kind=DailyWeather.Kind.OBSERVED).exclude(source=GAP_SOURCE)
    came = {row.day: row for row in observed}
    foretold = [row for row in days.filter(kind=DailyWeather.Kind.FORECAST) if row.day in came]
    if not foretold:
        return None
    truth = [came[row.day] for row in foretold]
    fao = METHOD_WORDS[EtMethod.FAO56]
    lead = np.array([(row.day - row.issued).days for row in foretold], dtype=np.int64)
    pairs = ForecastPairs(
        lead_d=lead,
        et_foretold_mm=_numbers([row.eto_mm for row in foretold]),
        et_sd_mm=_numbers([row.eto_sd_mm for row in foretold]),
        et_came_mm=_numbers([row.eto_mm if row.eto_method == fao else None for row in truth]),
        rain_foretold_mm=_numbers([row.rain_used_mm for row in foretold]),
        rain_came_mm=_numbers([row.rain_mm for row in truth]),
    )
    return ForecastStanding(
        first_day=first_day,
        last_day=last_day,
        issues=len({row.issued for row in foretold}),
        sources=tuple(sorted({row.source for row in foretold})),
        leads=forecast_scores(pairs),
        values=tuple(
            (name, value_errors(lead, _both(foretold, name), _both(truth, name))) for name in SCORED
        ),
    )


def _both(rows: Sequence[DailyWeather], name: str) -> tuple[FloatArray, FloatArray]:
    """Values and spreads of one column; wind at 2 m, and of measured days only what was told there."""
    values = [_told_or_foretold(row, name) for row in rows]
    factor = np.ones(len(rows))
    if name == "wind_m_s":
        heights = np.array([row.wind_height_m if row.wind_m_s is not None else 2.0 for row in rows])
        factor = wind_factor_to_2m(heights)
    return _numbers(values) * factor, _numbers([spread_of(row, name) for row in rows]) * factor


def _told_or_foretold(row: DailyWeather, name: str) -> float | None:
    """A value that may be scored: a forecast's as used; a measured one only if nothing stood in for it."""
    stood_in = any(word.startswith(f"{name}:") for word in row.filled.split())
    if row.kind == DailyWeather.Kind.OBSERVED and stood_in:
        return None
    return value_of(row, name)


def _numbers(values: Sequence[float | None]) -> FloatArray:
    """Numbers as an array, NaN where unknown."""
    return np.array(values, dtype=np.float64)

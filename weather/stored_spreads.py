"""Reads of stored spreads: each value of a day beside its own, and what it brings to the spread of ET."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from weather.calc.air import wind_factor_to_2m
from weather.calc.arrays import FloatArray
from weather.calc.et_spread import parts_of_et
from weather.calc.fill_codes import METHOD_WORDS, EtMethod
from weather.calc.radiation import day_of_year
from weather.calc.spread_rules import INPUTS, SPREAD_COLUMN, USED_COLUMN
from weather.models import DailyWeather

PUT_IN: Final = "eto_mm"  # part of a day whose ET was put in as a whole


def value_of(row: DailyWeather, name: str) -> float | None:
    """Return a value as it was used: told, or put in; None where nobody knew it."""
    told: float | None = getattr(row, name)
    if told is not None or name not in USED_COLUMN:
        return told
    used: float | None = getattr(row, USED_COLUMN[name])
    return used


def spread_of(row: DailyWeather, name: str) -> float | None:
    """Return the stored spread of a value [its unit; K]."""
    spread: float | None = getattr(row, SPREAD_COLUMN[name])
    return spread


def stored_parts(
    rows: Sequence[DailyWeather], *, latitude_deg: float, elevation_m: float
) -> list[dict[str, float]]:
    """Return what each value brings to the stored spread of ET of one location's days [mm/d].

    Parameters
    ----------
    rows
        Days with all columns.
    latitude_deg, elevation_m
        Where the location is.
    """
    if not rows:
        return []
    values = {name: _column(rows, name, is_spread=False) for name in INPUTS}
    spreads = {name: _column(rows, name, is_spread=True) for name in INPUTS}
    parts = parts_of_et(
        values,
        spreads,
        day_numbers=day_of_year(np.array([row.day for row in rows], dtype="datetime64[D]")),
        latitude_deg=np.full(len(rows), latitude_deg),
        elevation_m=np.full(len(rows), elevation_m),
    )
    return [
        _parts_of(row, {name: float(part[at]) for name, part in parts.items()}) for at, row in enumerate(rows)
    ]


def _parts_of(row: DailyWeather, parts: dict[str, float]) -> dict[str, float]:
    """Parts of one day; of ET that was put in, that alone; none where a spread is not known."""
    if row.eto_sd_mm is None:
        return {}
    if row.eto_method != METHOD_WORDS[EtMethod.FAO56]:
        return {PUT_IN: row.eto_sd_mm}
    return parts if np.isfinite(list(parts.values())).all() else {}


def _column(rows: Sequence[DailyWeather], name: str, *, is_spread: bool) -> FloatArray:
    """Values or spreads as the equation took them: wind at 2 m."""
    read = spread_of if is_spread else value_of
    array = np.array([read(row, name) for row in rows], dtype=np.float64)
    if name != "wind_m_s":
        return array
    told = np.array([row.wind_m_s is not None for row in rows])
    return array * np.where(told, wind_factor_to_2m(np.array([row.wind_height_m for row in rows])), 1.0)

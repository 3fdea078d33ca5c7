"""Published ET of the tall (alfalfa) reference looks a quarter too high: ask before use."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from weather.calc.arrays import FloatArray
from weather.calc.daily_weather import DailyWeather, Places
from weather.calc.new_days import OBSERVED, NewDay, as_rows
from weather.calc.reference_et import reference_et
from weather.calc.weather_rows import WeatherRows

TALL_RATIO: Final = 1.15  # ASCE-EWRI (2005) Appendix C: ETrs/ETos is 1.24 to 1.36 on its ten days
LEAST_DAYS: Final = 20


@dataclass(frozen=True, slots=True)
class TallMonth:
    """A month whose published ET looks like the tall reference's.

    Parameters
    ----------
    place
        Name of the location [1].
    month
        Month as `2026-06` [1].
    ratio
        Published ET over that of the grass reference [1].
    """

    place: str
    month: str
    ratio: float

    def __str__(self) -> str:
        """The question."""
        return (
            f"{self.place}, {self.month}: the file's eto_mm is {self.ratio:.2f} times the grass "
            "reference; is it the tall (alfalfa) reference?"
        )


def tall_reference_months(days: Sequence[NewDay], published_mm: FloatArray) -> tuple[TallMonth, ...]:
    """Questions about months whose published ET runs more than 15 % above ours.

    Parameters
    ----------
    days
        Incoming days [as named].
    published_mm
        ET that came with each [mm/d], shape (days,); NaN = none.

    Returns
    -------
    tuple[TallMonth, ...]
        One a place and month of at least 20 days [1].
    """
    chosen = [at for at, day in enumerate(days) if day.kind == OBSERVED and np.isfinite(published_mm[at])]
    if not chosen:
        return ()
    own = _short_mm(as_rows([days[at] for at in chosen]), [days[at] for at in chosen])
    sums: dict[tuple[str, str], list[tuple[float, float]]] = defaultdict(list)
    for at, value in zip(chosen, own, strict=True):
        if np.isfinite(value):
            sums[days[at].place.name, f"{days[at].day:%Y-%m}"].append((float(published_mm[at]), float(value)))
    questions = []
    for (name, month), pairs in sorted(sums.items()):
        published, computed = (sum(pair[side] for pair in pairs) for side in (0, 1))
        if len(pairs) >= LEAST_DAYS and published > TALL_RATIO * computed > 0.0:
            questions.append(TallMonth(name, month, published / computed))
    return tuple(questions)


def _short_mm(rows: WeatherRows, days: Sequence[NewDay]) -> FloatArray:
    """Grass reference ET of single days, each by itself: a grid of one day a row would need no gap."""
    values = np.full(len(rows), np.nan)
    by_day: dict[np.datetime64, list[int]] = defaultdict(list)
    for at, day in enumerate(rows.days):
        by_day[day].append(at)
    for day, places in by_day.items():
        index = np.array(places)
        part = rows.take(index)
        one = {name: getattr(part, name)[np.newaxis, :] for name in part.__slots__[4:]}
        weather = DailyWeather(days=np.array([day]), **one)
        longitude = np.array([days[at].place.longitude_deg for at in places])
        where = Places(part.latitude_deg, longitude, part.elevation_m)
        values[index] = reference_et(weather, where).scheduling_mm()[0]
    return values

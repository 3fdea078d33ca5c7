"""Mean temperature that the neighbours of an incoming day had, for the check against them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Final

import numpy as np

from weather.calc.arrays import FloatArray
from weather.calc.borrowing import LAPSE_C_PER_M
from weather.calc.daily_weather import Places
from weather.calc.neighbours import nearest_neighbours
from weather.calc.new_days import OBSERVED, NewDay, NewPlace

CHECK_KM: Final = 60.0
CHECK_M: Final = 600.0
_MOST: Final = 5


def neighbour_means_c(
    days: Sequence[NewDay], stored_c: Mapping[tuple[str, date], tuple[NewPlace, float]]
) -> FloatArray:
    """Median of what the neighbours had on the day of each incoming one.

    Parameters
    ----------
    days
        Incoming days; those of other places in the same file are neighbours too [as named].
    stored_c
        Mean temperatures known already, with their places, by place and day [C].

    Returns
    -------
    FloatArray
        Medians brought to the day's own height [C], shape (days,); NaN where nobody is near.
    """
    known: dict[tuple[str, date], float] = {key: mean for key, (_, mean) in stored_c.items()}
    places: dict[str, NewPlace] = {place.name: place for place, _ in stored_c.values()}
    for new in days:
        low, high = new.value("tmin_c"), new.value("tmax_c")
        if new.kind == OBSERVED and low is not None and high is not None:
            known.setdefault((new.place.name, new.day), 0.5 * (low + high))
    places.update({new.place.name: new.place for new in days})
    near = _near(places)
    means = np.full(len(days), np.nan)
    for at, new in enumerate(days):
        around = [
            known[name, new.day] + LAPSE_C_PER_M * rise
            for name, rise in near[new.place.name]
            if (name, new.day) in known
        ]
        if around:
            means[at] = float(np.median(around))
    return means


def _near(places: Mapping[str, NewPlace]) -> dict[str, list[tuple[str, float]]]:
    """Names of each place's neighbours, and how much higher it stands than they [m]."""
    names = list(places)
    table = np.array(
        [(places[name].latitude_deg, places[name].longitude_deg, places[name].elevation_m) for name in names]
    ).reshape(-1, 3)
    found = nearest_neighbours(
        Places(table[:, 0].copy(), table[:, 1].copy(), table[:, 2].copy()),
        within_km=CHECK_KM,
        within_m=CHECK_M,
        most=_MOST,
    )
    near: dict[str, list[tuple[str, float]]] = defaultdict(list)
    for at, name in enumerate(names):
        near[name] = [
            (names[column], float(rise))
            for column, rise in zip(found.columns[at], found.rise_m[at], strict=True)
            if column >= 0
        ]
    return near

"""Reads of the weather page: a location beside its neighbours."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np

from weather.calc.arrays import FloatArray
from weather.calc.daily_weather import Places
from weather.calc.neighbours import nearest_neighbours
from weather.models import Location
from weather.selectors import weather_days

COMPARED_DAYS: Final = 60
WITHIN_KM: Final = 50.0
WITHIN_M: Final = 1_000.0
MOST: Final = 5
_FEWEST_DAYS: Final = 10
# Differences of 60 days beyond these deserve a look; common practice, no source.
ET_SHARE: Final = 0.15
TEMPERATURE_C: Final = 3.0


@dataclass(frozen=True, slots=True)
class NeighbourRow:
    """A neighbour over the last 60 days: differences are of this location less the neighbour."""

    pk: int
    name: str
    distance_km: float
    rise_m: float
    days: int
    temperature_c: float | None
    et_mm: float | None
    et_share: float | None
    rain_here_mm: float | None
    rain_there_mm: float | None

    @property
    def is_odd(self) -> bool:
        """Return whether the two differ more than their places explain."""
        warm = self.temperature_c is not None and abs(self.temperature_c) > TEMPERATURE_C
        return warm or (self.et_share is not None and abs(self.et_share) > ET_SHARE)


def neighbour_rows(*, location: Location, last_day: date) -> tuple[NeighbourRow, ...]:
    """Return the nearest locations with weather, and how this one compares with each.

    Parameters
    ----------
    location
        The location.
    last_day
        Last of the 60 days compared; filled days are left out on both sides.
    """
    places = [location, *Location.objects.exclude(pk=location.pk).exclude(newest_day=None).order_by("pk")]
    table = np.array([(one.latitude, one.longitude, one.elevation_m) for one in places], dtype=np.float64)
    near = nearest_neighbours(
        Places(table[:, 0].copy(), table[:, 1].copy(), table[:, 2].copy()),
        within_km=WITHIN_KM,
        within_m=WITHIN_M,
        most=MOST,
    )
    chosen = [(int(at), slot) for slot, at in enumerate(near.columns[0]) if at >= 0]
    if not chosen:
        return ()
    sky = weather_days(
        location_ids=[location.pk, *(places[at].pk for at, _ in chosen)],
        start=last_day - timedelta(days=COMPARED_DAYS - 1),
        end=last_day + timedelta(days=1),
    )
    own = int(sky.columns_of(np.array([location.pk]))[0])
    measured = ~sky.is_filled & ~sky.is_forecast & np.isfinite(sky.reference_et_mm)
    mean_c = (sky.tmin_c + sky.tmax_c) / 2.0
    rows = []
    for at, slot in chosen:
        column = int(sky.columns_of(np.array([places[at].pk]))[0])
        both = measured[:, own] & measured[:, column]
        et, there = (sky.reference_et_mm[both, side] for side in (own, column))
        difference = _mean(et - there)
        usual = _mean(there)
        has_rain = np.isfinite(sky.rain_mm[:, own]) & np.isfinite(sky.rain_mm[:, column])
        rain = [float(sky.rain_mm[has_rain, side].sum()) for side in (own, column)]
        rows.append(
            NeighbourRow(
                pk=places[at].pk,
                name=places[at].name,
                distance_km=float(near.distance_km[0, slot]),
                rise_m=places[at].elevation_m - location.elevation_m,
                days=int(both.sum()),
                temperature_c=_mean(mean_c[both, own] - mean_c[both, column]),
                et_mm=difference,
                et_share=difference / usual if difference is not None and usual else None,
                rain_here_mm=rain[0] if has_rain.any() else None,
                rain_there_mm=rain[1] if has_rain.any() else None,
            )
        )
    return tuple(rows)


def _mean(values: FloatArray) -> float | None:
    """The mean of the known ones, None of too few."""
    known = values[np.isfinite(values)]
    return float(known.mean()) if known.size >= _FEWEST_DAYS else None

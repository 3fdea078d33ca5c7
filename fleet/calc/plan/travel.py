"""Driving between places where no street data is known: great circle, circuity and speed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

# Mean radius of the earth [m] (IUGG).
EARTH_RADIUS_M: Final = 6_371_008.8

# Way by road over great circle [1]. Published means: 1.34 over 300 European cities (Mennicken, Lemoy and
# Caruso 2024), 1.23 Baltimore (Boeing 2019), 1.3 +- 0.1 (Wang et al. 2024).
# A constant factor fails at rivers.
CIRCUITY: Final = 1.3
CIRCUITY_WORDS: Final = "published means 1.23, Boeing 2019, to 1.34, Mennicken and others 2024"
# Mean speed door to door in a town [km/h]: a planning assumption, no published source.
SPEED_KM_H: Final = 35.0
# Parking and walking in at each new place [s]: a planning assumption, no published table.
SETTLE_S: Final = 120.0
# Rows of a large square that are reckoned at once.
BLOCK_ROWS: Final = 512


@dataclass(frozen=True, slots=True)
class TravelMatrix:
    """Travel from row to column, shaped (places, places).

    Parameters
    ----------
    duration_s
        Time [s]; infinite where there is no way.
    distance_m
        Way [m]; infinite where there is no way.
    is_estimated
        True: from straight distances, not from streets.
    """

    duration_s: FloatArray
    distance_m: FloatArray
    is_estimated: bool

    def __post_init__(self) -> None:
        if self.duration_s.shape != self.distance_m.shape or self.duration_s.ndim != 2:
            raise ValueError("times and ways must be square matrices of one shape")


def great_circle_m(
    latitude: npt.ArrayLike,
    longitude: npt.ArrayLike,
    other_latitude: npt.ArrayLike,
    other_longitude: npt.ArrayLike,
) -> FloatArray:
    """Great-circle distance [m] by the haversine formula.

    Parameters
    ----------
    latitude, longitude
        First point [deg].
    other_latitude, other_longitude
        Second point [deg]; shapes broadcast.
    """
    first, second = np.radians(latitude), np.radians(other_latitude)
    half_lat = (second - first) / 2
    half_lon = np.radians(np.asarray(other_longitude) - np.asarray(longitude)) / 2
    chord = np.sin(half_lat) ** 2 + np.cos(first) * np.cos(second) * np.sin(half_lon) ** 2
    arc: FloatArray = 2 * EARTH_RADIUS_M * np.arcsin(np.sqrt(np.clip(chord, 0, 1)))
    return arc


def row_blocks(count: int) -> Iterator[slice]:
    """Rows of a square of so many places, some at a time, so that what is reckoned with them stays small."""
    return (slice(first, first + BLOCK_ROWS) for first in range(0, count, BLOCK_ROWS))


def estimated_travel(
    latitude: npt.ArrayLike,
    longitude: npt.ArrayLike,
    *,
    circuity: float = CIRCUITY,
    speed_km_h: float = SPEED_KM_H,
    settle_s: float = SETTLE_S,
) -> TravelMatrix:
    """Estimated travel between all places: great circle x circuity at a mean speed.

    Parameters
    ----------
    latitude, longitude
        Places [deg], shaped (places,).
    circuity
        Way by road over great circle [1], 1 to 3.
    speed_km_h
        Mean speed [km/h].
    settle_s
        Parking and walking in at a new place [s]; not added between places that are the same point.
    """
    if not 1 <= circuity <= 3:
        raise ValueError(f"circuity is {circuity}, expected 1 to 3")
    if not speed_km_h > 0:
        raise ValueError(f"speed is {speed_km_h} km/h, expected more than 0")
    lat, lon = np.asarray(latitude, dtype=np.float64), np.asarray(longitude, dtype=np.float64)
    way_m = np.empty((lat.size, lat.size))
    for rows in row_blocks(lat.size):
        way_m[rows] = great_circle_m(lat[rows, None], lon[rows, None], lat[None, :], lon[None, :]) * circuity
    time_s = np.where(way_m > 0, way_m / (speed_km_h / 3.6) + settle_s, 0.0)
    return TravelMatrix(time_s, way_m, is_estimated=True)

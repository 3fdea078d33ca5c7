"""Which locations lie near each other, and the way between places."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from weather.calc.arrays import FloatArray, IntArray
from weather.calc.daily_weather import Places

EARTH_RADIUS_KM = 6371.0088  # mean radius of WGS 84
_LOOKED_AT = 24  # nearest ones that are asked for their height


@dataclass(frozen=True, slots=True)
class Neighbours:
    """Nearest other locations of each location, nearest first.

    Parameters
    ----------
    columns
        Their columns, -1 where there are no more [1], shape (locations, most).
    distance_km
        Way to them, inf where there are no more [km], same shape.
    rise_m
        Height of the location above the neighbour [m], same shape; 0 where there are no more.
    """

    columns: IntArray
    distance_km: FloatArray
    rise_m: FloatArray

    def __post_init__(self) -> None:
        """Reject arrays that do not belong together."""
        if not self.columns.shape == self.distance_km.shape == self.rise_m.shape:
            raise ValueError("columns, distance_km and rise_m must share one shape (locations, most)")


def unit_vectors(latitude_deg: FloatArray, longitude_deg: FloatArray) -> FloatArray:
    """Directions from the earth's centre.

    Parameters
    ----------
    latitude_deg, longitude_deg
        Positions [deg], shape (n,).

    Returns
    -------
    FloatArray
        Vectors of length one [1], shape (n, 3).
    """
    latitude, longitude = np.deg2rad(latitude_deg), np.deg2rad(longitude_deg)
    flat = np.cos(latitude)
    return np.column_stack([flat * np.cos(longitude), flat * np.sin(longitude), np.sin(latitude)])


def chord_to_km(chord: FloatArray) -> FloatArray:
    """Way over the ground of a straight line between two unit vectors.

    Parameters
    ----------
    chord
        Length of the line on the sphere of radius one, 0 to 2 [1]; inf stays inf.

    Returns
    -------
    FloatArray
        Great-circle way [km], same shape.
    """
    inside = np.minimum(chord, 2.0)
    return np.where(np.isinf(chord), np.inf, 2.0 * EARTH_RADIUS_KM * np.arcsin(0.5 * inside))


def nearest_neighbours(places: Places, *, within_km: float, within_m: float, most: int) -> Neighbours:
    """Nearest other locations that are not too far and not much higher or lower.

    Parameters
    ----------
    places
        All locations [deg, m], shape (locations,).
    within_km
        Farthest way [km].
    within_m
        Largest difference in height [m].
    most
        Number of neighbours kept [1].

    Returns
    -------
    Neighbours
        Arrays of shape (locations, most) [as named].
    """
    count = places.count
    columns = np.full((count, most), -1, dtype=np.int64)
    distance = np.full((count, most), np.inf)
    rise = np.zeros((count, most))
    if count < 2:
        return Neighbours(columns, distance, rise)
    vectors = unit_vectors(places.latitude_deg, places.longitude_deg)
    asked = min(count, _LOOKED_AT + 1)
    chord, found = cKDTree(vectors).query(vectors, k=asked)
    way = chord_to_km(np.asarray(chord))
    here = np.arange(count)
    known = np.minimum(found, count - 1)
    rises = places.elevation_m[:, np.newaxis] - places.elevation_m[known]
    fits = (way <= within_km) & (np.abs(rises) <= within_m) & (found < count) & (known != here[:, np.newaxis])
    # The fitting ones move to the front, nearest first, since the query is ordered by way.
    order = np.argsort(~fits, axis=1, kind="stable")[:, :most]
    kept = np.take_along_axis(fits, order, axis=1)
    width = order.shape[1]
    columns[:, :width] = np.where(kept, np.take_along_axis(known, order, axis=1), -1)
    distance[:, :width] = np.where(kept, np.take_along_axis(way, order, axis=1), np.inf)
    rise[:, :width] = np.where(kept, np.take_along_axis(rises, order, axis=1), 0.0)
    return Neighbours(columns, distance, rise)

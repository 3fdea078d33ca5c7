"""Which location tells a site's weather: the nearest that is near enough and not much higher or lower."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.spatial import cKDTree

from weather.calc.arrays import FloatArray, IntArray
from weather.calc.daily_weather import Places
from weather.calc.neighbours import chord_to_km, unit_vectors

WITHIN_KM: Final = 15.0
WITHIN_M: Final = 200.0
RAIN_WITHIN_KM: Final = 10.0
_LOOKED_AT: Final = 16  # nearest ones that are asked for their height


@dataclass(frozen=True, slots=True)
class NearestLocation:
    """The location chosen for each site, and the nearest one where none was.

    Parameters
    ----------
    chosen
        Position of the chosen location, -1 where none fits [1], shape (sites,).
    nearest
        Position of the nearest location whether it fits or not, -1 where there is none [1], same shape.
    distance_km
        Way to the chosen one, else to the nearest; inf where there is none [km], same shape.
    """

    chosen: IntArray
    nearest: IntArray
    distance_km: FloatArray

    def __post_init__(self) -> None:
        """Reject arrays that do not belong together."""
        if not self.chosen.shape == self.nearest.shape == self.distance_km.shape:
            raise ValueError("chosen, nearest and distance_km must share one shape (sites,)")


def nearest_location(
    latitude_deg: FloatArray,
    longitude_deg: FloatArray,
    elevation_m: FloatArray,
    locations: Places,
    *,
    within_km: float = WITHIN_KM,
    within_m: float = WITHIN_M,
) -> NearestLocation:
    """Nearest location of each site within a way and a difference in height.

    Parameters
    ----------
    latitude_deg, longitude_deg
        Positions of the sites [deg], shape (sites,); NaN = unknown: such a site gets none.
    elevation_m
        Heights of the sites [m], same shape; NaN = unknown: then the way alone decides.
    locations
        Locations to choose from [deg, m], shape (locations,).
    within_km
        Farthest way [km].
    within_m
        Largest difference in height [m].

    Returns
    -------
    NearestLocation
        Positions in `locations` [1] and ways [km], shape (sites,).
    """
    count = latitude_deg.size
    chosen = np.full(count, -1, dtype=np.int64)
    nearest = chosen.copy()
    distance = np.full(count, np.inf)
    placed = np.flatnonzero(np.isfinite(latitude_deg) & np.isfinite(longitude_deg))
    if placed.size == 0 or locations.count == 0:
        return NearestLocation(chosen, nearest, distance)
    asked = min(locations.count, _LOOKED_AT)
    tree = cKDTree(unit_vectors(locations.latitude_deg, locations.longitude_deg))
    chord, found = tree.query(unit_vectors(latitude_deg[placed], longitude_deg[placed]), k=asked)
    way, found = chord_to_km(np.reshape(chord, (-1, asked))), np.reshape(found, (-1, asked))
    rise = np.abs(elevation_m[placed, np.newaxis] - locations.elevation_m[found])
    fits = (way <= within_km) & ~(rise > within_m)
    first = np.argmax(fits, axis=1)
    rows = np.arange(placed.size)
    any_fits = fits[rows, first]
    chosen[placed] = np.where(any_fits, found[rows, first], -1)
    nearest[placed] = found[:, 0]
    distance[placed] = np.where(any_fits, way[rows, first], way[:, 0])
    return NearestLocation(chosen, nearest, distance)

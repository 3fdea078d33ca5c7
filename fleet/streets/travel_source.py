"""Where driving times come from: one protocol for streets of the operator's file and for estimates."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from fleet.calc.plan.travel import CIRCUITY, CIRCUITY_WORDS, TravelMatrix, estimated_travel
from fleet.calc.visits.settings import VisitSettings

LonLat = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Snapped:
    """How places meet the streets, shaped (places,).

    Parameters
    ----------
    node
        Number of the nearest junction; -1 where none is near.
    distance_m
        Straight distance to it [m]; 0 for estimates.
    """

    node: npt.NDArray[np.int64]
    distance_m: npt.NDArray[np.float64]


class TravelSource(Protocol):
    """Times and ways between places, given as latitude and longitude [deg] shaped (places,)."""

    @property
    def words(self) -> str:
        """What the times rest on."""

    @property
    def is_estimated(self) -> bool:
        """True where times come from straight distances."""

    def matrix(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> TravelMatrix:
        """Travel from each place to each place."""

    def route(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> tuple[LonLat, ...]:
        """Line through the places in order, as (lon, lat)."""

    def snap(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> Snapped:
        """Nearest junction of each place."""


@dataclass(frozen=True, slots=True)
class EstimatedTravel:
    """Travel from straight distances, marked as estimated."""

    settings: VisitSettings
    is_estimated: bool = True

    @property
    def words(self) -> str:
        """What the times rest on."""
        own = "the company's own factor" if self.settings.circuity != CIRCUITY else CIRCUITY_WORDS
        speed = f"{self.settings.speed_km_h:g} km/h"
        return f"estimated: straight distance x {self.settings.circuity:g} ({own}) at {speed}"

    def matrix(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> TravelMatrix:
        """Estimated travel from each place to each place."""
        return estimated_travel(
            latitude,
            longitude,
            circuity=self.settings.circuity,
            speed_km_h=self.settings.speed_km_h,
            settle_s=self.settings.settle_s,
        )

    def route(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> tuple[LonLat, ...]:
        """Straight line through the places."""
        pairs = zip(np.asarray(longitude).tolist(), np.asarray(latitude).tolist(), strict=True)
        return tuple((float(lon), float(lat)) for lon, lat in pairs)

    def snap(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> Snapped:
        """Every place stands where it is."""
        del longitude
        count = len(np.asarray(latitude))
        return Snapped(np.arange(count, dtype=np.int64), np.zeros(count))

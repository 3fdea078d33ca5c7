"""Travel between places looked up before, so that no road is searched while the database is held."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from fleet.calc.plan.travel import TravelMatrix
from fleet.streets.travel_source import LonLat, Snapped, TravelSource

Point = tuple[float, float]


class UnknownPlaces(LookupError):
    """Places that nobody looked up before: the book has changed since."""


class KeptTravel:
    """A source of travel that remembers, and once it is closed knows only what it remembers."""

    def __init__(self, source: TravelSource) -> None:
        self._source = source
        self._number: dict[Point, int] = {}
        self._kept = TravelMatrix(np.zeros((0, 0)), np.zeros((0, 0)), source.is_estimated)
        self._lines: dict[tuple[Point, ...], tuple[LonLat, ...]] = {}
        self.is_closed = False

    @property
    def words(self) -> str:
        """What the times rest on."""
        return self._source.words

    @property
    def is_estimated(self) -> bool:
        """True where times come from straight distances."""
        return self._source.is_estimated

    def matrix(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> TravelMatrix:
        """Travel from each place to each place; raises `UnknownPlaces` for new ones once it is closed."""
        points = _points(latitude, longitude)
        if any(point not in self._number for point in points):
            if self.is_closed:
                raise UnknownPlaces("a place was added or moved since the ways were looked up")
            known = list(dict.fromkeys([*self._number, *points]))
            places = np.array(known).reshape(-1, 2)
            self._kept = self._source.matrix(places[:, 0], places[:, 1])
            self._number = {point: number for number, point in enumerate(known)}
        at = [self._number[point] for point in points]
        index = np.ix_(at, at)
        return TravelMatrix(self._kept.duration_s[index], self._kept.distance_m[index], self.is_estimated)

    def route(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> tuple[LonLat, ...]:
        """Line through the places in order, looked up once."""
        points = tuple(_points(latitude, longitude))
        if points not in self._lines:
            self._lines[points] = self._source.route(latitude, longitude)
        return self._lines[points]

    def snap(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> Snapped:
        """Nearest junction of each place."""
        return self._source.snap(latitude, longitude)


def _points(latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> list[Point]:
    """Places as pairs."""
    pairs = zip(
        np.asarray(latitude, dtype=float).tolist(), np.asarray(longitude, dtype=float).tolist(), strict=True
    )
    return [(float(lat), float(lon)) for lat, lon in pairs]

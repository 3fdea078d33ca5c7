"""Travel between places looked up before, so that no road is searched while the database is held."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from fleet.calc.plan.travel import TravelMatrix
from fleet.streets.travel_source import LonLat, Snapped, TravelSource

Point = tuple[float, float]


class UnknownPlaces(LookupError):
    """Places or lines that nobody looked up before: the book has changed since, or nobody asked yet."""


class KeptTravel:
    """A source of travel that remembers, and while it is closed tells only what it remembers.

    What it is asked for while it is closed is noted: `look_up` asks the source for all of it afterwards.
    """

    def __init__(self, source: TravelSource) -> None:
        self._source = source
        self._number: dict[Point, int] = {}
        self._kept = TravelMatrix(np.zeros((0, 0)), np.zeros((0, 0)), source.is_estimated)
        self._lines: dict[tuple[Point, ...], tuple[LonLat, ...]] = {}
        self._lacking_places: list[Point] = []
        self._lacking_lines: list[tuple[Point, ...]] = []
        self.is_closed = False

    @property
    def lacks_lines(self) -> bool:
        """True where it was asked for lines, closed, that it does not know."""
        return bool(self._lacking_lines)

    def look_up(self) -> None:
        """Ask the source for all that was asked for while it was closed; it is closed again afterwards."""
        self.is_closed = False
        places, lines = self._lacking_places, self._lacking_lines
        self._lacking_places, self._lacking_lines = [], []
        if places:
            self.matrix([lat for lat, _ in places], [lon for _, lon in places])
        for points in lines:
            self.route([lat for lat, _ in points], [lon for _, lon in points])
        self.is_closed = True

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
                self._lacking_places = points
                raise UnknownPlaces("a place was added or moved since the ways were looked up")
            known = list(dict.fromkeys([*self._number, *points]))
            places = np.array(known).reshape(-1, 2)
            self._kept = self._source.matrix(places[:, 0], places[:, 1])
            self._number = {point: number for number, point in enumerate(known)}
        at = [self._number[point] for point in points]
        if at == list(range(len(self._number))):
            return self._kept
        index = np.ix_(at, at)
        return TravelMatrix(self._kept.duration_s[index], self._kept.distance_m[index], self.is_estimated)

    def route(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> tuple[LonLat, ...]:
        """Line through the places in order; while it is closed, unknown ones are noted and empty."""
        points = tuple(_points(latitude, longitude))
        if points not in self._lines and self.is_closed:
            self._lacking_lines.append(points)
            return ()
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

"""Driving times from the operator's own OSRM server, by its HTTP API (version 1), and its stand-in."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final, TypeVar

import numpy as np
import numpy.typing as npt

from fleet.calc.plan.travel import TravelMatrix
from fleet.streets.travel_source import LonLat, Snapped, TravelSource
from weather.sources.client import Client, Patience
from weather.sources.protocol import SourceChanged, SourceRefused, SourceUnavailable

logger = logging.getLogger(__name__)
Answer = TypeVar("Answer")

# A server takes 100 places in one table unless it was told otherwise: blocks of 50 by 50.
BLOCK: Final = 50
# Without a radius any place snaps to the nearest road, however far [m].
RADIUS_M: Final = 600.0
# Places of one line: addresses must not grow without end.
LINE_PLACES: Final = 80
PATIENCE: Final = Patience(connect_s=3.0, read_s=20.0, whole_s=60.0, tries=2, longest_wait_s=5.0)
FAULTS: Final = (SourceChanged, SourceRefused, SourceUnavailable)


@dataclass(frozen=True, slots=True)
class OsrmTravel:
    """Travel by a server at `url` (without a path), profile `driving`; raises what its client raises."""

    url: str
    settle_s: float
    client: Client = field(default_factory=lambda: Client(contact="", patience=PATIENCE))
    is_estimated: bool = False
    words: str = "from the routing server"

    def matrix(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> TravelMatrix:
        """Travel from each place to each place; infinite where there is no way, or no road near."""
        lat, lon = np.asarray(latitude, dtype=float), np.asarray(longitude, dtype=float)
        near = np.flatnonzero(self.snap(lat, lon).node >= 0)
        count = len(lat)
        duration, distance = np.full((count, count), np.inf), np.full((count, count), np.inf)
        for rows in _blocks(near):
            for columns in _blocks(near):
                time_s, way_m = self._table(lat, lon, rows, columns)
                duration[np.ix_(rows, columns)] = time_s + self.settle_s
                distance[np.ix_(rows, columns)] = way_m
        same = (lat[:, None] == lat[None, :]) & (lon[:, None] == lon[None, :])
        duration[same] = distance[same] = 0.0
        return TravelMatrix(duration, distance, is_estimated=False)

    def route(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> tuple[LonLat, ...]:
        """Line along the streets through the places in order, as (lon, lat)."""
        lat, lon = np.asarray(latitude, dtype=float), np.asarray(longitude, dtype=float)
        line: list[LonLat] = []
        for first in range(0, max(len(lat) - 1, 1), LINE_PLACES - 1):
            places = slice(first, first + LINE_PLACES)
            if len(lat[places]) < 2:
                break
            told = self._ask("route", _pairs(lat[places], lon[places]), overview="full", geometries="geojson")
            points = told["routes"][0]["geometry"]["coordinates"]
            line += [(float(point[0]), float(point[1])) for point in points]
        return tuple(line)

    def snap(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> Snapped:
        """Distance to the road of each place; -1 where none is near."""
        lat, lon = np.asarray(latitude, dtype=float), np.asarray(longitude, dtype=float)
        apart = np.full(len(lat), np.nan)
        for number in range(len(lat)):
            told = self._ask("nearest", _pairs(lat[[number]], lon[[number]]), number="1")
            if told["waypoints"] and float(told["waypoints"][0]["distance"]) <= RADIUS_M:
                apart[number] = float(told["waypoints"][0]["distance"])
        node = np.where(np.isfinite(apart), np.arange(len(lat)), -1)
        return Snapped(node.astype(np.int64), apart)

    def _table(
        self,
        lat: npt.NDArray[np.float64],
        lon: npt.NDArray[np.float64],
        rows: npt.NDArray[np.int64],
        columns: npt.NDArray[np.int64],
    ) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        """Times [s] and ways [m] of one block."""
        both = np.concatenate([rows, columns])
        split = len(rows)
        told = self._ask(
            "table",
            _pairs(lat[both], lon[both]),
            annotations="duration,distance",
            radiuses=";".join([f"{RADIUS_M:g}"] * len(both)),
            sources=";".join(map(str, range(split))),
            destinations=";".join(map(str, range(split, len(both)))),
        )
        # "null" is the server's word for "no way".
        time_s = np.array(told["durations"], dtype=float)
        way_m = np.array(told["distances"], dtype=float)
        shape = (len(rows), len(columns))
        if time_s.shape != shape or way_m.shape != shape:
            raise SourceChanged(f"the routing server's table is shaped {time_s.shape}, expected {shape}")
        return (
            np.where(np.isfinite(time_s) & (time_s >= 0), time_s, np.inf),
            np.where(np.isfinite(way_m) & (way_m >= 0), way_m, np.inf),
        )

    def _ask(self, service: str, pairs: str, **params: str) -> Mapping[str, Any]:
        """One answer of the server, checked for its word that all is well."""
        told = self.client.get_json(f"{self.url.rstrip('/')}/{service}/v1/driving/{pairs}", params)
        if not isinstance(told, dict) or told.get("code") != "Ok":
            code = told.get("code") if isinstance(told, dict) else type(told).__name__
            raise SourceChanged(f"the routing server answered {str(code)[:60]!r} to a {service}")
        return told


@dataclass(slots=True)
class FirstThatAnswers:
    """One source, and another one where the first fails; from then on the other one, and its words say so."""

    first: TravelSource
    other: TravelSource
    has_failed: bool = False

    @property
    def words(self) -> str:
        """What the times rest on."""
        if self.has_failed:
            return f"the routing server did not answer; {self.other.words}"
        return self.first.words

    @property
    def is_estimated(self) -> bool:
        """True where times come from straight distances."""
        return (self.other if self.has_failed else self.first).is_estimated

    def matrix(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> TravelMatrix:
        """Travel from each place to each place."""
        return self._from(lambda source: source.matrix(latitude, longitude))

    def route(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> tuple[LonLat, ...]:
        """Line through the places in order."""
        return self._from(lambda source: source.route(latitude, longitude))

    def snap(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> Snapped:
        """How the places meet the streets."""
        return self._from(lambda source: source.snap(latitude, longitude))

    def _from(self, ask: Callable[[TravelSource], Answer]) -> Answer:
        """The answer of the first source, else of the other."""
        if not self.has_failed:
            try:
                return ask(self.first)
            except (*FAULTS, KeyError, IndexError, TypeError, ValueError):
                logger.exception("the routing server is left out of this planning")
                self.has_failed = True
        return ask(self.other)


def _blocks(numbers: npt.NDArray[np.int64]) -> list[npt.NDArray[np.int64]]:
    """Numbers in blocks that one table takes."""
    return [numbers[first : first + BLOCK] for first in range(0, len(numbers), BLOCK)]


def _pairs(lat: npt.NDArray[np.float64], lon: npt.NDArray[np.float64]) -> str:
    """Places as the server's addresses have them."""
    return ";".join(f"{x:.6f},{y:.6f}" for x, y in zip(lon.tolist(), lat.tolist(), strict=True))

"""Times and ways between places that were looked up before, in one file beside the street network.

Gardens do not move, so a week's planning asks for what the night before asked for, and a move by hand for a
part of it. A book belongs to one network file: a newer one begins a new book. New places are looked up alone,
there and back, and those that were left out longest are forgotten, so that the file stays bounded. Times are
kept in 32 bits, and told so when they are fresh, too: an answer is the same however often it was asked.
"""

from __future__ import annotations

import logging
import os
import zipfile
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from fleet.calc.plan.travel import TravelMatrix
from fleet.streets.network import StreetNetwork
from fleet.streets.travel_source import LonLat, Snapped

logger = logging.getLogger(__name__)
FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
Kept = npt.NDArray[np.float32]

# Places that are kept: 72 MB of times and ways.
MOST_PLACES: Final = 3_000
# Fewer are looked up at once: to read the file would take as long.
LEAST_PLACES: Final = 30


@dataclass(frozen=True, slots=True)
class _Pages:
    """What a book holds: places as (lat, lon), times [s] and ways [m] from each to each."""

    places: FloatArray
    duration_s: Kept
    distance_m: Kept


@dataclass(frozen=True, slots=True)
class BookedTravel:
    """A street network that looks up only what its book does not hold yet.

    Parameters
    ----------
    network
        The streets.
    path
        File of the book.
    version
        Word of the network's file and settings; a book with another word is not read.
    """

    network: StreetNetwork
    path: Path
    version: str
    is_estimated: bool = False

    @property
    def words(self) -> str:
        """What the times rest on."""
        return self.network.words

    def matrix(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> TravelMatrix:
        """Travel from each place to each place; infinite where a place has no road."""
        lat, lon = np.asarray(latitude, dtype=float), np.asarray(longitude, dtype=float)
        wanted, number = np.unique(np.column_stack([lat, lon]), axis=0, return_inverse=True)
        if LEAST_PLACES <= len(wanted) <= MOST_PLACES:
            pages = self._read()
            if (_positions(pages, wanted) < 0).any():
                pages = self._with_new(pages, wanted)
                self._write(pages)
        else:
            pages = self._with_new(_blank(), wanted)
        at = _positions(pages, wanted)[number.ravel()]
        index = np.ix_(at, at)
        time_s, way_m = pages.duration_s[index].astype(float), pages.distance_m[index].astype(float)
        return TravelMatrix(time_s, way_m, is_estimated=False)

    def route(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> tuple[LonLat, ...]:
        """Line along the streets through the places in order, as (lon, lat)."""
        return self.network.route(latitude, longitude)

    def snap(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> Snapped:
        """Nearest junction of each place."""
        return self.network.snap(latitude, longitude)

    def _with_new(self, pages: _Pages, wanted: FloatArray) -> _Pages:
        """The pages with all wanted places, these first; others as far as there is room."""
        known = _positions(pages, wanted)
        others = np.setdiff1d(np.arange(len(pages.places)), known)[: max(0, MOST_PLACES - len(wanted))]
        places = np.vstack([wanted, pages.places[others]])
        old = np.concatenate([known, others])
        new = np.flatnonzero(old < 0)
        kept = np.flatnonzero(old >= 0)
        time_s = np.empty((len(places), len(places)), dtype=np.float32)
        way_m = np.empty_like(time_s)
        time_s[np.ix_(kept, kept)] = pages.duration_s[np.ix_(old[kept], old[kept])]
        way_m[np.ix_(kept, kept)] = pages.distance_m[np.ix_(old[kept], old[kept])]
        there = self.network.table(places[:, 0], places[:, 1], new)
        time_s[new], way_m[new] = there.duration_s, there.distance_m
        if len(kept):
            back = self.network.table(places[:, 0], places[:, 1], new, is_back=True)
            time_s[np.ix_(kept, new)] = back.duration_s[:, kept].T
            way_m[np.ix_(kept, new)] = back.distance_m[:, kept].T
        return _Pages(places, time_s, way_m)

    def _read(self) -> _Pages:
        """The book's pages; blank ones where there is none of this version, or it cannot be read."""
        try:
            with np.load(self.path, allow_pickle=False) as kept:
                if str(kept["version"]) != self.version:
                    return _blank()
                pages = _Pages(kept["places"], kept["duration_s"], kept["distance_m"])
        except FileNotFoundError:
            return _blank()
        except (OSError, EOFError, ValueError, KeyError, zipfile.BadZipFile):
            logger.exception("the book of ways cannot be read and begins anew")
            return _blank()
        shape = (len(pages.places), len(pages.places))
        return pages if pages.duration_s.shape == pages.distance_m.shape == shape else _blank()

    def _write(self, pages: _Pages) -> None:
        """Keep the pages; the old ones stay until the new are whole."""
        part = self.path.with_name(f"{self.path.stem}.{os.getpid()}.part.npz")
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            np.savez(
                part,
                version=np.array(self.version),
                places=pages.places,
                duration_s=pages.duration_s,
                distance_m=pages.distance_m,
            )
            part.replace(self.path)
        except OSError:
            # A full disk: the ways are known all the same.
            logger.exception("the book of ways cannot be kept")
            with suppress(OSError):
                part.unlink()


def _blank() -> _Pages:
    """No places."""
    nothing = np.zeros((0, 0), dtype=np.float32)
    return _Pages(np.zeros((0, 2)), nothing, nothing)


def _positions(pages: _Pages, wanted: FloatArray) -> IntArray:
    """Number of each wanted place in the pages; -1 where it is not there."""
    number = {place: at for at, place in enumerate(map(tuple, pages.places.tolist()))}
    return np.array([number.get(place, -1) for place in map(tuple, wanted.tolist())], dtype=np.int64)

"""A street network as arrays: shortest times by Dijkstra, ways along them, snapping; kept as one file."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components, dijkstra
from scipy.spatial import cKDTree

from fleet.calc.plan.travel import EARTH_RADIUS_M, TravelMatrix, great_circle_m
from fleet.streets.osm_file import StreetPieces
from fleet.streets.travel_source import LonLat, Snapped

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

# A place farther from every connected street than this has no road [m].
SNAP_LIMIT_M: Final = 600.0
# From a place to its street one walks or rolls [km/h].
SNAP_SPEED_KM_H: Final = 15.0
# Sources searched at once: more take memory in proportion (all of 1,000 took 1.8 GB on 90,000 junctions).
CHUNK: Final = 25
# A line is looked for within this driving time first: so much, and straight on at a slow speed [s], [km/h].
NEAR_S: Final = 120.0
NEAR_KM_H: Final = 20.0
NOWHERE: Final = -9999  # scipy's mark for "no node before"
# A street piece weighs its time, and beside it its way, as one whole number: a search by time sums up ways,
# too, and of two ways of equal time takes the shorter. 53 bits hold 149 hours and 1,677 km.
TICKS_PER_S: Final = 1_000.0
STEPS_PER_M: Final = 10.0
WAY_ROOM: Final = float(2**24)


@dataclass(frozen=True, slots=True, eq=False)
class StreetNetwork:
    """Streets from which every junction can reach every other.

    Parameters
    ----------
    latitude, longitude
        Junctions [deg], shaped (nodes,).
    start, end, length_m, duration_s
        Directed edges, at most one from a node to another: nodes, way [m], time [s].
    settle_s
        Parking and walking in at a new place [s].
    """

    latitude: FloatArray
    longitude: FloatArray
    start: IntArray
    end: IntArray
    length_m: FloatArray
    duration_s: FloatArray
    settle_s: float = 120.0
    is_estimated: bool = False
    words: str = "from the street network"
    _tree: cKDTree = field(init=False, repr=False)
    _graph: csr_array = field(init=False, repr=False)

    def __post_init__(self) -> None:
        count = len(self.latitude)
        if count == 0:
            raise ValueError("a street network needs at least one junction")
        keys = self.start * count + self.end
        if not (np.diff(keys) > 0).all():
            raise ValueError("edges must be in order of their nodes, each once")
        weight = np.maximum(1.0, np.rint(self.duration_s * TICKS_PER_S)) * WAY_ROOM
        weight += np.rint(self.length_m * STEPS_PER_M)
        graph = csr_array((weight, (self.start, self.end)), shape=(count, count))
        object.__setattr__(self, "_tree", cKDTree(_on_sphere(self.latitude, self.longitude)))
        object.__setattr__(self, "_graph", graph)

    def snap(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> Snapped:
        """Nearest junction of each place, -1 where none is within `SNAP_LIMIT_M`."""
        points = _on_sphere(np.asarray(latitude, dtype=float), np.asarray(longitude, dtype=float))
        apart, node = self._tree.query(points)
        near = apart <= SNAP_LIMIT_M
        return Snapped(np.where(near, node, -1).astype(np.int64), np.where(near, apart, np.nan))

    def matrix(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> TravelMatrix:
        """Travel from each place to each place; infinite where a place has no road."""
        lat, lon = np.asarray(latitude, dtype=float), np.asarray(longitude, dtype=float)
        return self.table(lat, lon, np.arange(len(lat)))

    def table(
        self, lat: FloatArray, lon: FloatArray, sources: IntArray, *, is_back: bool = False
    ) -> TravelMatrix:
        """Travel from some of the places to all, shaped (sources, places); the way back where that is asked.

        Parameters
        ----------
        lat, lon
            Places [deg].
        sources
            Numbers of the places from which one drives; `is_back`: to which.
        is_back
            True: from all places to each of the sources.
        """
        snapped = self.snap(lat, lon)
        on_road = np.flatnonzero(snapped.node >= 0)
        rows = np.flatnonzero(snapped.node[sources] >= 0)
        targets, target_of = np.unique(snapped.node[on_road], return_inverse=True)
        nodes, node_of = np.unique(snapped.node[sources[rows]], return_inverse=True)
        time_s, way_m = self._between(nodes, targets, is_back=is_back)
        walk = snapped.distance_m
        ends = walk[sources[rows]][:, None] + walk[on_road][None, :]
        shape = (len(sources), len(lat))
        duration, distance = np.full(shape, np.inf), np.full(shape, np.inf)
        index, found = np.ix_(rows, on_road), np.ix_(node_of, target_of)
        duration[index] = time_s[found] + ends / (SNAP_SPEED_KM_H / 3.6) + self.settle_s
        distance[index] = way_m[found] + ends
        same = (lat[sources][:, None] == lat[None, :]) & (lon[sources][:, None] == lon[None, :])
        duration[same] = distance[same] = 0.0
        return TravelMatrix(duration, distance, is_estimated=False)

    def route(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> tuple[LonLat, ...]:
        """Line along the streets through the places in order, as (lon, lat)."""
        lat, lon = np.asarray(latitude, dtype=float), np.asarray(longitude, dtype=float)
        node = self.snap(lat, lon).node
        line: list[LonLat] = []
        for here in range(len(node)):
            if here and node[here - 1] >= 0 and node[here] >= 0:
                apart_m = great_circle_m(lat[here - 1], lon[here - 1], lat[here], lon[here])
                path = self._path(int(node[here - 1]), int(node[here]), float(apart_m))
                line += [(float(self.longitude[n]), float(self.latitude[n])) for n in path]
            line.append((float(lon[here]), float(lat[here])))
        return tuple(line)

    def _between(self, nodes: IntArray, targets: IntArray, *, is_back: bool) -> tuple[FloatArray, FloatArray]:
        """Times [s] and ways [m] from junctions to junctions, or back from the second to the first."""
        graph = csr_array(self._graph.T) if is_back else self._graph
        time_s = np.zeros((len(nodes), len(targets)))
        way_m = np.zeros_like(time_s)
        for first in range(0, len(nodes), CHUNK):
            weight = dijkstra(graph, indices=nodes[first : first + CHUNK])[:, targets]
            ticks = np.floor(weight / WAY_ROOM)
            time_s[first : first + CHUNK] = ticks / TICKS_PER_S
            way_m[first : first + CHUNK] = (weight - ticks * WAY_ROOM) / STEPS_PER_M
        return time_s, way_m

    def _path(self, start: int, end: int, apart_m: float) -> list[int]:
        """Junctions of the shortest path, both ends included; searched near by first, then everywhere."""
        near_s = NEAR_S + apart_m / (NEAR_KM_H / 3.6)
        for limit in (near_s * TICKS_PER_S * WAY_ROOM, np.inf):
            found, trees = dijkstra(self._graph, indices=[start], return_predecessors=True, limit=limit)
            tree = trees[0]
            if np.isfinite(found[0, end]):
                break
        path = [end]
        while path[-1] != start and tree[path[-1]] != NOWHERE:
            path.append(int(tree[path[-1]]))
        return path[::-1]


def build_network(pieces: StreetPieces) -> StreetNetwork:
    """The largest part of the streets in which one can drive from everywhere to everywhere.

    Parallel pieces are reduced to the quickest before the matrix is built, because a sparse matrix would add
    their times up.
    """
    count = len(pieces.latitude)
    graph = csr_array((pieces.duration_s, (pieces.start, pieces.end)), shape=(count, count))
    _, part = connected_components(graph, directed=True, connection="strong")
    largest = int(np.argmax(np.bincount(part)))
    kept = np.flatnonzero(part == largest)
    new = np.full(count, -1, dtype=np.int64)
    new[kept] = np.arange(len(kept))
    inside = (new[pieces.start] >= 0) & (new[pieces.end] >= 0) & (pieces.start != pieces.end)
    start, end = new[pieces.start[inside]], new[pieces.end[inside]]
    length, duration = pieces.length_m[inside], pieces.duration_s[inside]
    order = np.lexsort((duration, end, start))
    start, end, length, duration = start[order], end[order], length[order], duration[order]
    keys = start * len(kept) + end
    first = np.r_[True, np.diff(keys) > 0] if len(keys) else np.zeros(0, dtype=bool)
    return StreetNetwork(
        pieces.latitude[kept],
        pieces.longitude[kept],
        start[first],
        end[first],
        length[first],
        duration[first],
    )


def save_network(network: StreetNetwork, path: Path) -> None:
    """Keep a network as a numpy archive; the old one stays until the new one is whole."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_suffix(".part.npz")
    np.savez_compressed(
        part,
        latitude=network.latitude,
        longitude=network.longitude,
        start=network.start,
        end=network.end,
        length_m=network.length_m,
        duration_s=network.duration_s,
    )
    part.replace(path)


def load_network(path: Path, *, settle_s: float) -> StreetNetwork | None:
    """The kept network; None where none was built."""
    if not path.is_file():
        return None
    with np.load(path, allow_pickle=False) as kept:
        arrays = {name: kept[name] for name in kept.files}
    return StreetNetwork(**arrays, settle_s=settle_s)


def _on_sphere(latitude: FloatArray, longitude: FloatArray) -> FloatArray:
    """Points on the earth's sphere [m], so that straight distance is true near by."""
    lat, lon = np.radians(latitude), np.radians(longitude)
    return EARTH_RADIUS_M * np.column_stack(
        [np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)]
    )

"""Reads an OpenStreetMap extract into directed street pieces."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from fleet.calc.plan.travel import great_circle_m
from fleet.streets.whole_file import PointCount

# Speed by class of street where the file gives none [km/h]: common legal limits, no single source.
SPEED_KM_H: Final[dict[str, float]] = {
    "motorway": 105.0,
    "trunk": 90.0,
    "primary": 65.0,
    "secondary": 55.0,
    "tertiary": 50.0,
    "unclassified": 45.0,
    "residential": 40.0,
    "living_street": 15.0,
    "service": 20.0,
}
SLOW_LINK: Final = 0.75  # ramps (motorway_link, ...) against their class
LIMIT_SHARE: Final = 0.8  # driven speed over limit; with TURNS it agrees with a full routing engine
TURNS: Final = 1.07  # time lost at turns and crossings
LONGEST_PIECE_M: Final = 200.0  # longer blocks get points between, so that places snap near by
MPH_TO_KM_H: Final = 1.609344


class UnreadableStreets(ValueError):
    """The file is no street data that can be read; the message says why."""


@dataclass(frozen=True, slots=True)
class StreetPieces:
    """Directed pieces of street between points.

    Parameters
    ----------
    latitude, longitude
        Points [deg], shaped (points,).
    start, end
        Point numbers of each piece, shaped (pieces,).
    length_m, duration_s
        Its way [m] and time [s].
    """

    latitude: npt.NDArray[np.float64]
    longitude: npt.NDArray[np.float64]
    start: npt.NDArray[np.int64]
    end: npt.NDArray[np.int64]
    length_m: npt.NDArray[np.float64]
    duration_s: npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class _Way:
    """One way of the file: nodes in order, both directions allowed or one."""

    nodes: tuple[int, ...]
    forward_km_h: float
    is_oneway: bool


def read_streets(path: Path, *, anyway: bool = False) -> StreetPieces:
    """Drivable street pieces of an OSM file (.osm, .osm.gz, .osm.bz2 or .osm.pbf).

    Raises `UnreadableStreets` where the file is missing, broken, cut off or holds no street.

    Parameters
    ----------
    path
        The file.
    anyway
        Take it although ways seem to be missing from it.
    """
    points = PointCount()
    where, ways = _read(path, points)
    if not ways:
        raise UnreadableStreets(f"{path.name} holds no drivable street")
    doubt = points.doubt()
    if doubt and not anyway:
        raise UnreadableStreets(f"{path.name} is not whole: {doubt}")
    counts: dict[int, int] = {}
    for way in ways:
        for node in way.nodes:
            counts[node] = counts.get(node, 0) + 1
    numbers: dict[int, int] = {}
    rows: list[tuple[int, int, float, float]] = []
    for way in ways:
        rows += _pieces(way, where, counts, numbers)
    junctions = np.array([where[node] for node in numbers])
    start, end, length, duration = (np.array(column) for column in zip(*rows, strict=True))
    return StreetPieces(
        junctions[:, 0], junctions[:, 1], start.astype(np.int64), end.astype(np.int64), length, duration
    )


def _read(path: Path, points: PointCount) -> tuple[dict[int, tuple[float, float]], list[_Way]]:
    """Coordinates of nodes and the drivable ways."""
    import osmium  # compiled reader: loaded only when a file is built

    if not path.is_file():
        raise UnreadableStreets(f"{path} is not a file")
    where: dict[int, tuple[float, float]] = {}
    ways: list[_Way] = []
    try:
        used = osmium.IdTracker()
        for item in osmium.FileProcessor(str(path)).with_locations():
            if isinstance(item, osmium.osm.Node):
                if item.id > 0 and not item.tags:
                    points.bare.append(item.id)
                continue
            if not isinstance(item, osmium.osm.Way):
                continue
            used.add_references(item)
            if "highway" not in item.tags:
                continue
            tags = {tag.k: tag.v for tag in item.tags}
            speed = _speed(tags)
            nodes = [node for node in item.nodes if node.location.valid()]
            points.asked += len(item.nodes)
            points.missing += len(item.nodes) - len(nodes)
            if speed is None or len(nodes) < 2:
                continue
            where.update({node.ref: (node.location.lat, node.location.lon) for node in nodes})
            refs = tuple(node.ref for node in nodes)
            backward = tags.get("oneway") == "-1"
            ways.append(_Way(refs[::-1] if backward else refs, speed, _is_oneway(tags)))
        points.look_up(used.node_ids().get)
    except RuntimeError as error:
        raise UnreadableStreets(f"{path.name} is no readable OSM file: {error}") from error
    return where, ways


def _speed(tags: dict[str, str]) -> float | None:
    """Driven speed [km/h]; None where cars may not go."""
    kind = tags.get("highway", "")
    base = SPEED_KM_H.get(kind.removesuffix("_link"))
    closed = {tags.get("access"), tags.get("motor_vehicle"), tags.get("vehicle")} & {"no", "private"}
    if base is None or closed or tags.get("area") == "yes":
        return None
    limit = _limit(tags.get("maxspeed", ""))
    if limit is None:
        limit = base * SLOW_LINK if kind.endswith("_link") else base
    return limit * LIMIT_SHARE / TURNS


def _limit(text: str) -> float | None:
    """A posted limit [km/h]; None where it is no number."""
    found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(mph|km/h)?\s*", text)
    if not found or float(found[1]) <= 0:
        return None
    return float(found[1]) * (MPH_TO_KM_H if found[2] == "mph" else 1.0)


def _is_oneway(tags: dict[str, str]) -> bool:
    """Tell whether a way is driven in one direction only."""
    stated = tags.get("oneway")
    if stated in ("yes", "true", "1", "-1"):
        return True
    return stated != "no" and (tags.get("junction") == "roundabout" or tags["highway"] == "motorway")


def _pieces(
    way: _Way,
    where: dict[int, tuple[float, float]],
    counts: dict[int, int],
    numbers: dict[int, int],
) -> list[tuple[int, int, float, float]]:
    """Pieces of a way between junctions, ends and points at most so far apart."""
    points = np.array([where[node] for node in way.nodes])
    steps = great_circle_m(points[:-1, 0], points[:-1, 1], points[1:, 0], points[1:, 1])
    rows = []
    first, length = way.nodes[0], 0.0
    for number, node in enumerate(way.nodes[1:]):
        length += float(steps[number])
        ahead = float(steps[number + 1]) if number + 1 < len(steps) else np.inf
        if counts[node] < 2 and length + ahead <= LONGEST_PIECE_M:
            continue
        a, b = (numbers.setdefault(one, len(numbers)) for one in (first, node))
        time_s = length / (way.forward_km_h / 3.6)
        rows.append((a, b, length, time_s))
        if not way.is_oneway:
            rows.append((b, a, length, time_s))
        first, length = node, 0.0
    return rows

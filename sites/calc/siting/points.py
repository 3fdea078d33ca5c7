"""Where in a zone a sensor should stand: points ranked by what is near them.

All shapes are in metres on a local plane. A setback from the zone's edge is kept wherever any point keeps it;
all else is weighed: structures, trees, neighbouring zones, heads, and the low side where somebody told it.
Distances are common practice (UF/IFAS field guide and state extension notes on placing soil sensors: five
feet from house and drives, mid-pattern, not in a low spot); the weights are our own.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from weather.calc.arrays import FloatArray

HARD_M: Final = 1.5  # from buildings, paving, walls and pools
TREE_M: Final = 2.5  # from what is drawn of a tree
NEIGHBOUR_M: Final = 1.5  # from zones that other stations water
HEAD_M: Final = 1.0  # from a sprinkler
# How far these heads throw at most [m] (from memory); farther away, the book's list of heads has gaps.
THROW_M: Final[dict[str, float]] = {"fixed_spray": 5.0, "rotary_nozzle": 9.0, "rotor": 14.0}
LOW_FROM: Final = 0.75  # the lowest quarter of a zone along its fall
MOST_POINTS: Final = 4
_GRID_POINTS: Final = 1_600
_WEIGHTS: Final = {
    "edge": 1.0,
    "structure": 1.4,
    "tree": 1.2,
    "neighbour": 0.7,
    "head": 1.2,
    "pattern": 0.8,
    "low": 1.2,
}
BEARINGS: Final[dict[str, float]] = {
    "N": 0.0, "NE": 45.0, "E": 90.0, "SE": 135.0, "S": 180.0, "SW": 225.0, "W": 270.0, "NW": 315.0,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What lies in and around a zone, in local metres.

    Parameters
    ----------
    zone
        Polygon of the zone.
    hard, trees, neighbours
        Buildings, paving, walls and pools; trees; other zones.
    heads
        Sprinklers of the zone.
    downhill_deg
        Bearing in which the ground falls [degrees from north]; None: not known.
    throw_m
        How far such heads throw at most [m].
    """

    zone: BaseGeometry
    hard: Sequence[BaseGeometry] = ()
    trees: Sequence[BaseGeometry] = ()
    neighbours: Sequence[BaseGeometry] = ()
    heads: Sequence[BaseGeometry] = ()
    downhill_deg: float | None = None
    throw_m: float = math.inf


@dataclass(frozen=True, slots=True)
class SitePoint:
    """One place for the sensor; distances are infinite where there is no such thing [m].

    Parameters
    ----------
    x, y
        Local metres [m].
    edge_m, hard_m, tree_m, neighbour_m, head_m
        Distance from the zone's edge, structures, trees, other zones, sprinklers [m].
    low_share
        Place along the fall of the ground, 0 high to 1 low [1]; NaN where the fall is not known.
    is_mid_pattern
        Whether the heads are about as far away as the zone allows.
    is_beyond
        Whether it is farther from every head of the book than such heads throw.
    score
        Worth, 0 to 100 [1].
    """

    x: float
    y: float
    edge_m: float
    hard_m: float
    tree_m: float
    neighbour_m: float
    head_m: float
    low_share: float
    is_mid_pattern: bool
    is_beyond: bool
    score: float

    @property
    def faults(self) -> tuple[str, ...]:
        """What speaks against the place: `hard`, `tree`, `neighbour`, `head`, `beyond`, `low`."""
        near = (
            ("hard", self.hard_m < HARD_M),
            ("tree", self.tree_m < TREE_M),
            ("neighbour", self.neighbour_m < NEIGHBOUR_M),
            ("head", self.head_m < HEAD_M),
            ("beyond", self.is_beyond),
            ("low", self.low_share > LOW_FROM),
        )
        return tuple(name for name, is_so in near if is_so)


def has_room(zone: BaseGeometry, setback_m: float) -> bool:
    """Whether any point of a zone is at least the setback [m] away from its edge."""
    return bool(_deepest(zone)[1] >= setback_m)


def ranked_points(around: Surroundings, *, setback_m: float, most: int = MOST_POINTS) -> list[SitePoint]:
    """The best places in a zone, best first and apart from each other.

    Every one is inside the zone and at least the setback from its edge; where no point is, only the deepest
    point is given, nearer than the setback.

    Parameters
    ----------
    around
        The zone and what lies about it.
    setback_m
        Least distance from the edge [m].
    most
        Number of places wanted [1].
    """
    deepest, depth = _deepest(around.zone)
    points = deepest.reshape(1, 2)
    if depth >= setback_m:
        points = np.vstack([points, _grid(around.zone)])
        away = np.asarray(shapely.distance(shapely.boundary(around.zone), shapely.points(points)))
        clear = away >= setback_m
        clear[0] = True
        points = points[clear]
    rated = _rated(around, points, enough_m=min(depth, 2 * setback_m))
    rated.sort(key=lambda one: (-round(one.score, 1), -one.edge_m, one.x, one.y))
    apart = max(1.5, 0.3 * math.sqrt(around.zone.area))
    chosen: list[SitePoint] = []
    for one in rated:
        if all(math.hypot(one.x - other.x, one.y - other.y) >= apart for other in chosen):
            chosen.append(one)
        if len(chosen) == most:
            break
    return chosen


def _deepest(zone: BaseGeometry) -> tuple[FloatArray, float]:
    """The point of a zone that is farthest from its edge, and that distance [m]."""
    found = []
    for part in shapely.get_parts(zone):
        if part.area > 0:
            spoke = shapely.maximum_inscribed_circle(part, tolerance=0.01)
            found.append((float(spoke.length), shapely.get_coordinates(spoke)[0]))
    if not found:
        raise ValueError("a zone needs an area")
    _, at = max(found, key=lambda one: one[0])
    # The distance itself, not the circle's approximate radius.
    return np.asarray(at, dtype=np.float64), float(
        shapely.distance(shapely.boundary(zone), shapely.Point(at))
    )


def _grid(zone: BaseGeometry) -> FloatArray:
    """Points of a square grid inside a zone, (points, 2)."""
    west, south, east, north = zone.bounds
    step = max(0.25, math.sqrt((east - west) * (north - south) / _GRID_POINTS))
    x, y = np.meshgrid(np.arange(west + step / 2, east, step), np.arange(south + step / 2, north, step))
    points = np.column_stack([x.ravel(), y.ravel()])
    return points[shapely.contains_xy(zone, points[:, 0], points[:, 1])]


def _rated(around: Surroundings, points: FloatArray, *, enough_m: float) -> list[SitePoint]:
    """Every point with its distances and worth; beyond twice the setback the edge counts no more."""
    at = shapely.points(points)
    edge = np.asarray(shapely.distance(shapely.boundary(around.zone), at), dtype=np.float64)
    hard, tree = _nearest(around.hard, at), _nearest(around.trees, at)
    neighbour, head = _nearest(around.neighbours, at), _nearest(around.heads, at)
    low = _low_share(around, points)
    beyond = np.isfinite(head) & (head > around.throw_m)
    reached = head[np.isfinite(head) & ~beyond]
    farthest = float(reached.max()) if len(reached) else 1.0
    pattern = np.where(np.isfinite(head), head / max(farthest, 1e-9), 1.0)
    pattern = np.where(beyond, 0.5, np.minimum(pattern, 1.0))
    parts = {
        "edge": np.minimum(edge / max(enough_m, 1e-9), 1.0),
        "structure": np.minimum(hard / HARD_M, 1.0),
        "tree": np.minimum(tree / TREE_M, 1.0),
        "neighbour": np.minimum(neighbour / NEIGHBOUR_M, 1.0),
        "head": np.minimum(head / HEAD_M, 1.0),
        "pattern": pattern,
        "low": np.where(np.nan_to_num(low, nan=0.0) > LOW_FROM, 0.0, 1.0),
    }
    score = 100.0 * sum(_WEIGHTS[name] * part for name, part in parts.items()) / sum(_WEIGHTS.values())
    return [
        SitePoint(
            x=float(points[i, 0]),
            y=float(points[i, 1]),
            edge_m=float(edge[i]),
            hard_m=float(hard[i]),
            tree_m=float(tree[i]),
            neighbour_m=float(neighbour[i]),
            head_m=float(head[i]),
            low_share=float(low[i]),
            is_mid_pattern=bool(np.isfinite(head[i]) and pattern[i] >= 0.7),
            is_beyond=bool(beyond[i]),
            score=float(np.asarray(score)[i]),
        )
        for i in range(len(points))
    ]


def _nearest(shapes: Sequence[BaseGeometry], at: object) -> FloatArray:
    """Distance of each point from the nearest of some shapes [m]; infinite where there is none."""
    points = np.asarray(at, dtype=object)
    if not len(shapes):
        return np.full(points.shape, np.inf)
    union = shapely.union_all(np.array(list(shapes), dtype=object))
    return np.asarray(shapely.distance(union, points), dtype=np.float64)


def _low_share(around: Surroundings, points: FloatArray) -> FloatArray:
    """Place of each point along the fall of the ground, 0 high to 1 low [1]."""
    if around.downhill_deg is None:
        return np.full(len(points), np.nan)
    angle = math.radians(around.downhill_deg)
    along = np.array([math.sin(angle), math.cos(angle)])
    outline = shapely.get_coordinates(around.zone) @ along
    low, high = float(outline.min()), float(outline.max())
    return np.asarray((points @ along - low) / max(high - low, 1e-9), dtype=np.float64)

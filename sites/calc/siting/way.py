"""The shortest way for a sensor's wire: around buildings, off paving, along wires that have spare conductors.

A graph of sight: its nodes are the places to be joined, the corners of what is in the way (with points along
the edge of paving, where a crossing may begin), and the bends of known wires. Between all of them run
straight trenches, whose cost is their length, more under paving and tree roots, and far more through
buildings, walls and pools, which a way crosses only where there is no other. Along a wire with spare
conductors nothing is dug. Dijkstra's shortest path (scipy) over that graph is the way.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import shapely
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra
from shapely.geometry.base import BaseGeometry

from sites.calc.geometry.areas import Geometries
from sites.calc.siting.parts import Goal, Ground, Leg, WireWay
from weather.calc.arrays import FloatArray

# Cost of a metre against a metre of open trench (own choice) [1].
PAVING_COST: Final = 4.0
TREE_COST: Final = 3.0
BLOCKED_COST: Final = 60.0
SPARE_COST: Final = 0.05
SPLICE_COST_M: Final = 2.0  # a new box where a trench meets a buried wire, as metres of trench [m]
CLEARANCE_M: Final = 0.3  # of a trench from a building
BOX_AT_WIRE_M: Final = 0.6  # a box this near a wire is on it
_WALL_HALF_M: Final = 0.1
_HAIR_M: Final = 1e-6
_EDGE_STEP_M: Final = 1.5
_MOST_NODES: Final = 220


Layers = list[tuple[BaseGeometry, float]]


@dataclass(slots=True)
class _Graph:
    """Nodes (trench nodes first, then wire nodes) and the weighed edges between them."""

    nodes: FloatArray
    costs: FloatArray
    trench_nodes: int


def trench_cost(
    lines: Sequence[BaseGeometry] | Geometries, ground: Ground, *, clearance_m: float = CLEARANCE_M
) -> FloatArray:
    """Cost of straight trenches [m of open trench], (lines,).

    Parameters
    ----------
    lines
        Lines in local metres.
    ground
        What lies in the way.
    clearance_m
        Distance kept from buildings [m].
    """
    shapes = np.asarray(lines, dtype=object)
    cost = np.asarray(shapely.length(shapes), dtype=np.float64)
    for areas, factor in _layers(ground, clearance_m):
        cost = cost + (factor - 1.0) * _inside_m(shapes, areas)
    return cost


def wire_ways(
    start: tuple[float, float], goals: Sequence[Goal], ground: Ground, *, clearance_m: float = CLEARANCE_M
) -> list[WireWay]:
    """The best way from a place to each goal, the cheapest first; none where there is no goal.

    Parameters
    ----------
    start
        Place of the sensor in local metres [m].
    goals
        Where the wire may end.
    ground
        What lies in the way.
    clearance_m
        Distance kept from buildings [m].
    """
    return ways_from([start], goals, ground, clearance_m=clearance_m)[0]


def ways_from(
    starts: Sequence[tuple[float, float]],
    goals: Sequence[Goal],
    ground: Ground,
    *,
    clearance_m: float = CLEARANCE_M,
) -> list[list[WireWay]]:
    """For each of several places the best ways to the goals, as `wire_ways` has them, by one graph.

    Parameters
    ----------
    starts
        Places in local metres [m].
    goals
        Where the wire may end.
    ground
        What lies in the way.
    clearance_m
        Distance kept from buildings [m].
    """
    if not goals or not starts:
        return [[] for _ in starts]
    graph = _graph(starts, goals, ground, clearance_m)
    matrix = csr_matrix(np.where(np.isfinite(graph.costs), graph.costs, 0.0))
    distance, previous = dijkstra(
        matrix, directed=False, indices=np.arange(len(starts)), return_predecessors=True
    )
    bare = _layers(ground, 0.0)
    found = []
    for start in range(len(starts)):
        ways = []
        for number, goal in enumerate(goals):
            chain = [len(starts) + number]
            while chain[-1] != start:
                chain.append(int(previous[start, chain[-1]]))
            ways.append(_way(goal, _legs(graph, chain[::-1]), float(distance[start, chain[0]]), bare))
        found.append(sorted(ways, key=lambda way: (way.cost, way.goal.name)))
    return found


def _layers(ground: Ground, clearance_m: float) -> Layers:
    """Areas in the way with the cost of a metre through them; where they overlap, the costs add up.

    All are a hair smaller than they are drawn, so that a trench along an edge is beside it.
    """
    blocked = [
        shape.buffer(clearance_m - _HAIR_M if shape.area > 0 else _WALL_HALF_M - _HAIR_M, join_style="mitre")
        for shape in ground.blocked
    ]
    soft = (
        ([shape.buffer(-_HAIR_M) for shape in ground.paving], PAVING_COST),
        ([shape.buffer(-_HAIR_M) for shape in ground.trees], TREE_COST),
    )
    return [
        (shapely.union_all(np.array(shapes, dtype=object)), cost)
        for shapes, cost in ((blocked, BLOCKED_COST), *soft)
        if shapes
    ]


def _inside_m(lines: object, areas: BaseGeometry) -> FloatArray:
    """Length of each line inside an area [m]."""
    shapes = np.asarray(lines, dtype=object)
    inside = np.zeros(len(shapes))
    shapely.prepare(areas)
    touching = shapely.intersects(areas, shapes)
    inside[touching] = shapely.length(shapely.intersection(shapes[touching], areas))
    return inside


def _graph(
    starts: Sequence[tuple[float, float]], goals: Sequence[Goal], ground: Ground, clearance_m: float
) -> _Graph:
    """The graph of sight with the wires laid over it; first the starts, then the goals."""
    ends = np.array([*starts, *((goal.x, goal.y) for goal in goals)], dtype=np.float64)
    bends, runs = _wire_nodes(ground, ends)
    nodes = np.vstack([ends, bends, _corners(ground, clearance_m)])
    nodes = nodes[:_MOST_NODES] if len(nodes) > _MOST_NODES else nodes
    count = len(nodes)
    first, second = np.triu_indices(count, k=1)
    lines = shapely.linestrings(np.stack([nodes[first], nodes[second]], axis=1))
    costs = np.full((count + len(bends), count + len(bends)), np.inf)
    costs[first, second] = np.maximum(
        trench_cost(np.asarray(lines, dtype=object), ground, clearance_m=clearance_m), 1e-6
    )
    for i in range(len(bends)):
        here, on_wire = len(ends) + i, count + i
        at_box = np.hypot(*(ends[len(starts) :] - bends[i]).T).min() <= BOX_AT_WIRE_M
        costs[here, on_wire] = 1e-6 if at_box else SPLICE_COST_M
    for i, j in runs:
        length = float(np.hypot(*(bends[i] - bends[j])))
        costs[count + min(i, j), count + max(i, j)] = max(SPARE_COST * length, 1e-6)
    return _Graph(np.vstack([nodes, bends]), costs, count)


def _wire_nodes(ground: Ground, ends: FloatArray) -> tuple[FloatArray, list[tuple[int, int]]]:
    """Bends of the wires, with the foot of each end on them; and which of them follow each other."""
    bends: list[tuple[float, float]] = []
    runs: list[tuple[int, int]] = []
    for wire in ground.wires:
        for line in shapely.get_parts(wire):
            along = {float(shapely.line_locate_point(line, shapely.Point(end))) for end in ends}
            along |= {
                float(shapely.line_locate_point(line, shapely.Point(at)))
                for at in shapely.get_coordinates(line)
            }
            places = [shapely.line_interpolate_point(line, at) for at in sorted(along)]
            runs += [(len(bends) + i, len(bends) + i + 1) for i in range(len(places) - 1)]
            bends += [(place.x, place.y) for place in places]
    return np.array(bends, dtype=np.float64).reshape(-1, 2), runs


def _corners(ground: Ground, clearance_m: float) -> FloatArray:
    """Corners of what is in the way, and points along the edges of paving and trees, (corners, 2)."""
    corners = [
        shapely.get_coordinates(
            shape.buffer(clearance_m if shape.area > 0 else _WALL_HALF_M, join_style="mitre")
        )
        for shape in ground.blocked
    ]
    soft = [*ground.paving, *ground.trees]
    length = sum(shape.length for shape in soft)
    step = max(_EDGE_STEP_M, length / (_MOST_NODES / 2))
    corners += [shapely.get_coordinates(shape.simplify(0.05).segmentize(step)) for shape in soft]
    return np.unique(np.round(np.vstack([np.zeros((0, 2)), *corners]), 6), axis=0)


def _legs(graph: _Graph, chain: list[int]) -> tuple[Leg, ...]:
    """Pieces between the nodes of a way; steps on the spot are left out, pieces in one line joined."""
    legs: list[Leg] = []
    for a, b in pairwise(chain):
        one, other = graph.nodes[a], graph.nodes[b]
        if math.dist(one, other) < 1e-9:
            continue
        is_on_wire = a >= graph.trench_nodes and b >= graph.trench_nodes
        leg = Leg((float(one[0]), float(one[1])), (float(other[0]), float(other[1])), is_on_wire)
        turn = abs((leg.bearing_deg - legs[-1].bearing_deg + 180) % 360 - 180) if legs else 180.0
        if legs and legs[-1].is_on_wire == is_on_wire and turn < 0.01:
            leg = Leg(legs.pop().start, leg.end, is_on_wire)
        legs.append(leg)
    return tuple(legs)


def _way(goal: Goal, legs: tuple[Leg, ...], cost: float, bare: Layers) -> WireWay:
    """A way with what lies over its trench; the clearance from buildings is no crossing of them."""
    trench = np.array(
        [shapely.LineString([leg.start, leg.end]) for leg in legs if not leg.is_on_wire], dtype=object
    )
    under = {factor: float(_inside_m(trench, areas).sum()) if len(trench) else 0.0 for areas, factor in bare}
    return WireWay(
        goal, legs, cost, under.get(PAVING_COST, 0.0), under.get(TREE_COST, 0.0), under.get(BLOCKED_COST, 0.0)
    )

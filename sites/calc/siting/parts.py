"""What a wire's way is made of: goals, the ground between, pieces, the way."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from shapely.geometry.base import BaseGeometry


@dataclass(frozen=True, slots=True)
class Goal:
    """Where a wire may end.

    Parameters
    ----------
    name
        As on the map.
    kind
        `valve_box` or `controller`.
    x, y
        Local metres [m].
    spare
        Spare conductors there [1]; None: not counted, or a controller.
    """

    name: str
    kind: str
    x: float
    y: float
    spare: int | None = None


@dataclass(frozen=True, slots=True)
class Ground:
    """What lies in the way, in local metres: buildings, walls and pools; paving; trees; wires with spares."""

    blocked: Sequence[BaseGeometry] = ()
    paving: Sequence[BaseGeometry] = ()
    trees: Sequence[BaseGeometry] = ()
    wires: Sequence[BaseGeometry] = ()


@dataclass(frozen=True, slots=True)
class Leg:
    """A straight piece of the way: its ends in local metres, whether it follows a wire that is there."""

    start: tuple[float, float]
    end: tuple[float, float]
    is_on_wire: bool

    @property
    def length_m(self) -> float:
        """Length [m]."""
        return math.dist(self.start, self.end)

    @property
    def bearing_deg(self) -> float:
        """Bearing from north [degrees]."""
        east, north = self.end[0] - self.start[0], self.end[1] - self.start[1]
        return math.degrees(math.atan2(east, north)) % 360.0


@dataclass(frozen=True, slots=True)
class WireWay:
    """A way to a goal.

    Parameters
    ----------
    goal
        Where it ends.
    legs
        Its pieces, from the sensor on.
    cost
        Length weighed by what lies in the way [m of open trench].
    paving_m, tree_m, blocked_m
        How much of the trench lies under paving, tree roots, buildings or walls [m].
    """

    goal: Goal
    legs: tuple[Leg, ...]
    cost: float
    paving_m: float
    tree_m: float
    blocked_m: float

    @property
    def trench_m(self) -> float:
        """Length to dig [m]."""
        return sum(leg.length_m for leg in self.legs if not leg.is_on_wire)

    @property
    def spare_m(self) -> float:
        """Length along spare conductors of known wires [m]."""
        return sum(leg.length_m for leg in self.legs if leg.is_on_wire)

    @property
    def length_m(self) -> float:
        """Whole length [m]."""
        return self.trench_m + self.spare_m

"""What is to be planned: visits, technicians' days and the travel between places, in whole numbers.

The clock counts seconds from the start of the planned span (Monday 00:00 for a week). Money is counted in
whole cost points (cents, say); travel cost, prizes and the price of leaving a visit share that unit.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from fleet.calc.plan.travel_hours import TravelHours

IntArray = npt.NDArray[np.int64]

# Travel of this many seconds or more means "no way". It is longer than a planned week, so that no solver
# can use it, and small enough that a thousand of them still fit an unsigned 32-bit sum.
UNREACHABLE_S = 1_000_000


@dataclass(frozen=True, slots=True, order=True)
class Window:
    """A span in which service may start, both ends included, and what starting in it is worth.

    Parameters
    ----------
    start_s, end_s
        First and last second [s] at which service may start.
    prize
        Cost points won by starting service in this window [points].
    """

    start_s: int
    end_s: int
    prize: int = 0

    def __post_init__(self) -> None:
        if self.start_s < 0 or self.end_s < self.start_s:
            raise ValueError(f"window from {self.start_s} to {self.end_s} s is not a span of the clock")
        if self.prize < 0:
            raise ValueError(f"prize of a window is {self.prize} points, expected 0 or more")


@dataclass(frozen=True, slots=True)
class Break:
    """A pause that a used technician's day must contain.

    Parameters
    ----------
    earliest_s, latest_s
        Bounds [s] of the pause's start.
    duration_s
        Length [s].
    """

    earliest_s: int
    latest_s: int
    duration_s: int

    def __post_init__(self) -> None:
        if self.earliest_s < 0 or self.latest_s < self.earliest_s:
            raise ValueError(f"break from {self.earliest_s} to {self.latest_s} s is not a span of the clock")
        if self.duration_s <= 0:
            raise ValueError(f"break lasts {self.duration_s} s, expected more than 0")


@dataclass(frozen=True, slots=True)
class Vehicle:
    """One technician's day.

    Parameters
    ----------
    key
        The caller's name for it, unique in the problem.
    technician
        Who drives; days of one technician share it.
    start_place, end_place
        Indexes into the matrices.
    shift_start_s, shift_end_s
        Leaves the start place at or after, is at the end place at or before [s].
    skills
        What this person may do.
    pause
        The break, or None.
    capacity
        Upper bound of the summed demand of a route; None: no bound.
    """

    key: str
    technician: str
    start_place: int
    end_place: int
    shift_start_s: int
    shift_end_s: int
    skills: frozenset[str] = frozenset()
    pause: Break | None = None
    capacity: int | None = None

    def __post_init__(self) -> None:
        if self.shift_start_s < 0 or self.shift_end_s < self.shift_start_s:
            raise ValueError(f"shift of {self.key} ends before it starts")


@dataclass(frozen=True, slots=True)
class Visit:
    """One call at one place.

    Parameters
    ----------
    key
        The caller's name for it, unique in the problem.
    place
        Index into the matrices.
    service_s
        Time on the spot [s].
    windows
        When service may start, in order and apart from each other.
    skills
        All of them are needed.
    must
        Left out only when nothing else is possible, whatever it costs.
    vehicle
        Key of the technician's day that it is locked to, or None.
    demand
        Share of the vehicle's capacity.
    """

    key: str
    place: int
    service_s: int
    windows: tuple[Window, ...]
    skills: frozenset[str] = frozenset()
    must: bool = False
    vehicle: str | None = None
    demand: int = 0

    def __post_init__(self) -> None:
        if self.service_s < 0 or self.demand < 0:
            raise ValueError(f"visit {self.key}: service and demand must be 0 or more")
        if not self.windows:
            raise ValueError(f"visit {self.key} has no window; give the whole span where any time will do")
        if any(first.end_s >= second.start_s for first, second in pairwise(self.windows)):
            raise ValueError(f"visit {self.key}: windows must be in order and apart from each other")

    @property
    def best_prize(self) -> int:
        """The largest prize of its windows [points]."""
        return max(window.prize for window in self.windows)


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """Visits to plan on technicians' days.

    Parameters
    ----------
    visits, vehicles
        What and who.
    duration_s, distance_m, cost
        Travel from row to column, shaped (places, places): time [s], way [m], money [points]. Times of
        `UNREACHABLE_S` and more mean that there is no way.
    hours
        Hours at which driving takes longer than `duration_s`; None: at none.
    """

    visits: tuple[Visit, ...]
    vehicles: tuple[Vehicle, ...]
    duration_s: IntArray
    distance_m: IntArray
    cost: IntArray
    hours: TravelHours | None = None
    vehicle_index: dict[str, int] = field(init=False, repr=False)
    quickest_s: IntArray = field(init=False, repr=False)  # no trip takes less at any hour

    def __post_init__(self) -> None:
        places = _check_matrices(self.duration_s, self.distance_m, self.cost)
        for visit in self.visits:
            if not 0 <= visit.place < places:
                raise ValueError(f"visit {visit.key} stands at place {visit.place} of {places}")
        for vehicle in self.vehicles:
            if not (0 <= vehicle.start_place < places and 0 <= vehicle.end_place < places):
                raise ValueError(f"vehicle {vehicle.key} starts or ends outside the {places} places")
        if len({visit.key for visit in self.visits}) != len(self.visits):
            raise ValueError("two visits share a key")
        index = {vehicle.key: number for number, vehicle in enumerate(self.vehicles)}
        if len(index) != len(self.vehicles):
            raise ValueError("two vehicles share a key")
        object.__setattr__(self, "vehicle_index", index)
        least = self.hours.least_factor if self.hours is not None else 1.0
        quickest = self.duration_s if least >= 1 else np.floor(self.duration_s * least).astype(np.int64)
        object.__setattr__(self, "quickest_s", quickest)

    def arrival(self, leave_s: int, trip_s: int) -> int:
        """Second [s] of arrival of a trip that takes `trip_s` [s] at hours without a factor."""
        return leave_s + trip_s if self.hours is None else self.hours.arrival(leave_s, trip_s)

    def at_mean_hours(self) -> Problem:
        """The same with every trip as long as it is on average while people are at work, at any hour."""
        if self.hours is None:
            return self
        factors = [
            self.hours.mean_factor(who.shift_start_s, who.shift_end_s)
            for who in self.vehicles
            if who.shift_end_s > who.shift_start_s
        ]
        more = (sum(factors) / len(factors) if factors else 1.0) - 1
        driven_s = np.maximum(0.0, self.duration_s - self.hours.settle_s)
        driven_s[self.duration_s >= UNREACHABLE_S] = 0.0
        longer = np.ceil(self.duration_s + driven_s * more).astype(np.int64)
        dearer = np.rint(self.cost + driven_s * more / 3600 * self.hours.points_per_hour)
        dearer = np.maximum(0, dearer).astype(np.int64)
        return replace(self, duration_s=longer, cost=dearer, hours=None)

    @property
    def points_of_a_must(self) -> int:
        """More than leaving out one visit that must be made can save [points]."""
        usable = self.cost[self.duration_s < UNREACHABLE_S]
        return 4 * int(usable.max(initial=0)) + sum(v.best_prize for v in self.visits if not v.must) + 1

    def may_serve(self, vehicle: int, visit: int) -> bool:
        """Tell whether lock and skills let this vehicle make this visit (times not looked at)."""
        who, what = self.vehicles[vehicle], self.visits[visit]
        return (what.vehicle is None or what.vehicle == who.key) and what.skills <= who.skills


def _check_matrices(duration_s: IntArray, distance_m: IntArray, cost: IntArray) -> int:
    """Return the number of places, or raise where the matrices do not fit."""
    shape = duration_s.shape
    if len(shape) != 2 or shape[0] != shape[1]:
        raise ValueError(f"travel times are shaped {shape}, expected a square")
    for name, matrix in (("duration_s", duration_s), ("distance_m", distance_m), ("cost", cost)):
        if matrix.shape != shape:
            raise ValueError(f"{name} is shaped {matrix.shape}, expected {shape}")
        if matrix.dtype != np.int64:
            raise ValueError(f"{name} holds {matrix.dtype}, expected whole numbers of 64 bits")
        if matrix.size and matrix.min() < 0:
            raise ValueError(f"{name} holds negative numbers")
    return int(shape[0])

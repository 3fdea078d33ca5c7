"""Orders on the workbench: what an insertion would win, remembered by vehicle and order."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from fleet.routing.plan import PlannedRoute
from fleet.routing.problem import Problem
from fleet.routing.schedule import schedule_route


@dataclass(frozen=True, slots=True)
class Place:
    """Where a visit could go, and what that would win.

    Parameters
    ----------
    gain
        Prizes won less travel added [points]; negative where it costs.
    vehicle
        Index of the vehicle.
    order
        The vehicle's order with the visit in it.
    start_s
        When its service would start [s].
    """

    gain: int
    vehicle: int
    order: tuple[int, ...]
    start_s: int


class Bench:
    """Orders being changed; every order on it can be driven."""

    def __init__(self, problem: Problem, orders: Mapping[int, Sequence[int]] | None = None) -> None:
        self.problem = problem
        self.orders: dict[int, tuple[int, ...]] = {v: tuple(o) for v, o in (orders or {}).items() if o}
        self._routes: dict[tuple[int, tuple[int, ...]], PlannedRoute | None] = {}
        self._best: dict[tuple[int, tuple[int, ...], int], Place | None] = {}
        self._spare: dict[tuple[int, tuple[int, ...]], int] = {}

    def order(self, vehicle: int) -> tuple[int, ...]:
        """Order of a vehicle, empty where it is unused."""
        return self.orders.get(vehicle, ())

    def put(self, vehicle: int, order: Sequence[int]) -> None:
        """Give a vehicle another order."""
        if order:
            self.orders[vehicle] = tuple(order)
        else:
            self.orders.pop(vehicle, None)

    def route(self, vehicle: int, order: Sequence[int]) -> PlannedRoute | None:
        """Timed route of an order; None where it cannot be driven, or is empty."""
        key = (vehicle, tuple(order))
        if key not in self._routes:
            self._routes[key] = schedule_route(self.problem, vehicle, order) if order else None
        return self._routes[key]

    def worth(self, vehicle: int, order: Sequence[int]) -> int:
        """Prizes less travel of an order that can be driven [points]."""
        route = self.route(vehicle, order)
        return 0 if route is None else sum(stop.prize for stop in route.stops) - route.travel_cost

    def places(self, vehicle: int, visit: int) -> list[Place]:
        """Every place of a vehicle's order that lets a visit in, without pushing another out."""
        if not self.may_be(vehicle, visit):
            return []
        order = self.order(vehicle)
        before = self.worth(vehicle, order)
        found = []
        for number in self._roomy(vehicle, visit):
            tried = (*order[:number], visit, *order[number:])
            route = self.route(vehicle, tried)
            if route is not None:
                gain = self.worth(vehicle, tried) - before
                found.append(Place(gain, vehicle, tried, route.stops[number].start_s))
        return found

    def best(self, vehicle: int, visit: int) -> Place | None:
        """The place of a vehicle's order where a visit wins most; None where it does not fit."""
        key = (vehicle, self.order(vehicle), visit)
        if key not in self._best:
            options = self.places(vehicle, visit)
            self._best[key] = max(options, key=lambda place: (place.gain, -place.start_s), default=None)
        return self._best[key]

    def two_best(self, visit: int, vehicles: Iterable[int]) -> tuple[Place | None, Place | None]:
        """The best place of a visit, and the best one with another vehicle."""
        options = [place for v in vehicles if (place := self.best(v, visit)) is not None]
        options.sort(key=lambda place: (-place.gain, place.vehicle))
        return (options[0] if options else None), (options[1] if len(options) > 1 else None)

    def may_be(self, vehicle: int, visit: int) -> bool:
        """Tell whether lock, skills and hours let this vehicle make a visit at all."""
        who = self.problem.vehicles[vehicle]
        return self.problem.may_serve(vehicle, visit) and any(
            w.start_s <= who.shift_end_s and w.end_s >= who.shift_start_s
            for w in self.problem.visits[visit].windows
        )

    def weight(self, visit: int) -> tuple[bool, bool, int, int]:
        """How firmly a visit stands where it is: locked, told, its value; the larger the firmer."""
        what = self.problem.visits[visit]
        return (what.vehicle is not None, what.must, what.best_prize, -visit)

    def rebuilt(self, vehicle: int, order: Sequence[int], first: int | None = None) -> tuple[int, ...]:
        """The firmest visits of an order that one vehicle can still make, as near to their order as can be.

        Parameters
        ----------
        vehicle
            Index of the vehicle.
        order
            Visits in the order wished for.
        first
            A visit that stands before all others; None: the firmest does.
        """
        rank = {visit: number for number, visit in enumerate(order)}
        kept: list[int] = []
        firm = sorted(order, key=lambda v: (v == first, *self.weight(v)), reverse=True)
        for visit in firm:
            at = sum(rank[other] < rank[visit] for other in kept)
            tried = [*kept[:at], visit, *kept[at:]]
            if self.route(vehicle, tried) is not None:
                kept = tried
                continue
            others = [[*kept[:n], visit, *kept[n:]] for n in range(len(kept) + 1) if n != at]
            fits = [one for one in others if self.route(vehicle, one) is not None]
            if fits:
                kept = max(fits, key=lambda one: self.worth(vehicle, one))
        return tuple(kept)

    def spare_s(self, vehicle: int, order: Sequence[int]) -> int:
        """What is left of the shift beside driving, work and break [s], waiting not counted."""
        key = (vehicle, tuple(order))
        if key not in self._spare:
            who, way = self.problem.vehicles[vehicle], self.problem.quickest_s
            stops = [self.problem.visits[v] for v in order]
            places = [who.start_place, *(stop.place for stop in stops), who.end_place]
            used_s = sum(stop.service_s for stop in stops) + (who.pause.duration_s if who.pause else 0)
            used_s += sum(int(way[a, b]) for a, b in pairwise(places))
            self._spare[key] = who.shift_end_s - who.shift_start_s - used_s
        return self._spare[key]

    def _roomy(self, vehicle: int, visit: int) -> list[int]:
        """Places at which the shift is long enough, waiting not counted: no other can do."""
        who, what = self.problem.vehicles[vehicle], self.problem.visits[visit]
        order, way = self.order(vehicle), self.problem.quickest_s
        places = [who.start_place, *(self.problem.visits[v].place for v in order), who.end_place]
        room_s = self.spare_s(vehicle, order) - what.service_s
        return [
            number
            for number, (a, b) in enumerate(pairwise(places))
            if int(way[a, what.place]) + int(way[what.place, b]) - int(way[a, b]) <= room_s
        ]

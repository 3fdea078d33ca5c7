"""Times of a route from its order: earliest service, break in the gap nearest the middle of its window."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fleet.calc.plan.travel_hours import TravelHours
from fleet.routing.hours_break import Gap, break_start, ready_after_break
from fleet.routing.plan import Plan, PlannedBreak, PlannedRoute, PlannedStop, Unserved
from fleet.routing.problem import UNREACHABLE_S, Break, Problem, Window

Orders = Mapping[int, Sequence[int]]


@dataclass(frozen=True, slots=True)
class _Leg:
    """Travel to a visit and what is done there."""

    visit: int
    drive_s: int
    service_s: int
    windows: tuple[Window, ...]


def schedule_route(problem: Problem, vehicle: int, order: Sequence[int]) -> PlannedRoute | None:
    """Timed route of a vehicle that makes these visits in this order; None where it cannot be done.

    Service starts as early as windows allow, and the vehicle leaves no earlier than its first stop asks
    for. The break may fall into driving or waiting; among the gaps that fit, the one whose start is
    nearest the middle of the break's window is taken, of equals the one that ends the day first. Where
    driving takes longer at some hours, a break is taken before a drive or after it, not on the way.

    Parameters
    ----------
    problem
        What is planned.
    vehicle
        Index of the vehicle.
    order
        Indexes of visits.
    """
    who = problem.vehicles[vehicle]
    if not order or not all(problem.may_serve(vehicle, visit) for visit in order):
        return None
    if who.capacity is not None and sum(problem.visits[visit].demand for visit in order) > who.capacity:
        return None
    legs, back_s = _legs(problem, vehicle, order)
    if max(back_s, *(leg.drive_s for leg in legs)) >= UNREACHABLE_S:
        return None
    if who.pause is None:
        times = _walk(problem, legs, who.shift_start_s, back_s, who.shift_end_s, None, -1)
        return _build(problem, vehicle, legs, back_s, times, None) if times else None
    middle = (who.pause.earliest_s + who.pause.latest_s) // 2
    found: tuple[tuple[int, int], _Times, PlannedBreak] | None = None
    for after in range(len(legs) + 1):
        times = _walk(problem, legs, who.shift_start_s, back_s, who.shift_end_s, who.pause, after)
        if times is None:
            continue
        gap = _gap(legs, back_s, times, after, who.shift_start_s)
        pause = _place_break(problem.hours, who.pause, gap, after, middle)
        off = (abs(pause.start_s - middle), times.back)
        if found is None or off < found[0]:
            found = (off, times, pause)
    return _build(problem, vehicle, legs, back_s, found[1], found[2]) if found else None


@dataclass(frozen=True, slots=True)
class _Times:
    """Arrivals, starts and ends of service, and arrival back."""

    arrive: tuple[int, ...]
    start: tuple[int, ...]
    depart: tuple[int, ...]
    back: int


def _legs(problem: Problem, vehicle: int, order: Sequence[int]) -> tuple[list[_Leg], int]:
    """Legs of the order and the drive back [s]."""
    who = problem.vehicles[vehicle]
    place = who.start_place
    legs = []
    for visit in order:
        what = problem.visits[visit]
        drive_s = int(problem.duration_s[place, what.place])
        legs.append(_Leg(visit, drive_s, what.service_s, what.windows))
        place = what.place
    return legs, int(problem.duration_s[place, who.end_place])


def _walk(
    problem: Problem,
    legs: Sequence[_Leg],
    start_s: int,
    back_s: int,
    end_s: int,
    pause: Break | None,
    after: int,
) -> _Times | None:
    """Earliest times with the break after so many stops; None where a window or the shift is missed."""
    clock = start_s
    arrive, starts, depart = [], [], []
    for number, leg in enumerate(legs):
        ready: int | None = problem.arrival(clock, leg.drive_s)
        if pause is not None and number == after:
            ready = ready_after_break(problem.hours, pause, clock, leg.drive_s)
        start = _first_start(leg.windows, ready) if ready is not None else None
        if ready is None or start is None:
            return None
        arrive.append(ready)
        starts.append(start)
        clock = start + leg.service_s
        depart.append(clock)
    back: int | None = problem.arrival(clock, back_s)
    if pause is not None and after == len(legs):
        back = ready_after_break(problem.hours, pause, clock, back_s)
    if back is None or back > end_s:
        return None
    return _Times(tuple(arrive), tuple(starts), tuple(depart), back)


def _first_start(windows: Sequence[Window], ready_s: int) -> int | None:
    """Earliest second at or after `ready_s` inside a window."""
    for window in windows:
        if ready_s <= window.end_s:
            return max(ready_s, window.start_s)
    return None


def _gap(legs: Sequence[_Leg], back_s: int, times: _Times, after: int, shift_start_s: int) -> Gap:
    """The drive after so many stops, and what bounds it."""
    return Gap(
        left_s=times.depart[after - 1] if after else shift_start_s,
        trip_s=legs[after].drive_s if after < len(legs) else back_s,
        due_s=times.start[after] if after < len(legs) else times.back,
    )


def _place_break(hours: TravelHours | None, pause: Break, gap: Gap, after: int, middle: int) -> PlannedBreak:
    """Put the break as near the middle of its window as its gap lets it, without moving any service."""
    if hours is not None:
        start = break_start(hours, pause, gap, middle)
    else:
        first = max(gap.left_s, pause.earliest_s)
        last = min(pause.latest_s, gap.due_s - pause.duration_s)
        start = min(max(first, middle), max(first, last))
    return PlannedBreak(after, start, start + pause.duration_s)


def _build(
    problem: Problem,
    vehicle: int,
    legs: Sequence[_Leg],
    back_s: int,
    times: _Times,
    pause: PlannedBreak | None,
) -> PlannedRoute:
    """Put the pieces of a route together."""
    who = problem.vehicles[vehicle]
    stops = []
    place = who.start_place
    cost = 0
    leave = _leave(problem, vehicle, legs, times, pause)
    arrive = _arrivals(problem, legs, times, pause, leave)
    drives = _drives(problem, [*(leg.drive_s for leg in legs), back_s], (leave, *times.depart), pause)
    for number, leg in enumerate(legs):
        here = problem.visits[leg.visit].place
        cost += int(problem.cost[place, here])
        stops.append(
            PlannedStop(
                visit=leg.visit,
                drive_s=drives[number],
                drive_m=int(problem.distance_m[place, here]),
                arrive_s=arrive[number],
                start_s=times.start[number],
                depart_s=times.depart[number],
                prize=prize_at(leg.windows, times.start[number]),
            )
        )
        place = here
    cost += int(problem.cost[place, who.end_place])
    if problem.hours is not None:
        more_s = sum(drives) - back_s - sum(leg.drive_s for leg in legs)
        cost += round(more_s / 3600 * problem.hours.points_per_hour)
    return PlannedRoute(
        vehicle=vehicle,
        leave_s=leave,
        stops=tuple(stops),
        pause=pause,
        back_drive_s=drives[-1],
        back_drive_m=int(problem.distance_m[place, who.end_place]),
        back_s=times.back,
        travel_cost=cost,
    )


def _leave(
    problem: Problem, vehicle: int, legs: Sequence[_Leg], times: _Times, pause: PlannedBreak | None
) -> int:
    """Latest second to leave the start place that still keeps the times."""
    trip_s, hours = legs[0].drive_s, problem.hours
    in_time = times.start[0] - trip_s if hours is None else hours.leaving(times.start[0], trip_s)
    if pause is None or pause.after:
        return in_time
    if hours is None:
        return min(pause.start_s, in_time - (pause.end_s - pause.start_s))
    # The break comes after the drive where that is in time, else before it.
    shift_start_s = problem.vehicles[vehicle].shift_start_s
    is_driven_first = pause.end_s <= times.start[0] and hours.arrival(shift_start_s, trip_s) <= pause.start_s
    return hours.leaving(pause.start_s, trip_s) if is_driven_first else pause.start_s


def _arrivals(
    problem: Problem, legs: Sequence[_Leg], times: _Times, pause: PlannedBreak | None, leave_s: int
) -> list[int]:
    """Arrival at each stop: the first one just in time, the one after a break with the break in it."""
    arrivals = list(times.arrive)
    arrivals[0] = problem.arrival(leave_s, legs[0].drive_s)
    if pause is not None and pause.after < len(legs):
        number = pause.after
        left = times.depart[number - 1] if number else leave_s
        trip_s = legs[number].drive_s
        # Driving comes first where the break waits for its time at the next stop.
        driven = problem.arrival(left, trip_s)
        if driven > pause.start_s:
            hours = problem.hours
            driven = hours.arrival(pause.end_s, trip_s) if hours else driven + pause.end_s - pause.start_s
        arrivals[number] = driven
    return arrivals


def _drives(
    problem: Problem, trips: Sequence[int], left: Sequence[int], pause: PlannedBreak | None
) -> list[int]:
    """Seconds of each drive, the way back last, at the hour at which it begins."""
    if problem.hours is None:
        return list(trips)
    drives = []
    for number, (trip_s, left_s) in enumerate(zip(trips, left, strict=True)):
        begins = left_s
        if pause is not None and pause.after == number and problem.arrival(left_s, trip_s) > pause.start_s:
            begins = pause.end_s
        drives.append(problem.arrival(begins, trip_s) - begins)
    return drives


def prize_at(windows: Sequence[Window], start_s: int) -> int:
    """Prize [points] of starting service then; 0 outside every window."""
    for window in windows:
        if window.start_s <= start_s <= window.end_s:
            return window.prize
    return 0


def plan_from_orders(
    problem: Problem, orders: Orders, reasons: Mapping[int, tuple[str, str]] | None = None
) -> Plan | None:
    """Timed plan of these orders (vehicle -> visits); None where one of them cannot be done.

    Parameters
    ----------
    problem
        What is planned.
    orders
        Visits of each vehicle in order; empty ones are left out.
    reasons
        Code and sentence for visits in no route, where known.
    """
    routes = []
    for vehicle in sorted(orders):
        if not orders[vehicle]:
            continue
        route = schedule_route(problem, vehicle, orders[vehicle])
        if route is None:
            return None
        routes.append(route)
    return assemble_plan(problem, routes, reasons)


def assemble_plan(
    problem: Problem, routes: Sequence[PlannedRoute], reasons: Mapping[int, tuple[str, str]] | None = None
) -> Plan:
    """Plan of timed routes; raises `ValueError` where a visit comes twice."""
    served = [stop for route in routes for stop in route.stops]
    numbers = {stop.visit for stop in served}
    if len(numbers) != len(served):
        raise ValueError("a visit stands in the plan twice")
    left = [visit for visit in range(len(problem.visits)) if visit not in numbers]
    return Plan(
        routes=tuple(sorted(routes, key=lambda route: route.vehicle)),
        unserved=tuple(Unserved(visit, *((reasons or {}).get(visit, ("", "")))) for visit in left),
        missed_musts=sum(problem.visits[visit].must for visit in left),
        travel_cost=sum(route.travel_cost for route in routes),
        lost_prize=sum(visit.best_prize for visit in problem.visits) - sum(stop.prize for stop in served),
    )

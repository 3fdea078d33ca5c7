"""Why a visit is in no route: a code and a sentence, worked out by trying it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

from fleet.routing.plan import Plan, PlannedRoute
from fleet.routing.problem import UNREACHABLE_S, Problem
from fleet.routing.schedule import plan_from_orders, schedule_route

NO_TECHNICIAN = "no_technician"
LOCKED_AWAY = "locked_away"
NO_SKILL = "no_skill"
NO_WINDOW = "no_window"
NO_WAY = "no_way"
TOO_LONG = "too_long"
LOCK_CLASH = "lock_clash"
NOT_WORTH_IT = "not_worth_it"
NO_ROOM = "no_room"

WORDS = {
    NO_TECHNICIAN: "Nobody is at work in this span.",
    LOCKED_AWAY: "Locked to a technician's day on which that person is not at work.",
    NO_SKILL: "Nobody at work has the skill that it needs: {skills}.",
    NO_WINDOW: "Its hours lie outside every shift of those who may do it.",
    NO_WAY: "No road leads there from where those who may do it start.",
    TOO_LONG: "Even alone in a shift there is no time for driving, work and break within its hours.",
    LOCK_CLASH: "Locked visits and promised hours leave no room for it on its day.",
    NOT_WORTH_IT: "Going there costs {more} waiting loses.",
    NO_ROOM: "The days of those who may do it are full with visits of higher value.",
}


def explain_unserved(problem: Problem, plan: Plan, *, points_per_money: int = 100) -> Plan:
    """The same plan with a code and a sentence for every visit that was left out.

    Parameters
    ----------
    problem
        What was planned.
    plan
        Its plan.
    points_per_money
        Cost points in one unit of money, for the sentence.
    """
    routes = {route.vehicle: route for route in plan.routes}
    reasons: dict[int, tuple[str, str]] = {}
    for left in plan.unserved:
        code, detour = _code(problem, routes, left.visit)
        skills = ", ".join(sorted(problem.visits[left.visit].skills))
        money = f"{max(0, detour) / points_per_money:.2f}"
        more = "about as much as" if money == "0.00" else f"{money} more than"
        reasons[left.visit] = (code, WORDS[code].format(skills=skills, more=more))
    orders = {route.vehicle: route.visits for route in plan.routes}
    explained = plan_from_orders(problem, orders, reasons)
    if explained is None:
        raise ValueError("the plan cannot be driven as written")
    return explained


def _code(problem: Problem, routes: Mapping[int, PlannedRoute], visit: int) -> tuple[str, int]:
    """Code of the reason, and by how much the best detour exceeds the prize [points]."""
    what = problem.visits[visit]
    if not problem.vehicles:
        return NO_TECHNICIAN, 0
    if what.vehicle is not None and what.vehicle not in problem.vehicle_index:
        return LOCKED_AWAY, 0
    able = [n for n in range(len(problem.vehicles)) if problem.may_serve(n, visit)]
    if not able:
        return NO_SKILL, 0
    inside = [n for n in able if _meets(problem, n, visit)]
    if not inside:
        return NO_WINDOW, 0
    if not any(_reachable(problem, n, visit) for n in inside):
        return NO_WAY, 0
    if not any(schedule_route(problem, n, [visit]) for n in inside):
        return TOO_LONG, 0
    gains = [g for n in inside if (g := insertion_gain(problem, routes.get(n), n, visit)) is not None]
    if gains:
        return NOT_WORTH_IT, -max(gains)
    return (LOCK_CLASH if what.vehicle is not None or what.must else NO_ROOM), 0


def _meets(problem: Problem, vehicle: int, visit: int) -> bool:
    """Tell whether a window and the shift meet."""
    who = problem.vehicles[vehicle]
    return any(
        w.start_s <= who.shift_end_s and w.end_s >= who.shift_start_s for w in problem.visits[visit].windows
    )


def _reachable(problem: Problem, vehicle: int, visit: int) -> bool:
    """Tell whether there is a way there and back."""
    who, place = problem.vehicles[vehicle], problem.visits[visit].place
    there, back = problem.duration_s[who.start_place, place], problem.duration_s[place, who.end_place]
    return bool(max(there, back) < UNREACHABLE_S)


def insertion_gain(problem: Problem, route: PlannedRoute | None, vehicle: int, visit: int) -> int | None:
    """Most that one more visit could win on a vehicle's day [points], negative where it costs more.

    Parameters
    ----------
    problem
        What is planned.
    route
        The vehicle's route, None when it is unused.
    vehicle, visit
        Indexes.

    Returns
    -------
    int or None
        Gain in cost [points]; None where no place in the order lets it in.
    """
    order: Sequence[int] = route.visits if route is not None else ()
    before = _worth(route)
    best: int | None = None
    for place in _roomy_places(problem, route, vehicle, visit):
        tried = schedule_route(problem, vehicle, [*order[:place], visit, *order[place:]])
        if tried is not None:
            gain = _worth(tried) - before
            best = gain if best is None else max(best, gain)
    return best


def _roomy_places(problem: Problem, route: PlannedRoute | None, vehicle: int, visit: int) -> list[int]:
    """Places in the order at which the shift is long enough, waiting not counted: no other can do."""
    who, what = problem.vehicles[vehicle], problem.visits[visit]
    stops = [problem.visits[v] for v in route.visits] if route is not None else []
    places = [who.start_place, *(stop.place for stop in stops), who.end_place]
    rest_s = who.pause.duration_s if who.pause is not None else 0
    work_s = sum(stop.service_s for stop in stops) + what.service_s + rest_s
    way = problem.quickest_s
    drive_s = sum(int(way[a, b]) for a, b in pairwise(places))
    room_s = who.shift_end_s - who.shift_start_s - work_s - drive_s
    return [
        number
        for number, (a, b) in enumerate(pairwise(places))
        if int(way[a, what.place]) + int(way[what.place, b]) - int(way[a, b]) <= room_s
    ]


def _worth(route: PlannedRoute | None) -> int:
    """Prizes less travel of a route [points]."""
    return 0 if route is None else sum(stop.prize for stop in route.stops) - route.travel_cost

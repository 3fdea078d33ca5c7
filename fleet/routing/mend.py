"""A day that breaks is mended, not planned anew: what still fits stays, what fell out finds another place.

Nothing here searches at random, and nothing holds the interpreter: it may run inside a web request.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from fleet.routing.bench import Bench, Place
from fleet.routing.check import plan_faults
from fleet.routing.plan import Plan
from fleet.routing.problem import Problem, Window
from fleet.routing.reasons import explain_unserved
from fleet.routing.schedule import plan_from_orders

DAY_S = 86_400
# Places of an urgent visit that are worked out to the end; more change nothing on the demo's days.
URGENT_TRIES = 6
SWEEPS = 2


class MendRefuted(RuntimeError):
    """The checker found a fault in a mended plan. Never to be written down."""


@dataclass(frozen=True, slots=True)
class Urgency:
    """A visit that must be made soon.

    Parameters
    ----------
    visit
        Its index; its windows say by when.
    from_s
        Since when it waits [s].
    points_per_hour
        What an hour of waiting loses [points].
    """

    visit: int
    from_s: int
    points_per_hour: int


@dataclass(frozen=True, slots=True)
class Mended:
    """What came of mending.

    Parameters
    ----------
    problem
        The problem as it was solved: visits in `freed` with their wider windows.
    plan
        The plan, proven by the checker, with reasons.
    freed
        Visits whose told hours could not be kept by anybody, so that other hours were looked for.
    """

    problem: Problem
    plan: Plan
    freed: frozenset[int]


def mend(
    problem: Problem,
    orders: Mapping[int, Sequence[int]],
    *,
    lost: Collection[int] = (),
    wider: Mapping[int, tuple[Window, ...]] | None = None,
    urgent: Urgency | None = None,
    least_gain: int = 0,
    points_per_money: int = 100,
) -> Mended:
    """The plan after a day broke, changed as little as that asks for.

    Routes that can still be driven keep their order. A route that cannot keeps its firmest visits (locked,
    then told, then by value); the others go where they cost least, told ones first, in their told hours if
    anybody can keep them, where untold visits give way. Visits that waited are taken in where a changed route
    has room and they are worth their way.

    Parameters
    ----------
    problem
        The days as they are now.
    orders
        The plan as it stands: vehicle -> visits in order.
    lost
        Visits that were planned with somebody who is not there any more.
    wider
        Windows of a visit that count once its own cannot be kept.
    urgent
        A visit that must be made soon; it may push out untold ones.
    least_gain
        A visit changes person or order only to win more than this [points].
    points_per_money
        Cost points in one unit of money, for the reasons' sentences.
    """
    bench = Bench(problem)
    fell = set(lost)
    for vehicle in sorted(orders):
        order = tuple(orders[vehicle])
        if order and bench.route(vehicle, order) is None:
            kept = bench.rebuilt(vehicle, order)
            fell |= set(order) - set(kept)
            order = kept
        bench.put(vehicle, order)
    if urgent is not None:
        bench = _with_urgent(bench, urgent, fell)
        fell -= _served(bench)
        fell |= (_planned(orders) | set(lost)) - _served(bench)
    _place(bench, fell)
    _squeeze(bench, fell)
    bench, freed = _widen(bench, fell, wider or {}, urgent)
    changed = {v for v in range(len(problem.vehicles)) if bench.order(v) != tuple(orders.get(v, ()))}
    fixed = frozenset([urgent.visit]) if urgent is not None else frozenset()
    _improve(bench, changed, least_gain, fixed)
    _place(bench, set(range(len(problem.visits))) - _served(bench) - fixed, within=changed)
    plan = plan_from_orders(bench.problem, bench.orders)
    if plan is None:
        raise MendRefuted("an order on the bench cannot be driven")
    faults = plan_faults(bench.problem, plan)
    if faults:
        raise MendRefuted("; ".join(faults[:5]))
    explained = explain_unserved(bench.problem, plan, points_per_money=points_per_money)
    return Mended(bench.problem, explained, freed)


def _served(bench: Bench) -> set[int]:
    """Visits on the bench's routes."""
    return {visit for order in bench.orders.values() for visit in order}


def _planned(orders: Mapping[int, Sequence[int]]) -> set[int]:
    """Visits of orders."""
    return {visit for order in orders.values() for visit in order}


def _place(bench: Bench, waiting: Iterable[int], *, within: Collection[int] | None = None) -> None:
    """Insert visits where they cost least, those first that would lose most by coming later.

    Parameters
    ----------
    bench
        Orders, changed in place.
    waiting
        Visits to insert; one that loses money is left out unless it is told.
    within
        Vehicles that may take them; None: all.
    """
    vehicles = sorted(within) if within is not None else range(len(bench.problem.vehicles))
    open_visits = set(waiting) - _served(bench)
    while open_visits:
        chosen: tuple[tuple[bool, int, int], Place, int] | None = None
        for visit in sorted(open_visits):
            first, second = bench.two_best(visit, vehicles)
            must = bench.problem.visits[visit].must
            if first is None or (first.gain <= 0 and not must):
                open_visits.discard(visit)
                continue
            regret = first.gain - (second.gain if second is not None else 0)
            key = (must, regret, -visit)
            if chosen is None or key > chosen[0]:
                chosen = (key, first, visit)
        if chosen is None:
            break
        bench.put(chosen[1].vehicle, chosen[1].order)
        open_visits.discard(chosen[2])


def _squeeze(bench: Bench, fell: set[int]) -> None:
    """Let told visits that found no place push out untold ones, which then look for another place."""
    musts = [v for v in sorted(fell - _served(bench)) if bench.problem.visits[v].must]
    for visit in sorted(musts, key=lambda v: bench.weight(v), reverse=True):
        options = _pushing(bench, visit)
        if not options:
            continue
        place = max(options, key=lambda one: (one.gain, -one.start_s, -one.vehicle))
        out = set(bench.order(place.vehicle)) - set(place.order)
        bench.put(place.vehicle, place.order)
        fell |= out
        _place(bench, out)


def _pushing(bench: Bench, visit: int) -> list[Place]:
    """Places that a visit gets by pushing out visits which are neither told nor locked."""
    found = []
    for vehicle in range(len(bench.problem.vehicles)):
        order = bench.order(vehicle)
        if visit in order or not bench.may_be(vehicle, visit):
            continue
        for number in range(len(order) + 1):
            tried = bench.rebuilt(vehicle, [*order[:number], visit, *order[number:]], visit)
            if visit not in tried:
                continue
            out = set(order) - set(tried)
            if any(bench.problem.visits[v].must or bench.problem.visits[v].vehicle for v in out):
                continue
            route = bench.route(vehicle, tried)
            if route is None:
                continue
            start = next(stop.start_s for stop in route.stops if stop.visit == visit)
            gain = bench.worth(vehicle, tried) - bench.worth(vehicle, order)
            found.append(Place(gain, vehicle, tried, start))
    return found


def _with_urgent(bench: Bench, urgent: Urgency, fell: Iterable[int]) -> Bench:
    """The bench with the urgent visit where waiting, driving and what it pushes out cost least together."""

    def hurry(place: Place) -> int:
        return (place.start_s - urgent.from_s) * urgent.points_per_hour // 3600

    options = [p for v in range(len(bench.problem.vehicles)) for p in bench.places(v, urgent.visit)]
    options += _pushing(bench, urgent.visit)
    options.sort(key=lambda p: (hurry(p) - p.gain, p.vehicle, p.order))
    best: tuple[tuple[int, int], Bench] | None = None
    for place in options[:URGENT_TRIES]:
        tried = Bench(bench.problem, bench.orders)
        out = set(tried.order(place.vehicle)) - set(place.order)
        tried.put(place.vehicle, place.order)
        _place(tried, {*fell, *out})
        _squeeze(tried, {*fell, *out})
        plan = plan_from_orders(tried.problem, tried.orders)
        if plan is None:
            continue
        key = (plan.missed_musts, plan.cost + hurry(place))
        if best is None or key < best[0]:
            best = (key, tried)
    return best[1] if best is not None else bench


def _widen(
    bench: Bench, fell: set[int], wider: Mapping[int, tuple[Window, ...]], urgent: Urgency | None
) -> tuple[Bench, frozenset[int]]:
    """Other hours for visits whose own nobody can keep."""
    left = set(fell) | ({urgent.visit} if urgent is not None else set())
    freed = {v for v in left - _served(bench) if v in wider}
    if not freed:
        return bench, frozenset()
    again = Bench(opened(bench.problem, wider, freed), bench.orders)
    _place(again, freed)
    _squeeze(again, set(freed))
    return again, frozenset(freed)


def opened(problem: Problem, wider: Mapping[int, tuple[Window, ...]], freed: Collection[int]) -> Problem:
    """The problem with other hours for some visits.

    Parameters
    ----------
    problem
        What is planned.
    wider
        Windows by visit.
    freed
        Visits that get them.
    """
    visits = tuple(
        replace(what, windows=wider[number]) if number in freed else what
        for number, what in enumerate(problem.visits)
    )
    return replace(problem, visits=visits)


def _improve(bench: Bench, changed: Collection[int], least_gain: int, fixed: Collection[int]) -> None:
    """Move single visits among the changed routes where that wins more than the disquiet is worth."""
    vehicles = sorted(changed)
    for _ in range(SWEEPS):
        moved = False
        for visit in sorted(v for vehicle in vehicles for v in bench.order(vehicle)):
            if visit not in fixed:
                moved |= _moved(bench, visit, vehicles, least_gain)
        if not moved:
            return


def _moved(bench: Bench, visit: int, vehicles: Sequence[int], least_gain: int) -> bool:
    """Move one visit to where it wins most, if that is enough; whether it moved."""
    home = next(v for v in vehicles if visit in bench.order(v))
    order = bench.order(home)
    rest = tuple(other for other in order if other != visit)
    if rest and bench.route(home, rest) is None:
        return False
    lost = bench.worth(home, rest) - bench.worth(home, order)
    bench.put(home, rest)
    best, _ = bench.two_best(visit, vehicles)
    if best is not None and best.gain + lost > least_gain:
        bench.put(best.vehicle, best.order)
        return True
    bench.put(home, order)
    return False

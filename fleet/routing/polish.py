"""The last step of a search: small moves on the real clock, breaks and hours included, as long as one wins.

The second solver knows no breaks and works on a clock with the lunch cut out; what fits only because a break
can lie earlier or later is found here. A move is costed first, and timed only where it would win.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import combinations, pairwise, takewhile

from fleet.routing.bench import Bench
from fleet.routing.problem import Problem

Orders = dict[int, tuple[int, ...]]
# What would win, and the orders that change.
Move = tuple[int, Orders]
# Whether to go on, asked before each route or pair of routes: a large company has thousands of pairs.
GoesOn = Callable[[object], bool]
# Segments of up to so many visits change places.
LONGEST_SEGMENT = 2
NOT_ALLOWED = -(10**12)


def polished(
    problem: Problem, orders: Mapping[int, Sequence[int]], *, is_over: Callable[[], bool]
) -> dict[int, tuple[int, ...]]:
    """Orders (vehicle -> visits) no worse than the given ones, after all single moves that win.

    Moves: take a visit in, take it in for another one, move or exchange one or two neighbours between routes
    or within one, exchange the ends of two routes. Nothing is random.

    Parameters
    ----------
    problem
        What is planned.
    orders
        A plan that can be driven.
    is_over
        Asked whether to end before a route is looked through, and before each move is timed.
    """
    bench = Bench(problem, orders)
    costs = _Costs(problem)

    def goes_on(_: object) -> bool:
        return not is_over()

    while True:
        for moves in (_exchanges, _ends, _taken_in):
            if _made_one(bench, sorted(moves(bench, costs, goes_on), key=lambda m: -m[0]), costs, is_over):
                break
        else:
            return dict(bench.orders)
        if is_over():
            return dict(bench.orders)


def _made_one(bench: Bench, moves: Sequence[Move], costs: _Costs, is_over: Callable[[], bool]) -> bool:
    """Make the first moves that win on the real clock, one of each route at most; whether there was one."""
    touched: set[int] = set()
    served: set[int] = set()
    for _, changed in moves:
        if is_over():
            break
        fresh = {visit for order in changed.values() for visit in order}
        if touched & set(changed) or served & fresh:
            continue
        if all(not order or bench.route(vehicle, order) is not None for vehicle, order in changed.items()):
            gain = sum(
                costs.worth(bench, vehicle, order) - costs.worth(bench, vehicle, bench.order(vehicle))
                for vehicle, order in changed.items()
            )
            if gain > 0:
                for vehicle, order in changed.items():
                    bench.put(vehicle, order)
                touched |= set(changed)
                served |= fresh
    return bool(touched)


class _Costs:
    """Costs of ways and prizes as plain numbers, for quick sums."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.way: list[list[int]] = problem.cost.tolist()
        self.place = [visit.place for visit in problem.visits]
        self.bonus = problem.points_of_a_must
        self.prize = [
            [self._prize(vehicle, visit) for visit in range(len(problem.visits))]
            for vehicle in range(len(problem.vehicles))
        ]

    def _prize(self, vehicle: int, visit: int) -> int:
        """Most that a vehicle can win with a visit [points]."""
        who, what = self.problem.vehicles[vehicle], self.problem.visits[visit]
        if not self.problem.may_serve(vehicle, visit):
            return NOT_ALLOWED
        met = [w.prize for w in what.windows if w.start_s <= who.shift_end_s and w.end_s >= who.shift_start_s]
        return max(met, default=NOT_ALLOWED) + (self.bonus if what.must else 0)

    def worth(self, bench: Bench, vehicle: int, order: Sequence[int]) -> int:
        """What an order wins by the real clock, with more than any detour for each `must` [points]."""
        musts = sum(self.problem.visits[visit].must for visit in order)
        return bench.worth(vehicle, order) + musts * self.bonus

    def guess(self, vehicle: int, order: Sequence[int]) -> int:
        """What an order can win at most [points]."""
        if not order:
            return 0
        who = self.problem.vehicles[vehicle]
        prize = self.prize[vehicle]
        here, total = who.start_place, 0
        for visit in order:
            total += prize[visit] - self.way[here][self.place[visit]]
            here = self.place[visit]
        return total - self.way[here][who.end_place]


def _exchanges(bench: Bench, costs: _Costs, goes_on: GoesOn) -> Iterator[Move]:
    """One or two neighbours (or none) of a route change places with as many of another, or move within it."""
    orders = bench.orders
    now = {vehicle: costs.guess(vehicle, order) for vehicle, order in orders.items()}
    for a, b in takewhile(goes_on, combinations(sorted(orders), 2)):
        for first, segment_a in _segments(orders[a]):
            for second, segment_b in _segments(orders[b]):
                if not segment_a and not segment_b:
                    continue
                new_a = (*orders[a][:first], *segment_b, *orders[a][first + len(segment_a) :])
                new_b = (*orders[b][:second], *segment_a, *orders[b][second + len(segment_b) :])
                gain = costs.guess(a, new_a) + costs.guess(b, new_b) - now[a] - now[b]
                if gain > 0:
                    yield gain, {a: new_a, b: new_b}
    for vehicle, order in takewhile(goes_on, orders.items()):
        for tried in _reordered(order):
            gain = costs.guess(vehicle, tried) - now[vehicle]
            if gain > 0:
                yield gain, {vehicle: tried}


def _segments(order: tuple[int, ...]) -> Iterator[tuple[int, tuple[int, ...]]]:
    """Places of an order with nothing, one visit or some neighbours from there on."""
    for first in range(len(order) + 1):
        for length in range(min(LONGEST_SEGMENT, len(order) - first) + 1):
            yield first, order[first : first + length]


def _reordered(order: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
    """The order with one to three neighbours moved, or a stretch turned round."""
    for first in range(len(order)):
        for length in range(1, min(3, len(order) - first) + 1):
            rest = order[:first] + order[first + length :]
            for place in range(len(rest) + 1):
                if place != first:
                    yield (*rest[:place], *order[first : first + length], *rest[place:])
        for last in range(first + 2, len(order) + 1):
            yield (*order[:first], *reversed(order[first:last]), *order[last:])


def _ends(bench: Bench, costs: _Costs, goes_on: GoesOn) -> Iterator[Move]:
    """Two routes exchange what follows some stop; a route may go over to somebody else as a whole."""
    used = sorted(bench.orders)
    free = [v for v in range(len(bench.problem.vehicles)) if v not in bench.orders]
    for a, b in takewhile(goes_on, combinations(used, 2)):
        own, other = bench.order(a), bench.order(b)
        now = costs.guess(a, own) + costs.guess(b, other)
        for first in range(len(own) + 1):
            for second in range(len(other) + 1):
                new_a, new_b = own[:first] + other[second:], other[:second] + own[first:]
                gain = costs.guess(a, new_a) + costs.guess(b, new_b) - now
                if gain > 0:
                    yield gain, {a: new_a, b: new_b}
    for a in used:
        for b in free:
            gain = costs.guess(b, bench.order(a)) - costs.guess(a, bench.order(a))
            if gain > 0:
                yield gain, {a: (), b: bench.order(a)}


def _taken_in(bench: Bench, costs: _Costs, goes_on: GoesOn) -> Iterator[Move]:
    """A visit that waits is taken in, at any place of a route, with one or no visit of it left out."""
    problem = bench.problem
    served = {visit for order in bench.orders.values() for visit in order}
    waiting = [visit for visit in range(len(problem.visits)) if visit not in served]
    for vehicle in takewhile(goes_on, range(len(problem.vehicles))):
        order = bench.order(vehicle)
        now = costs.guess(vehicle, order)
        able = [visit for visit in waiting if costs.prize[vehicle][visit] > 0]
        for out in (None, *order):
            rest = tuple(visit for visit in order if visit != out)
            left = costs.guess(vehicle, rest) - now
            who = problem.vehicles[vehicle]
            places = [who.start_place, *(costs.place[visit] for visit in rest), who.end_place]
            # An empty day has no way home to save.
            saved = [costs.way[a][b] if rest else 0 for a, b in pairwise(places)]
            for visit in able:
                here, way = costs.place[visit], costs.way
                prize = costs.prize[vehicle][visit] + left
                for place, (a, b) in enumerate(pairwise(places)):
                    gain = prize - way[a][here] - way[here][b] + saved[place]
                    if gain > 0 and _has_time(bench, vehicle, rest, visit, a, b):
                        yield gain, {vehicle: (*rest[:place], visit, *rest[place:])}


def _has_time(bench: Bench, vehicle: int, rest: Sequence[int], visit: int, a: int, b: int) -> bool:
    """Tell whether the shift is long enough, waiting not counted."""
    spare = bench.spare_s(vehicle, rest)
    place, way = bench.problem.visits[visit].place, bench.problem.quickest_s
    detour = int(way[a, place]) + int(way[place, b]) - int(way[a, b])
    return detour + bench.problem.visits[visit].service_s <= spare

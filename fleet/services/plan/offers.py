"""Hours that can be offered to a customer on the phone, with what each of them costs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, time

from fleet.calc.plan.arrival_spread import Pause, Step, arrival_span, window_of_span, work_spread
from fleet.calc.visits.settings import VisitSettings
from fleet.models import Stop, Visit
from fleet.routing.bench import Bench, Place
from fleet.routing.plan import PlannedRoute
from fleet.routing.problem import Problem, Window
from fleet.selectors.visits.service_times import observed_service_min
from fleet.services.plan.break_change import PLACE_FROM
from fleet.services.plan.break_state import BrokenDay, settled_week
from fleet.services.plan.plan_routes import company_settings
from fleet.services.plan.problem import DAY_S, POINTS_PER_MONEY, windows_of
from fleet.services.plan.visits_of_week import SETTLED
from fleet.streets.store import travel_source

OFFERS = 3
# Two offers begin at least so far apart [s].
APART_S = 2 * 3600


class CannotOffer(ValueError):
    """No hours can be offered, held or confirmed; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class Offer:
    """Hours that can be offered.

    Parameters
    ----------
    technician_id, technician, day
        Who comes, and when.
    window_from, window_to
        The hours to tell.
    planned
        When the plan would have it.
    extra_km, extra_min, extra_money
        What going there then adds to that day's driving [km], [min], [money].
    wait_money
        What waiting until then loses, against the first day of all [money].
    """

    technician_id: int
    technician: str
    day: date
    window_from: datetime
    window_to: datetime
    planned: datetime
    extra_km: float
    extra_min: float
    extra_money: float
    wait_money: float
    order: tuple[int, ...] = ()

    @property
    def key(self) -> str:
        """Its name in a form."""
        return f"{self.technician_id}/{self.window_from.isoformat()}"


def find_offers(*, visit_id: int, day: date, moment: datetime, seed: int) -> tuple[Offer, ...]:
    """The three cheapest hours of the week for a visit, cheapest first. Raises `CannotOffer`.

    Parameters
    ----------
    visit_id
        Whom they are for; a visit that was told nothing gives up its place for them.
    day, moment
        Today, and from when on.
    seed
        Seed of the simulated arrivals.
    """
    settings = company_settings()
    visit = visit_to_offer(visit_id)
    broken = settled_week(day=day, moment=moment, settings=settings, travel=travel_source(settings=settings))
    return offers_of(broken, visit, day, moment, settings, seed)


def visit_to_offer(visit_id: int) -> Visit:
    """The visit, if hours can be found for it."""
    visit = Visit.objects.filter(pk=visit_id, number__lt=PLACE_FROM).select_related("site").first()
    if visit is None or visit.state in SETTLED:
        raise CannotOffer("This visit is under way, done or gone.")
    if visit.site.latitude is None or visit.site.longitude is None:
        raise CannotOffer(f"{visit.site.code} has no coordinates; add its point to the site book.")
    if Stop.objects.filter(visit=visit).exclude(state=Stop.State.AHEAD).exists():
        raise CannotOffer("The technician is there, or has left for it.")
    return visit


def offers_of(
    broken: BrokenDay, visit: Visit, day: date, moment: datetime, settings: VisitSettings, seed: int
) -> tuple[Offer, ...]:
    """The cheapest hours, one of each day's half at most."""
    given = broken.state.given
    if visit.pk not in {one.pk for one in given.visits}:
        raise CannotOffer("By the plan the technician is there now, or has left for it; ring them instead.")
    number = next(n for n, one in enumerate(given.visits) if one.pk == visit.pk)
    problem, wanted = _asked_for(broken, number, moment, settings)
    orders = {
        vehicle: [v for v in order if v != number or visit.told_at is not None]
        for vehicle, order in broken.orders.items()
    }
    bench = Bench(problem, orders)
    if visit.told_at is None:
        wanted = number
    found = [p for v in range(len(problem.vehicles)) for p in bench.places(v, wanted)]
    if not found:
        raise CannotOffer("No hour of this week has room for it: " + _nobody(problem, wanted))
    found.sort(key=lambda p: (-p.gain, p.start_s, p.vehicle))
    chosen: list[Place] = []
    for place in found:
        if all(abs(place.start_s - other.start_s) >= APART_S for other in chosen):
            chosen.append(place)
        if len(chosen) == OFFERS:
            break
    best_prize = problem.visits[wanted].best_prize
    spreads = {kind: work_spread(seen) for kind, seen in observed_service_min(day=day).items()}
    return tuple(_offer(broken, bench, place, wanted, best_prize, spreads, seed) for place in chosen)


def _nobody(problem: Problem, wanted: int) -> str:
    """Why there is no room, in a sentence."""
    able = [n for n in range(len(problem.vehicles)) if problem.may_serve(n, wanted)]
    if not able:
        skills = ", ".join(sorted(problem.visits[wanted].skills))
        return f"nobody at work has the skill that it needs ({skills})." if skills else "nobody is at work."
    return "the days of those who may do it are full. Plan it for next week, or free a stop first."


def _asked_for(
    broken: BrokenDay, number: int, moment: datetime, settings: VisitSettings
) -> tuple[Problem, int]:
    """The problem in which the visit may come at any hour of its garden; a told one stands in it twice."""
    given, problem = broken.state.given, broken.problem
    visit = given.visits[number]
    told_at, visit.told_at = visit.told_at, None
    windows = windows_of(given, settings, visit)
    visit.told_at = told_at
    if any(need.promised for need in visit.needs.all()):
        windows = tuple(
            Window(
                given.clock.at(one, visit.site.visit_from or time(0, 0)),
                given.clock.at(one, visit.site.visit_to or time(23, 59)),
                windows[0].prize,
            )
            for one in given.days
        )
    now_s = max(0, given.clock.seconds(moment))
    ahead = tuple(Window(max(w.start_s, now_s), w.end_s, w.prize) for w in windows if w.end_s >= now_s)
    free = replace(
        problem.visits[number], windows=ahead or (Window(0, 0, 0),), vehicle=None, must=False, key="wanted"
    )
    if told_at is None:
        visits = tuple(free if n == number else one for n, one in enumerate(problem.visits))
        return replace(problem, visits=visits), number
    visits = (*problem.visits, free)
    return (
        replace(problem, visits=visits),
        len(visits) - 1,
    )


def _pause(problem: Problem, route: PlannedRoute) -> Pause | None:
    """The break that is still ahead on a route, with the bounds that the person's day has."""
    asked = problem.vehicles[route.vehicle].pause
    if asked is None or route.pause is None:
        return None
    return Pause(route.pause.after, asked.earliest_s, asked.latest_s, asked.duration_s)


def _offer(
    broken: BrokenDay,
    bench: Bench,
    place: Place,
    wanted: int,
    best_prize: int,
    spreads: dict[str, float],
    seed: int,
) -> Offer:
    """A place as hours to tell, with what it costs."""
    given, problem = broken.state.given, bench.problem
    clock = given.clock
    new, old = bench.route(place.vehicle, place.order), bench.route(place.vehicle, bench.order(place.vehicle))
    if new is None:
        raise CannotOffer("The plan has changed; look for hours anew.")
    steps = []
    here = problem.vehicles[place.vehicle].start_place
    for stop in new.stops:
        what = problem.visits[stop.visit]
        drive_s, here = int(problem.duration_s[here, what.place]), what.place
        opens = next(w.start_s for w in what.windows if w.start_s <= stop.start_s <= w.end_s)
        kinds = (
            [n.kind for n in given.visits[stop.visit].needs.all()] if stop.visit < len(given.visits) else []
        )
        spread = max((spreads[kind] for kind in kinds if kind in spreads), default=None)
        step = Step(drive_s, what.service_s, opens)
        steps.append(step if spread is None else replace(step, work_spread=spread))
        if stop.visit == wanted:
            break
    span = arrival_span(
        leave_s=new.leave_s, steps=steps, seed=seed, hours=problem.hours, pause=_pause(problem, new)
    )
    first, last = window_of_span(span_s=span, planned_s=place.start_s)
    day_s = place.start_s // DAY_S * DAY_S
    first = max(first, day_s)
    prize = next(stop.prize for stop in new.stops if stop.visit == wanted)
    person = next(p for p in given.technicians if p.code == problem.vehicles[place.vehicle].technician)
    planned = clock.moment(place.start_s)
    return Offer(
        technician_id=person.pk,
        technician=person.name,
        day=planned.date(),
        window_from=clock.moment(first),
        window_to=clock.moment(last),
        planned=planned,
        extra_km=round((new.drive_m - (old.drive_m if old else 0)) / 1000, 1),
        extra_min=round((new.drive_s - (old.drive_s if old else 0)) / 60),
        extra_money=round((prize - place.gain) / POINTS_PER_MONEY, 2),
        wait_money=round((best_prize - prize) / POINTS_PER_MONEY, 2),
        order=tuple(-1 if v == wanted else given.visits[v].pk for v in place.order),
    )

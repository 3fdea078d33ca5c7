"""Two things at once on the board: breaks, moves, locks and plannings that meet each other."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from django.db import connection
from django.test import Client

from fleet.calc.plan.travel import TravelMatrix
from fleet.calc.visits.settings import VisitSettings
from fleet.models import Company, CustomerCall, DayBreak, Stop, Technician, User, Visit
from fleet.services.plan import break_plan, day_breaks, known_ways
from fleet.services.plan import plan_routes as planning
from fleet.services.plan.appointments import confirm_hold, release_hold
from fleet.services.plan.break_change import BreakAsked, CannotBreak
from fleet.services.plan.day_breaks import Overtaken, accept_break, discard_break
from fleet.services.plan.plan_routes import plan_routes, undo_plan
from fleet.services.plan.routes_by_hand import lock_stop, move_stop
from fleet.streets.kept_travel import KeptTravel, UnknownPlaces
from fleet.streets.travel_source import EstimatedTravel, LonLat, Snapped
from sites.models import Site
from tests.factories import DAY, build_need, build_site, build_technician
from tests.fleet.plan.test_appointments import hold as hold_for
from tests.fleet.plan.test_appointments import newcomer
from tests.fleet.plan.test_day_breaks import (
    EARLY,
    TEN,
    late,
    planned,
    propose,
    tell,
    today,
    visit_of,
    whole_plan,
    within,
)

__all__ = ["planned"]

SignIn = Callable[[User], Client]


class WatchedStreets:
    """Streets that must not be searched while the database is held."""

    is_estimated = False
    words = "from watched streets"

    def __init__(self) -> None:
        self.asked = 0
        self._source = EstimatedTravel(VisitSettings())

    def _see(self) -> None:
        assert not connection.in_atomic_block
        self.asked += 1

    def matrix(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> TravelMatrix:
        self._see()
        return self._source.matrix(latitude, longitude)

    def route(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> tuple[LonLat, ...]:
        self._see()
        return self._source.route(latitude, longitude)

    def snap(self, latitude: npt.ArrayLike, longitude: npt.ArrayLike) -> Snapped:
        return self._source.snap(latitude, longitude)


def ill(code: str) -> BreakAsked:
    return BreakAsked(kind="ill", technician_id=Technician.objects.get(code=code).pk)


def leak(code: str = "LEAK") -> BreakAsked:
    site = Site.objects.filter(code=code).first() or build_site(code, longitude=-104.69, latitude=41.21)
    return BreakAsked(kind="urgent", site_id=site.pk, reason="Water runs down the drive.")


@pytest.mark.django_db(transaction=True)
def test_no_road_is_searched_while_the_database_is_held(
    company: Company, monkeypatch: pytest.MonkeyPatch
) -> None:
    streets = WatchedStreets()
    monkeypatch.setattr(planning, "travel_source", lambda **_: streets)
    for where in (day_breaks, known_ways):
        monkeypatch.setattr(where, "travel_source", lambda **_: streets)
    for number in range(8):
        build_need(build_site(f"CB-{number:02}", longitude=-104.7 + 0.012 * number, latitude=41.2))
    build_technician("T1")
    build_technician("T2", name="Tomas Rudd")

    plan_routes(now=EARLY, week=DAY, seed=1, iterations=40)
    planned_with = streets.asked
    stop = Stop.objects.filter(visit__isnull=False).select_related("route").latest("arrive")
    person = Technician.objects.exclude(pk=stop.route.technician_id).get()
    move_stop(visit_id=stop.visit_id or 0, technician_id=person.pk, day=stop.route.day, now=EARLY)
    moved_with = streets.asked
    held = hold_for(newcomer())
    confirm_hold(hold_id=held, day=DAY, moment=TEN, by="hana", now=TEN)
    release_hold(hold_id=hold_for(newcomer("NEXT", east=0.03)), day=DAY, moment=TEN, now=TEN)
    held_with = streets.asked
    for asked in (late(60), leak(), ill("T1")):
        number = propose(asked)
        accept_break(break_id=number, by="hana", now=TEN)

    assert 2 <= planned_with < moved_with < held_with < streets.asked
    ways = [stop.route.way for stop in Stop.objects.select_related("route") if stop.visit is not None]
    assert any(ways)


def test_kept_travel_answers_what_it_knows_and_refuses_the_rest_once_closed() -> None:
    source = EstimatedTravel(VisitSettings())
    kept = KeptTravel(source)
    lat, lon = np.array([41.0, 41.1, 41.2]), np.array([-104.0, -104.1, -104.2])
    whole = source.matrix(lat, lon)

    assert (kept.matrix(lat, lon).duration_s == whole.duration_s).all()
    kept.is_closed = True
    part = kept.matrix(lat[[2, 0]], lon[[2, 0]])

    assert (part.duration_s == whole.duration_s[np.ix_([2, 0], [2, 0])]).all()
    assert (part.distance_m == whole.distance_m[np.ix_([2, 0], [2, 0])]).all()
    assert kept.is_estimated
    assert kept.words == source.words
    assert kept.route(lat, lon) == ()
    assert kept.lacks_lines
    with pytest.raises(UnknownPlaces):
        kept.matrix([41.5], [-104.0])

    kept.look_up()

    assert kept.is_closed
    assert not kept.lacks_lines
    assert kept.route(lat, lon) == source.route(lat, lon)
    four = source.matrix([*lat, 41.5], [*lon, -104.0])
    assert (kept.matrix([*lat, 41.5], [*lon, -104.0]).duration_s == four.duration_s).all()


@pytest.mark.django_db
def test_what_draws_unknown_lines_is_taken_back_and_written_once_they_are_known(company: Company) -> None:
    build_technician("T1")
    tries: list[bool] = []

    def work(travel: KeptTravel) -> int:
        Technician.objects.filter(code="T1").update(name=f"{Technician.objects.get(code='T1').name}!")
        tries.append(bool(travel.route([41.0, 41.1], [-104.0, -104.1])))
        return len(travel.matrix([41.0], [-104.0]).duration_s)

    before = Technician.objects.get(code="T1").name
    assert known_ways.write_on_known_ways(work=work, settings=VisitSettings()) == 1

    assert tries == [False, True]
    assert Technician.objects.get(code="T1").name == f"{before}!"


def meet(monkeypatch: pytest.MonkeyPatch, others: list[Callable[[], Any]]) -> None:
    """While a proposal is worked out, somebody else does these things, one at each try."""
    own = break_plan.plan_break

    def planned_meanwhile(**given: Any) -> Any:
        if others:
            others.pop(0)()
        return own(**given)

    monkeypatch.setattr(day_breaks, "plan_break", planned_meanwhile)


@pytest.mark.django_db
def test_a_lock_while_a_break_is_worked_out_counts(planned: Company, monkeypatch: pytest.MonkeyPatch) -> None:
    stop = today("T2")[-1]
    meet(monkeypatch, [lambda: lock_stop(visit_id=stop.visit_id or 0, is_locked=True)])

    number = propose(late(120))
    done = accept_break(break_id=number, by="hana", now=TEN)

    assert done.break_id == number
    assert visit_of(stop).is_locked
    assert Stop.objects.get(visit=stop.visit).route_id == stop.route_id


@pytest.mark.django_db
def test_a_garden_that_is_moved_while_a_break_is_worked_out_is_looked_up_anew(
    planned: Company, monkeypatch: pytest.MonkeyPatch
) -> None:
    site = visit_of(today("T2")[-1]).site

    def moved() -> None:
        Site.objects.filter(pk=site.pk).update(longitude=-104.71)

    meet(monkeypatch, [moved])
    number = propose(late(60))
    accept_break(break_id=number, by="hana", now=TEN)

    number = propose(late(30, "T2"))
    moved_again = Site.objects.filter(pk=site.pk).update(longitude=-104.72)
    done = accept_break(break_id=number, by="hana", now=TEN)
    assert (moved_again, done.break_id) == (1, number)


@pytest.mark.django_db
def test_a_plan_that_never_stands_still_is_refused_in_words_and_nothing_is_kept(
    planned: Company, monkeypatch: pytest.MonkeyPatch
) -> None:
    stop = today("T2")[-1]
    flips = [True, False] * known_ways.TRIES
    meet(
        monkeypatch,
        [lambda on=on: lock_stop(visit_id=stop.visit_id or 0, is_locked=on) for on in flips],  # type: ignore[misc]
    )

    with pytest.raises(CannotBreak, match="Nothing was saved; try again"):
        propose(late(60))

    assert not DayBreak.objects.exists()


@pytest.mark.django_db
def test_ill_and_a_leak_at_once_are_both_planned_one_after_the_other(planned: Company) -> None:
    """Two dispatchers propose on the same plan: the second is told, and worked out onto the first."""
    before = whole_plan()
    first = propose(ill("T1"))
    second = propose(leak())

    accept_break(break_id=first, by="hana", now=TEN)
    with pytest.raises(Overtaken) as told:
        accept_break(break_id=second, by="ruth", now=TEN)
    assert "hana" in str(told.value)
    discard_break(break_id=second, by="ruth", now=TEN, overtaken=True)
    again = propose(leak())
    accept_break(break_id=again, by="ruth", now=TEN)

    stop = Stop.objects.get(visit__site__code="LEAK")
    assert stop.route.day == DAY
    assert stop.route.technician.code == "T2"
    ahead_of_ill = Stop.objects.filter(route__technician__code="T1", route__day=DAY, arrive__gt=TEN)
    assert not ahead_of_ill.filter(visit__isnull=False).exists()

    undo_plan(week=DAY, now=TEN)
    assert not Stop.objects.filter(visit__site__code="LEAK").exists()
    assert Technician.objects.get(code="T1").days_off == DAY.isoformat()
    undo_plan(week=DAY, now=TEN)
    assert whole_plan()[0:3] == before[0:3]
    assert Technician.objects.get(code="T1").days_off == ""


@pytest.mark.django_db
def test_the_page_works_the_second_break_out_anew_and_says_why(
    planned: Company, dispatcher: User, sign_in: SignIn, settings: Any
) -> None:
    settings.TODAY = DAY.isoformat()
    first, second = propose(ill("T1")), propose(leak())
    DayBreak.objects.update(asked_at=TEN)
    accept_break(break_id=first, by="ruth", now=TEN)
    client = sign_in(dispatcher)

    page = client.post(f"/week/breaks/{second}/accept/", follow=True).content.decode()

    assert "The plan has changed since this was worked out" in page
    assert "Nothing was saved" in page
    assert DayBreak.objects.get(pk=second).state == DayBreak.State.OVERTAKEN


@pytest.mark.django_db
@pytest.mark.parametrize("asked", ["ill", "late", "leak"])
def test_told_visits_of_other_days_keep_their_hours_or_their_customer_is_rung(
    planned: Company, asked: str
) -> None:
    """Everybody of the week is told; T1 drops out today: nobody's hours change without a call."""
    # Tomorrow's stops, made by moving some of today's there.
    tomorrow = DAY + timedelta(days=1)
    for stop in today("T1")[-3:]:
        person = Technician.objects.get(code="T2")
        move_stop(visit_id=stop.visit_id or 0, technician_id=person.pk, day=tomorrow, now=EARLY)
    stops = list(Stop.objects.filter(visit__isnull=False).select_related("visit", "route"))
    for stop in stops:
        tell(stop, 20, 40)
    assert any(stop.route.day == tomorrow for stop in stops)
    told = {stop.visit_id or 0: stop.route.day for stop in stops}
    what = {"ill": ill("T1"), "late": late(200), "leak": leak()}[asked]

    accept_break(break_id=propose(what), by="hana", now=TEN)

    rung = set(CustomerCall.objects.values_list("visit_id", flat=True))
    for visit in Visit.objects.filter(pk__in=told, told_at__isnull=False):
        now_at = Stop.objects.filter(visit=visit).select_related("route").first()
        if now_at is None or not within(visit, now_at):
            assert visit.pk in rung, visit.site.code
        elif visit.pk not in rung:
            assert now_at.route.day == told[visit.pk]
    # Tomorrow's told visits are not sacrificed to today's break.
    kept = [pk for pk, day in told.items() if day == tomorrow]
    assert not rung & set(kept)


@pytest.mark.django_db
def test_a_move_onto_a_day_that_somebody_else_has_just_filled_is_refused_in_words(planned: Company) -> None:
    """The cost of a move was shown; before it is saved a break takes the person away."""
    stop, person = today("T2")[-1], Technician.objects.get(code="T1")
    shown = move_stop(visit_id=stop.visit_id or 0, technician_id=person.pk, day=DAY, now=EARLY, try_only=True)
    accept_break(break_id=propose(ill("T1")), by="ruth", now=TEN)
    before = whole_plan()

    with pytest.raises(ValueError, match="not at work"):
        move_stop(visit_id=stop.visit_id or 0, technician_id=person.pk, day=DAY, now=TEN)

    assert not shown.written
    assert whole_plan() == before


@pytest.mark.django_db
def test_a_day_that_nobody_reported_says_why_nothing_can_be_moved(planned: Company) -> None:
    """At ten, with nothing reported since half past seven, the plan as it stands cannot be driven."""
    stop, person = today("T2")[-1], Technician.objects.get(code="T1")

    with pytest.raises(ValueError, match="not reported"):
        move_stop(visit_id=stop.visit_id or 0, technician_id=person.pk, day=DAY, now=TEN, try_only=True)

"""Planning a week in the database: visits from needs, routes, stops and reasons."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db.models import Sum

from fleet.models import Company, PlanRun, Route, Stop, Technician, Visit, VisitNeed
from fleet.services.plan.plan_routes import plan_routes, undo_plan
from fleet.services.plan.snapshot import CannotUndo
from fleet.services.plan.state import NothingToPlan
from fleet.services.visits.settings import save_rush_hours
from sites.models import Site
from tests.factories import DAY, build_need, build_site, build_technician

pytestmark = pytest.mark.django_db


def town(count: int = 8) -> list[Site]:
    """Sites in a row east of the depot, each with a need."""
    sites = [build_site(f"CB-{n:02}", longitude=-104.7 + 0.01 * (n + 1), latitude=41.2) for n in range(count)]
    for site in sites:
        build_need(site)
    return sites


EARLY = datetime(2026, 6, 15, 6, 0, tzinfo=UTC)  # midnight in the company's time zone


def test_needs_become_stops_inside_the_shift_with_a_break(company: Company) -> None:
    town(8)
    build_technician()

    done = plan_routes(now=EARLY, week=DAY, seed=1, iterations=60)

    assert (done.visits, done.unserved, done.is_estimated) == (8, 0, True)
    route = Route.objects.get(day=DAY)
    assert route.stops.filter(is_break=True).count() == 1
    assert [stop.order for stop in route.stops.all()] == list(range(1, route.stops.count() + 1))
    assert route.start_at.astimezone(UTC) >= datetime(2026, 6, 15, 13, 30, tzinfo=UTC)
    assert route.end_at.astimezone(UTC) <= datetime(2026, 6, 15, 22, 30, tzinfo=UTC)


def test_planning_twice_writes_the_same_rows_with_the_same_ids(company: Company) -> None:
    town(8)
    build_technician()
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=60)
    before = list(Stop.objects.exclude(is_break=True).values("id", "visit_id", "arrive", "order"))

    plan_routes(now=EARLY, week=DAY, seed=1, iterations=60)

    assert list(Stop.objects.exclude(is_break=True).values("id", "visit_id", "arrive", "order")) == before
    assert Visit.objects.count() == 8


def test_needs_at_one_site_merge_into_one_visit(company: Company) -> None:
    site = town(1)[0]
    build_need(site, key="second", kind="audit", service_min=75, value_per_day=4)
    build_technician()

    plan_routes(now=EARLY, week=DAY, seed=1, iterations=30)

    visit = Visit.objects.get()
    assert visit.needs.count() == 2
    assert 75 < visit.service_min < 75 + 35


def test_needs_split_where_nobody_has_all_the_skills(company: Company) -> None:
    site = build_site()
    build_need(site, key="a", kind="backflow_test", skill="backflow")
    build_need(site, key="b", kind="move_station_wire", skill="wiring")
    build_technician("T1", skills="wiring")
    build_technician("T2", skills="backflow", name="Tomas Rudd")

    done = plan_routes(now=EARLY, week=DAY, seed=1, iterations=30)

    assert done.visits == 2
    assert {stop.route.technician.code for stop in Stop.objects.filter(is_break=False)} == {"T1", "T2"}


def test_without_technicians_every_visit_says_so(company: Company) -> None:
    town(3)

    done = plan_routes(now=EARLY, week=DAY, seed=1, iterations=30)

    assert (done.visits, done.unserved) == (0, 3)
    assert set(Visit.objects.values_list("unserved_code", flat=True)) == {"no_technician"}


def test_a_site_without_coordinates_is_left_out_with_its_reason(company: Company) -> None:
    build_technician()
    site = town(1)[0]
    Site.objects.filter(pk=site.pk).update(latitude=None, longitude=None)

    plan_routes(now=EARLY, week=DAY, seed=1, iterations=30)

    assert Visit.objects.get().unserved_code == "no_coordinates"


def test_a_skill_that_nobody_has_and_hours_outside_every_shift_are_told_apart(company: Company) -> None:
    build_technician(skills="audit")
    first, second = build_site("A"), build_site("B")
    build_need(first, skill="wiring")
    build_need(
        second,
        earliest=datetime(2026, 6, 16, 3, 0, tzinfo=UTC),
        latest=datetime(2026, 6, 16, 4, 0, tzinfo=UTC),
    )

    plan_routes(now=EARLY, week=DAY, seed=1, iterations=30)

    codes = dict(Visit.objects.values_list("site__code", "unserved_code"))
    assert codes == {"A": "no_skill", "B": "no_window"}


def test_a_dig_without_a_locate_ticket_is_not_planned(company: Company) -> None:
    build_technician(skills="dig")
    build_need(build_site(), kind="dig", skill="dig")

    done = plan_routes(now=EARLY, week=DAY, seed=1, iterations=30)

    assert done.visits == 0
    assert VisitNeed.objects.get().blocked_by.startswith("No valid locate ticket")


def test_a_told_window_is_kept_when_the_week_is_planned_again(company: Company) -> None:
    town(4)
    build_technician()
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=30)
    visit = Visit.objects.order_by("pk")[0]
    start = datetime(2026, 6, 18, 16, 0, tzinfo=UTC)
    Visit.objects.filter(pk=visit.pk).update(
        state="told", told_at=EARLY, window_from=start, window_to=start + timedelta(hours=1)
    )

    done = plan_routes(now=EARLY, week=DAY, seed=1, iterations=30)

    stop = Stop.objects.get(visit=visit)
    assert start <= stop.arrive <= start + timedelta(hours=1)
    assert (done.told, done.told_lost, done.told_moved) == (1, 0, 0)


def test_a_locked_visit_stays_on_its_technicians_day(company: Company) -> None:
    town(4)
    build_technician("T1")
    build_technician("T2", name="Tomas Rudd")
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=30)
    visit = Visit.objects.order_by("pk")[0]
    other = Technician.objects.get(code="T2")
    stop = Stop.objects.get(visit=visit)
    route, _ = Route.objects.get_or_create(
        technician=other,
        day=DAY + timedelta(days=3),
        defaults={"start_at": EARLY, "end_at": EARLY, "planned_at": EARLY},
    )
    Stop.objects.filter(pk=stop.pk).update(route=route, order=90)
    Visit.objects.filter(pk=visit.pk).update(is_locked=True)

    plan_routes(now=EARLY, week=DAY, seed=2, iterations=30)

    stop.refresh_from_db()
    assert (stop.route.technician, stop.route.day) == (other, DAY + timedelta(days=3))


def test_what_is_done_stays_when_the_day_is_planned_again(company: Company) -> None:
    town(6)
    build_technician()
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=30)
    first = Stop.objects.filter(route__day=DAY, is_break=False).order_by("order")[0]
    Stop.objects.filter(pk=first.pk).update(state="finished", state_at=first.depart)
    Visit.objects.filter(stops=first).update(state="done")
    VisitNeed.objects.filter(visits=first.visit_id).update(state="done", closed_on=DAY)

    plan_routes(now=first.depart, day=DAY, seed=1, iterations=30)

    again = Stop.objects.get(pk=first.pk)
    assert (again.state, again.order, again.arrive) == ("finished", 1, first.arrive)
    rest = Stop.objects.filter(route=first.route).exclude(pk=first.pk)
    assert rest.exists()
    assert all(stop.arrive >= first.depart for stop in rest)


def test_the_last_planning_can_be_undone(company: Company) -> None:
    town(3)
    build_technician()
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=30)
    before = list(Stop.objects.order_by("pk").values())
    build_need(build_site("NEW", longitude=-104.71))
    plan_routes(now=EARLY + timedelta(minutes=1), week=DAY, seed=1, iterations=30)
    assert Stop.objects.filter(is_break=False).count() == 4

    undone = undo_plan(week=DAY, now=EARLY + timedelta(minutes=2))

    assert undone.stops == len(before)
    assert list(Stop.objects.order_by("pk").values()) == before
    undo_plan(week=DAY, now=EARLY)
    with pytest.raises(CannotUndo):
        undo_plan(week=DAY, now=EARLY)
    assert PlanRun.objects.filter(undone_at__isnull=False).count() == 2


@pytest.mark.django_db
def test_a_copy_of_an_earlier_version_is_put_back_too(company: Company) -> None:
    town()
    build_technician()
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=30)
    plan_routes(now=EARLY, week=DAY, seed=2, iterations=30)
    run = PlanRun.objects.latest("pk")
    assert run.before is not None
    for row in run.before["visits"]:
        del row["unserved_change"]
    for row in run.before["stops"]:
        del row["not_possible_reason"]
    run.save(update_fields=["before"])

    undone = undo_plan(week=DAY, now=EARLY)

    assert undone.stops == len(run.before["stops"]) > 0
    assert set(Visit.objects.values_list("unserved_change", flat=True)) == {""}


def test_a_week_and_a_day_at_once_are_refused(company: Company) -> None:
    with pytest.raises(NothingToPlan):
        plan_routes(now=EARLY, week=DAY, day=DAY)


def test_slow_hours_lengthen_the_drives_that_fall_into_them_and_the_page_says_so(company: Company) -> None:
    town(8)
    build_technician(break_min=0)
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=60)
    usual = dict(Stop.objects.values_list("visit__site__code", "drive_min"))

    save_rush_hours(text="x 2 from 07:00 to 12:00", by="hana", now=EARLY)
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=60)

    stops = {stop.visit.site.code: stop for stop in Stop.objects.all() if stop.visit is not None}
    zone = ZoneInfo(company.timezone)
    slow = [
        code
        for code, stop in stops.items()
        if stop.arrive.astimezone(zone).hour < 12 and stops[code].drive_min > usual.get(code, 0) + 0.4
    ]
    assert slow
    route = Route.objects.get(day=DAY)
    legs = route.stops.aggregate(Sum("drive_min"))["drive_min__sum"]
    assert route.drive_min == pytest.approx(legs + route.end_drive_min, abs=0.5)
    assert "x 2 from 07:00 to 12:00" in PlanRun.objects.latest("pk").figures["travel_words"]

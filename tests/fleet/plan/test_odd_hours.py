"""Planning at odd hours: clock changes, weeks that have begun, missed stops, settings of the company."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from fleet.calc.plan.workdays import off_words
from fleet.calc.visits.settings import VisitSettings
from fleet.models import Company, Stop, Visit, VisitNeed
from fleet.services.plan.plan_routes import company_settings, plan_routes
from fleet.services.plan.problem import WeekClock
from fleet.services.plan.state import days_to_plan
from fleet.services.plan.visits_of_week import merge_needs
from tests.factories import DAY, build_need, build_site, build_technician

EARLY = datetime(2026, 6, 15, 6, 0, tzinfo=UTC)
DENVER = ZoneInfo("America/Denver")


@pytest.mark.parametrize("monday", [date(2026, 3, 2), date(2026, 10, 26), date(2026, 6, 15)])
def test_the_weeks_clock_goes_to_a_moment_and_back_also_when_clocks_change(monday: date) -> None:
    clock = WeekClock(monday, DENVER)

    for day in range(7):
        for hour in (0, 8, 12, 17):
            seconds = day * 86_400 + hour * 3600
            moment = clock.moment(seconds)
            assert clock.seconds(moment.astimezone(UTC)) == seconds
            assert moment.hour == hour


def test_a_week_that_has_begun_is_planned_from_today_on_and_another_one_whole() -> None:
    wednesday = DAY + timedelta(days=2)

    assert days_to_plan(monday=DAY, day=None, today=wednesday)[0] == wednesday
    assert len(days_to_plan(monday=DAY, day=None, today=DAY - timedelta(days=3))) == 7
    assert len(days_to_plan(monday=DAY, day=None, today=DAY + timedelta(days=30))) == 7
    assert days_to_plan(monday=DAY, day=wednesday, today=DAY) == (wednesday,)


@pytest.mark.parametrize(
    ("workdays", "days_off", "words"),
    [
        ("mon,tue", "", ""),
        ("mon;tue", "", ""),
        ("tue,wed", "", "not at work on Monday"),
        ("mon", "2026-06-14;2026-06-15", "day off"),
    ],
)
def test_a_technicians_days(workdays: str, days_off: str, words: str) -> None:
    assert off_words(workdays, days_off, DAY) == words


@pytest.mark.django_db
def test_a_stop_missed_yesterday_is_planned_again_today(company: Company) -> None:
    build_technician()
    build_need(build_site())
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=30)
    assert Stop.objects.get(is_break=False).route.day == DAY
    Company.objects.update(demo_today=DAY + timedelta(days=1))

    plan_routes(now=EARLY + timedelta(days=1), week=DAY, seed=1, iterations=30)

    assert Stop.objects.get(is_break=False).route.day == DAY + timedelta(days=1)


@pytest.mark.django_db
def test_a_visit_on_thursday_stays_there_when_monday_alone_is_planned(company: Company) -> None:
    build_technician()
    thursday = datetime(2026, 6, 18, 15, 0, tzinfo=UTC)
    build_need(build_site("TH"), earliest=thursday, latest=thursday + timedelta(hours=4))
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=30)
    stop = Stop.objects.get(is_break=False)

    plan_routes(now=EARLY, day=DAY, seed=1, iterations=30)

    assert Stop.objects.get(is_break=False) == stop
    assert Visit.objects.get().unserved_code == ""


@pytest.mark.django_db
def test_a_short_shift_has_no_break_and_a_shift_that_runs_starts_now(company: Company) -> None:
    build_technician(shift_start=time(8, 0), shift_end=time(12, 0))
    build_need(build_site(longitude=-104.69))

    plan_routes(now=datetime(2026, 6, 15, 16, 0, tzinfo=UTC), day=DAY, seed=1, iterations=30)

    stop = Stop.objects.get()
    assert not stop.is_break
    assert stop.arrive.astimezone(DENVER).time() >= time(10, 0)


@pytest.mark.django_db
def test_a_visit_that_no_need_asks_for_any_more_leaves_the_plan(company: Company) -> None:
    build_technician()
    need = build_need(build_site())
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=30)
    VisitNeed.objects.filter(pk=need.pk).update(state="withdrawn", closed_on=DAY)

    plan_routes(now=EARLY, week=DAY, seed=1, iterations=30)

    assert Stop.objects.count() == 0
    assert Visit.objects.count() == 0


@pytest.mark.django_db
def test_needs_whose_hours_do_not_meet_become_two_visits(company: Company) -> None:
    site = build_site()
    build_need(site, "am", earliest=EARLY, latest=EARLY + timedelta(hours=9))
    build_need(site, "pm", earliest=EARLY + timedelta(hours=14), latest=EARLY + timedelta(hours=15))

    merged = merge_needs(VisitNeed.objects.all(), [frozenset()])

    assert len(merged) == 2


@pytest.mark.django_db
def test_the_companys_own_numbers_replace_the_defaults(company: Company) -> None:
    Company.objects.update(settings={"visits.speed_km_h": 22.0})

    assert company_settings() == VisitSettings(speed_km_h=22.0)


@pytest.mark.django_db
def test_a_higher_value_is_served_first_when_the_day_is_too_short(company: Company) -> None:
    build_technician(shift_start=time(8, 0), shift_end=time(11, 0), workdays="mon")
    for number in range(6):
        build_need(
            build_site(f"V{number}", longitude=-104.7 + 0.002 * number),
            value_per_day=5.0 + 20.0 * number,
            service_min=60,
        )

    plan_routes(now=EARLY, week=DAY, seed=1, iterations=200)

    served = set(Stop.objects.filter(is_break=False).values_list("visit__site__code", flat=True))
    assert served == {"V4", "V5"}
    assert Visit.objects.filter(unserved_code="no_room").count() == 4


@pytest.mark.django_db
def test_a_need_left_open_by_last_weeks_call_is_planned_in_every_run_of_this_week(company: Company) -> None:
    build_technician()
    need = build_need(build_site())
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=30)
    Visit.objects.update(state="done")
    Stop.objects.filter(is_break=False).update(state="finished", state_at=EARLY)
    next_week = DAY + timedelta(days=7)
    later = EARLY + timedelta(days=7)

    for _ in range(2):
        done = plan_routes(now=later, week=next_week, seed=1, iterations=30)
        assert done.visits == 1

    assert need.visits.filter(week=next_week).count() == 1

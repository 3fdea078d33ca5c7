"""A planning under way: watched, stopped, refused twice, killed, and never written onto what has changed."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.test import Client
from django.urls import reverse

from fleet.models import Company, Planning, PlanRun, Route, StageRun, Stop, Technician, User, Visit
from fleet.routing.solve import solve
from fleet.routing.watching import Progress
from fleet.selectors.plan.progress import planning_of
from fleet.services.plan import fit as plan_fit
from fleet.services.plan.fit import PlanOvertaken
from fleet.services.plan.plan_routes import plan_routes, undo_plan
from fleet.services.plan.routes_by_hand import move_stop
from fleet.services.plan.watched import (
    AlreadyPlanning,
    PlanningStopped,
    ask_planning,
    claim_planning,
    revive_lost,
    stop_planning,
    watcher,
)
from fleet.services.run_day import work_on
from fleet.services.stage_runs import ask_for_stage, claim_stage
from tests.factories import DAY, build_need, build_site, build_technician
from tests.fleet.routing.invented_days import invented_problem

ROOT = Path(__file__).resolve().parents[3]
EARLY = datetime(2026, 6, 15, 6, 0, tzinfo=UTC)
LATER = EARLY + Planning.HEARTBEAT_LOST_AFTER + timedelta(seconds=1)


@pytest.fixture
def town(company: Company) -> None:
    build_technician("T1")
    build_technician("T2", name="Tomas Rudd")
    for n in range(6):
        build_need(build_site(f"CB-{n:02}", longitude=-104.7 + 0.01 * (n + 1), latitude=41.2))


def rows() -> list[dict[str, object]]:
    return [dict(row) for row in Stop.objects.filter(is_break=False).order_by("visit_id").values()]


def test_a_search_tells_how_far_it_is_and_ends_when_it_is_told_to() -> None:
    told: list[Progress] = []

    def watch(progress: Progress) -> bool:
        told.append(progress)
        return len(told) >= 2

    began = time.perf_counter()
    plan = solve(invented_problem(3, visits=30, technicians=3), seconds=600, seed=1, observer=watch)

    assert time.perf_counter() - began < 300
    served = sum(len(route.stops) for route in plan.routes)
    assert len(told) == 2
    assert told[0].served + told[0].unserved == 30
    assert told[-1].net >= told[0].net
    assert served > 0


def test_a_big_week_that_is_stopped_on_its_second_day_still_plans_all_days() -> None:
    problem = invented_problem(11, visits=70, technicians=2, days=4)

    plan = solve(problem, seconds=12, seed=1, observer=lambda progress: progress.phase.startswith("day 2"))

    days = {problem.vehicles[route.vehicle].shift_start_s // 86_400 for route in plan.routes}
    assert days == {0, 1, 2, 3}


@pytest.mark.django_db
@pytest.mark.usefixtures("town")
def test_a_planning_leaves_a_row_with_what_came_of_it() -> None:
    done = plan_routes(now=EARLY, week=DAY, seed=1, iterations=30, by="hana")

    row = Planning.objects.get()
    assert (row.state, row.by, row.words) == ("kept", "hana", done.summary())
    assert row.served == 6
    assert planning_of(week=DAY, now=LATER) is None


@pytest.mark.django_db
@pytest.mark.usefixtures("town")
def test_two_plannings_of_a_week_at_once_are_refused_by_name() -> None:
    ask_planning(week=DAY, now=EARLY, seconds=10, by="hana")

    with pytest.raises(AlreadyPlanning, match="waits to be planned already, asked by hana at 06:00 UTC"):
        ask_planning(week=DAY, now=EARLY, seconds=10, by="ruth")
    claim_planning(week=DAY, day=None, now=EARLY, seconds=10, seed=0, by="")
    with pytest.raises(AlreadyPlanning, match="is being planned already, begun by hana"):
        plan_routes(now=EARLY, week=DAY, seed=1, iterations=5)
    with pytest.raises(AlreadyPlanning, match="is being planned already"):
        plan_routes(now=EARLY, day=DAY, seed=1, iterations=5)

    assert not Route.objects.exists()
    assert plan_routes(now=EARLY, week=DAY + timedelta(days=7), seed=1, iterations=5).visits == 6


@pytest.mark.django_db
@pytest.mark.usefixtures("town")
def test_the_worker_takes_time_seed_and_name_from_the_page() -> None:
    asked = ask_planning(week=DAY, now=EARLY, seconds=0.3, seed=7, by="hana")
    run = ask_for_stage(stage="plan_routes", scope=DAY.isoformat(), day=DAY, now=EARLY)

    assert work_on(run_id=run.pk, clock=lambda: EARLY)

    row = Planning.objects.get(pk=asked.planning_id)
    assert (row.state, row.seed, row.seconds) == ("kept", 7, 0.3)
    figures = PlanRun.objects.get().figures
    assert (figures["seed"], figures["seconds"]) == (7, 0.3)
    assert StageRun.objects.get(pk=run.pk).state == "done"


@pytest.mark.django_db
@pytest.mark.usefixtures("town")
@pytest.mark.parametrize("keep", [True, False], ids=["kept", "thrown-away"])
def test_a_stopped_search_is_kept_or_thrown_away(keep: bool) -> None:
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=5)
    build_need(build_site("NEW", longitude=-104.71))
    before = rows()

    def stop() -> None:
        row = Planning.objects.get(state="running")
        assert stop_planning(planning_id=row.pk, keep=keep, now=EARLY).is_running

    if keep:
        done = plan_routes(now=EARLY, week=DAY, seed=1, iterations=5, meanwhile=stop)
        assert done.visits == 7
        undo_plan(week=DAY, now=EARLY)
    else:
        with pytest.raises(PlanningStopped, match="stays as it was"):
            plan_routes(now=EARLY, week=DAY, seed=1, iterations=5, meanwhile=stop)
        assert Planning.objects.order_by("-pk")[0].state == "discarded"

    assert rows() == before


@pytest.mark.django_db
def test_the_watcher_brings_the_word_to_stop_and_keeps_the_course(company: Company) -> None:
    row = claim_planning(week=DAY, day=None, now=EARLY, seconds=60, seed=0, by="")
    told = watcher(planning=row, now=EARLY, points_per_money=100, run_id=None)

    assert not told(Progress(1.0, "first plan", 50_000, 5, 2))
    assert not told(Progress(2.0, "improving the week", 60_000, 6, 1))
    shown = planning_of(week=DAY, now=EARLY)
    assert shown is not None
    assert (shown.elapsed_s, shown.value, shown.served, shown.unserved) == (2.0, 600.0, 6, 1)
    assert shown.curve.count(",") == 2
    assert shown.sentence == "Improving the week"

    stop_planning(planning_id=row.pk, keep=True, now=EARLY)
    assert told(Progress(3.0, "improving the week", 60_000, 6, 1))


@pytest.mark.django_db
def test_a_withdrawn_planning_is_not_run_by_the_worker(company: Company) -> None:
    asked = ask_planning(week=DAY, now=EARLY, seconds=10)
    run = ask_for_stage(stage="plan_routes", scope=DAY.isoformat(), day=DAY, now=EARLY)

    done = stop_planning(planning_id=asked.planning_id, keep=False, now=EARLY)

    assert not done.is_running
    assert StageRun.objects.get(pk=run.pk).state == "done"
    assert stop_planning(planning_id=asked.planning_id, keep=False, now=EARLY).words.endswith("over already.")


@pytest.mark.django_db
@pytest.mark.usefixtures("town")
def test_a_planning_whose_heart_stopped_is_begun_anew_with_its_own_seed() -> None:
    ask_planning(week=DAY, now=EARLY, seconds=0.2, seed=9, by="hana")
    run = ask_for_stage(stage="plan_routes", scope=DAY.isoformat(), day=DAY, now=EARLY)
    claim_stage(run_id=run.pk, now=EARLY)
    dead = claim_planning(week=DAY, day=None, now=EARLY, seconds=1, seed=0, by="")
    assert not revive_lost(now=EARLY)
    shown = planning_of(week=DAY, now=LATER)
    assert shown is not None
    assert shown.is_silent

    assert revive_lost(now=LATER) == 1
    assert work_on(run_id=run.pk, clock=lambda: LATER)

    dead.refresh_from_db()
    assert dead.state == "lost"
    new = Planning.objects.get(state="kept")
    assert (new.seed, new.seconds, new.by) == (9, 0.2, "hana")
    assert len(rows()) == 6


@pytest.mark.django_db
@pytest.mark.usefixtures("town")
def test_a_worker_that_was_only_slow_does_not_write_after_its_row_was_taken() -> None:
    def overtaken() -> None:
        Planning.objects.filter(state="running").update(heartbeat_at=EARLY)
        revive_lost(now=LATER)

    with pytest.raises(PlanningStopped):
        plan_routes(now=EARLY, week=DAY, seed=1, iterations=5, meanwhile=overtaken)

    assert not Stop.objects.exists()


@pytest.mark.django_db
@pytest.mark.usefixtures("town")
def test_what_is_told_while_the_search_runs_is_kept() -> None:
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=5)
    visit = Visit.objects.order_by("pk")[0]
    start = datetime(2026, 6, 18, 16, 0, tzinfo=UTC)

    def told() -> None:
        Visit.objects.filter(pk=visit.pk).update(
            state="told", told_at=EARLY, window_from=start, window_to=start + timedelta(hours=1)
        )

    done = plan_routes(now=EARLY, week=DAY, seed=2, iterations=5, meanwhile=told)

    assert start <= Stop.objects.get(visit=visit).arrive <= start + timedelta(hours=1)
    assert (done.visits, done.told, done.told_moved) == (6, 1, 0)


@pytest.mark.django_db
@pytest.mark.usefixtures("town")
def test_a_stop_moved_by_hand_while_the_search_runs_stays_where_it_was_put() -> None:
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=5)
    visit = Visit.objects.order_by("pk")[0]
    home = Stop.objects.get(visit=visit).route
    other = Technician.objects.exclude(pk=home.technician_id).get()
    day = DAY + timedelta(days=3)

    def move() -> None:
        if Stop.objects.get(visit=visit).route.day != day:
            move_stop(visit_id=visit.pk, technician_id=other.pk, day=day, now=EARLY)

    done = plan_routes(now=EARLY, week=DAY, seed=2, iterations=5, meanwhile=move)

    there = Stop.objects.get(visit=visit).route
    assert (there.technician, there.day) == (other, day)
    assert not Visit.objects.get(pk=visit.pk).is_locked
    assert done.visits == 6


@pytest.mark.django_db
@pytest.mark.usefixtures("town")
def test_a_plan_that_never_comes_to_rest_writes_nothing() -> None:
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=5)
    before = rows()
    visit = Visit.objects.order_by("pk")[0]

    def lock() -> None:
        Visit.objects.filter(pk=visit.pk).update(is_locked=not Visit.objects.get(pk=visit.pk).is_locked)

    with pytest.raises(PlanOvertaken):
        plan_routes(now=EARLY, week=DAY, seed=2, iterations=5, meanwhile=lock)

    assert rows() == before
    assert Planning.objects.order_by("-pk")[0].state == "failed"
    assert plan_fit.FIT_SECONDS < 5


@pytest.mark.django_db
@pytest.mark.usefixtures("town")
def test_the_page_asks_watches_and_stops(client: Client) -> None:
    client.force_login(User.objects.create_user("hana", role="dispatcher"))
    week = DAY.isoformat()

    client.post(reverse("fleet:week-plan"), {"week": week, "seconds": "120", "seed": "5"})
    row = Planning.objects.get()
    page = client.get(reverse("fleet:week"), {"week": week}).content.decode()
    again = client.post(reverse("fleet:week-plan"), {"week": week}, follow=True).content.decode()
    told = client.get(reverse("fleet:week-progress"), {"week": week}).json()
    Planning.objects.update(state="running", started_at=row.asked_at, heartbeat_at=row.asked_at)
    client.post(reverse("fleet:week-stop"), {"week": week, "planning": row.pk, "how": "keep"})

    assert (row.seconds, row.seed, row.by) == (120.0, 5, "hana")
    assert "The week is being planned" in page
    assert "waits to be planned already, asked by hana" in again
    assert (told["id"], told["state"], told["alive"]) == (row.pk, "asked", True)
    row.refresh_from_db()
    assert row.stop == "keep"
    assert Planning.objects.count() == 1


BUILD = """
from datetime import UTC, datetime
from fleet.models import Company
from fleet.services.plan.plan_routes import plan_routes
from tests.factories import DAY, build_need, build_site, build_technician
Company.objects.create(pk=1, name="Test", timezone="America/Denver", demo_today=DAY)
build_technician("T1")
for n in range(8):
    build_need(build_site(f"CB-{n:02}", longitude=-104.7 + 0.01 * (n + 1), latitude=41.2))
plan_routes(now=datetime.now(UTC), week=DAY, seed=1, iterations=5)
build_need(build_site("NEW", longitude=-104.71))
"""
PLAN = """
from datetime import UTC, datetime
from fleet.services.plan.plan_routes import plan_routes
from tests.factories import DAY
plan_routes(now=datetime.now(UTC), week=DAY, seed=2, seconds={seconds})
"""


def test_a_planning_killed_in_the_middle_loses_nothing_and_doubles_nothing(tmp_path: Path) -> None:
    database = tmp_path / "own.sqlite3"
    env = {**os.environ, "ROOTROUND_DATA": str(tmp_path), "DATABASE_URL": f"sqlite:///{database}"}

    def run(code: str) -> subprocess.CompletedProcess[str]:
        words = [sys.executable, "manage.py", "shell", "--no-imports", "-c", code]
        return subprocess.run(words, cwd=ROOT, env=env, capture_output=True, text=True, check=True)

    def ask(sql: str) -> list[tuple[object, ...]]:
        with sqlite3.connect(database, timeout=20) as link:
            return link.execute(sql).fetchall()

    stops = "select id, visit_id, route_id, arrive from fleet_stop order by id"
    words = [sys.executable, "manage.py", "migrate", "--verbosity", "0"]
    subprocess.run(words, cwd=ROOT, env=env, check=True)
    run(BUILD)
    before = ask(stops)
    words = [sys.executable, "manage.py", "shell", "--no-imports", "-c", PLAN.format(seconds=300)]
    worker = subprocess.Popen(words, cwd=ROOT, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    for _ in range(600):
        if ask("select served from fleet_planning where state = 'running' and served > 0"):
            break
        time.sleep(0.1)
    worker.send_signal(signal.SIGKILL)
    worker.wait(timeout=30)

    assert ask("select count(*) from fleet_planning where state = 'running'") == [(1,)]
    assert ask(stops) == before
    with sqlite3.connect(database, timeout=20) as link:
        link.execute("update fleet_planning set heartbeat_at = '2026-01-01 00:00:00'")
    run(PLAN.format(seconds=0.3))

    states = ask("select state from fleet_planning order by id")
    assert [row[0] for row in states] == ["kept", "lost", "kept"]
    assert ask("select count(*), count(distinct visit_id) from fleet_stop where not is_break") == [(9, 9)]
    assert {row[0] for row in before} <= {row[0] for row in ask(stops)} | {
        row[0] for row in before if row[1] is None
    }

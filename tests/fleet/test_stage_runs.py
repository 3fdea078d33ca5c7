"""Stage runs are claimed once, and never lost."""

from __future__ import annotations

from datetime import timedelta
from itertools import count
from time import sleep

import pytest

from fleet.models import Company, Planning, StageRun
from fleet.services.heart import beating
from fleet.services.run_day import NIGHT, run_day, work_on
from fleet.services.stage_runs import (
    HEARTBEAT_LOST_AFTER,
    MOST_ATTEMPTS,
    ask_for_stage,
    beat,
    claim_stage,
    fail_stage,
    finish_stage,
    is_given_up,
    runs_to_do,
    waiting_for,
)
from tests.conftest import DAY, NOW
from tests.pipeline.installation import came

pytestmark = pytest.mark.django_db


def _asked() -> StageRun:
    return ask_for_stage(stage="watch_sensors", scope="all", day=DAY, now=NOW)


def test_a_stage_asked_for_twice_is_one_run() -> None:
    assert _asked().pk == _asked().pk


def test_only_the_first_claim_wins() -> None:
    run = _asked()

    assert claim_stage(run_id=run.pk, now=NOW)
    assert not claim_stage(run_id=run.pk, now=NOW)


def test_a_run_whose_heart_stopped_is_claimed_again() -> None:
    run = _asked()
    claim_stage(run_id=run.pk, now=NOW)
    later = NOW + HEARTBEAT_LOST_AFTER + timedelta(seconds=1)

    assert run.pk in runs_to_do(now=later)
    assert claim_stage(run_id=run.pk, now=later)


def test_a_beating_run_is_left_alone() -> None:
    run = _asked()
    claim_stage(run_id=run.pk, now=NOW)
    later = NOW + HEARTBEAT_LOST_AFTER
    beat(run_id=run.pk, now=later, progress="half of the sites")

    assert runs_to_do(now=later + timedelta(minutes=1)) == []
    assert StageRun.objects.get(pk=run.pk).summary == "half of the sites"


def test_a_failed_run_is_tried_again_but_not_for_ever() -> None:
    run = _asked()
    for _ in range(MOST_ATTEMPTS):
        assert claim_stage(run_id=run.pk, now=NOW)
        fail_stage(run_id=run.pk, now=NOW, error="the disk is full")

    assert runs_to_do(now=NOW) == []
    assert StageRun.objects.get(pk=run.pk).error == "the disk is full"


def test_a_finished_run_stays_finished_until_asked_again() -> None:
    run = _asked()
    claim_stage(run_id=run.pk, now=NOW)
    finish_stage(run_id=run.pk, now=NOW, summary="213 controllers")

    assert runs_to_do(now=NOW + timedelta(days=3)) == []
    ask_for_stage(stage="watch_sensors", scope="all", day=DAY, now=NOW, again=True)
    assert runs_to_do(now=NOW) == [run.pk]


def test_a_night_waits_for_a_stage_in_other_hands_and_goes_on_when_it_is_done(company: Company) -> None:
    other = ask_for_stage(stage="assign_locations", scope="all", day=DAY, now=NOW)
    claim_stage(run_id=other.pk, now=NOW)
    night = ask_for_stage(stage=NIGHT, scope="all", day=DAY, now=NOW)

    assert work_on(run_id=night.pk, clock=lambda: NOW)

    night.refresh_from_db()
    assert (night.state, night.attempt) == ("waiting", 0)
    assert "another worker is on it" in night.summary
    assert not StageRun.objects.filter(stage="update_balance").exists()
    assert waiting_for(run_id=other.pk, stage=NIGHT) == []
    finish_stage(run_id=other.pk, now=NOW, summary="0 changed")
    assert waiting_for(run_id=other.pk, stage=NIGHT) == [night.pk]


def test_a_night_goes_on_without_a_stage_that_was_given_up(company: Company) -> None:
    broken = ask_for_stage(stage="assign_locations", scope="all", day=DAY, now=NOW)
    for _ in range(MOST_ATTEMPTS):
        claim_stage(run_id=broken.pk, now=NOW)
        fail_stage(run_id=broken.pk, now=NOW, error="the disk is full")

    lines = list(run_day(day=DAY, clock=lambda: NOW, again=False, planning_s=0.1))

    assert "given up after 5 tries" in lines[1]
    assert lines[-1].startswith("update_ledger")
    assert Planning.objects.get().seconds == 0.1  # what is said here goes before what the company has set
    assert is_given_up(run_id=broken.pk, now=NOW)


def test_a_run_that_was_killed_too_often_is_given_up_once_its_heart_is_lost() -> None:
    run = _asked()
    StageRun.objects.filter(pk=run.pk).update(
        state="running", attempt=MOST_ATTEMPTS, heartbeat_at=NOW - timedelta(minutes=1)
    )

    assert not is_given_up(run_id=run.pk, now=NOW)
    assert is_given_up(run_id=run.pk, now=NOW + HEARTBEAT_LOST_AFTER)


@pytest.mark.django_db(transaction=True)
def test_a_long_stage_beats_beside_its_work_and_keeps_what_it_said() -> None:
    run = _asked()
    claim_stage(run_id=run.pk, now=NOW)
    beat(run_id=run.pk, now=NOW, progress="half of the sites")
    moments = (NOW + timedelta(minutes=number) for number in count(1))

    with beating(run_id=run.pk, clock=lambda: next(moments), seconds=0.02):
        beaten = StageRun.objects.filter(pk=run.pk, heartbeat_at__gt=NOW + timedelta(minutes=2))
        assert came(beaten.all().exists, 20)
    stopped = StageRun.objects.get(pk=run.pk)
    sleep(0.2)

    assert StageRun.objects.get(pk=run.pk).heartbeat_at == stopped.heartbeat_at
    assert stopped.summary == "half of the sites"


@pytest.mark.django_db(transaction=True)
def test_no_heart_wakes_a_run_that_is_over() -> None:
    run = _asked()
    claim_stage(run_id=run.pk, now=NOW)
    finish_stage(run_id=run.pk, now=NOW, summary="done")

    with beating(run_id=run.pk, clock=lambda: NOW + timedelta(days=1), seconds=0.01):
        sleep(0.2)

    assert StageRun.objects.get(pk=run.pk).heartbeat_at == NOW

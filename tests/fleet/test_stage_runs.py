"""Stage runs are claimed once, and never lost."""

from __future__ import annotations

from datetime import timedelta

import pytest

from fleet.models import StageRun
from fleet.services.stage_runs import (
    HEARTBEAT_LOST_AFTER,
    MOST_ATTEMPTS,
    ask_for_stage,
    beat,
    claim_stage,
    fail_stage,
    finish_stage,
    runs_to_do,
)
from tests.conftest import DAY, NOW

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

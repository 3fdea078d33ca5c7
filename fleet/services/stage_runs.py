"""Claims on stage runs: who works on what, and what is to be run again.

A `StageRun` row is claimed by a conditional UPDATE whose row count decides who won, so two workers never do
the same work at once; a run whose heart stopped is claimed again. Every stage is idempotent by its natural
keys, so running twice does no harm.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Final

from django.db.models import F, Q

from fleet.models import StageRun

HEARTBEAT_LOST_AFTER: Final = StageRun.HEARTBEAT_LOST_AFTER
MOST_ATTEMPTS: Final = StageRun.MOST_ATTEMPTS

WORKER: Final = StageRun.WORKER


def worker_seen(*, name: str, now: datetime) -> None:
    """Keep that a worker is alive: one row a worker and day."""
    StageRun.objects.update_or_create(
        stage=WORKER,
        scope=name[:80],
        day=now.date(),
        defaults={"heartbeat_at": now, "state": StageRun.State.DONE},
        create_defaults={"heartbeat_at": now, "state": StageRun.State.DONE, "asked_at": now},
    )


def ask_for_stage(*, stage: str, scope: str, day: date, now: datetime, again: bool = False) -> StageRun:
    """The row of a stage, made where there is none; with `again` a finished one waits anew."""
    run, _ = StageRun.objects.get_or_create(
        stage=stage, scope=scope, day=day, defaults={"asked_at": now, "state": StageRun.State.WAITING}
    )
    if again:
        StageRun.objects.filter(pk=run.pk, state__in=(StageRun.State.DONE, StageRun.State.FAILED)).update(
            state=StageRun.State.WAITING, asked_at=now, attempt=0, error="", summary=""
        )
        run.refresh_from_db()
    return run


def claim_stage(*, run_id: int, now: datetime) -> bool:
    """Whether the caller may work on the run now: True for exactly one caller at a time."""
    is_free = Q(state__in=(StageRun.State.WAITING, StageRun.State.FAILED)) | Q(
        state=StageRun.State.RUNNING, heartbeat_at__lt=now - HEARTBEAT_LOST_AFTER
    )
    claimed = StageRun.objects.filter(is_free, pk=run_id, attempt__lt=MOST_ATTEMPTS).update(
        state=StageRun.State.RUNNING,
        attempt=F("attempt") + 1,
        started_at=now,
        heartbeat_at=now,
        finished_at=None,
        error="",
    )
    return claimed == 1


def is_given_up(*, run_id: int, now: datetime) -> bool:
    """Whether a run broke, or was broken off, so often that nobody takes it any more."""
    is_over = Q(state=StageRun.State.FAILED) | Q(
        state=StageRun.State.RUNNING, heartbeat_at__lt=now - HEARTBEAT_LOST_AFTER
    )
    return StageRun.objects.filter(is_over, pk=run_id, attempt__gte=MOST_ATTEMPTS).exists()


def put_back(*, run_id: int, reason: str) -> None:
    """Let a claimed run wait again, as if nobody had claimed it: it could not begin yet."""
    StageRun.objects.filter(pk=run_id, state=StageRun.State.RUNNING).update(
        state=StageRun.State.WAITING, attempt=F("attempt") - 1, summary=reason[:400]
    )


def waiting_for(*, run_id: int, stage: str) -> list[int]:
    """Ids of the runs of a stage that wait on the same day as a run that is done."""
    days = StageRun.objects.filter(pk=run_id, state=StageRun.State.DONE).exclude(stage=stage).values("day")
    return list(
        StageRun.objects.filter(stage=stage, state=StageRun.State.WAITING, day__in=days).values_list(
            "pk", flat=True
        )
    )


def beat(*, run_id: int, now: datetime, progress: str = "") -> None:
    """Tell that the run is alive, and how far it is."""
    StageRun.objects.filter(pk=run_id, state=StageRun.State.RUNNING).update(
        heartbeat_at=now, summary=progress[:400]
    )


def beat_on(*, run_id: int, now: datetime) -> None:
    """Tell that the run is alive; what it said last stays."""
    StageRun.objects.filter(pk=run_id, state=StageRun.State.RUNNING).update(heartbeat_at=now)


def finish_stage(*, run_id: int, now: datetime, summary: str) -> None:
    """Close a run that went through."""
    StageRun.objects.filter(pk=run_id).update(
        state=StageRun.State.DONE, finished_at=now, heartbeat_at=now, summary=summary[:400]
    )


def fail_stage(*, run_id: int, now: datetime, error: str) -> None:
    """Close a run that broke, with the reason; the sweeper tries it again."""
    StageRun.objects.filter(pk=run_id).update(
        state=StageRun.State.FAILED, finished_at=now, heartbeat_at=now, error=error[-4000:]
    )


def runs_to_do(*, now: datetime) -> list[int]:
    """Ids of the runs that wait, failed with tries left, or lost their heartbeat; oldest first."""
    return list(
        StageRun.objects.filter(
            Q(state__in=(StageRun.State.WAITING, StageRun.State.FAILED))
            | Q(state=StageRun.State.RUNNING, heartbeat_at__lt=now - HEARTBEAT_LOST_AFTER),
            attempt__lt=MOST_ATTEMPTS,
        )
        .order_by("asked_at")
        .values_list("pk", flat=True)
    )

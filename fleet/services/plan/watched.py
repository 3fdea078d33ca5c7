"""A planning that can be watched and stopped: one a week at a time, its row claimed, kept alive and closed.

The row of a killed worker stays; whoever plans that week next finds its heart stopped, marks it as lost and
begins anew. Since routes are written in one transaction together with the row's end, and only by whoever
still holds the row, a planning that broke off has written nothing, and none writes twice.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import IntegrityError, transaction

from fleet.models import Planning, StageRun
from fleet.routing.watching import Progress
from fleet.services.stage_runs import beat

STAGE = "plan_routes"
# Points of the course that are kept for the page.
MOST_POINTS = 240


class AlreadyPlanning(RuntimeError):
    """The week is being planned already; the message says since when and by whom."""


class PlanningStopped(RuntimeError):
    """The planning was thrown away, or another one took its place; nothing was written."""


@dataclass(frozen=True, slots=True)
class PlanningAsked:
    """A planning that waits for the worker."""

    planning_id: int
    week: date


@dataclass(frozen=True, slots=True)
class StopAsked:
    """What became of the word to stop.

    Parameters
    ----------
    is_running
        True: the search ends within moments; False: it had not begun, or is over.
    words
        What happened, for the page.
    """

    is_running: bool
    words: str


@transaction.atomic
def ask_planning(*, week: date, now: datetime, seconds: float, seed: int = 0, by: str = "") -> PlanningAsked:
    """Note that a week shall be planned; raises `AlreadyPlanning` where that is asked for or under way."""
    revive_lost(now=now)
    alive = _alive(week)
    if alive is not None:
        raise AlreadyPlanning(already_words(alive))
    row = Planning.objects.create(week=week, asked_at=now, seconds=seconds, seed=seed, by=by[:150])
    return PlanningAsked(row.pk, week)


@transaction.atomic
def stop_planning(*, planning_id: int, keep: bool, now: datetime) -> StopAsked:
    """Tell a planning to end: with its best so far kept, or with everything as it was before."""
    waiting = Planning.objects.filter(pk=planning_id, state=Planning.State.ASKED)
    if waiting.update(state=Planning.State.DISCARDED, ended_at=now, words="Withdrawn before it began."):
        week = Planning.objects.values_list("week", flat=True).get(pk=planning_id)
        StageRun.objects.filter(
            stage=STAGE, scope=week.isoformat(), state__in=(StageRun.State.WAITING, StageRun.State.FAILED)
        ).update(state=StageRun.State.DONE, finished_at=now, summary="withdrawn before it began")
        return StopAsked(False, "The planning is withdrawn; it had not begun.")
    word = Planning.Stop.KEEP if keep else Planning.Stop.DISCARD
    running = Planning.objects.filter(pk=planning_id, state=Planning.State.RUNNING)
    if not running.update(stop=word):
        return StopAsked(False, "That planning is over already.")
    kept = "the best plan so far will be written" if keep else "the plan stays as it was"
    return StopAsked(True, f"The search ends; {kept}.")


@transaction.atomic
def claim_planning(
    *,
    week: date,
    day: date | None,
    now: datetime,
    seconds: float,
    seed: int,
    by: str,
    takes_up: bool = False,
) -> Planning:
    """The row of a planning that begins now: the one asked for, or a new one.

    With `takes_up`, it has time, seed and name of one that broke off. Raises `AlreadyPlanning` where another
    is at work on that week.
    """
    release_lost(now=now, week=week)
    asked = Planning.objects.filter(week=week, state=Planning.State.ASKED).order_by("pk").first()
    if asked is not None and day is None:
        claimed = Planning.objects.filter(pk=asked.pk, state=Planning.State.ASKED).update(
            state=Planning.State.RUNNING, started_at=now, heartbeat_at=now
        )
        if claimed:
            asked.refresh_from_db()
            return asked
    last = Planning.objects.filter(week=week, day__isnull=True).order_by("-pk").first()
    if takes_up and day is None and last is not None and last.state == Planning.State.LOST:
        seconds, seed, by = last.seconds, last.seed, last.by
    try:
        with transaction.atomic():
            return Planning.objects.create(
                week=week,
                day=day,
                state=Planning.State.RUNNING,
                asked_at=now,
                started_at=now,
                heartbeat_at=now,
                seconds=seconds,
                seed=seed,
                by=by[:150],
            )
    except IntegrityError as error:
        alive = _alive(week)
        words = already_words(alive) if alive is not None else "The week is being planned already."
        raise AlreadyPlanning(words) from error


@transaction.atomic
def release_lost(*, now: datetime, week: date | None = None) -> int:
    """Mark running plannings whose heart stopped as lost; how many."""
    dead = Planning.objects.filter(
        state=Planning.State.RUNNING, heartbeat_at__lt=now - Planning.HEARTBEAT_LOST_AFTER
    )
    return (dead if week is None else dead.filter(week=week)).update(
        state=Planning.State.LOST, ended_at=now, words="Its worker went away; nothing of it was written."
    )


@transaction.atomic
def revive_lost(*, now: datetime) -> int:
    """Mark plannings whose worker went away, and let their runs wait for another worker; how many."""
    lost = release_lost(now=now)
    if lost:
        StageRun.objects.filter(
            stage=STAGE,
            state=StageRun.State.RUNNING,
            heartbeat_at__lt=now - Planning.HEARTBEAT_LOST_AFTER,
        ).update(state=StageRun.State.WAITING)
    return lost


def watcher(
    *, planning: Planning, now: datetime, points_per_money: int, run_id: int | None
) -> Callable[[Progress], bool]:
    """Writes the progress of a planning down, and brings the word to stop back.

    Parameters
    ----------
    planning
        Its claimed row.
    now
        When it began.
    points_per_money
        Cost points in one unit of money.
    run_id
        The stage's run whose heart beats along, where there is one.
    """
    course: list[list[float]] = []

    def told(progress: Progress) -> bool:
        moment = now + timedelta(seconds=progress.elapsed_s)
        course.append([round(progress.elapsed_s, 1), round(progress.net / points_per_money, 2)])
        if len(course) > MOST_POINTS:
            del course[1:-1:2]
        row = Planning.objects.filter(pk=planning.pk, state=Planning.State.RUNNING)
        alive = row.update(
            heartbeat_at=moment,
            phase=progress.phase[:60],
            served=progress.served,
            unserved=progress.unserved,
            course=course,
        )
        if run_id is not None:
            words = f"{progress.phase}: {progress.served} planned, {progress.unserved} not, "
            beat(run_id=run_id, now=moment, progress=f"{words}{progress.elapsed_s:.0f} s")
        # Where the row is another's by now, the search is of no use any more.
        return not alive or bool(row.values_list("stop", flat=True).get())

    return told


def close_kept(*, planning: Planning, ended_at: datetime, words: str) -> None:
    """Close a planning in the transaction that writes its routes.

    Raises `PlanningStopped` where it was thrown away, or lost its row.
    """
    held = Planning.objects.filter(pk=planning.pk, state=Planning.State.RUNNING)
    if not held.exclude(stop=Planning.Stop.DISCARD).update(
        state=Planning.State.KEPT, ended_at=ended_at, words=words[:400]
    ):
        raise PlanningStopped("The planning was thrown away; the plan stays as it was.")


@transaction.atomic
def close_unkept(*, planning: Planning, ended_at: datetime, is_discarded: bool, words: str) -> None:
    """Close a planning that wrote nothing."""
    state = Planning.State.DISCARDED if is_discarded else Planning.State.FAILED
    Planning.objects.filter(pk=planning.pk, state=Planning.State.RUNNING).update(
        state=state, ended_at=ended_at, words=words[:400]
    )


def already_words(planning: Planning) -> str:
    """Who plans that week already, and since when."""
    who = f" by {planning.by}" if planning.by else ""
    what = f"day {planning.day}" if planning.day else f"week of {planning.week}"
    at = f"{planning.started_at or planning.asked_at:%H:%M} UTC"
    if planning.state == Planning.State.ASKED:
        return f"The {what} waits to be planned already, asked{who} at {at}. Withdraw that first, or wait."
    return f"The {what} is being planned already, begun{who} at {at}. Stop that first, or wait."


def _alive(week: date) -> Planning | None:
    """The planning of a week that is asked for or under way."""
    return Planning.objects.filter(week=week, state__in=Planning.ALIVE).first()

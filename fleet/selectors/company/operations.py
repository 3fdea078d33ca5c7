"""How the installation is doing: runs that wait, broke or ended, workers, and how old each input is."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from django.db.models import Count, Max, Min, Model

from fleet.calc.stage_words import stage_words
from fleet.models import StageRun
from sites.models import BypassLog, MeterReading, ProgramSet, RuleSet, Site
from weather.models import DailyWeather, Location

WORKER_GONE_AFTER: Final = timedelta(minutes=5)
LAST_RUNS: Final = 40


@dataclass(frozen=True, slots=True)
class RunRow:
    """One run of a stage; `took_s` is None while it is not finished, `is_stuck` where its heart stopped."""

    run: StageRun
    words: str
    took_s: float | None
    is_stuck: bool


@dataclass(frozen=True, slots=True)
class WorkerRow:
    """A worker and when it was last heard of."""

    name: str
    seen_at: datetime
    is_alive: bool


@dataclass(frozen=True, slots=True)
class InputRow:
    """One kind of input: how many things, the newest day, how many days old; None: there is none yet."""

    words: str
    count: int
    newest: date | None
    age_days: int | None


@dataclass(frozen=True, slots=True)
class Operations:
    """All that the page shows."""

    waiting: int
    oldest_waiting_s: float
    by_state: dict[str, int]
    runs: tuple[RunRow, ...]
    failed: tuple[RunRow, ...]
    workers: tuple[WorkerRow, ...]
    inputs: tuple[InputRow, ...]
    hearts: int  # runs whose heart beats now

    @property
    def alive(self) -> int:
        """How many workers are alive; a busy one tells by the heart of what it works on."""
        return max(sum(worker.is_alive for worker in self.workers), self.hearts)


def operations(*, now: datetime, today: date) -> Operations:
    """The state of the installation."""
    stages = StageRun.objects.exclude(stage=StageRun.WORKER)
    by_state = dict.fromkeys(StageRun.State.values, 0)
    by_state |= dict(stages.order_by().values_list("state").annotate(count=Count("pk")))
    oldest = stages.filter(state=StageRun.State.WAITING).aggregate(at=Min("asked_at"))["at"]
    runs = [_row(run, now) for run in stages.order_by("-asked_at", "-pk")[:LAST_RUNS]]
    failed = stages.filter(state=StageRun.State.FAILED).order_by("-asked_at", "-pk")[:LAST_RUNS]
    seen = StageRun.objects.filter(stage=StageRun.WORKER, heartbeat_at__gt=now - timedelta(days=2))
    workers = {
        run.scope: WorkerRow(run.scope, at, now - at <= WORKER_GONE_AFTER)
        for run in seen.order_by("heartbeat_at")
        if (at := run.heartbeat_at) is not None
    }
    return Operations(
        waiting=by_state[StageRun.State.WAITING],
        oldest_waiting_s=(now - oldest).total_seconds() if oldest else 0.0,
        by_state=by_state,
        runs=tuple(runs),
        failed=tuple(_row(run, now) for run in failed),
        workers=tuple(workers.values()),
        inputs=input_ages(today=today),
        hearts=stages.filter(state=StageRun.State.RUNNING, heartbeat_at__gt=now - WORKER_GONE_AFTER).count(),
    )


def workers_alive(*, now: datetime) -> int:
    """How many workers were heard of in the last minutes, or are at work."""
    seen = StageRun.objects.filter(heartbeat_at__gt=now - WORKER_GONE_AFTER)
    workers = seen.filter(stage=StageRun.WORKER).count()
    return max(workers, seen.exclude(stage=StageRun.WORKER).filter(state=StageRun.State.RUNNING).count())


def input_ages(*, today: date) -> tuple[InputRow, ...]:
    """How old each input is, on the company's day."""
    asked: tuple[tuple[str, type[Model], str], ...] = (
        ("sites of the book", Site, "imported_on"),
        ("bypass logs", BypassLog, "start"),
        ("meter readings", MeterReading, "read_at"),
        ("programs as set", ProgramSet, "as_of"),
        ("watering rules", RuleSet, ""),
    )
    rows = [_newest_weather(today)]
    for words, model, column in asked:
        count = model._base_manager.count()
        newest = model._base_manager.aggregate(at=Max(column))["at"] if column else None
        day = newest.date() if isinstance(newest, datetime) else newest
        rows.append(InputRow(words, count, day, (today - day).days if day else None))
    return tuple(rows)


def _newest_weather(today: date) -> InputRow:
    """Weather: the day that the last location has reached, since one that lags holds its gardens back."""
    observed = DailyWeather.Kind.OBSERVED
    held = Location.objects.filter(days__kind=observed).annotate(last=Max("days__day"))
    newest = min((day for day in held.values_list("last", flat=True) if day), default=None)
    return InputRow(
        "weather, location that lags most",
        Location.objects.count(),
        newest,
        (today - newest).days if newest else None,
    )


def _row(run: StageRun, now: datetime) -> RunRow:
    """A run as the page shows it."""
    ended = run.finished_at if run.state in (StageRun.State.DONE, StageRun.State.FAILED) else None
    took = (ended - run.started_at).total_seconds() if ended and run.started_at else None
    lost = run.heartbeat_at is not None and now - run.heartbeat_at > StageRun.HEARTBEAT_LOST_AFTER
    stuck = run.state == StageRun.State.RUNNING and lost
    return RunRow(run, stage_words(run.stage), took, stuck)

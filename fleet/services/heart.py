"""The heart of a run: beats beside the work, so that a long stage is not taken for a broken one.

A thread, since a stage is one long call. It ends with its process: a killed worker stops beating, and the run
is claimed again. It has a connection of its own; while the stage itself holds the database (SQLite knows one
writer) a beat waits or is left out, and nobody else can claim the run meanwhile either.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from threading import Event, Thread
from typing import Final

from django.db import DatabaseError, connections

from fleet.models import StageRun
from fleet.services.stage_context import Clock
from fleet.services.stage_runs import beat_on

SECONDS: Final = StageRun.HEARTBEAT_LOST_AFTER.total_seconds() / 10
_PATIENCE_S: Final = 5.0


@contextmanager
def beating(*, run_id: int, clock: Clock, seconds: float = SECONDS) -> Iterator[None]:
    """Let the run's heart beat every so many seconds while the body works."""
    over = Event()
    heart = Thread(target=_beat, args=(run_id, clock, seconds, over), daemon=True, name=f"heart of {run_id}")
    heart.start()
    try:
        yield
    finally:
        over.set()
        # A beat that waits for the database ends by itself; the work does not wait for it long.
        heart.join(_PATIENCE_S)


def _beat(run_id: int, clock: Clock, seconds: float, over: Event) -> None:
    try:
        while not over.wait(seconds):
            try:
                beat_on(run_id=run_id, now=clock())
            except DatabaseError:  # locked or gone for now: the work itself will tell
                connections.close_all()
    finally:
        connections.close_all()

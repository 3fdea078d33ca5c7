"""Asking for a look at a file or for its saving, stopping either, and how far it is."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Final

from django.db import transaction

from fleet.models import StageRun
from fleet.services.bring.runs import LOOK, SAVE, Outcome, keep_outcome, kept_outcome
from fleet.services.bring.uploads import Upload, keep_upload
from fleet.services.stage_runs import MOST_ATTEMPTS, ask_for_stage

AT_ONCE_BYTES: Final = 250_000
"""Files up to this size, unpacked, are looked at and saved in the request; larger ones by the worker."""

SILENT_AFTER: Final = timedelta(minutes=2)
_OPEN: Final = (StageRun.State.WAITING, StageRun.State.RUNNING, StageRun.State.FAILED)


@dataclass(frozen=True, slots=True)
class BringState:
    """How far a look or a save is.

    Parameters
    ----------
    is_save
        Whether it is a save; else a look.
    state
        `waiting`, `running`, `failed`, `done`, or empty where nothing was asked for.
    step, share
        What is done now, and the share that is behind it, 0 to 1.
    is_silent
        Nothing was heard of it for two minutes: its worker seems to be gone.
    is_stopping
        A person asked it to stop, and it has not yet.
    asked_at
        When it was asked for.
    tries, is_given_up
        How often it was begun; whether it is tried no more by itself.
    error
        Last line of what went wrong.
    """

    is_save: bool = False
    state: str = ""
    step: str = ""
    share: float = 0.0
    is_silent: bool = False
    is_stopping: bool = False
    asked_at: datetime | None = None
    tries: int = 0
    is_given_up: bool = False
    error: str = ""

    @property
    def is_open(self) -> bool:
        """Whether it waits, is at work, or broke."""
        return self.state in _OPEN


def ask_look(*, folder: Path, upload: Upload, day: date, now: datetime) -> int:
    """Ask for a look; the id of its run. One that waits or is at work stays the only one."""
    _clear(folder, upload)
    return ask_for_stage(stage=LOOK, scope=upload.key, day=day, now=now, again=True).pk


def ask_save(
    *, folder: Path, upload: Upload, keep_good: bool, by: str, day: date, now: datetime
) -> int | None:
    """Ask to bring a file in; the id of its run, None where it is under way or done already.

    Parameters
    ----------
    folder, upload
        The file.
    keep_good
        Whether refused rows may stay out.
    by, day, now
        Who asks, on which of the company's days, and when.
    """
    state = bring_state(folder=folder, upload=upload, now=now)
    outcome = kept_outcome(folder=folder, upload=upload)
    if state.is_save and (state.state in ("waiting", "running") or (outcome and outcome.what == "done")):
        return None
    _clear(folder, upload)
    (folder / f"{upload.key}.outcome").unlink(missing_ok=True)
    keep_upload(folder=folder, upload=replace(upload, asked_by=by, asked_good=keep_good))
    return ask_for_stage(stage=SAVE, scope=upload.key, day=day, now=now, again=True).pk


@transaction.atomic
def stop_bring(*, folder: Path, upload: Upload, now: datetime) -> bool:
    """Stop a look or a save: one that waits at once (True), one at work before its next step (False)."""
    (folder / f"{upload.key}.stop").touch(mode=0o600)
    waiting = StageRun.objects.filter(
        scope=upload.key,
        stage__in=(LOOK, SAVE),
        state__in=(StageRun.State.WAITING, StageRun.State.FAILED),
    )
    is_save = waiting.filter(stage=SAVE).exists()
    if not waiting.update(
        state=StageRun.State.DONE, finished_at=now, summary="stopped before it began; nothing was written"
    ):
        return False
    if is_save:
        keep_outcome(folder=folder, upload=upload, outcome=Outcome("stopped"))
    return True


def revive_lost_brings(*, folder: Path, now: datetime) -> int:
    """Let looks and saves wait anew whose worker went away; how many. One that is only slow loses them."""
    rows = StageRun.objects.filter(
        stage__in=(LOOK, SAVE), state=StageRun.State.RUNNING, heartbeat_at__lt=now - SILENT_AFTER
    )
    lost = [run.pk for run in rows if now - _heard_at(folder, run) > SILENT_AFTER]
    return rows.filter(pk__in=lost).update(state=StageRun.State.WAITING) if lost else 0


def bring_state(*, folder: Path, upload: Upload, now: datetime) -> BringState:
    """How far the newest look or save of a file is.

    Parameters
    ----------
    folder, upload
        The file.
    now
        The moment.
    """
    run = (
        StageRun.objects.filter(scope=upload.key, stage__in=(LOOK, SAVE)).order_by("-asked_at", "-pk").first()
    )
    if run is None:
        return BringState()
    step, share, _ = _progress(folder, run)
    running = run.state == StageRun.State.RUNNING
    lines = run.error.strip().splitlines()
    return BringState(
        is_save=run.stage == SAVE,
        state=str(run.state),
        step=step,
        share=share,
        is_silent=running and now - _heard_at(folder, run) > SILENT_AFTER,
        is_stopping=running and (folder / f"{upload.key}.stop").exists(),
        asked_at=run.asked_at,
        tries=run.attempt,
        is_given_up=run.state == StageRun.State.FAILED and run.attempt >= MOST_ATTEMPTS,
        error=lines[-1][:300] if lines else "",
    )


def _heard_at(folder: Path, run: StageRun) -> datetime:
    """When a run last told of itself."""
    told = _progress(folder, run)[2]
    return max(moment for moment in (run.heartbeat_at, told, run.asked_at) if moment is not None)


def _progress(folder: Path, run: StageRun) -> tuple[str, float, datetime | None]:
    """Step and share of a run that is at work, and when it told them."""
    if run.state != StageRun.State.RUNNING:
        return "", 0.0, None
    try:
        told = json.loads((folder / f"{run.scope}.progress").read_text(encoding="utf-8"))
        if told["attempt"] != run.attempt:
            return "", 0.0, None
        return str(told["step"]), float(told["share"]), datetime.fromisoformat(told["at"])
    except (OSError, ValueError, KeyError):
        return "", 0.0, None


def _clear(folder: Path, upload: Upload) -> None:
    """Forget the word to stop; a run that is at work keeps it."""
    running = StageRun.objects.filter(scope=upload.key, stage__in=(LOOK, SAVE), state=StageRun.State.RUNNING)
    if not running.exists():
        (folder / f"{upload.key}.stop").unlink(missing_ok=True)

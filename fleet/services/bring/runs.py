"""Looking at a file and saving it, as runs: at once where the file is small, else by the worker.

Each is a `StageRun` whose scope is the key of the file. It tells of its steps in a small file beside, since
a transaction that writes the book shows nothing of itself before its end. What came of a save is written
down in the transaction that writes the book, and only by whoever still holds the run: a worker that was
killed half-way has written nothing, and a second one never writes beside the first.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Final

from django.db import connection

from fleet.models import Company, StageRun
from fleet.services.bring.file import Look, look_at_file, save_file
from fleet.services.bring.file_seen import keep_seen, kept_seen, seen_in
from fleet.services.bring.kept_looks import keep_look, state_of_book
from fleet.services.bring.kinds import BOOK, RULES, Moment
from fleet.services.bring.uploads import (
    Upload,
    data_path,
    forget_content,
    keep_upload,
    read_upload,
    upload_folder,
)
from fleet.services.stage_context import StageContext
from fleet.services.stage_runs import beat
from sites.importing.book.raw_book import read_raw_book

LOOK: Final = "look_at_file"
SAVE: Final = "save_file"
MOST_PROBLEMS: Final = 200
MOST_SITES: Final = 60


class BringStopped(RuntimeError):
    """A person stopped the work, or another worker has taken it over; nothing was written."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a save: `done`, `refused` or `stopped`; of a done one what changed."""

    what: str
    added: int = 0
    changed: int = 0
    unchanged: int = 0
    problems: tuple[str, ...] = ()
    made: tuple[tuple[str, int], ...] = ()
    sites: tuple[str, ...] = ()
    more_sites: int = 0
    asks: tuple[str, ...] = ()  # what it leaves for a person to decide


def look_in_run(context: StageContext) -> str:
    """See what a file holds and, once its columns are settled, what it would do."""
    folder = upload_folder()
    upload = read_upload(folder=folder, key=context.scope)
    if upload is None or not data_path(folder, upload).is_file():
        return "the file is gone"
    telling = _Telling(folder, upload, context)
    try:
        return _look(folder, upload, _moment(context, upload.owner), telling)
    except BringStopped:
        return "stopped; nothing was written"


def save_in_run(context: StageContext) -> str:
    """Bring a file in, or say why nothing was written."""
    folder = upload_folder()
    upload = read_upload(folder=folder, key=context.scope)
    if upload is None or not data_path(folder, upload).is_file():
        return "the file is gone"
    telling = _Telling(folder, upload, context)
    try:
        look = save_file(
            path=data_path(folder, upload),
            upload=upload,
            moment=_moment(context, upload.asked_by or upload.owner),
            keep_good=upload.asked_good,
            tell=telling,
            seal=_sealer(folder, upload, context, telling.attempt),
        )
    except BringStopped:
        keep_outcome(folder=folder, upload=upload, outcome=Outcome("stopped"))
        return "stopped; nothing was written"
    if not look.report.written:
        keep_outcome(folder=folder, upload=upload, outcome=Outcome("refused"))
        return "refused; nothing was written"
    forget_content(folder=folder, upload=upload)
    return look.report.summary()[:400]


def keep_outcome(*, folder: Path, upload: Upload, outcome: Outcome) -> None:
    """Write down what came of a save."""
    path = folder / f"{upload.key}.outcome"
    fresh = path.with_suffix(".outcome-new")
    fresh.touch(mode=0o600)
    fresh.write_text(json.dumps(asdict(outcome)), encoding="utf-8")
    fresh.replace(path)


def kept_outcome(*, folder: Path, upload: Upload) -> Outcome | None:
    """What came of the last save; None where nobody saved."""
    try:
        facts = json.loads((folder / f"{upload.key}.outcome").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    made = tuple((fault, count) for fault, count in facts["made"])
    lists = {name: tuple(facts.get(name, ())) for name in ("problems", "sites", "asks")}
    return Outcome(**(facts | lists | {"made": made}))


def _look(folder: Path, upload: Upload, moment: Moment, tell: _Telling) -> str:
    """The look; columns that nobody settled come first."""
    path = data_path(folder, upload)
    if upload.kind == BOOK and kept_seen(folder=folder, upload=upload) is None:
        tell("reading the file's columns", 0.0)
        seen = seen_in(read_raw_book(path, name=upload.name))
        keep_seen(folder=folder, upload=upload, seen=seen)
        if seen.layers and not seen.is_ours and upload.layout is None:
            return "its columns wait for a word"
        if upload.layout is None:
            upload = replace(upload, is_plain=True)
            keep_upload(folder=folder, upload=upload)
    elif upload.kind == BOOK and upload.layout is None and not upload.is_plain:
        return "its columns wait for a word"
    book = state_of_book(moment)
    look = look_at_file(path=path, upload=upload, moment=moment, tell=tell)
    keep_look(folder=folder, upload=upload, moment=moment, look=look, book=book)
    return look.report.summary()[:400]


def _sealer(folder: Path, upload: Upload, context: StageContext, attempt: int) -> Callable[[Look], None]:
    """The last deed of the writing transaction: the outcome, and the end of the run, by whoever holds it."""

    def seal(look: Look) -> None:
        sites = sorted({item.site for item in look.drawn if not item.is_refused})
        made = Counter(str(one.fault) for one in look.repairs if one.is_made)
        report = look.report
        outcome = Outcome(
            "done", report.added, report.changed, report.unchanged,
            tuple(str(one) for one in report.problems[:MOST_PROBLEMS]),
            tuple(sorted(made.items())), tuple(sites[:MOST_SITES]), max(0, len(sites) - MOST_SITES),
            report.warnings if upload.kind == RULES else (),
        )  # fmt: skip
        keep_outcome(folder=folder, upload=upload, outcome=outcome)
        held = StageRun.objects.filter(pk=context.run_id, state=StageRun.State.RUNNING, attempt=attempt)
        now = context.clock()
        if not held.update(
            state=StageRun.State.DONE, finished_at=now, heartbeat_at=now, summary=report.summary()[:400]
        ):
            raise BringStopped("another worker has taken this over")

    return seal


class _Telling:
    """Writes each step down for the page, lets the run's heart beat, and brings the word to stop."""

    def __init__(self, folder: Path, upload: Upload, context: StageContext) -> None:
        self._path = folder / f"{upload.key}.progress"
        self._stop = folder / f"{upload.key}.stop"
        self._context = context
        rows = StageRun.objects.filter(pk=context.run_id).values_list("attempt", flat=True)
        self.attempt = rows.first() or 0

    def __call__(self, step: str, share: float) -> None:
        """Tell of the next step."""
        if self._stop.exists():
            raise BringStopped("stopped by a person")
        now = self._context.clock()
        fresh = self._path.with_suffix(".progress-new")
        fresh.write_text(
            json.dumps({"step": step, "share": share, "at": now.isoformat(), "attempt": self.attempt}),
            encoding="utf-8",
        )
        fresh.replace(self._path)
        if not connection.in_atomic_block:
            beat(run_id=self._context.run_id, now=now, progress=step)


def _moment(context: StageContext, by: str) -> Moment:
    """Who and when."""
    zone = Company.objects.values_list("timezone", flat=True).first() or "UTC"
    now: datetime = context.now
    return Moment(by, now, context.day, zone)

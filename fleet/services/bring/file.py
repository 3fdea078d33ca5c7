"""What a file that waits would do, and doing it: the same services that the commands call."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

from django.db import transaction

from fleet.services.bring.kinds import BOOK, KINDS, Moment
from fleet.services.bring.table_layout import mapped_table
from fleet.services.bring.uploads import Upload
from sites.importing.book.items import BookItem
from sites.importing.book.offers import EVERY, Repair, RepairChoice
from sites.importing.book.places import places_of_problems
from sites.importing.telling import Tell, tell_nobody
from sites.services.book import BookLook, look_at_book
from weather.importing.rows import ImportReport


@dataclass(frozen=True, slots=True)
class Look:
    """What a file would do: report, repairs, things to draw, and places of refused rows by file and row."""

    report: ImportReport
    repairs: tuple[Repair, ...] = ()
    drawn: tuple[BookItem, ...] = ()
    places: Mapping[tuple[str, int], tuple[float, float]] = field(default_factory=dict)


def look_at_file(*, path: Path, upload: Upload, moment: Moment, tell: Tell = tell_nobody) -> Look:
    """What the file would do if every repair were accepted; nothing is written."""
    if upload.kind != BOOK:
        return Look(_table(path, upload, moment, dry_run=True, keep_good=False))
    return _look(_book(path, upload, moment, EVERY, dry_run=True, keep_good=False, tell=tell))


def save_file(
    *,
    path: Path,
    upload: Upload,
    moment: Moment,
    keep_good: bool,
    tell: Tell = tell_nobody,
    seal: Callable[[Look], None] | None = None,
) -> Look:
    """Bring the file in with the accepted repairs; refused rows stop it unless the good are wanted.

    Parameters
    ----------
    path, upload, moment
        The file, and who brings it when.
    keep_good
        Whether refused rows may stay out.
    tell
        Told of each step.
    seal
        Called with what was written, as the last deed of the transaction that writes it.
    """
    if upload.kind != BOOK:
        return _save_table(path, upload, moment, keep_good, tell, seal)
    looks: list[Look] = []

    def sealed(book: BookLook) -> None:
        looks.append(_look(book))
        if seal is not None:
            seal(looks[0])

    choice = RepairChoice(keys=upload.accepted)
    done = _book(path, upload, moment, choice, dry_run=False, keep_good=keep_good, tell=tell, seal=sealed)
    return looks[0] if looks else _look(done)


@transaction.atomic
def _save_table(
    path: Path,
    upload: Upload,
    moment: Moment,
    keep_good: bool,
    tell: Tell,
    seal: Callable[[Look], None] | None,
) -> Look:
    """A table of any other kind: its own service writes all of it or nothing."""
    tell("reading, checking and writing its rows", 0.1)
    look = Look(_table(path, upload, moment, dry_run=False, keep_good=keep_good))
    if seal is not None and look.report.written:
        seal(look)
    return look


def _table(path: Path, upload: Upload, moment: Moment, *, dry_run: bool, keep_good: bool) -> ImportReport:
    """A table of another kind than the book, brought in by its own service."""
    with _in_our_words(path, upload) as ours:
        report = KINDS[upload.kind].bring(ours, moment, dry_run, keep_good)
    return _named(report, ours, upload)


@contextmanager
def _in_our_words(path: Path, upload: Upload) -> Iterator[Path]:
    """The file itself, or while it is used one beside it with our names, words and units."""
    layouts = list(upload.layout.layers.values()) if upload.layout else []
    if not layouts:
        yield path
        return
    mapped = mapped_table(path, layouts[0], name=upload.name)
    try:
        yield mapped
    finally:
        mapped.unlink(missing_ok=True)


def _named(report: ImportReport, path: Path, upload: Upload) -> ImportReport:
    """A report under the name that the person's file has."""

    def plain(text: str) -> str:
        return text.replace(path.name, upload.name)

    problems = tuple(replace(one, file=plain(one.file)) for one in report.problems)
    warnings = tuple(plain(line) for line in report.warnings)
    return replace(report, file=plain(report.file), problems=problems, warnings=warnings)


def _book(
    path: Path,
    upload: Upload,
    moment: Moment,
    choice: RepairChoice,
    *,
    dry_run: bool,
    keep_good: bool,
    tell: Tell,
    seal: Callable[[BookLook], None] | None = None,
) -> BookLook:
    """A site book."""
    return look_at_book(
        path=path, today=moment.today, now=moment.now, by=moment.by, timezone=moment.timezone,
        dry_run=dry_run, keep_good=keep_good, layout=upload.layout, choice=choice, name=upload.name,
        tell=tell, seal=seal,
    )  # fmt: skip


def _look(book: BookLook) -> Look:
    """A book as the pages show it."""
    drawn = tuple(item for items in book.book.items.values() for item in items if item.shape is not None)
    return Look(book.report, book.repairs, drawn, places_of_problems(book.book))


def accepted_of(repairs: Sequence[Repair], keys: set[str]) -> Mapping[str, float | None]:
    """The repairs of the keys, each with the area that was offered [m2]."""
    return {repair.key: repair.after_m2 for repair in repairs if repair.key in keys}

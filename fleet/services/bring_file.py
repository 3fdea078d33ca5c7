"""What a file that waits would do, and doing it: the same services that the commands call."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from pathlib import Path
from typing import Final

from django.db import transaction

from fleet.importing import stock, tariffs, technicians, visits
from fleet.services.record_company import import_tariffs, import_technicians
from fleet.services.record_stock import import_stock
from fleet.services.record_visits import import_visits
from fleet.services.uploads import Upload
from sites.importing import bypass, meters, programs
from sites.importing.book import BookItem
from sites.importing.book_offers import EVERY, Repair, RepairChoice
from sites.importing.book_places import places_of_problems
from sites.importing.telling import Tell, tell_nobody
from sites.services.book import BookLook, look_at_book
from sites.services.record_bypass import import_bypass
from sites.services.record_meters import import_meter, import_readings
from sites.services.record_programs import import_programs
from sites.services.record_rules import import_rules
from weather.importing import weather_file
from weather.importing.rows import Column, ImportReport
from weather.services.import_weather import import_weather

BOOK: Final = "book"
RULES: Final = "rules"


@dataclass(frozen=True, slots=True)
class Moment:
    """Who brings a file, when, on which of the company's days, and its clock."""

    by: str
    now: datetime
    today: date
    timezone: str


@dataclass(frozen=True, slots=True)
class FileKind:
    """A kind of file: its word on the page, its columns, and how it is brought in."""

    word: str
    columns: Sequence[Column]
    bring: Callable[[Path, Moment, bool, bool], ImportReport]


@dataclass(frozen=True, slots=True)
class Look:
    """What a file would do: report, repairs, things to draw, and places of refused rows by file and row."""

    report: ImportReport
    repairs: tuple[Repair, ...] = ()
    drawn: tuple[BookItem, ...] = ()
    places: Mapping[tuple[str, int], tuple[float, float]] = field(default_factory=dict)


def _by(service: Callable[..., ImportReport]) -> Callable[[Path, Moment, bool, bool], ImportReport]:
    return lambda path, m, dry, good: service(path=path, by=m.by, now=m.now, dry_run=dry, keep_good=good)


KINDS: Final[dict[str, FileKind]] = {
    "programs": FileKind("programs that timers are set to", programs.COLUMNS, _by(import_programs)),
    "bypass": FileKind(
        "bypass logs",
        bypass.COLUMNS,
        lambda p, m, dry, good: import_bypass(path=p, today=m.today, dry_run=dry, keep_good=good),
    ),
    "meter": FileKind(
        "meter volumes",
        meters.VOLUME_COLUMNS,
        lambda p, m, dry, good: import_meter(path=p, today=m.today, dry_run=dry, keep_good=good),
    ),
    "readings": FileKind(
        "meter readings",
        meters.READING_COLUMNS,
        lambda p, m, dry, good: import_readings(path=p, now=m.now, dry_run=dry, keep_good=good),
    ),
    "technicians": FileKind("technicians", technicians.COLUMNS, _by(import_technicians)),
    "stock": FileKind("stock of parts", stock.COLUMNS, _by(import_stock)),
    "visits": FileKind("visits asked for", visits.COLUMNS, _by(import_visits)),
    "tariffs": FileKind(
        "tariffs",
        tariffs.COLUMNS,
        lambda p, _, dry, good: import_tariffs(path=p, dry_run=dry, keep_good=good),
    ),
    "weather": FileKind(
        "weather of stations",
        weather_file.COLUMNS,
        lambda p, m, dry, good: import_weather(path=p, now=m.now, dry_run=dry, keep_good=good),
    ),
    RULES: FileKind("watering rules", (), _by(import_rules)),
}


def kind_of_file(content: bytes) -> str:
    """The kind of file that the content is: `book` for anything with shapes, and for tables of sites.

    Parameters
    ----------
    content
        Its first bytes.
    """
    start = content.removeprefix(b"\xef\xbb\xbf").lstrip()
    if start.startswith((b"{", b"[")):
        return RULES if b'"rule_sets"' in content and b'"FeatureCollection"' not in content else BOOK
    if start.startswith((b"<", b"PK\x03\x04", b"SQLite format 3\x00")) or b"\x00" in start[:4096]:
        return BOOK
    line = start.partition(b"\n")[0].decode("utf-8", errors="replace")
    names = {cell.strip().strip('"').lower() for cell in line.split(",")}
    fitting = {
        kind: len(names)
        for kind, one in KINDS.items()
        if one.columns
        and {c.name for c in one.columns if c.required} <= names
        and names <= {c.name for c in one.columns}
    }
    return next(iter(fitting), BOOK)


def look_at_file(*, path: Path, upload: Upload, moment: Moment, tell: Tell = tell_nobody) -> Look:
    """What the file would do if every repair were accepted; nothing is written."""
    if upload.kind != BOOK:
        return Look(_named(KINDS[upload.kind].bring(path, moment, True, False), path, upload))
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
    look = Look(_named(KINDS[upload.kind].bring(path, moment, False, keep_good), path, upload))
    if seal is not None and look.report.written:
        seal(look)
    return look


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

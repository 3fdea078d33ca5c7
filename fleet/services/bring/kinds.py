"""Kinds of file that may be brought: their words, their columns, and the service that brings each in."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Final

from fleet.importing import contracts, stock, tariffs, technicians, visits
from fleet.services.bring.record_company import import_tariffs, import_technicians
from fleet.services.bring.record_contracts import import_contracts
from fleet.services.bring.record_stock import import_stock
from fleet.services.bring.record_visits import import_visits
from sites.importing import bypass, meters, programs
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
    "contracts": FileKind("service contracts", contracts.COLUMNS, _by(import_contracts)),
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


TABLES: Final[dict[str, Sequence[Column]]] = {kind: one.columns for kind, one in KINDS.items() if one.columns}
"""Columns of the kinds that are tables."""


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

"""The kinds of export, what each needs, and how it is written."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final, TextIO

from fleet.exports import contracts, findings, flags, ledger, needs, routes, visits
from fleet.exports.calendar import routes_calendar
from sites.exports import balance, book, history, programs
from weather.calc.csv_cells import csv_lines
from weather.exports import weather

Row = dict[str, object]


class UnusableExport(ValueError):
    """The arguments do not fit the kind; the message says what it needs."""


@dataclass(frozen=True, slots=True)
class Span:
    """What the command line said: a week, a day, or a span; `end` is exclusive."""

    week: date | None = None
    day: date | None = None
    as_of: date | None = None
    start: date | None = None
    end: date | None = None
    period: str = "month"

    def days(self) -> tuple[date, date]:
        """First day and the day after the last, from whatever was given."""
        if self.week is not None:
            return self.week, self.week + timedelta(days=7)
        if self.day is not None:
            return self.day, self.day + timedelta(days=1)
        if self.start is not None and self.end is not None and self.end > self.start:
            return self.start, self.end
        raise UnusableExport("expected --week, --date, or --start and a later --end")


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind: its columns, its rows, and its shapes and calendar where it has some."""

    columns: Callable[[bool], Sequence[str]]
    rows: Callable[[Span, bool], Iterable[Row]]
    features: Callable[[Span, bool], Iterable[Row]] | None = None
    calendar: Callable[[Span], tuple[str, int]] | None = None  # its text, and how many entries


def _spanned(module_rows: Callable[..., Iterable[Row]]) -> Callable[[Span, bool], Iterable[Row]]:
    """Rows of a module that takes start, end and private."""

    def rows(span: Span, private: bool) -> Iterable[Row]:
        start, end = span.days()
        return module_rows(start=start, end=end, private=private)

    return rows


def _week_programs(span: Span, private: bool) -> Iterable[Row]:
    """Programs of a week."""
    if span.week is None:
        raise UnusableExport("programs: expected --week MONDAY")
    return programs.rows(week=span.week, private=private)


def _open_needs(span: Span, private: bool) -> Iterable[Row]:
    """Needs: those that are open, or those of a span."""
    if span == Span(period=span.period):
        return needs.rows(private=private)
    start, end = span.days()
    return needs.rows(start=start, end=end, private=private)


def _ledger_rows(span: Span, private: bool) -> Iterable[Row]:
    """The water ledger of a span, by period."""
    start, end = span.days()
    return ledger.rows(start=start, end=end, period=span.period, private=private)


def _routes_calendar(span: Span) -> tuple[str, int]:
    """Routes of a span as a calendar."""
    start, end = span.days()
    return routes_calendar(start=start, end=end)


def _ledger_features(span: Span, private: bool) -> Iterable[Row]:
    """The kept months of a span as points of the gardens."""
    del private
    start, end = span.days()
    return ledger.stored_features(start=start, end=end)


KINDS: Final[dict[str, Kind]] = {
    "programs": Kind(lambda _: programs.COLUMNS, _week_programs),
    "needs": Kind(lambda _: needs.COLUMNS, _open_needs, lambda _, private: needs.features(private=private)),
    "routes": Kind(
        lambda _: routes.COLUMNS, _spanned(routes.rows), _spanned(routes.features), _routes_calendar
    ),
    "visits": Kind(lambda _: visits.COLUMNS, _spanned(visits.rows)),
    "findings": Kind(lambda _: findings.COLUMNS, _spanned(findings.rows)),
    "weather": Kind(lambda _: weather.COLUMNS, _spanned(weather.rows), _spanned(weather.features)),
    "balance": Kind(lambda _: balance.COLUMNS, _spanned(balance.rows)),
    "book": Kind(
        lambda private: book.columns(private=private),
        lambda _, private: book.rows(private=private),
        lambda _, private: book.features(private=private),
    ),
    "flags": Kind(
        lambda _: flags.COLUMNS,
        lambda span, private: flags.rows(as_of=span.as_of, private=private),
        lambda span, private: flags.features(as_of=span.as_of, private=private),
    ),
    "contracts": Kind(lambda _: contracts.COLUMNS, lambda _, private: contracts.rows(private=private)),
    "ledger": Kind(lambda _: ledger.COLUMNS, _ledger_rows, _ledger_features),
    "history": Kind(lambda _: history.COLUMNS, _spanned(history.rows)),
}
FORMATS: Final = ("csv", "json", "geojson", "gpkg", "ics")


def write_csv(file: TextIO, columns: Sequence[str], rows: Iterable[Row]) -> int:
    """Rows as CSV with formulas neutralised; how many there were."""
    count = 0
    for line in csv_lines(columns, ([row.get(name) for name in columns] for row in rows)):
        file.write(line)
        count += 1
    return count - 1  # the head is no row


def as_json(rows: Iterable[Row]) -> str:
    """Rows as a JSON list."""
    return json.dumps(list(rows), default=str, ensure_ascii=False, indent=1)


def as_geojson(features: Iterable[Row]) -> str:
    """Features as one RFC 7946 collection."""
    return json.dumps(
        {"type": "FeatureCollection", "features": list(features)}, default=str, ensure_ascii=False
    )


def as_csv(columns: Sequence[str], rows: Iterable[Row]) -> str:
    """Rows as the text of a CSV file."""
    buffer = io.StringIO()
    write_csv(buffer, columns, rows)
    return buffer.getvalue()

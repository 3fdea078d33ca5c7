"""Rows of an imported table: reading, checking each cell, and telling what is wrong and where.

Every import of the product goes through here: a cell either becomes a value, or a `RowProblem` that names the
file, the row, the column, the value and what was expected.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from pathlib import Path
from typing import Final

from weather.calc.csv_cells import plain_cell

MAX_BYTES: Final = 400_000_000
FIRST_YEAR: Final = 1800
LAST_YEAR: Final = 2300


@dataclass(frozen=True, slots=True)
class RowProblem:
    """One refused cell or row. `row` counts as a spreadsheet does: the header is row 1; 0 means the file."""

    file: str
    row: int
    column: str
    value: str
    expected: str

    def __str__(self) -> str:
        """The problem in one line."""
        where = f"{self.file}: row {self.row}" if self.row else self.file
        column = f", column {self.column}" if self.column else ""
        value = f": {self.value[:80]!r}" if self.value or self.column else ""
        return f"{where}{column}{value}: expected {self.expected}"


class CellError(ValueError):
    """A cell that is not what its column wants; the message says what was expected."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a file: its name, how a cell becomes a value, and what stands for an empty one."""

    name: str
    parse: Callable[[str], object]
    required: bool = False
    default: object = None
    aliases: tuple[str, ...] = ()
    may_be_empty: bool = False  # of a required column: single cells may be empty, which the reader judges


@dataclass(frozen=True, slots=True)
class Row:
    """A row whose cells all parsed: `values` by column name, `given` the columns that were not empty."""

    number: int
    values: Mapping[str, object]
    given: frozenset[str]


@dataclass(slots=True)
class Table:
    """Rows that are good so far, those with a bad cell (only their good cells), and the problems met."""

    file: str
    rows: list[Row] = field(default_factory=list)
    broken: list[Row] = field(default_factory=list)
    problems: list[RowProblem] = field(default_factory=list)

    def refuse(self, row: int, column: str, value: object, expected: str) -> None:
        """Note one more problem."""
        self.problems.append(
            RowProblem(self.file, row, column, "" if value is None else str(value), expected)
        )

    def bad_rows(self) -> set[int]:
        """Numbers of the rows with a problem."""
        return {problem.row for problem in self.problems}


@dataclass(frozen=True, slots=True)
class ImportReport:
    """What an import did, or would have done in a dry run."""

    file: str
    added: int
    changed: int
    unchanged: int
    problems: tuple[RowProblem, ...] = ()
    warnings: tuple[str, ...] = ()
    written: bool = True  # False: dry run, or refused

    def summary(self) -> str:
        """One line for the end of a command."""
        counts = f"{self.added} added, {self.changed} changed, {self.unchanged} unchanged"
        refused = f", {len({(p.file, p.row) for p in self.problems})} rows refused" if self.problems else ""
        nothing = "" if self.written else "; nothing was written"
        return f"{self.file}: {counts}{refused}{nothing}"


def read_csv(path: Path, columns: Sequence[Column]) -> Table:
    """The table of a CSV file: UTF-8 (a byte-order mark is fine), comma-separated, with a header.

    Parameters
    ----------
    path
        The file; refused above 400 MB.
    columns
        What the file may hold. Unknown columns are refused, since a misspelt name would silently lose data.
    """
    table = Table(path.name)
    try:
        if path.stat().st_size > MAX_BYTES:
            table.refuse(0, "", f"{path.stat().st_size} bytes", f"a file of at most {MAX_BYTES} bytes")
            return table
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        table.refuse(0, "", str(path), "a file that exists")
        return table
    except (OSError, UnicodeDecodeError) as error:
        table.refuse(0, "", str(error)[:80], "a readable file in UTF-8")
        return table
    try:
        records = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except csv.Error as error:
        table.refuse(0, "", str(error), "comma-separated values with balanced quotes")
        return table
    if not records:
        table.refuse(0, "", "", "a header line with column names")
        return table
    return read_records(table, records[0], enumerate(records[1:], start=2), columns)


def read_records(
    table: Table,
    header: Sequence[str],
    records: Iterable[tuple[int, Sequence[str]]],
    columns: Sequence[Column],
) -> Table:
    """The table filled from a header and numbered records of text cells."""
    known = {name: column for column in columns for name in (column.name, *column.aliases)}
    names = [known[cell.strip().lower()].name if cell.strip().lower() in known else "" for cell in header]
    for position, cell in enumerate(header):
        if not names[position]:
            table.refuse(1, cell, cell, "one of the columns " + ", ".join(column.name for column in columns))
    repeated = {name for name in names if name and names.count(name) > 1}
    for name in sorted(repeated):
        table.refuse(1, name, name, "each column once")
    for column in columns:
        if column.required and column.name not in names:
            table.refuse(1, column.name, "", f"a column {column.name}")
    if table.problems:
        return table
    for number, record in records:
        if not any(cell.strip() for cell in record):
            continue
        _read_record(table, number, record, names, columns)
    return table


def _read_record(
    table: Table, number: int, record: Sequence[str], names: Sequence[str], columns: Sequence[Column]
) -> None:
    """One record's cells into a row, or into problems."""
    if len(record) > len(names):
        table.refuse(number, "", record[len(names)], f"{len(names)} cells, as in the header")
        return
    cells = dict(zip(names, record, strict=False))
    values: dict[str, object] = {}
    given: set[str] = set()
    bad = False
    for column in columns:
        text = plain_cell(cells.get(column.name, ""))
        if not text:
            values[column.name] = column.default
            if column.required and not column.may_be_empty:
                table.refuse(number, column.name, "", f"a value for {column.name}")
                bad = True
            continue
        try:
            values[column.name] = column.parse(text)
            given.add(column.name)
        except CellError as error:
            table.refuse(number, column.name, text, str(error))
            bad = True
    (table.broken if bad else table.rows).append(Row(number, values, frozenset(given)))


def text(longest: int) -> Callable[[str], str]:
    """A parser of text of at most `longest` characters, without control characters."""

    def parse(cell: str) -> str:
        if len(cell) > longest or any(_is_control(sign) for sign in cell):
            raise CellError(f"at most {longest} characters of plain text")
        return cell

    return parse


def _is_control(sign: str) -> bool:
    """Whether a character is no text: a control, or half of a pair that no encoding can hold."""
    return (sign < " " and sign not in "\n\t\r") or "\ud800" <= sign <= "\udfff"


def number(low: float, high: float) -> Callable[[str], float]:
    """A parser of a finite number from `low` to `high`."""

    def parse(cell: str) -> float:
        try:
            value = float(cell)
        except ValueError:
            value = math.nan
        if not math.isfinite(value) or not low <= value <= high or "_" in cell:
            raise CellError(f"a number from {low:g} to {high:g}")
        return value

    return parse


def whole(low: int, high: int) -> Callable[[str], int]:
    """A parser of a whole number from `low` to `high`."""

    def parse(cell: str) -> int:
        try:
            value = float(cell)
        except ValueError:
            value = math.nan
        if not math.isfinite(value) or value != int(value) or not low <= value <= high or "_" in cell:
            raise CellError(f"a whole number from {low} to {high}")
        return int(value)

    return parse


@dataclass(frozen=True, slots=True)
class Choice:
    """A parser of one of some words, which a page may offer."""

    words: tuple[str, ...]

    def __call__(self, cell: str) -> str:
        """The word."""
        if cell not in self.words:
            raise CellError("one of " + ", ".join(sorted(word for word in self.words if word)))
        return cell


def choice(values: Collection[str]) -> Choice:
    """A parser of one of the words."""
    return Choice(tuple(values))


def day(cell: str) -> date:
    """The day of an ISO 8601 date, of this and its neighbouring centuries."""
    try:
        found = date.fromisoformat(cell)
    except ValueError:
        raise CellError("a date as 2026-06-14") from None
    if not FIRST_YEAR <= found.year < LAST_YEAR:
        raise CellError(f"a date from {FIRST_YEAR} on, before {LAST_YEAR}")
    return found


def moment(cell: str) -> datetime:
    """The moment of an ISO 8601 date-time; without an offset it is naive and means site-local time."""
    try:
        found = datetime.fromisoformat(cell)
    except ValueError:
        raise CellError("a date and time as 2026-06-14T09:30, or with an offset as +02:00") from None
    if not FIRST_YEAR <= found.year < LAST_YEAR:
        raise CellError(f"a date and time from {FIRST_YEAR} on, before {LAST_YEAR}")
    return found


def clock(cell: str) -> time:
    """The time of day of `04:30`."""
    try:
        return time.fromisoformat(cell.zfill(5))
    except ValueError:
        raise CellError("a time as 04:30") from None


def truth(cell: str) -> bool:
    """True or False of `true`/`false`, `yes`/`no`, `1`/`0`."""
    words = {"true": True, "yes": True, "1": True, "false": False, "no": False, "0": False}
    if cell.lower() not in words:
        raise CellError("true or false")
    return words[cell.lower()]

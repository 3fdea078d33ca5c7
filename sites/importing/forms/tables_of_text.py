"""Tables of text with a header, each row with its number in the spreadsheet."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from dataclasses import dataclass, field

from weather.calc.csv_cells import plain_cell


class TableNotReadable(ValueError):
    """The text is no table with a header; says what is missing."""


@dataclass(slots=True)
class TextTable:
    """Header, rows by column, and rows that have more or fewer cells than the header (number, count)."""

    header: list[str]
    numbers: list[int] = field(default_factory=list)
    rows: list[dict[str, str]] = field(default_factory=list)
    too_long: list[tuple[int, int]] = field(default_factory=list)


def delimiter_of(line: str) -> str:
    """The sign that parts the cells of a header line: a comma, unless semicolons or tabs are more.

    Parameters
    ----------
    line
        The first line of a table.
    """
    return max((",", ";", "\t"), key=line.count)


def text_table(lines: Iterable[str], *, delimiter: str = ",") -> TextTable:
    """The table of a text with a header.

    Parameters
    ----------
    lines
        Its lines; empty rows are passed over.
    delimiter
        What parts its cells.

    Raises
    ------
    TableNotReadable
        No header line.
    """
    records = csv.reader(lines, strict=True, delimiter=delimiter)
    table = TextTable([cell.strip() for cell in next(records, [])])
    if not any(table.header):
        raise TableNotReadable("no header line with column names")
    for number, record in enumerate(records, start=2):
        if not any(cell.strip() for cell in record):
            continue
        if len(record) != len(table.header):
            table.too_long.append((number, len(record)))
            continue
        table.numbers.append(number)
        table.rows.append(
            {name: plain_cell(cell) for name, cell in zip(table.header, record, strict=True) if name}
        )
    return table

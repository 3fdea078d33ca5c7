"""Cells of CSV files that no spreadsheet takes for a formula, and back."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Final

FORMULA_SIGNS: Final = ("=", "+", "-", "@", "\t", "\r")
"""What a cell that spreadsheets calculate begins with."""


def safe_cell(value: object) -> object:
    """A value as a cell: numbers stay numbers, unknown is empty, a would-be formula gets an apostrophe."""
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (int, float)):
        return value
    text = str(value)
    return f"'{text}" if text.startswith(FORMULA_SIGNS) and not _is_number(text) else text


class _Echo:
    """A file that gives back what is written to it."""

    def write(self, text: str) -> str:
        """The text itself."""
        return text


def csv_lines(columns: Sequence[str], rows: Iterable[Iterable[object]]) -> Iterator[str]:
    """The only writer of CSV files: a head and a line a row, with no cell that a spreadsheet calculates.

    Lines end with a line feed, so that they compare and join plainly.
    """
    writer = csv.writer(_Echo(), lineterminator="\n")
    yield writer.writerow([safe_cell(name) for name in columns])
    for row in rows:
        yield writer.writerow([safe_cell(value) for value in row])


def plain_cell(cell: str) -> str:
    """A cell as it was before `safe_cell`, without spaces at its ends."""
    cell = cell.strip()
    return cell[1:] if cell[:1] == "'" and cell[1:].startswith(FORMULA_SIGNS) else cell


def _is_number(text: str) -> bool:
    """Whether the text is a plain number, such as -3.5."""
    try:
        float(text)
    except ValueError:
        return False
    return True

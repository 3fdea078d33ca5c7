"""Rows that came as values, such as JSON, checked by the columns of a file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from weather.importing.rows import Column, Table, read_records


def read_entries(name: str, entries: Sequence[Mapping[str, object]], columns: Sequence[Column]) -> Table:
    """The table of entries that came as values, not as a file; the first has number 1.

    Parameters
    ----------
    name
        What the entries are called in problems.
    entries
        Values by column name; None or missing: no value.
    columns
        What an entry may hold.
    """
    header = [column.name for column in columns]
    records = (
        (number, ["" if entry.get(cell) is None else str(entry[cell]) for cell in header])
        for number, entry in enumerate(entries, start=1)
    )
    return read_records(Table(name), header, records, columns)

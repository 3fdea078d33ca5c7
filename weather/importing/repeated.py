"""Rows of a table that say the same thing twice: none is taken, since nobody knows which one holds."""

from __future__ import annotations

from collections.abc import Callable, Hashable

from weather.importing.rows import Row, Table

Key = Callable[[Row], Hashable | None]


def cells(*columns: str) -> Key:
    """A key of some columns; None where one of them cannot be read."""

    def key(row: Row) -> Hashable | None:
        values = tuple(row.values.get(column) for column in columns)
        return None if None in values else values

    return key


def refuse_repeated(table: Table, *, key: Key, column: str, once: str) -> None:
    """Refuse every row whose key another row has, each naming the others; they leave the table's good rows.

    Rows with a bad cell count too: were they passed over, mending or dropping one would decide which of the
    two is taken.

    Parameters
    ----------
    table
        The rows as read.
    key
        What a row is known by; None: it cannot be told.
    column
        Where the problem is noted.
    once
        What was expected, such as `each technician once`.
    """
    found: dict[Hashable, list[Row]] = {}
    for row in (*table.rows, *table.broken):
        mark = key(row)
        if mark is not None:
            found.setdefault(mark, []).append(row)
    repeated: set[int] = set()
    for same in found.values():
        if len(same) > 1:
            numbers = sorted(row.number for row in same)
            repeated |= set(numbers)
            for row in same:
                table.refuse(
                    row.number, column, row.values.get(column), f"{once} ({also(numbers, row.number)})"
                )
    if repeated:
        table.rows = [row for row in table.rows if row.number not in repeated]


def also(rows: list[int], but: int) -> str:
    """The other rows of some, as `also row 5` or `also rows 5, 9 and 3 more`."""
    others = list(rows)
    others.remove(but)
    more = f" and {len(others) - 5} more" if len(others) > 5 else ""
    return f"also row{'s' if len(others) > 1 else ''} {', '.join(str(row) for row in others[:5])}{more}"

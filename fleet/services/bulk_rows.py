"""Many rows at once, where building each as a model takes several times as long as the database."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db import connection, models

_VALUES_AT_ONCE = 990  # of one statement; SQLite may be built with a limit of 999


def upsert_rows(
    *, model: type[models.Model], key: Sequence[str], columns: Sequence[str], rows: Sequence[Sequence[Any]]
) -> None:
    """Insert rows, or write their columns where the key is there.

    Parameters
    ----------
    model
        Model of the table.
    key
        Columns of a unique constraint, as the database names them.
    columns
        All columns of the rows, the key among them, in the order of the values.
    rows
        Values as the database takes them (a day by `adapt_datefield_value`).
    """
    quoted = [connection.ops.quote_name(name) for name in columns]
    sets = ", ".join(
        f"{name} = EXCLUDED.{name}"
        for name, plain in zip(quoted, columns, strict=True)
        if plain not in set(key)
    )
    on = ", ".join(connection.ops.quote_name(name) for name in key)
    table = connection.ops.quote_name(model._meta.db_table)
    head = f"INSERT INTO {table} ({', '.join(quoted)}) VALUES "  # noqa: S608 - names of the model only
    tail = f" ON CONFLICT ({on}) DO UPDATE SET {sets}"
    one = f"({', '.join(['%s'] * len(columns))})"
    step = max(_VALUES_AT_ONCE // len(columns), 1)
    with connection.cursor() as cursor:
        for first in range(0, len(rows), step):
            some = rows[first : first + step]
            values = [value for row in some for value in row]
            cursor.execute(head + ", ".join([one] * len(some)) + tail, values)

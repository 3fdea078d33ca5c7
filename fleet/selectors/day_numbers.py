"""Days of the database as numbers: half a million dates are read several times as fast."""

from __future__ import annotations

from typing import Any, Final

from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import Func, IntegerField
from django.db.models.sql.compiler import SQLCompiler


class DayNumber(Func):
    """Days since the first of 1970, as numpy counts them."""

    output_field: Final = IntegerField()
    arity = 1

    def as_sqlite(
        self, compiler: SQLCompiler, connection: BaseDatabaseWrapper, **extra: Any
    ) -> tuple[str, tuple[Any, ...]]:
        """SQLite keeps days as text; its Julian day begins at noon."""
        template = "CAST(julianday(%(expressions)s) - 2440587.5 AS INTEGER)"
        sql, values = super().as_sql(compiler, connection, template=template, **extra)
        return sql, tuple(values)

    def as_postgresql(
        self, compiler: SQLCompiler, connection: BaseDatabaseWrapper, **extra: Any
    ) -> tuple[str, tuple[Any, ...]]:
        """PostgreSQL subtracts days."""
        template = "(%(expressions)s - DATE '1970-01-01')"
        sql, values = super().as_sql(compiler, connection, template=template, **extra)
        return sql, tuple(values)

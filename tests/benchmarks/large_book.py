"""A large book for measuring: `python -m tests.benchmarks.large_book --copies N [--crews M]`.

Multiplies the demo in the database (`DATABASE_URL`) by whole gardens with all that hangs on them: book,
logs, meters, programs, balance, watch, ledger, history. Copies lie side by side. `--crews` multiplies
the people with their trucks. Visits are not copied: `run_day` plans them for all. 100 gardens times 100
are the design size.
"""

from __future__ import annotations

import argparse
import sys
import time
from typing import Final

import django
import numpy as np
import shapely

django.setup()

from django.apps import apps  # noqa: E402 (models only after the set-up)
from django.core.management.color import no_style  # noqa: E402
from django.db import connection, models, transaction  # noqa: E402

from fleet.models import Company, Finding, Route, Stop, Technician, Visit  # noqa: E402
from sites.models import Change, Site  # noqa: E402
from sites.models.geometry import Shaped  # noqa: E402

Model = type[models.Model]

# Keys of a copy lie this far above those of the copy before.
STEP: Final = 10_000_000
# From copy to copy [degrees], few enough to stay in the same weather, and how many lie beside each other.
EAST, NORTH, COLUMNS = 0.004, 0.003, 10
# Planned, or done, for all gardens at once.
LEFT_OUT: Final = frozenset({Visit, Route, Stop, Finding})
# Names that no two may share get the number of their copy behind them.
NAMED: Final = frozenset({("sites_site", "code"), ("fleet_technician", "code"), ("fleet_stockplace", "code")})
LONGITUDES: Final = ("longitude", "min_lon", "max_lon", "start_longitude", "end_longitude")
LATITUDES: Final = ("latitude", "min_lat", "max_lat", "start_latitude", "end_latitude")


def targets(model: Model) -> set[Model]:
    """Models that a model points to."""
    return {field.related_model for field in model._meta.concrete_fields if field.related_model}


def hanging_on(root: Model) -> set[Model]:
    """The root, and models whose rows belong to a row of it."""
    found = {root}
    while True:
        more = {
            model
            for model in apps.get_models(include_auto_created=True)
            if targets(model) & found and not targets(model) & LEFT_OUT
        } - LEFT_OUT
        if more <= found:
            return found
        found |= more


def multiply(model: Model, copied: set[Model]) -> int:
    """Copy the rows of a table under keys of their own; how many it holds then."""
    table = model._meta.db_table
    into, out = [], []
    for field in model._meta.concrete_fields:
        into.append(f'"{field.column}"')
        out.append(_expression(field, table, copied))
    source = f'from "{table}" cross join copies where "{table}".id < {STEP}'
    with connection.cursor() as cursor:
        cursor.execute(f'insert into "{table}" ({", ".join(into)}) select {", ".join(out)} {source}')
        cursor.execute(f'select count(*) from "{table}"')  # noqa: S608
        return int(cursor.fetchone()[0])


def _expression(field: models.Field[object, object], table: str, copied: set[Model]) -> str:
    """What a copy's column holds."""
    column = f'"{table}"."{field.column}"'
    if field.primary_key or (field.is_relation and field.related_model in copied):
        return f"{column} + k * {STEP}"
    if field.is_relation and field.unique:
        return "null"
    if (table, field.column) in NAMED:
        return f"{column} || '-' || k"
    if (table, field.column) == ("fleet_visitneed", "key"):
        code = f'(select code from sites_site where id = "{table}".site_id)'  # noqa: S608
        named = f"replace({column}, '/' || {code} || '/', '/' || {code} || '-' || k || '/')"
        # Keys of what a person or a finding asked for name no garden.
        return f"case when {named} = {column} then {column} || '/' || k else {named} end"
    if field.column in LONGITUDES:
        return f"{column} + (k % {COLUMNS}) * {EAST}"
    if field.column in LATITUDES:
        return f"{column} + (k / {COLUMNS}) * {NORTH}"
    return column


def copy_history() -> None:
    """The history of gardens names them by code, not by key."""
    fields = [str(field.column) for field in Change._meta.concrete_fields if field.column != "id"]
    to_copy = {
        "site_code": "site_code || '-' || k",
        "key": "site_code || '-' || k || substr(key, length(site_code) + 1)",
        "thing_id": f"thing_id + k * {STEP}",
    }
    into = ", ".join(f'"{name}"' for name in fields)
    out = ", ".join(to_copy.get(name, f'"{name}"') for name in fields)
    with connection.cursor() as cursor:
        cursor.execute(
            f"insert into sites_change ({into}) select {out} from sites_change cross join copies "  # noqa: S608
            "where site_code <> '' and substr(key, 1, length(site_code)) = site_code"
        )


def move_shapes(model: type[Shaped]) -> None:
    """Draw the shapes of copies where the copies lie."""
    table = model._meta.db_table
    rows = model._base_manager.filter(pk__gte=STEP, geometry__isnull=False).values_list("pk", "geometry")
    keys, shapes = zip(*rows.iterator(), strict=True) if rows.exists() else ((), ())
    copy = np.array(keys, dtype=np.int64) // STEP
    shift = np.column_stack([(copy % COLUMNS) * EAST, (copy // COLUMNS) * NORTH])
    drawn = shapely.from_wkb(np.array(shapes, dtype=object))
    points, owner = shapely.get_coordinates(drawn, return_index=True)
    moved = shapely.to_wkb(shapely.set_coordinates(drawn, points + shift[owner]), output_dimension=2)
    with connection.cursor() as cursor:
        cursor.executemany(
            f'update "{table}" set geometry = %s where id = %s',  # noqa: S608
            list(zip(moved, keys, strict=True)),
        )


def enlarge(*, copies: int, crews: int) -> None:
    """Multiply the demo in the database."""
    company = Company.objects.first()
    if company is None or not company.is_demo or Site.objects.filter(pk__gte=STEP).exists():
        sys.exit("expected a database with a demo that was not multiplied yet: manage.py demo --no-serve")
    with transaction.atomic():
        for root, count in ((Site, copies), (Technician, crews)):
            copied = hanging_on(root)
            _number_copies(count)
            for model in sorted(copied, key=lambda one: one._meta.db_table):
                rows = multiply(model, copied)
                print(f"{model._meta.db_table}: {rows}")  # noqa: T201
                if issubclass(model, Shaped):
                    move_shapes(model)
            if root is Site:
                copy_history()
            with connection.cursor() as cursor:
                for statement in connection.ops.sequence_reset_sql(no_style(), [*copied, Change]):
                    cursor.execute(statement)
    with connection.cursor() as cursor:
        cursor.execute("analyze")


def _number_copies(count: int) -> None:
    """A table with the number of each copy; the first is the demo itself."""
    with connection.cursor() as cursor:
        cursor.execute("drop table if exists copies")
        cursor.execute("create temporary table copies (k bigint)")
        cursor.executemany("insert into copies values (%s)", [(number,) for number in range(1, count)])


def main() -> None:
    """Multiply."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--copies", type=int, required=True, help="how often each garden stands there then")
    asked.add_argument("--crews", type=int, default=1, help="how often each of the people does (1)")
    options = asked.parse_args()
    began = time.perf_counter()
    enlarge(copies=options.copies, crews=options.crews)
    print(f"{Site.objects.count()} gardens after {time.perf_counter() - began:.0f} s")  # noqa: T201


if __name__ == "__main__":
    main()

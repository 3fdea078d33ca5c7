"""Writes of the site book: an import changes only the rows that differ, and keeps what they were."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import Final

from django.db import transaction
from django.db.models import Model, QuerySet

from sites.importing.book.checked import checked_book
from sites.importing.book.items import Book, BookItem, Key
from sites.importing.book.known import known_book
from sites.importing.book.layout import BookLayout
from sites.importing.book.moved import moved_things, told_of_moved
from sites.importing.book.offers import OF_FORM, Repair, RepairChoice
from sites.importing.book.tables import TABLES, BookTable, Fields, RowChange, change_of, stored_rows
from sites.importing.telling import Tell, tell_nobody
from sites.models import Controller, Fixture, Site, Zone
from sites.services.book_history import note_of_change, reason_of
from sites.services.history import record_changes
from weather.importing.rows import ImportReport

_FEW_SITES: Final = 400


@dataclass(frozen=True, slots=True)
class BookLook:
    """An import as a preview shows it."""

    report: ImportReport
    repairs: tuple[Repair, ...]
    book: Book


def import_book(
    *,
    path: Path,
    today: date,
    now: datetime,
    by: str,
    timezone: str = "UTC",
    dry_run: bool = False,
    keep_good: bool = False,
    layout: BookLayout | None = None,
    choice: RepairChoice = OF_FORM,
    name: str = "",
) -> ImportReport:
    """Bring a site book in; every thing is known by its natural key, and a second run changes nothing.

    Parameters
    ----------
    path
        GeoJSON, GeoPackage, KML, a zipped shapefile, or CSV of sites.
    today
        Day on which new sites count as imported; days of installation after it are refused.
    now, by
        When and by whom, for the history.
    timezone
        The company's time zone, for sites that give none.
    dry_run, keep_good
        Report only; write the good rows of a file with bad ones.
    layout
        What the file's layers and columns are; by default those that bear the book's own names.
    choice
        Repairs of shapes that are accepted; by default those that move no edge. All are listed.
    name
        Name that the person gave the file; by default that of the path.
    """
    return look_at_book(
        path=path, today=today, now=now, by=by, timezone=timezone, dry_run=dry_run, keep_good=keep_good,
        layout=layout, choice=choice, name=name,
    ).report  # fmt: skip


def look_at_book(
    *,
    path: Path,
    today: date,
    now: datetime,
    by: str,
    timezone: str,
    dry_run: bool,
    keep_good: bool,
    layout: BookLayout | None,
    choice: RepairChoice,
    name: str,
    tell: Tell = tell_nobody,
    seal: Callable[[BookLook], None] | None = None,
) -> BookLook:
    """An import with everything that a preview shows: its report, the repairs, and the things themselves.

    Parameters
    ----------
    path, today, now, by, timezone, dry_run, keep_good, layout, choice, name
        As of `import_book`.
    tell
        Told of each step.
    seal
        Called with what was written, as the last deed of the transaction: what it raises takes all back.
    """
    known = known_book()
    book, repairs = checked_book(
        path, known, today=today, timezone=timezone, layout=layout, choice=choice, name=name, tell=tell
    )
    write = not dry_run and (not book.problems or keep_good)
    with transaction.atomic():
        counts = _record(book, today=today, now=now, by=by, timezone=timezone, write=write, tell=tell)
        report = ImportReport(
            file=book.file.name,
            added=counts[0],
            changed=counts[1],
            unchanged=counts[2],
            problems=tuple(book.problems),
            warnings=tuple(book.warnings),
            written=write,
        )
        look = BookLook(report, tuple(repairs), book)
        if write and seal is not None:
            seal(look)
    return look


def _record(
    book: Book, *, today: date, now: datetime, by: str, timezone: str, write: bool, tell: Tell
) -> tuple[int, int, int]:
    """Compare, and write where wanted; how many rows are added, changed and unchanged."""
    codes = {item.site for item in book.good()}
    sites = sorted(codes) if len(codes) <= _FEW_SITES else None
    added = changed = unchanged = 0
    for at, table in enumerate(TABLES):
        items = book.good(table.kind)
        if not items:
            continue
        tell(f"{'writing' if write else 'comparing'}: {table.kind}", 0.85 + 0.15 * at / len(TABLES))
        stored = stored_rows(table, sites)
        moved = moved_things(table.kind, items, stored)
        book.warnings.extend(told_of_moved(table.kind, items, moved))
        changes = [
            change
            for item in items
            if (change := _change(table, item, stored, moved, timezone=timezone)) is not None
        ]
        new = sum(change.before is None for change in changes)
        added, changed = added + new, changed + len(changes) - new
        unchanged += len(items) - len(changes)
        if write and changes:
            rows = _write(table, changes, today=today)
            mended = {item.key: item.repaired for item in items if item.repaired}
            notes = [
                note_of_change(
                    table, one, reason_of(mended.get(one.key_now or one.key, ())), rows.get(one.key)
                )
                for one in changes
            ]
            record_changes(notes=notes, by=by, at=now)
    return added, changed, unchanged


def _change(
    table: BookTable, item: BookItem, stored: dict[Key, Fields], moved: dict[Key, Key], *, timezone: str
) -> RowChange | None:
    """What an item changes; a moved thing changes the row that it has."""
    key = moved.get(item.key)
    if key is None:
        return change_of(table, item, stored.get(item.key), timezone=timezone)
    change = change_of(table, item, stored[key], timezone=timezone)
    return None if change is None else replace(change, key=key, key_now=item.key)


def _write(table: BookTable, changes: list[RowChange], *, today: date) -> dict[Key, int]:
    """Upsert the rows of one table; the ids of those that were moved, by the key that they had."""
    _upsert(table, [one for one in changes if one.key_now is None], today=today)
    return _move(table, [one for one in changes if one.key_now is not None])


def _move(table: BookTable, changes: list[RowChange]) -> dict[Key, int]:
    """Give things that are known by their shape another one; they keep their rows."""
    if not changes:
        return {}
    names = (*table.parent_key, table.own_key)
    wanted = {one.key: one for one in changes}
    rows: QuerySet[Model] = QuerySet(table.model)
    if table.model is Fixture:
        rows = rows.filter(kind=table.kind)
    rows = rows.filter(**{f"{table.own_key}__in": [one.key[-1] for one in changes]})
    found: dict[Key, int] = {}
    fresh: list[Model] = []
    for pk, *key in rows.values_list("pk", *names):
        if tuple(key) in wanted:
            change = wanted[tuple(key)]
            own = (change.key_now or change.key)[-1]
            fresh.append(table.model(pk=pk, **change.fields, **{table.own_key: own}))
            found[tuple(key)] = pk
    moved: QuerySet[Model] = QuerySet(table.model)
    moved.bulk_update(fresh, [table.own_key, *table.written], batch_size=200)
    return found


def _upsert(table: BookTable, changes: list[RowChange], *, today: date) -> None:
    """Upsert rows by their natural keys."""
    if not changes:
        return
    parents = _parents(table)
    rows: list[Model] = []
    for change in changes:
        *parent_key, own = change.key if table.own_key else (*change.key, "")
        fields: Fields = dict(change.fields)
        if table.own_key:
            fields[table.own_key] = own
        if table.parent:
            fields[f"{table.parent}_id"] = parents[tuple(parent_key)]
        if table.model is Fixture:
            fields["kind"] = table.kind
        if table.model is Site:
            fields["imported_on"] = today
        rows.append(table.model(**fields))
    written: QuerySet[Model] = QuerySet(table.model)
    written.bulk_create(
        rows,
        batch_size=2_000,
        update_conflicts=True,
        unique_fields=table.unique,
        update_fields=list(table.written),
    )


def _parents(table: BookTable) -> dict[Key, int]:
    """Ids of the parents' rows by natural key."""
    if table.parent == "site":
        return {(code,): pk for code, pk in Site.objects.values_list("code", "pk").iterator()}
    if table.parent == "controller":
        controllers = Controller.objects.values_list("site__code", "code", "pk")
        return {(site, code): pk for site, code, pk in controllers.iterator()}
    if table.parent == "zone":
        zones = Zone.objects.values_list("controller__site__code", "controller__code", "station", "pk")
        return {(site, code, station): pk for site, code, station, pk in zones.iterator()}
    return {}


@transaction.atomic
def record_item(
    *, item: BookItem, today: date, now: datetime, by: str, timezone: str, reason: str
) -> RowChange | None:
    """Write one thing that a person said, checked by the caller; what changed, None where nothing.

    Parameters
    ----------
    item
        The thing with what was said of it; columns that are not among its values stay as they are.
    today
        Day on which a new site counts as imported.
    now, by, reason
        When, by whom and why, for the history.
    timezone
        The company's time zone, for a site that gives none.
    """
    table = next(table for table in TABLES if table.kind == item.kind)
    change = change_of(table, item, stored_rows(table, [item.site]).get(item.key), timezone=timezone)
    if change is None:
        return None
    _write(table, [change], today=today)
    record_changes(notes=[note_of_change(table, change, reason)], by=by, at=now)
    return change

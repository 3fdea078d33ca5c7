"""Brings a stock file in: every count is a line in the ledger of parts."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime
from pathlib import Path

from django.db import transaction

from fleet.importing.stock import StockRow, read_stock
from fleet.models import StockMinimum
from fleet.selectors.company.stock import stock_of
from fleet.services.company.parts import set_minima
from fleet.services.company.stock import count_parts
from weather.importing.rows import ImportReport


def import_stock(
    *, path: Path, by: str, now: datetime, dry_run: bool = False, keep_good: bool = False
) -> ImportReport:
    """Set stock and minima to what a file says; places and parts that it does not name stay as they are."""
    table, rows = read_stock(path)
    bad = table.bad_rows()
    good = [row for row in rows if row.row not in bad]
    stock = stock_of()
    least = {
        (place, part): count
        for place, part, count in StockMinimum.objects.values_list("place_id", "part_id", "least")
    }
    other = [
        row
        for row in good
        if stock.get((row.place_id, row.part_id), 0) != row.stock
        or (row.minimum is not None and least.get((row.place_id, row.part_id)) != row.minimum)
    ]
    known = set(stock) | set(least)
    new = sum((row.place_id, row.part_id) not in known for row in other)
    write = not dry_run and (not table.problems or keep_good)
    if write:
        _write(other, path.name, by, now)
    return ImportReport(
        table.file, new, len(other) - new, len(good) - len(other), tuple(table.problems), written=write
    )


@transaction.atomic
def _write(rows: list[StockRow], name: str, by: str, now: datetime) -> None:
    """Count place by place."""
    by_place: dict[int, list[StockRow]] = defaultdict(list)
    for row in rows:
        by_place[row.place_id].append(row)
    for place_id, own in by_place.items():
        counts = {row.part: row.stock for row in own}
        count_parts(place_id=place_id, counts=counts, by=by, now=now, note=f"file {name}"[:200])
        minima = {row.part: row.minimum for row in own if row.minimum is not None}
        set_minima(place_id=place_id, least=minima, by=by, now=now)

"""The stock file: what was counted at each place."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from fleet.models import Part, StockPlace
from weather.importing.repeated import cells, refuse_repeated
from weather.importing.rows import Column, Table, read_csv, text, whole

MOST: Final = 9_999
COLUMNS: Final = (
    Column("place", text(40), required=True),
    Column("part", text(40), required=True),
    Column("stock", whole(0, MOST), required=True),
    Column("minimum", whole(0, MOST)),
)


@dataclass(frozen=True, slots=True)
class StockRow:
    """One count; `minimum` None: the file says nothing of it."""

    row: int
    place_id: int
    part_id: int
    part: str
    stock: int
    minimum: int | None


def read_stock(path: Path) -> tuple[Table, list[StockRow]]:
    """The table of a stock file, and its good rows."""
    table = read_csv(path, COLUMNS)
    refuse_repeated(table, key=cells("place", "part"), column="part", once="each part once a place")
    places = dict(StockPlace.objects.values_list("code", "pk"))
    parts = dict(Part.objects.values_list("code", "pk"))
    good: list[StockRow] = []
    for row in table.rows:
        place, part = str(row.values["place"]), str(row.values["part"])
        if place not in places:
            table.refuse(row.number, "place", place, _one_of("a depot or truck", places))
        elif part not in parts:
            table.refuse(row.number, "part", part, _one_of("a part of the catalogue", parts))
        else:
            minimum = row.values["minimum"]
            least = None if minimum is None else int(str(minimum))
            stock = int(str(row.values["stock"]))
            good.append(StockRow(row.number, places[place], parts[part], part, stock, least))
    return table, good


def _one_of(what: str, known: dict[str, int]) -> str:
    """What was expected, with the first of those that there are."""
    return f"{what}: {', '.join(sorted(known)[:8]) or 'there is none yet'}"

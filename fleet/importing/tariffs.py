"""The tariffs file: prices of suppliers by tier."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final

from weather.importing.repeated import cells, refuse_repeated
from weather.importing.rows import CellError, Column, Table, day, number, read_csv, text


def currency(cell: str) -> str:
    """Three letters of ISO 4217."""
    if len(cell) != 3 or not cell.isalpha() or not cell.isascii():
        raise CellError("a currency of three letters (ISO 4217)")
    return cell.upper()


COLUMNS: Final = (
    Column("supplier", text(60), required=True),
    Column("from", day, required=True),
    Column("tier_from_m3", number(0, 1e6), default=0.0),
    Column("price_per_m3", number(0, 1e4), required=True),
    Column("currency", currency, required=True),
)


@dataclass(frozen=True, slots=True)
class TariffRow:
    """One tier."""

    row: int
    supplier: str
    starts_on: date
    tier_from_m3: float
    price_per_m3: float
    currency: str


def read_tariffs(path: Path) -> tuple[Table, list[TariffRow]]:
    """The table of a tariffs file, and its good rows."""
    table = read_csv(path, COLUMNS)
    tier_of = cells("supplier", "from", "tier_from_m3")
    refuse_repeated(table, key=tier_of, column="tier_from_m3", once="each tier once")
    good: list[TariffRow] = []
    currencies: dict[tuple[str, date], str] = {}
    for row in table.rows:
        values = row.values
        starts_on, tier, price = values["from"], values["tier_from_m3"], values["price_per_m3"]
        if not (isinstance(starts_on, date) and isinstance(tier, float) and isinstance(price, float)):
            raise TypeError("columns of the tariffs file are parsed by their kind")
        one = TariffRow(row.number, str(values["supplier"]), starts_on, tier, price, str(values["currency"]))
        wanted = currencies.setdefault((one.supplier, one.starts_on), one.currency)
        if wanted != one.currency:
            table.refuse(row.number, "currency", one.currency, f"{wanted}, as in the other tiers")
        else:
            good.append(one)
    return table, good

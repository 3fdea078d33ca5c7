"""The contracts file: what customers bought, one row a contract."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final

from fleet.calc.visits.contracts import CONTRACT_KINDS
from fleet.importing.tariffs import currency
from sites.importing.lookup import sites_by_code
from weather.importing.repeated import cells, refuse_repeated
from weather.importing.rows import Column, Row, Table, day, number, read_csv, text, whole

COLUMNS: Final = (
    Column("site", text(40), required=True),
    Column("first_day", day, required=True),
    Column("last_day", day, required=True),
    Column("price_per_year", number(0, 1e7), required=True),
    Column("currency", currency, default=""),
    Column("notice_days", whole(0, 730), default=30),
    Column("visits_any_kind", whole(0, 99), default=0),
    *(Column(f"visits_{kind}", whole(0, 99), default=0) for kind in CONTRACT_KINDS),
    Column("used_any_kind", whole(0, 99), default=0),
    *(Column(f"used_{kind}", whole(0, 99), default=0) for kind in CONTRACT_KINDS),
    Column("ended_why", text(200), default=""),
)


@dataclass(frozen=True, slots=True)
class ContractRow:
    """One contract; `values` by column, checked cell by cell."""

    row: int
    site: str
    site_id: int
    first_day: date
    last_day: date
    price: float
    currency: str
    counts: dict[str, int]
    ended_why: str


def read_contracts(path: Path) -> tuple[Table, list[ContractRow]]:
    """The table of a contracts file, and its good rows: known gardens, days in order, none over another."""
    table = read_csv(path, COLUMNS)
    refuse_repeated(
        table, key=cells("site", "first_day"), column="first_day", once="each first day once a garden"
    )
    sites = sites_by_code(table)
    good: list[ContractRow] = []
    by_site: dict[str, list[ContractRow]] = {}
    for row in table.rows:
        code = str(row.values["site"])
        site = sites.get(code)
        if site is None:
            table.refuse(row.number, "site", code, "a site of the book")
            continue
        one = _contract(row, site[0])
        other = next(
            (o for o in by_site.get(code, ()) if o.first_day <= one.last_day and one.first_day <= o.last_day),
            None,
        )
        lone = next((kind for kind in CONTRACT_KINDS if _uses_nothing_included(one, kind)), None)
        if one.last_day < one.first_day:
            table.refuse(row.number, "last_day", one.last_day, f"{one.first_day} or a later day")
        elif other is not None:
            table.refuse(
                row.number, "first_day", one.first_day,
                f"days beside those of row {other.row}, {other.first_day} to {other.last_day}",
            )  # fmt: skip
        elif lone is not None:
            table.refuse(
                row.number, f"used_{lone}", one.counts[f"used_{lone}"],
                f"0, since visits_{lone} is 0; count it under used_any_kind",
            )  # fmt: skip
        else:
            by_site.setdefault(code, []).append(one)
            good.append(one)
    return table, good


def _uses_nothing_included(one: ContractRow, kind: str) -> bool:
    """Whether visits of a kind were used that the contract does not include."""
    return one.counts[f"used_{kind}"] > 0 and one.counts[f"visits_{kind}"] == 0


def _contract(row: Row, site_id: int) -> ContractRow:
    """A row as a contract."""
    values = row.values
    first, last, price = values["first_day"], values["last_day"], values["price_per_year"]
    if not (isinstance(first, date) and isinstance(last, date) and isinstance(price, float)):
        raise TypeError("columns of the contracts file are parsed by their kind")
    names = ("notice_days", *(c.name for c in COLUMNS if c.name.startswith(("visits_", "used_"))))
    counts = {name: value for name in names if isinstance(value := values[name], int)}
    return ContractRow(
        row.number, str(values["site"]), site_id, first, last, price, str(values["currency"]), counts,
        str(values["ended_why"]),
    )  # fmt: skip

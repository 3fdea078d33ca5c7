"""Stock of parts by place, as the stock file has it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from fleet.selectors.company.stock import stock_table

COLUMNS: Final = ("place", "part", "stock", "minimum")


def rows() -> Iterator[dict[str, object]]:
    """A row a place and part; those that are nothing and should be nothing are left out."""
    for row in stock_table().rows:
        for one in row.held:
            if one.count or one.least is not None:
                yield {
                    "place": one.place.code,
                    "part": one.part.code,
                    "stock": one.count,
                    "minimum": "" if one.least is None else one.least,
                }

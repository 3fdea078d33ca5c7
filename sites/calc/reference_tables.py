"""Published reference tables of the ground, read once from `sites/tables`."""

from __future__ import annotations

import csv
from functools import cache
from importlib import resources

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


class ReferenceTableError(ValueError):
    """A reference table lacks a row or a column that the code needs."""


@cache
def table_rows(name: str) -> tuple[dict[str, str], ...]:
    """Rows of one reference table, each with its source.

    Parameters
    ----------
    name
        File name in `sites/tables` without its ending.
    """
    text = (resources.files("sites") / "tables" / f"{name}.csv").read_text(encoding="utf-8")
    rows = tuple(csv.DictReader(text.splitlines()))
    unsourced = [row for row in rows if not (row.get("source") or "").strip()]
    if not rows or unsourced:
        raise ReferenceTableError(f"table {name}: every row names its source")
    return rows


def table_column(name: str, key: str, keys: tuple[str, ...], column: str) -> FloatArray:
    """One numeric column of a reference table in the order of the given keys, (keys,).

    Parameters
    ----------
    name
        File name in `sites/tables` without its ending.
    key
        Column that holds the keys.
    keys
        Wanted keys, in the order of the result.
    column
        Numeric column; its unit is in its name.
    """
    by_key = {row[key]: row for row in table_rows(name)}
    missing = [wanted for wanted in keys if wanted not in by_key]
    if missing:
        raise ReferenceTableError(f"table {name} has no row for {', '.join(missing)}")
    return np.array([float(by_key[wanted][column]) for wanted in keys])

"""Cells of CSV files: no formulas, and back again."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weather.calc.csv_cells import FORMULA_SIGNS, plain_cell, safe_cell


@pytest.mark.parametrize(
    ("value", "cell"),
    [
        ("=1+1", "'=1+1"),
        ("@cmd", "'@cmd"),
        ("-3.5", "-3.5"),
        (-3.5, -3.5),
        (None, ""),
        (math.nan, ""),
        (True, "true"),
        ("CB-14", "CB-14"),
    ],
)
def test_a_cell_is_harmless_and_numbers_stay_numbers(value: object, cell: object) -> None:
    assert safe_cell(value) == cell


@given(st.text().map(str.strip).filter(lambda text: not text.startswith("'")))
def test_what_is_written_comes_back(text: str) -> None:
    cell = str(safe_cell(text))

    assert plain_cell(cell) == text
    assert not cell.startswith(FORMULA_SIGNS) or math.isfinite(float(cell)) or "n" in cell.lower()

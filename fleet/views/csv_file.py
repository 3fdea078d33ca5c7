"""A table as a CSV file to save."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from django.http import HttpResponse

from weather.calc.csv_cells import csv_lines


def csv_file(name: str, columns: Sequence[str], rows: Iterable[Sequence[object]]) -> HttpResponse:
    """A CSV file; cells that a spreadsheet would take for a formula are neutralised."""
    safe = "".join(sign for sign in name if sign.isalnum() or sign in "-_")
    text = "".join(csv_lines(columns, ([_rounded(value) for value in row] for row in rows)))
    answer = HttpResponse(text, content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{safe}.csv"'
    return answer


def _rounded(value: object) -> object:
    """Numbers with three decimals, anything else as it is."""
    return round(value, 3) if isinstance(value, float) else value

"""The technicians file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, time
from pathlib import Path
from typing import Final

from weather.importing.repeated import cells, refuse_repeated
from weather.importing.rows import CellError, Column, Row, Table, clock, number, read_csv, text, whole

WEEKDAYS: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def _weekdays(cell: str) -> str:
    """Weekdays in the order of the week."""
    days = [part.strip().lower() for part in cell.replace(";", ",").split(",") if part.strip()]
    if not days or any(day not in WEEKDAYS for day in days):
        raise CellError("weekdays as mon,tue,wed")
    return ",".join(day for day in WEEKDAYS if day in days)


def _days(cell: str) -> str:
    """ISO days, `;`-separated."""
    try:
        days = sorted({date.fromisoformat(part.strip()) for part in cell.split(";") if part.strip()})
    except ValueError:
        raise CellError("days as 2026-07-04;2026-07-05") from None
    return ";".join(day.isoformat() for day in days)


def words(longest: int) -> Callable[[str], str]:
    """A parser of words, `;`-separated, to words in order, each once, at most `longest` characters in all."""
    plain = text(longest)

    def parse(cell: str) -> str:
        return ";".join(sorted({part.strip().lower() for part in plain(cell).split(";") if part.strip()}))

    return parse


COLUMNS: Final = (
    Column("technician", text(40), required=True),
    Column("name", text(120), required=True),
    Column("start_latitude", number(-90, 90), required=True),
    Column("start_longitude", number(-180, 180), required=True),
    Column("end_latitude", number(-90, 90)),
    Column("end_longitude", number(-180, 180)),
    Column("shift_start", clock, required=True),
    Column("shift_end", clock, required=True),
    Column("workdays", _weekdays, required=True),
    Column("days_off", _days, default=""),
    Column("skills", words(200), default=""),
    Column("break_min", whole(0, 180), default=30),
    Column("login", text(150), default=""),
)


@dataclass(frozen=True, slots=True)
class TechnicianRow:
    """One technician; `columns` as the model has them."""

    row: int
    code: str
    login: str
    columns: dict[str, object]


def read_technicians(path: Path) -> tuple[Table, list[TechnicianRow]]:
    """The table of a technicians file, and its good rows."""
    table = read_csv(path, COLUMNS)
    refuse_repeated(table, key=cells("technician"), column="technician", once="each technician once")
    good: list[TechnicianRow] = []
    for row in table.rows:
        code = str(row.values["technician"])
        start, end = row.values["shift_start"], row.values["shift_end"]
        if isinstance(start, time) and isinstance(end, time) and end <= start:
            table.refuse(row.number, "shift_end", end, f"a time after {start:%H:%M}")
        elif ("end_latitude" in row.given) != ("end_longitude" in row.given):
            table.refuse(row.number, "end_longitude", "", "both of end_latitude and end_longitude, or none")
        else:
            good.append(_technician(row, code))
    return table, good


def _technician(row: Row, code: str) -> TechnicianRow:
    """A row as the model has it: the day ends where it starts unless the file says otherwise."""
    values = dict(row.values)
    login = str(values.pop("login"))
    values.pop("technician")
    if "end_latitude" not in row.given:
        values["end_latitude"], values["end_longitude"] = values["start_latitude"], values["start_longitude"]
    return TechnicianRow(row.number, code, login, values)

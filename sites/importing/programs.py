"""The programs file: what each controller is set to."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final

from sites.calc.program.days import DayPatternError, StartTimesError, parse_days, parse_starts, starts_text
from sites.importing.lookup import (
    KnownController,
    controllers_by_code,
    find_controller,
    sites_by_code,
    stations_with_zone,
)
from weather.importing.repeated import cells, refuse_repeated
from weather.importing.rows import CellError, Column, Row, Table, day, number, read_csv, text, whole

LETTERS: Final = "ABCDEFGH"


def _letter(cell: str) -> str:
    """A program letter."""
    if len(cell) != 1 or cell.upper() not in LETTERS:
        raise CellError("a program letter, A to H")
    return cell.upper()


# Columns of the programs export that an import reads over.
_PASSED_OVER: Final = (
    "week", "run_order", "cycles_per_event", "threshold_kpa_now", "threshold_kpa", "status", "week_depth_mm",
    "week_volume_l", "week_need_mm", "adequacy_pct", "lost_pct", "runoff_limit_min", "is_change", "reasons",
)  # fmt: skip
COLUMNS: Final = (
    Column("site", text(40), required=True),
    Column("controller", text(40), required=True),
    Column("program", _letter, required=True),
    Column("days", text(60), required=True),
    Column("starts", text(120), required=True),
    Column("station", whole(1, 200), required=True),
    Column("run_min", number(0, 1440), required=True),
    Column("seasonal_adjust_pct", number(0, 400), default=100.0),
    Column("as_of", day, required=True),
    *(Column(name, text(2_000)) for name in _PASSED_OVER),
)


@dataclass(frozen=True, slots=True)
class ProgramRow:
    """One station's line, checked against its controller."""

    row: int
    site: str
    controller: str
    controller_id: int
    as_of: date
    letter: str
    days: str
    starts: str
    station: int
    run_min: float
    seasonal_adjust_pct: float


def read_programs(path: Path) -> tuple[Table, list[ProgramRow]]:
    """The table of a programs file, and its good rows."""
    table = read_csv(path, COLUMNS)
    known = controllers_by_code(table)
    sites = sites_by_code(table)
    zones = stations_with_zone({controller.pk for controller in known.values()})
    line_of = cells("site", "controller", "as_of", "program", "station")
    refuse_repeated(table, key=line_of, column="station", once="each station once a program")
    good = []
    settings: dict[tuple[int, date, str], tuple[str, str, float]] = {}
    for row in table.rows:
        controller = find_controller(table, row, known, sites)
        line = _line(table, row, controller, zones) if controller else None
        if line is None or controller is None:
            continue
        program = (line.controller_id, line.as_of, line.letter)
        same = (line.days, line.starts, line.seasonal_adjust_pct)
        if settings.setdefault(program, same) != same:
            expected = "the same days, starts and adjust in all rows of a program"
            table.refuse(row.number, "starts", line.starts, expected)
            continue
        good.append(line)
    return table, good


def _line(
    table: Table, row: Row, controller: KnownController, zones: set[tuple[int, int]]
) -> ProgramRow | None:
    """The row as a line, or None with its problems noted."""
    values = row.values
    before = len(table.problems)
    as_of, station, minutes = values["as_of"], values["station"], values["run_min"]
    letter, days_text, starts = str(values["program"]), str(values["days"]), str(values["starts"])
    if not isinstance(as_of, date) or not isinstance(station, int) or not isinstance(minutes, float):
        raise TypeError("columns of the programs file are parsed by their kind")
    if LETTERS.index(letter) >= controller.program_count:
        table.refuse(row.number, "program", letter, f"A to {LETTERS[controller.program_count - 1]}")
    if station > controller.station_count:
        table.refuse(row.number, "station", station, f"a station up to {controller.station_count}")
    elif (controller.pk, station) not in zones:
        table.refuse(row.number, "station", station, "a station that has a zone in the book")
    if minutes > controller.max_run_min or minutes % controller.minute_step:
        allowed = f"at most {controller.max_run_min} min in steps of {controller.minute_step}"
        table.refuse(row.number, "run_min", f"{minutes:g}", allowed)
    try:
        parse_days(days_text, as_of)
    except DayPatternError as error:
        table.refuse(row.number, "days", days_text, str(error))
    try:
        parsed = parse_starts(starts)
        if len(parsed) > controller.starts_per_program:
            table.refuse(row.number, "starts", starts, f"at most {controller.starts_per_program} starts")
        starts = starts_text(parsed)
    except StartTimesError as error:
        table.refuse(row.number, "starts", starts, str(error))
    if len(table.problems) > before:
        return None
    adjust = values["seasonal_adjust_pct"]
    return ProgramRow(
        row=row.number,
        site=str(values["site"]),
        controller=str(values["controller"]),
        controller_id=controller.pk,
        as_of=as_of,
        letter=letter,
        days=days_text,
        starts=starts,
        station=station,
        run_min=minutes,
        seasonal_adjust_pct=float(adjust) if isinstance(adjust, (int, float)) else 100.0,
    )

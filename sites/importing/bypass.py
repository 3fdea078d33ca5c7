"""The bypass file: what the sensors did with the starts that the clocks offered."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Final

from sites.importing.lookup import KnownController, controllers_by_code, find_controller, sites_by_code
from sites.models import BypassLog
from sites.models.choices import LogMethod
from weather.importing.repeated import refuse_repeated
from weather.importing.rows import Column, Row, Table, choice, day, read_csv, text, whole

MOST_STARTS: Final = 10_000
LONGEST_PERIOD_DAYS: Final = 400
COLUMNS: Final = (
    Column("site", text(40), required=True),
    Column("controller", text(40), required=True),
    Column("date", day),
    Column("start", day),
    Column("end", day),
    Column("starts_bypassed", whole(0, MOST_STARTS), required=True),
    Column("starts_scheduled", whole(0, MOST_STARTS)),
    Column("starts_cut_short", whole(0, MOST_STARTS), default=0),
    Column("starts_skipped", whole(0, MOST_STARTS), default=0),
    Column("method", choice(LogMethod.values), default=LogMethod.LOGGER.value),
    Column("note", text(300), default=""),
)


@dataclass(frozen=True, slots=True)
class BypassRow:
    """One log, checked against its controller and its neighbours."""

    row: int
    site_id: int
    controller_id: int
    start: date
    end: date
    scheduled: int | None
    bypassed: int
    cut_short: int
    skipped: int
    method: str
    note: str


def read_bypass(path: Path, *, today: date) -> tuple[Table, list[BypassRow]]:
    """The table of a bypass file, and its good rows.

    Parameters
    ----------
    path
        The file.
    today
        Logs end today at the latest.
    """
    table = read_csv(path, COLUMNS)
    return table, check_bypass(table, today=today)


def check_bypass(table: Table, *, today: date) -> list[BypassRow]:
    """The good rows of a table of logs; problems are noted in it.

    Parameters
    ----------
    table
        Rows of `COLUMNS`.
    today
        Logs end today at the latest.
    """
    refuse_repeated(table, key=_known_by, column="date", once="each first day once a controller")
    known = controllers_by_code(table)
    sites = sites_by_code(table)
    checked = []
    for row in table.rows:
        controller = find_controller(table, row, known, sites)
        span = _span(table, row, today) if controller else None
        if controller is None or span is None or not _counts_fit(table, row, controller):
            continue
        checked.append(_as_log(row, controller, span))
    return _without_overlaps(table, checked)


def _known_by(row: Row) -> tuple[object, ...] | None:
    """A log is known by its controller and first day."""
    first = row.values.get("date") or row.values.get("start")
    known = (row.values.get("site"), row.values.get("controller"), first)
    return None if None in known else known


def _span(table: Table, row: Row, today: date) -> tuple[date, date] | None:
    """First day and the day after the last, or None with the problem noted."""
    single, start, end = (row.values[name] for name in ("date", "start", "end"))
    if isinstance(single, date) and start is None and end is None:
        start, end = single, single + timedelta(days=1)
    if not isinstance(start, date) or (single is not None and start != single):
        table.refuse(row.number, "date", single, "either date, or start and end")
        return None
    if not isinstance(end, date) or end <= start or (end - start).days > LONGEST_PERIOD_DAYS:
        table.refuse(row.number, "end", end, f"a day after {start}, at most {LONGEST_PERIOD_DAYS} days later")
        return None
    if end > today + timedelta(days=1):
        table.refuse(row.number, "date" if single else "end", single or end, f"no day after {today}")
        return None
    return start, end


def _counts_fit(table: Table, row: Row, controller: KnownController) -> bool:
    """Whether the counts are possible; problems are noted."""
    counts = _counts(row)
    scheduled = row.values["starts_scheduled"]
    if not controller.governed:
        table.refuse(
            row.number,
            "controller",
            row.values["controller"],
            "a controller that a sensor can block (governed)",
        )
        return False
    if isinstance(scheduled, int) and counts["starts_bypassed"] + counts["starts_skipped"] > scheduled:
        expected = f"bypassed and skipped together at most {scheduled}, the scheduled starts"
        table.refuse(row.number, "starts_bypassed", counts["starts_bypassed"], expected)
        return False
    if isinstance(scheduled, int) and sum(counts.values()) > scheduled:
        table.refuse(
            row.number, "starts_cut_short", counts["starts_cut_short"], "no more than the starts that ran"
        )
        return False
    return True


def _counts(row: Row) -> dict[str, int]:
    """The counts of a row."""
    names = ("starts_bypassed", "starts_cut_short", "starts_skipped")
    return {name: value for name in names if isinstance(value := row.values[name], int)}


def _as_log(row: Row, controller: KnownController, span: tuple[date, date]) -> BypassRow:
    """A row as a log."""
    counts = _counts(row)
    scheduled = row.values["starts_scheduled"]
    return BypassRow(
        row=row.number,
        site_id=controller.site_id,
        controller_id=controller.pk,
        start=span[0],
        end=span[1],
        scheduled=scheduled if isinstance(scheduled, int) else None,
        bypassed=counts["starts_bypassed"],
        cut_short=counts["starts_cut_short"],
        skipped=counts["starts_skipped"],
        method=str(row.values["method"]),
        note=str(row.values["note"]),
    )


def _without_overlaps(table: Table, logs: list[BypassRow]) -> list[BypassRow]:
    """The logs that overlap no other row or stored log; a stored one of the same first day is replaced."""
    stored: dict[int, list[tuple[date, date]]] = {}
    for controller_id, start, end in BypassLog.objects.filter(
        controller_id__in={log.controller_id for log in logs}
    ).values_list("controller_id", "start", "end"):
        stored.setdefault(controller_id, []).append((start, end))
    good = []
    by_controller: dict[int, list[BypassRow]] = {}
    for log in logs:
        by_controller.setdefault(log.controller_id, []).append(log)
    for controller_id, own in by_controller.items():
        own.sort(key=lambda log: (log.start, log.row))
        starts = {log.start for log in own}
        others = sorted(span for span in stored.get(controller_id, []) if span[0] not in starts)
        good += _clear_of(table, own, others)
    return sorted(good, key=lambda log: log.row)


def _clear_of(table: Table, own: list[BypassRow], others: list[tuple[date, date]]) -> list[BypassRow]:
    """Logs of one controller, in order, that are clear of each other and of stored spans."""
    good: list[BypassRow] = []
    at = 0
    for log in own:
        while at < len(others) and others[at][1] <= log.start:
            at += 1
        clash: tuple[date, date] | None = None
        if good and good[-1].end > log.start:
            clash = (good[-1].start, good[-1].end)
        elif at < len(others) and others[at][0] < log.end:
            clash = others[at]
        if clash is None:
            good.append(log)
        else:
            expected = f"days that no other log covers (one runs from {clash[0]} to {clash[1]})"
            table.refuse(log.row, "date", log.start, expected)
    return good

"""Volumes of hours or quarters of an hour in a meter file, added up to days of the garden's own clock."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from weather.importing.rows import CellError, Row, Table, day, moment


def day_or_moment(cell: str) -> date | datetime:
    """A date, or the date and time at which an interval begins or ends."""
    try:
        return day(cell)
    except CellError as no_day:
        if len(cell) <= len("2026-06-14"):
            raise
        try:
            return moment(cell)
        except CellError:
            raise CellError(f"{no_day}, or with a time as 2026-06-14T09:30") from None


def rows_by_day(table: Table, sites: Mapping[str, tuple[int, ZoneInfo]]) -> list[Row]:
    """Rows whose periods are whole days: those of dates as they are, intervals added up.

    A day counts where its intervals follow one another from midnight to midnight; else it is refused at its
    first interval, since a part of a day is no volume of a day.

    Parameters
    ----------
    table
        The file.
    sites
        Number and clock of each site by its code.
    """
    found: list[Row] = []
    days: dict[tuple[object, object, object, date], list[tuple[datetime, datetime, Row]]] = {}
    for row in table.rows:
        clock = sites[str(row.values["site"])][1] if str(row.values["site"]) in sites else ZoneInfo("UTC")
        start, end = (_local(row.values[name], clock) for name in ("start", "end"))
        if start is None or end is None or (_is_midnight(start) and _is_midnight(end)):
            found.append(_as_days(row, start, end))
            continue
        key = (row.values["site"], row.values["meter"], row.values["unit"], start.date())
        days.setdefault(key, []).append((start, end, row))
    for key, spans in days.items():
        spans.sort(key=lambda span: span[0].astimezone(UTC))
        whole = _whole_day(spans, key[3])
        if whole is None:
            first = spans[0][2]
            expected = f"intervals that follow one another from 00:00 to 24:00 of {key[3]}"
            table.refuse(first.number, "start", first.values["start"], expected)
        else:
            found.append(whole)
    return found


def _local(value: object, clock: ZoneInfo) -> datetime | None:
    """A moment by the garden's clock; None for a date or nothing."""
    if not isinstance(value, datetime):
        return None
    return value.replace(tzinfo=clock) if value.tzinfo is None else value.astimezone(clock)


def _is_midnight(at: datetime) -> bool:
    """Whether a moment is a midnight."""
    return at.time() == time(0)


def _as_days(row: Row, start: datetime | None, end: datetime | None) -> Row:
    """A row with dates where it came with midnights."""
    days = {name: at.date() for name, at in (("start", start), ("end", end)) if at is not None}
    return replace(row, values={**row.values, **days}) if days else row


def _whole_day(spans: list[tuple[datetime, datetime, Row]], on: date) -> Row | None:
    """A day's intervals as one row; None where they leave a gap, overlap or reach beyond it."""
    clock = spans[0][0].tzinfo
    edges = [datetime.combine(on + timedelta(days=n), time(0), tzinfo=clock).astimezone(UTC) for n in (0, 1)]
    starts = [start.astimezone(UTC) for start, _, _ in spans]
    ends = [end.astimezone(UTC) for _, end, _ in spans]
    rows = [row for _, _, row in spans]
    if starts[0] != edges[0] or ends[-1] != edges[1] or [*starts[1:]] != [*ends[:-1]]:
        return None
    if any(a >= b for a, b in pairwise([edges[0], *ends])):
        return None
    kinds = {str(row.values["read_kind"]) for row in rows}
    volume = sum(float(str(row.values["volume"])) for row in rows)
    return replace(
        rows[0],
        values={
            **rows[0].values,
            "start": on,
            "end": on + timedelta(days=1),
            "volume": volume,
            "read_kind": "estimated" if "estimated" in kinds else "actual",
        },
    )

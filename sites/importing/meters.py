"""The meter file (volumes of periods) and the readings file (registers)."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Final

from sites.importing.lookup import sites_by_code
from sites.importing.meter_intervals import day_or_moment, rows_by_day
from sites.models import MeterVolume
from sites.models.choices import MeterKind
from sites.models.meter import MeterReading
from weather.calc.units import litres_per_unit
from weather.importing.repeated import cells, refuse_repeated
from weather.importing.rows import Column, Row, Table, choice, moment, number, read_csv, text, whole

UNITS: Final = ("l", "m3", "gal", "kgal", "ccf")
VOLUME_COLUMNS: Final = (
    Column("site", text(40), required=True),
    Column("start", day_or_moment, required=True),
    Column("end", day_or_moment, required=True),
    Column("volume", number(0, 1e9), required=True),
    Column("unit", choice(UNITS), required=True),
    Column("meter", choice(MeterKind.values), default=MeterKind.IRRIGATION.value),
    Column("read_kind", choice(MeterReading.ReadKind.values), default=MeterReading.ReadKind.ACTUAL.value),
)
READING_COLUMNS: Final = (
    Column("site", text(40), required=True),
    Column("meter_id", text(40), required=True),
    Column("read_at", moment, required=True),
    Column("reading", number(0, 1e12), required=True),
    Column("unit", choice(UNITS), required=True),
    Column("digits", whole(1, 12)),
    Column("read_kind", choice(MeterReading.ReadKind.values), default=MeterReading.ReadKind.ACTUAL.value),
    Column("event", choice([event for event in MeterReading.Event.values if event]), default=""),
    Column("meter", choice(MeterKind.values), default=MeterKind.IRRIGATION.value),
)


@dataclass(frozen=True, slots=True)
class VolumeRow:
    """Water of one period."""

    row: int
    site_id: int
    kind: str
    start: date
    end: date
    volume: float
    volume_l: float
    unit: str
    is_estimated: bool


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """A register at a moment."""

    row: int
    site_id: int
    kind: str
    meter_code: str
    read_at: datetime
    reading: float
    unit: str
    digits: int | None
    read_kind: str
    event: str


def read_volumes(path: Path, *, today: date) -> tuple[Table, list[VolumeRow]]:
    """The table of a meter file, and its good rows: known sites, periods that do not overlap."""
    table = read_csv(path, VOLUME_COLUMNS)
    return table, check_volumes(table, today=today)


def check_volumes(table: Table, *, today: date) -> list[VolumeRow]:
    """The good rows of a table of volumes; problems are noted in it."""
    refuse_repeated(
        table, key=cells("site", "meter", "start"), column="start", once="each first day once a meter"
    )
    sites = sites_by_code(table)
    checked = []
    for row in rows_by_day(table, sites):
        site = sites.get(str(row.values["site"]))
        start, end, volume = row.values["start"], row.values["end"], row.values["volume"]
        if site is None:
            table.refuse(row.number, "site", row.values["site"], "a site of the book")
        elif (
            not (isinstance(start, date) and isinstance(end, date) and isinstance(volume, float))
            or end <= start
        ):
            table.refuse(row.number, "end", end, f"a day after {start}")
        elif end > today + timedelta(days=1):
            table.refuse(row.number, "end", end, f"no day after {today}")
        else:
            unit = str(row.values["unit"])
            checked.append(
                VolumeRow(
                    row.number,
                    site[0],
                    str(row.values["meter"]),
                    start,
                    end,
                    volume,
                    volume * litres_per_unit(unit),
                    unit,
                    row.values["read_kind"] == MeterReading.ReadKind.ESTIMATED,
                )
            )
    return _periods_apart(table, checked)


def _periods_apart(table: Table, rows: list[VolumeRow]) -> list[VolumeRow]:
    """The periods clear of each other and of stored ones; one with a stored first day replaces it."""
    stored: dict[tuple[int, str], list[tuple[date, date]]] = {}
    for site_id, kind, start, end in MeterVolume.objects.filter(
        meter__site_id__in={row.site_id for row in rows}
    ).values_list("meter__site_id", "meter__kind", "start", "end"):
        stored.setdefault((site_id, kind), []).append((start, end))
    by_meter: dict[tuple[int, str], list[VolumeRow]] = {}
    for row in rows:
        by_meter.setdefault((row.site_id, row.kind), []).append(row)
    good: list[VolumeRow] = []
    for meter, own in by_meter.items():
        own.sort(key=lambda row: (row.start, row.row))
        starts = {row.start for row in own}
        others = [span for span in stored.get(meter, []) if span[0] not in starts]
        last: VolumeRow | None = None
        for row in own:
            clash = next((span for span in others if span[0] < row.end and span[1] > row.start), None)
            if last is not None and last.end > row.start:
                clash = (last.start, last.end)
            if clash is not None:
                expected = f"a period clear of the one from {clash[0]} to {clash[1]}"
                table.refuse(row.row, "start", row.start, expected)
                continue
            good.append(row)
            last = row
    return sorted(good, key=lambda row: row.row)


def read_readings(path: Path, *, now: datetime) -> tuple[Table, list[ReadingRow]]:
    """The table of a readings file, and its good rows: known sites, one unit a meter, never falling."""
    table = read_csv(path, READING_COLUMNS)
    return table, check_readings(table, now=now)


def check_readings(table: Table, *, now: datetime) -> list[ReadingRow]:
    """The good rows of a table of readings; problems are noted in it."""
    reading_of = cells("site", "meter", "meter_id", "read_at", "event")
    refuse_repeated(table, key=reading_of, column="read_at", once="each moment once")
    sites = sites_by_code(table)
    checked = []
    for row in table.rows:
        site = sites.get(str(row.values["site"]))
        read_at, reading = row.values["read_at"], row.values["reading"]
        if site is None:
            table.refuse(row.number, "site", row.values["site"], "a site of the book")
            continue
        if not isinstance(read_at, datetime) or not isinstance(reading, float):
            raise TypeError("columns of the readings file are parsed by their kind")
        at = (read_at if read_at.tzinfo else read_at.replace(tzinfo=site[1])).astimezone(UTC)
        if at > now:
            table.refuse(row.number, "read_at", read_at, f"no moment after {now:%Y-%m-%d %H:%M}")
            continue
        if not _fits_digits(table, row, reading):
            continue
        digits = row.values["digits"]
        checked.append(
            ReadingRow(
                row.number, site[0], str(row.values["meter"]), str(row.values["meter_id"]), at, reading,
                str(row.values["unit"]), digits if isinstance(digits, int) else None,
                str(row.values["read_kind"]), str(row.values["event"]),
            )
        )  # fmt: skip
    return _one_register(table, checked)


def _fits_digits(table: Table, row: Row, reading: float) -> bool:
    """Whether the register can show the reading."""
    digits = row.values["digits"]
    if isinstance(digits, int) and reading >= 10**digits:
        table.refuse(
            row.number, "reading", reading, f"below {10**digits}, as a register of {digits} digits shows"
        )
        return False
    return True


def _one_register(table: Table, rows: list[ReadingRow]) -> list[ReadingRow]:
    """Readings that belong to one register each: one unit, each moment once, and never falling by itself.

    Stored readings stand in the same order, with row 0; those that the file replaces do not count.
    """
    good: list[ReadingRow] = []
    last: dict[tuple[int, str], ReadingRow] = {}
    for row in sorted([*rows, *_stored_readings(rows)], key=_place):
        meter = (row.site_id, row.meter_code)
        before = last.get(meter)
        if before is None or _follows(table, before, row):
            last[meter] = row
            if row.row:
                good.append(row)
    return sorted(good, key=lambda row: row.row)


def _place(row: ReadingRow) -> tuple[int, str, datetime, bool, int]:
    """Order of readings: by meter, by moment, at a swap the old register first."""
    return (row.site_id, row.meter_code, row.read_at, row.event != "", row.row)


def _stored_readings(rows: list[ReadingRow]) -> list[ReadingRow]:
    """What the store knows of the file's meters, without what the file replaces."""
    replaced = {(row.site_id, row.meter_code, row.read_at, row.event) for row in rows}
    meters = {key[:2] for key in replaced}
    stored = MeterReading.objects.filter(meter__site_id__in={row.site_id for row in rows}).values_list(
        "meter__site_id", "meter__kind", "meter__code", "read_at", "reading", "unit", "digits", "read_kind",
        "event",
    )  # fmt: skip
    known = (ReadingRow(0, *values) for values in stored)
    return [
        row
        for row in known
        if (row.site_id, row.meter_code) in meters
        and (row.site_id, row.meter_code, row.read_at, row.event) not in replaced
    ]


def _follows(table: Table, before: ReadingRow, row: ReadingRow) -> bool:
    """Whether a reading may stand after the one before it; of two, the file's is refused, not the store's."""
    if not before.row and not row.row:
        return True
    at, other = (row, before) if row.row else (before, row)
    where = f"row {other.row}" if other.row else f"the stored reading of {other.read_at:%Y-%m-%d %H:%M}"
    if before.unit != row.unit and not row.event:  # an exchanged register may count in another unit
        table.refuse(at.row, "unit", at.unit, f"{other.unit}, as {where}")
    elif before.read_at == row.read_at and before.event == row.event:
        table.refuse(at.row, "read_at", at.read_at.isoformat(), f"each moment once (also {where})")
    elif row.reading < before.reading and not _may_fall(before, row):
        bound = "at least" if at is row else "at most"
        expected = f"{bound} {other.reading:g} of {where}, or digits (roll-over), or an event"
        table.refuse(at.row, "reading", f"{at.reading:g}", expected)
    else:
        return True
    return at is before


def _may_fall(before: ReadingRow, row: ReadingRow) -> bool:
    """Whether a lower reading has a reason: a swap or reset, an estimate, or a register that rolls over."""
    guessed = MeterReading.ReadKind.ESTIMATED in (before.read_kind, row.read_kind)
    return bool(row.event or before.event or row.digits or guessed)

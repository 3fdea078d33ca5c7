"""The visits file: jobs asked for and windows promised."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from fleet.importing.technicians import words
from fleet.models import VisitKind
from sites.importing.lookup import sites_by_code
from weather.importing.repeated import Key, refuse_repeated
from weather.importing.rows import Column, Row, Table, choice, moment, number, read_csv, text, whole

# `log_missing` is raised by the stages only.
KINDS: Final = tuple(kind for kind in VisitKind.values if kind != VisitKind.LOG_MISSING)
COLUMNS: Final = (
    Column("site", text(40), required=True),
    Column("kind", choice(KINDS), required=True),
    Column("service_min", number(1, 720)),
    Column("earliest", moment),
    Column("latest", moment),
    Column("skill", words(200), default=""),
    Column("value_per_day", number(0, 1e6)),
    Column("priority", whole(1, 5)),
    Column("note", text(300), default=""),
)


@dataclass(frozen=True, slots=True)
class VisitRow:
    """One visit asked for; moments in UTC, None where the file has nothing."""

    row: int
    site: str
    site_id: int
    kind: str
    service_min: float | None
    earliest: datetime | None
    latest: datetime | None
    skill: str
    value_per_day: float | None
    priority: int | None
    note: str
    day: date | None  # site-local, of the earliest moment


def read_visits(path: Path) -> tuple[Table, list[VisitRow]]:
    """The table of a visits file, and its good rows."""
    table = read_csv(path, COLUMNS)
    sites = sites_by_code(table)
    refuse_repeated(table, key=_known_by(sites), column="kind", once="each kind once a site and day")
    good: list[VisitRow] = []
    for row in table.rows:
        site = sites.get(str(row.values["site"]))
        if site is None:
            table.refuse(row.number, "site", row.values["site"], "a site of the book")
            continue
        visit = _visit(row, site[0], *(_utc(row.values[name], site[1]) for name in ("earliest", "latest")))
        if visit.earliest and visit.latest and visit.latest < visit.earliest:
            table.refuse(
                row.number, "latest", row.values["latest"], f"a moment after {row.values['earliest']}"
            )
        else:
            good.append(visit)
    return table, good


def _known_by(sites: Mapping[str, tuple[int, ZoneInfo]]) -> Key:
    """A visit is known by site, kind and the site's day."""

    def key(row: Row) -> tuple[str, str, date | None] | None:
        site, kind = row.values.get("site"), row.values.get("kind")
        known = sites.get(str(site))
        if known is None or kind is None or "earliest" not in row.values:
            return None
        return str(site), str(kind), _utc(row.values["earliest"], known[1])[1]

    return key


def _utc(value: object, zone: object) -> tuple[datetime | None, date | None]:
    """A moment in UTC and its site-local day; a naive one is site-local."""
    if not isinstance(value, datetime):
        return None, None
    local = value if value.tzinfo else value.replace(tzinfo=zone)  # type: ignore[arg-type]
    return local.astimezone(UTC), local.date()


def _visit(
    row: Row,
    site_id: int,
    earliest: tuple[datetime | None, date | None],
    latest: tuple[datetime | None, date | None],
) -> VisitRow:
    """A row as a visit."""
    values = row.values
    service, value, priority = values["service_min"], values["value_per_day"], values["priority"]
    return VisitRow(
        row=row.number,
        site=str(values["site"]),
        site_id=site_id,
        kind=str(values["kind"]),
        service_min=service if isinstance(service, float) else None,
        earliest=earliest[0],
        latest=latest[0],
        skill=str(values["skill"]),
        value_per_day=value if isinstance(value, float) else None,
        priority=priority if isinstance(priority, int) else None,
        note=str(values["note"]),
        day=earliest[1],
    )

"""Generated rows thrown at each importer: nothing breaks or is half written; refusals name row and column."""

from __future__ import annotations

import csv
import random
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from fleet.models import Tariff, Technician, VisitNeed
from fleet.services.bring.kinds import KINDS, Moment
from sites.models import BypassLog, Change, MeterReading, MeterVolume, ProgramSet
from tests.conftest import DAY, NOW
from tests.factories import build_controller, build_site, build_zone
from weather.models import DailyWeather

pytestmark = pytest.mark.django_db
ROWS_IN_CI = 2_000
ROWS_IN_BENCHMARK = 100_000
TABLES = [kind for kind, one in KINDS.items() if one.columns]
STORED = (
    BypassLog,
    Change,
    DailyWeather,
    MeterReading,
    MeterVolume,
    ProgramSet,
    Tariff,
    Technician,
    VisitNeed,
)
ODD = (
    "", " ", "nan", "inf", "-1", "1e400", "1_000", "0x10", "=1+1", "@x", "'+1", "\u0663", "A/B", "x" * 500,
    "\t", "2026-02-30", "2026-13-01", "24:00", "25:61", "mon,,", "every:0@2026-01-01", "9" * 30, "<b>",
    "${1}", "\u202e",
)  # fmt: skip
GOOD = {
    "site": ("CB-14", "CB-99"), "controller": ("A",), "program": ("A",), "days": ("odd", "mon,wed"),
    "starts": ("04:00",), "station": ("1", "2"), "run_min": ("12",), "as_of": ("2026-05-01",),
    "date": ("2026-06-01", "2026-06-02"), "start": ("2026-05-01",), "end": ("2026-05-08",),
    "starts_bypassed": ("1", "0"), "starts_scheduled": ("4",), "method": ("logger",), "volume": ("12",),
    "unit": ("gal", "m3"), "meter": ("irrigation",), "meter_id": ("M1",), "reading": ("100", "120"),
    "read_at": ("2026-06-01T09:30", "2026-06-02T09:30"), "technician": ("T1", "T2"), "name": ("Ines",),
    "start_latitude": ("41.2",), "start_longitude": ("-104.7",), "shift_start": ("07:30",),
    "shift_end": ("16:30",), "workdays": ("mon,tue",), "kind": ("repair", "observed"), "supplier": ("Wend",),
    "from": ("2026-01-01",), "price_per_m3": ("1.2",), "currency": ("USD",), "location": ("yard",),
    "latitude": ("41.2",), "longitude": ("-104.7",), "elevation_m": ("1800",),
    "tmin_c": ("8",), "tmax_c": ("24",),
}  # fmt: skip


def thrown(kind: str, count: int, seed: int) -> Iterator[dict[str, str]]:
    """Rows whose cells are mostly right, so that every later check is reached too."""
    chance = random.Random(seed)
    names = [column.name for column in KINDS[kind].columns]
    for _ in range(count):
        row = {name: chance.choice(GOOD.get(name, ("",))) for name in names}
        for name in chance.sample(names, chance.choice((0, 0, 1, 1, 2, 4))):
            row[name] = chance.choice(ODD)
        yield row


def file_of(path: Path, kind: str, count: int, seed: int) -> Path:
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, [column.name for column in KINDS[kind].columns])
        writer.writeheader()
        writer.writerows(thrown(kind, count, seed))
    return path


def counts() -> list[int]:
    return [model.objects.count() for model in STORED]


def throw(kind: str, folder: Path, count: int) -> None:
    controller = build_controller(build_site(), max_run_min=60)
    build_zone(controller, 1)
    path = file_of(folder / f"{kind}.csv", kind, count, seed=7)
    moment = Moment("test", NOW, DAY, "America/Denver")
    before = counts()

    report = KINDS[kind].bring(path, moment, False, False)

    assert report.problems
    assert not report.written
    assert counts() == before
    names = {column.name for column in KINDS[kind].columns}
    nameless = [one for one in report.problems if not (2 <= one.row <= count + 1) or one.column not in names]
    assert nameless == []
    assert all(one.expected for one in report.problems)
    kept = KINDS[kind].bring(path, moment, False, True)
    again = KINDS[kind].bring(path, moment, False, True)
    assert kept.written
    assert (again.added, again.changed) == (0, 0)


@pytest.mark.parametrize("kind", TABLES)
def test_rows_thrown_at_an_importer(kind: str, tmp_path: Path) -> None:
    throw(kind, tmp_path, ROWS_IN_CI)


@pytest.mark.benchmark
@pytest.mark.parametrize("kind", TABLES)
def test_many_rows_thrown_at_an_importer(kind: str, tmp_path: Path) -> None:
    began = datetime.now(UTC)
    throw(kind, tmp_path, ROWS_IN_BENCHMARK)
    print(f"{kind}: {ROWS_IN_BENCHMARK:,} rows, three times, in {datetime.now(UTC) - began}")  # noqa: T201

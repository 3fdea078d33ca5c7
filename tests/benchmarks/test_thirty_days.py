"""Thirty days of a company in one worker process: prints memory by day, and holds that it does not grow."""

from __future__ import annotations

import csv
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest

from tests.pipeline.installation import Installation, installation, wait_for

GARDENS = 24
DAYS = 30
# What happened 52 weeks ago happens again, on the same day of the week.
YEAR = timedelta(days=364)
# A process fills what it keeps once in its first days; from then on it may grow by so much in twenty days.
SETTLED_DAY = 10
MOST_GROWTH = 1.03
ASK = """
from datetime import date, timedelta
from fleet.services.run_day import NIGHT
from fleet.tasks import queue_stage
for number in range(1, COUNT + 1):
    queue_stage(stage=NIGHT, scope='all', day=date.fromisoformat('TODAY') + timedelta(days=number))
"""
pytestmark = [
    pytest.mark.benchmark,
    pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="reads the memory from /proc"),
]


def test_thirty_days_of_one_worker_do_not_grow(tmp_path: Path) -> None:
    with installation(tmp_path) as here:
        here.manage("demo", "--no-serve", "--sites", str(GARDENS))
        first = here.rows("select demo_today from fleet_company")[0][0]
        today = first if isinstance(first, date) else date.fromisoformat(first)
        _bring_the_days(here, tmp_path, today)
        here.shell(ASK.replace("TODAY", today.isoformat()).replace("COUNT", str(DAYS)))
        worker = here.worker()
        used_mb = []
        for number in range(1, DAYS + 1):
            day = today + timedelta(days=number)
            wait_for(_is_over(here, day), 600)
            child = _child(worker.pid)
            used_mb.append(_resident_mb(child))
            print(f"{day}: process {child}, {used_mb[-1]:.0f} MB", flush=True)  # noqa: T201

    settled, last = used_mb[SETTLED_DAY - 1], used_mb[-1]
    print(f"from day {SETTLED_DAY} to day {DAYS}: {settled:.0f} to {last:.0f} MB")  # noqa: T201
    assert last < settled * MOST_GROWTH


def _bring_the_days(here: Installation, data: Path, today: date) -> None:
    """Weather and logs of the days to come, as those of 52 weeks before."""
    days = {(today + timedelta(days=number) - YEAR).isoformat() for number in range(DAYS)}
    for name in ("weather", "bypass"):
        with (data / "demo" / f"{name}.csv").open(encoding="utf-8") as file:
            lines = csv.DictReader(file)
            columns = lines.fieldnames or ()
            rows = [
                {**row, "date": (date.fromisoformat(row["date"]) + YEAR).isoformat()}
                for row in lines
                if row["date"] in days and row.get("kind", "observed") == "observed"
            ]
        path = data / f"{name}-to-come.csv"
        with path.open("w", encoding="utf-8", newline="") as file:
            written = csv.DictWriter(file, columns)
            written.writeheader()
            written.writerows(rows)
        here.manage(f"import_{name}", str(path))


def _is_over(here: Installation, day: date) -> Callable[[], bool]:
    """Whether the night went through."""
    query = f"select state from fleet_stagerun where stage = 'run_day' and day = '{day}'"  # noqa: S608

    def look() -> bool:
        states = [row[0] for row in here.rows(query)]
        assert states != ["failed"], here.rows("select stage, error from fleet_stagerun where error <> ''")
        return states == ["done"]

    return look


def _child(pid: int) -> int:
    """The process that works: the one child of the worker, the same every day."""
    found = Path(f"/proc/{pid}/task/{pid}/children").read_text(encoding="utf-8").split()
    assert len(found) == 1, found
    return int(found[0])


def _resident_mb(pid: int) -> float:
    """Memory in use [MB]."""
    status = Path(f"/proc/{pid}/status").read_text(encoding="utf-8")
    return int(status.split("VmRSS:")[1].split()[0]) / 1024

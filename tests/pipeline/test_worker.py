"""A real worker on a real broker: what is asked for is done, once, by a process of its own."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
ASK = (
    "from datetime import date; from fleet.tasks import queue_stage; "
    "print(queue_stage(stage='assign_locations', scope='all', day=date(2026, 6, 15)))"
)


def _manage(data: Path, *words: str) -> str:
    done = subprocess.run(
        [sys.executable, "manage.py", *words],
        cwd=ROOT,
        env={**os.environ, "ROOTROUND_DATA": str(data), "DATABASE_URL": "", "CELERY_BROKER_URL": ""}
        | _own(data),
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout


def _own(data: Path) -> dict[str, str]:
    return {
        "DATABASE_URL": f"sqlite:///{data / 'own.sqlite3'}",
        "CELERY_BROKER_URL": f"sqla+sqlite:///{data / 'broker.sqlite3'}",
    }


def _state(data: Path) -> str:
    with sqlite3.connect(data / "own.sqlite3") as database:
        row = database.execute("select state from fleet_stagerun where stage = 'assign_locations'").fetchone()
    return str(row[0]) if row else ""


def test_a_stage_that_was_asked_for_is_done_by_the_worker(tmp_path: Path) -> None:
    _manage(tmp_path, "migrate", "--verbosity", "0")
    worker = subprocess.Popen(
        [sys.executable, "-m", "celery", "-A", "fleet.config.celery", "worker", "-c", "1", "-l", "error"],
        cwd=ROOT,
        env={**os.environ, "ROOTROUND_DATA": str(tmp_path)} | _own(tmp_path),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        _manage(tmp_path, "shell", "--no-imports", "-c", ASK)
        for _ in range(240):
            if _state(tmp_path) == "done":
                break
            time.sleep(0.25)
        assert _state(tmp_path) == "done"
    finally:
        worker.terminate()
        worker.wait(timeout=30)

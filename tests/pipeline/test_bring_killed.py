"""A worker that is killed in the middle of saving a file: nothing is lost, nothing doubled."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from tests.sites.importing.book_files import small_book

ROOT = Path(__file__).resolve().parent.parent.parent
BRING = """
import sys
from datetime import date
from pathlib import Path
from django.utils import timezone
from fleet.models import Company
from fleet.services.bring.ask import ask_save
from fleet.services.bring.uploads import keep_upload, take_upload, upload_folder
from dataclasses import replace
Company.objects.create(pk=1, name="Marlow", timezone="America/Denver")
now, folder = timezone.now(), upload_folder()
with open(sys.argv[-1], "rb") as file:
    upload = take_upload(folder=folder, name="book.geojson", chunks=[file.read()], owner="hana", now=now)
upload = replace(upload, kind="book", is_plain=True)
keep_upload(folder=folder, upload=upload)
print(ask_save(folder=folder, upload=upload, keep_good=False, by="hana", day=date(2026, 6, 15), now=now))
"""
WORK = """
import os, signal, sys
from datetime import timedelta
from django.utils import timezone
from fleet.services.bring import runs as bring_runs
from fleet.services.bring.ask import revive_lost_brings
from fleet.services.run_day import work_on
from fleet.services.stage_runs import runs_to_do
from fleet.services.bring.uploads import upload_folder
deadly, tell = os.environ["DEADLY_STEP"], bring_runs._Telling.__call__
def told(self, step, share):
    tell(self, step, share)
    if step == deadly:
        os.kill(os.getpid(), signal.SIGKILL)
bring_runs._Telling.__call__ = told
later = timezone.now() + timedelta(minutes=3)
revive_lost_brings(folder=upload_folder(), now=later)
for run_id in runs_to_do(now=later):
    work_on(run_id=run_id, clock=timezone.now)
"""
TABLES = ("sites_site", "sites_controller", "sites_zone", "sites_sensor", "sites_wire", "sites_change")


def _run(data: Path, code: str, *, step: str = "", argument: str = "", check: bool = True) -> int:
    script = data / "script.py"
    setup = (
        "import os, sys; sys.path.insert(0, os.getcwd())\n"
        "os.environ['DJANGO_SETTINGS_MODULE'] = 'fleet.config.settings'\n"
        "import django; django.setup()\n"
    )
    script.write_text(setup + code)
    own = {
        "ROOTROUND_DATA": str(data),
        "DATABASE_URL": f"sqlite:///{data / 'own.sqlite3'}",
        "CELERY_BROKER_URL": f"sqla+sqlite:///{data / 'broker.sqlite3'}",
        "DEADLY_STEP": step,
    }
    done = subprocess.run(
        [sys.executable, str(script), argument], cwd=ROOT, env=os.environ | own, check=False
    )
    assert not check or done.returncode == 0
    return done.returncode


def _counts(data: Path) -> dict[str, int]:
    with sqlite3.connect(data / "own.sqlite3") as database:
        return {
            table: database.execute(f"select count(*) from {table}").fetchone()[0]  # noqa: S608
            for table in TABLES
        }


def _run_row(data: Path) -> tuple[str, int]:
    with sqlite3.connect(data / "own.sqlite3") as database:
        row = database.execute(
            "select state, attempt from fleet_stagerun where stage = 'save_file'"
        ).fetchone()
    return str(row[0]), int(row[1])


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated database with nothing in it."""
    data = tmp_path_factory.mktemp("bring")
    _run(data, "from django.core.management import call_command; call_command('migrate', verbosity=0)")
    return data


@pytest.mark.parametrize("step", ["looking at single shapes", "writing: zone", "writing: backflow_preventer"])
def test_a_killed_worker_loses_and_doubles_nothing(empty: Path, tmp_path: Path, step: str) -> None:
    with sqlite3.connect(empty / "own.sqlite3") as source, sqlite3.connect(tmp_path / "own.sqlite3") as own:
        source.backup(own)
    book = tmp_path / "book.geojson"
    book.write_text(json.dumps({"type": "FeatureCollection", "features": small_book()}))
    _run(tmp_path, BRING, argument=str(book))

    assert _run(tmp_path, WORK, step=step, check=False) == -signal.SIGKILL
    assert set(_counts(tmp_path).values()) == {0}
    assert _run_row(tmp_path) == ("running", 1)

    _run(tmp_path, WORK)
    _run(tmp_path, WORK)

    assert _run_row(tmp_path) == ("done", 2)
    kinds = [one["properties"]["kind"] for one in small_book()]
    assert _counts(tmp_path) == {
        "sites_site": kinds.count("site"),
        "sites_controller": kinds.count("controller"),
        "sites_zone": kinds.count("zone"),
        "sites_sensor": kinds.count("sensor"),
        "sites_wire": kinds.count("wire"),
        "sites_change": len(kinds),
    }
    outcome = json.loads(next((tmp_path / "uploads").glob("*.outcome")).read_text())
    assert (outcome["what"], outcome["added"]) == ("done", len(kinds))
    assert list((tmp_path / "uploads").glob("*.data")) == []

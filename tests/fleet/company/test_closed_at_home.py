"""What an installation keeps closed by itself: its key and its data folder."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.core.checks import run_checks

from fleet.config.own_key import key_kept_in

ROOT = Path(__file__).resolve().parents[3]
ASK = """
import sys
from pathlib import Path
from fleet.config.own_key import key_kept_in
print(key_kept_in(Path(sys.argv[1])))
"""


def test_processes_that_start_together_have_one_key(tmp_path: Path) -> None:
    words = [sys.executable, "-c", ASK, str(tmp_path)]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    started = [subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env=env) for _ in range(4)]
    said = {process.communicate()[0].strip() for process in started}

    assert len(said) == 1
    assert len(said.pop()) > 80
    assert [path.name for path in tmp_path.iterdir()] == ["secret_key"]


def test_a_key_is_kept_for_its_owner_and_stays(tmp_path: Path) -> None:
    first = key_kept_in(tmp_path)

    assert key_kept_in(tmp_path) == first
    assert (tmp_path / "secret_key").stat().st_mode & 0o777 == 0o600


def test_half_a_key_of_a_killed_process_is_made_anew(tmp_path: Path) -> None:
    (tmp_path / "secret_key").touch()

    assert len(key_kept_in(tmp_path)) > 80


@pytest.mark.parametrize(
    ("has_own", "mode", "ids"),
    [(True, 0o700, set()), (False, 0o700, {"fleet.W001"}), (True, 0o750, {"fleet.W002"})],
)
def test_the_check_before_going_live_names_what_lies_open(
    settings: Any, tmp_path: Path, has_own: bool, mode: int, ids: set[str]
) -> None:
    settings.HAS_OWN_SECRET_KEY = has_own
    tmp_path.chmod(mode)

    told = run_checks(tags=["security"], include_deployment_checks=True)

    assert {one.id for one in told if str(one.id).startswith("fleet.")} == ids
    assert not {one.id for one in run_checks() if str(one.id).startswith("fleet.")}


def test_a_new_data_folder_is_for_its_owner_alone(tmp_path: Path) -> None:
    folder = tmp_path / "kept" / "data"
    words = [sys.executable, "-c", "import fleet.config.settings"]
    env = {**os.environ, "PYTHONPATH": str(ROOT), "ROOTROUND_DATA": str(folder), "SECRET_KEY": "given"}
    subprocess.run(words, check=True, env=env, cwd=ROOT)

    assert folder.stat().st_mode & 0o777 == 0o700
    assert not (folder / "secret_key").exists()

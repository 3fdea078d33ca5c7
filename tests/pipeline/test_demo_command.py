"""`manage.py demo` as a newcomer calls it: built, served with a worker of its own, started again at once."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest
import requests

ROOT = Path(__file__).resolve().parent.parent.parent
PATIENCE_S = 150


def _environment(data: Path) -> dict[str, str]:
    """A folder of its own, with the defaults of every setting."""
    kept = {
        name: value for name, value in os.environ.items() if name not in ("DATABASE_URL", "CELERY_BROKER_URL")
    }
    return {**kept, "ROOTROUND_DATA": str(data), "PYTHONUNBUFFERED": "1"}


def _free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def _children(pid: int) -> list[int]:
    """Processes whose parent is the given one."""
    found = []
    for folder in Path("/proc").iterdir():
        if folder.name.isdigit():
            try:
                parent = int((folder / "stat").read_text().rsplit(")", 1)[1].split()[1])
            except (OSError, ValueError, IndexError):
                continue
            if parent == pid:
                found.append(int(folder.name))
    return found


def _built(data: Path, *words: str) -> str:
    """What the command says where it builds only."""
    done = subprocess.run(
        [sys.executable, "manage.py", "demo", "--no-serve", *words],
        cwd=ROOT, env=_environment(data), capture_output=True, text=True, timeout=PATIENCE_S, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout.rstrip()


def _passwords(text: str) -> dict[str, str]:
    """Passwords that were printed, by login."""
    return dict(re.findall(r"login (\w+)\s+password (\S+)", text))


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks for the worker among the processes of /proc")
def test_the_demo_is_built_served_with_its_worker_and_built_again(tmp_path: Path) -> None:
    built = _built(tmp_path, "--sites", "9")
    assert "inventing 9 gardens" in built
    assert built.splitlines()[-1].startswith("demo: 9 gardens of ")

    _serves_at_once_with_a_worker_that_it_takes_along(tmp_path)

    again = _built(tmp_path, "--sites", "10", "--fresh")
    assert again.splitlines()[-1].startswith("demo: 10 gardens of ")
    assert set(_passwords(again).values()).isdisjoint(_passwords(built).values())


@pytest.mark.parametrize(
    ("port", "expected"),
    [("taken", "is in use"), ("0", "from 1 to 65535"), ("70000", "from 1 to 65535")],
)
def test_a_port_that_cannot_be_had_is_told_before_anything_is_written(
    tmp_path: Path, port: str, expected: str
) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        taken = int(other.getsockname()[1])

        done = subprocess.run(
            [sys.executable, "manage.py", "demo", "--port", str(taken) if port == "taken" else port],
            cwd=ROOT, env=_environment(tmp_path), capture_output=True, text=True, timeout=PATIENCE_S,
            check=False,
        )  # fmt: skip

    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1, "one sentence, no traceback"
    assert expected in done.stderr
    assert "--port" in done.stderr
    assert list(tmp_path.glob("*.sqlite3")) == []
    if port == "taken":
        free = int(done.stderr.rsplit("--port ", 1)[1])
        assert free != taken
        with socket.socket() as door:
            door.bind(("127.0.0.1", free))


def _serves_at_once_with_a_worker_that_it_takes_along(data: Path) -> None:
    """A second start builds nothing, lets the printed logins in, and leaves no process behind."""
    port = _free_port()
    demo = subprocess.Popen(
        [sys.executable, "manage.py", "demo", "--port", str(port)],
        cwd=ROOT, env=_environment(data), stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    )  # fmt: skip
    try:
        told = ""
        assert demo.stdout is not None
        while "Open http://" not in told:
            line = demo.stdout.readline()
            assert line, told
            told += line
        # Nothing is invented or worked through a second time.
        assert "inventing" not in told
        assert "weekly_round" not in told
        passwords = _passwords(told)
        assert len(set(passwords.values())) == 3
        assert all(len(word) >= 12 for word in passwords.values())
        _signs_in(port, "hana", passwords["hana"])
        workers = _children(demo.pid)
        assert len(workers) == 1
        assert b"celery" in Path(f"/proc/{workers[0]}/cmdline").read_bytes()
    finally:
        demo.send_signal(signal.SIGTERM)
        demo.wait(timeout=40)
    for _ in range(100):
        if not Path(f"/proc/{workers[0]}").exists():
            break
        time.sleep(0.1)
    assert not Path(f"/proc/{workers[0]}").exists()


def _signs_in(port: int, login: str, password: str) -> None:
    """The printed password opens the week."""
    here = f"http://localhost:{port}"
    session = requests.Session()
    for _ in range(100):
        try:
            page = session.get(f"{here}/sign-in/", timeout=10)
            break
        except requests.ConnectionError:
            time.sleep(0.1)
    token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', page.text)
    assert token is not None
    answer = session.post(
        f"{here}/sign-in/",
        data={"username": login, "password": password, "csrfmiddlewaretoken": token[1]},
        headers={"Referer": f"{here}/sign-in/"},
        timeout=30,
    )
    assert answer.status_code == 200
    assert "sign-in" not in answer.url

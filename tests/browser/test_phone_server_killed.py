"""The server itself is killed while a phone sends: what was taken stands once, the rest comes later."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.browser.phone_hand import Phone
from tests.browser.test_pages_in_chromium import CHROMIUM, PASSWORD, chromium

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]
__all__ = ["chromium"]
ROOT = Path(__file__).resolve().parent.parent.parent
FOUND = """
import json
from fleet.models import Finding, Submission
print(json.dumps([sorted(Finding.objects.values_list("note", flat=True)), Submission.objects.count()]))
"""
PREPARE = f"""
from datetime import UTC, date, datetime
from fleet.models import Company, Route, Stop, Technician, User
from tests.factories import build_need, build_site, build_technician, build_visit
Company.objects.create(pk=1, name="Marlow & Finch Garden Water", timezone="UTC", demo_today=date(2026, 6, 15))
user = User.objects.create_user("ines", password="{PASSWORD}", role="technician")
now = datetime(2026, 6, 15, 9, tzinfo=UTC)
person = build_technician("T1", user=user)
hours = dict(start_at=now, end_at=now, planned_at=now)
route = Route.objects.create(technician=person, day=date(2026, 6, 15), **hours)
site = build_site("CB-14")
visit = build_visit(site)
visit.needs.add(build_need(site))
print(Stop.objects.create(route=route, order=1, visit=visit, arrive=now, depart=now).pk)
"""


class Server:
    """A server of its own on a file database, to be killed and started again."""

    def __init__(self, folder: Path) -> None:
        self.environ = {
            **os.environ,
            "ROOTROUND_DATA": str(folder),
            "DATABASE_URL": f"sqlite:///{folder / 'rootround.sqlite3'}",
            "DJANGO_SETTINGS_MODULE": "fleet.config.settings",
            "PYTHONPATH": str(ROOT),
        }
        with socket.create_server(("127.0.0.1", 0)) as free:
            self.port = free.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        self.process: subprocess.Popen[bytes] | None = None

    def run(self, script: str) -> str:
        """Run a script inside the installation; what it prints last."""
        code = f"import django; django.setup()\n{script}"
        done = subprocess.run(
            [sys.executable, "-c", code],
            cwd=ROOT,
            env=self.environ,
            capture_output=True,
            text=True,
            check=True,
        )
        return done.stdout.strip().splitlines()[-1]

    def start(self) -> None:
        """Start, and wait until it answers."""
        command = ["-m", "waitress", "--host", "127.0.0.1", "--port", str(self.port)]
        self.process = subprocess.Popen(
            [sys.executable, *command, "fleet.config.wsgi:application"],
            cwd=ROOT, env=self.environ, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        for _ in range(300):
            try:
                socket.create_connection(("127.0.0.1", self.port), timeout=1).close()
            except OSError:
                time.sleep(0.1)
            else:
                return
        pytest.fail("the server did not start")

    def kill(self) -> None:
        """Kill -9: nothing is put in order."""
        if self.process is not None:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait()
            self.process = None


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    """A running server with one stop."""
    one = Server(tmp_path)
    subprocess.run(
        [sys.executable, "manage.py", "migrate", "-v0"],
        cwd=ROOT,
        env=one.environ,
        check=True,
        capture_output=True,
    )
    yield one
    one.kill()


def test_a_killed_server_takes_each_thing_once(server: Server, chromium: Any) -> None:
    stop = server.run(PREPARE)
    server.start()
    phone = Phone(chromium, server, "ines")
    phone.start_shift()
    phone.open(f"/day/stops/{stop}/")
    server.kill()

    for number in range(6):
        phone.record(f"finding {number}")
        phone.page.wait_for_selector("text=is kept on this phone")
        phone.wait_for_count(number + 1)
    phone.open("/day/")
    assert "CB-14" in phone.page.inner_text("main")
    server.start()
    # Killed again when a few of the six have gone out.
    sent = 0

    def kill_at_the_third(_method: str, path: str) -> str:
        nonlocal sent
        sent += path == "/day/send/"
        if sent == 3:
            sent += 1
            server.kill()
        return ""

    phone.line.cut = kill_at_the_third
    phone.send()
    assert phone.waits() > 0
    phone.line.cut = lambda _method, _path: ""
    server.start()
    phone.send()
    phone.wait_for_count(0)

    assert server.run(FOUND) == f"[[{', '.join(f'{chr(34)}finding {n}{chr(34)}' for n in range(6))}], 6]"

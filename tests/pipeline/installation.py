"""An installation beside the test: data folder, database and broker of the kinds that the suite runs on."""

from __future__ import annotations

import os
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit
from uuid import uuid4

import psycopg
import redis
from django.conf import settings

ROOT = Path(__file__).resolve().parent.parent.parent


class Installation:
    """A data folder of its own, with the commands and the workers that act on it."""

    def __init__(self, data: Path, database: str, broker: str) -> None:
        self.data = data
        self.database = database
        self.env = {
            **os.environ,
            "ROOTROUND_DATA": str(data),
            "DATABASE_URL": database,
            "CELERY_BROKER_URL": broker,
            # The night's own work is not asked for: only what a test asks for runs.
            "ROOTROUND_NIGHTLY_HOUR": "25",
            "DJANGO_SETTINGS_MODULE": "fleet.config.settings",
        }
        self._processes: list[subprocess.Popen[bytes]] = []
        self._server: subprocess.Popen[bytes] | None = None
        self.port = free_port()
        self.url = f"http://127.0.0.1:{self.port}"

    def manage(self, *words: str) -> str:
        """What a command prints."""
        done = subprocess.run(
            [sys.executable, "manage.py", *words],
            cwd=ROOT,
            env=self.env,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, f"left with {done.returncode}: {done.stderr[-3000:]}"
        return done.stdout

    def shell(self, code: str) -> str:
        """Code in the installation."""
        return self.manage("shell", "--no-imports", "-c", code)

    def rows(self, query: str) -> list[Any]:
        """Rows of the database, whichever it is."""
        if self.database.startswith("sqlite"):
            with sqlite3.connect(self.database.removeprefix("sqlite:///"), timeout=20) as file:
                return file.execute(query).fetchall()
        with psycopg.connect(self.database) as server:
            return server.execute(query).fetchall()

    def worker(self) -> subprocess.Popen[bytes]:
        """A worker in a group of its own."""
        name = f"w{len(self._processes)}@%h"
        words = ["-m", "celery", "-A", "fleet.config.celery", "worker", "-c", "1", "-l", "error", "-n", name]
        return self.process(words)

    def process(self, words: list[str]) -> subprocess.Popen[bytes]:
        """A module of Python in a group of its own; what it says lies in the data folder."""
        with (self.data / "processes.log").open("ab") as log:
            process = subprocess.Popen(
                [sys.executable, *words],
                cwd=ROOT,
                env=self.env,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )
        self._processes.append(process)
        return process

    def serve(self) -> int:
        """Start the web server, and wait until it answers; always at the same address. Its process."""
        self._server = self.process(self.server_words())
        wait_for(self._answers)
        return self._server.pid

    def server_words(self) -> list[str]:
        """The demo's web server."""
        words = ["-m", "waitress", "--host", "127.0.0.1", "--port", str(self.port), "--threads", "6"]
        return [*words, "fleet.config.wsgi:application"]

    def _answers(self) -> bool:
        try:
            socket.create_connection(("127.0.0.1", self.port), timeout=1).close()
        except OSError:
            return False
        return True

    def kill_server(self) -> None:
        """Kill -9: nothing is put in order."""
        if self._server is not None:
            kill_group(self._server)
            self._server = None

    def end(self) -> None:
        """No process outlives its test."""
        for process in self._processes:
            kill_group(process)


@contextmanager
def installation(data: Path) -> Iterator[Installation]:
    """An installation with an empty database and broker, gone afterwards."""
    with _own_database(data) as database, _own_broker(data) as broker:
        here = Installation(data, database, broker)
        try:
            yield here
        finally:
            here.end()


@contextmanager
def _own_database(data: Path) -> Iterator[str]:
    """Address of an empty database of the suite's kind."""
    given = settings.DATABASES["default"]
    if given["ENGINE"] == "django.db.backends.sqlite3":
        yield f"sqlite:///{data / 'own.sqlite3'}"
        return
    where = f"postgres://{given['USER']}:{given['PASSWORD']}@{given['HOST']}:{given['PORT']}"
    name = f"own_{uuid4().hex}"
    with psycopg.connect(f"{where}/postgres", autocommit=True) as server:
        server.execute(f"create database {name}")
        try:
            yield f"{where}/{name}"
        finally:
            server.execute(f"drop database {name} with (force)")


@contextmanager
def _own_broker(data: Path) -> Iterator[str]:
    """Address of an empty broker of the suite's kind; of a Redis the numbered one of this process."""
    given = str(settings.CELERY_BROKER_URL)
    if not given.startswith("redis"):
        yield f"sqla+sqlite:///{data / 'broker.sqlite3'}"
        return
    number = 1 + int(os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw"))
    own = f"redis://{urlsplit(given).netloc}/{number}"
    with redis.Redis.from_url(own) as server:
        server.flushdb()
        yield own


def kill_group(process: subprocess.Popen[bytes]) -> None:
    """Kill -9 of a process with its children."""
    if process.poll() is None:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait(timeout=30)


def free_port() -> int:
    """A port on which nobody listens."""
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        return int(door.getsockname()[1])


def came(what: Callable[[], bool], seconds: float) -> bool:
    """Whether something happens within a time."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if what():
            return True
        time.sleep(0.2)
    return False


def wait_for(what: Callable[[], bool], seconds: float = 150.0) -> None:
    """Wait until it happens."""
    assert came(what, seconds), "it did not come"

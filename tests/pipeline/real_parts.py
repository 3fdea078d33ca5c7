"""A whole installation of processes: PostgreSQL, Redis, workers and a web server, each to be killed."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import psycopg
import pytest
import requests
from django.conf import settings

from tests.pipeline.installation import ROOT, Installation

GARDENS = 24
# A suite on SQLite need not have the packages; of its own worker's death other tests tell.
on_servers = pytest.mark.skipif(
    settings.DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3",
    reason="database and broker are servers only in the suite's run on PostgreSQL",
)


class Parts:
    """The servers: `.ci/services` starts them, and starts again what was killed."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._do("start")
        told = (folder / "env").read_text()
        self.server, self.broker = re.findall(r"export \w+=(\S+)", told)

    def database(self, name: str) -> str:
        """Address of a database of that name."""
        return f"{self.server.rpartition('/')[0]}/{name}"

    def copy(self, source: str, name: str) -> str:
        """A copy of a database under a new name; its address."""
        with psycopg.connect(self.database("postgres"), autocommit=True) as server:
            server.execute(f"drop database if exists {name} with (force)")
            server.execute(f"create database {name}" + (f" template {source}" if source else ""))
            # A copy's sequences are logged anew only after a checkpoint: killed before, they fell back.
            server.execute("checkpoint")
        return self.database(name)

    def kill_database(self) -> None:
        """Kill -9 of the server itself; its children follow."""
        pid = int((self.folder / "pg" / "postmaster.pid").read_text().split()[0])
        os.kill(pid, signal.SIGKILL)

    def kill_broker(self) -> None:
        """Kill -9 of the broker, which keeps nothing on the disk: every message is gone."""
        os.kill(int((self.folder / "redis.pid").read_text()), signal.SIGKILL)

    def again(self) -> None:
        """Start what was killed, on its old port."""
        self._do("again")

    def end(self) -> None:
        """Stop both."""
        self._do("stop")

    def _do(self, what: str) -> None:
        subprocess.run(["bash", ".ci/services", what, str(self.folder)], cwd=ROOT, check=True)


class Company(Installation):
    """An installation with a web server in front."""

    def server_words(self) -> list[str]:
        """A company's web server."""
        words = ["-m", "gunicorn", "--config", "fleet/config/web.py", "--log-level", "error"]
        return [*words, "--bind", f"127.0.0.1:{self.port}"]

    def status(self, path: str) -> int:
        """Status of a plain request; 0 where nobody answers."""
        try:
            return requests.get(self.url + path, timeout=30).status_code
        except requests.RequestException:
            return 0

    def sign_in(self, name: str, password: str) -> requests.Session:
        """A signed-in visitor."""
        visitor = requests.Session()
        visitor.get(f"{self.url}/sign-in/", timeout=30)
        answer = self.send(visitor, "/sign-in/", username=name, password=password)
        assert urlsplit(answer.url).path != "/sign-in/", answer.text[:2000]
        return visitor

    def send(self, visitor: requests.Session, path: str, **fields: Any) -> requests.Response:
        """A form that a visitor sends."""
        form = {"csrfmiddlewaretoken": visitor.cookies["rootround-form"], **fields}
        answer = visitor.post(self.url + path, data=form, timeout=60)
        answer.raise_for_status()
        return answer


@contextmanager
def parts() -> Iterator[Parts]:
    """PostgreSQL and Redis of one's own, gone afterwards."""
    # Not below pytest's folder, which only its owner may enter: no server runs as root.
    folder = Path(tempfile.mkdtemp(prefix="rootround-parts."))
    try:
        servers = Parts(folder)
        try:
            yield servers
        finally:
            servers.end()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def build_base(servers: Parts, data: Path) -> dict[str, str]:
    """The invented company in the database `base`; password by login."""
    base = Installation(data, servers.copy("", "base"), servers.broker)
    told = base.manage("demo", "--no-serve", "--sites", str(GARDENS))
    return dict(re.findall(r"login (\w+)\s+password (\S+)", told))


@contextmanager
def company(servers: Parts, data: Path, name: str) -> Iterator[Company]:
    """A copy of the base with processes of its own."""
    here = Company(data, servers.copy("base", name), servers.broker)
    try:
        yield here
    finally:
        here.end()

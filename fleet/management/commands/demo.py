"""`demo`: the invented company, built, worked through and served."""

from __future__ import annotations

import os
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import Any, Final

import waitress
from django.conf import settings
from django.core.management import call_command
from django.core.management.base import CommandParser
from django.core.wsgi import get_wsgi_application
from django.utils import timezone

from fleet.demo.company import build_demo_company
from fleet.demo.files import demo_today
from fleet.models import Company
from fleet.services.company.company import AnotherCompany, set_passwords
from fleet.services.run_day import run_day
from fleet.upload_door import MOST_BODY_BYTES
from sites.models import Site
from weather.commands import RootroundCommand

LOGINS: Final = (("hana", "dispatcher"), ("ines", "technician"), ("ruth", "manager"))
SEED: Final = 7
LAST_PORT: Final = 65_535


class Command(RootroundCommand):
    help = "Build the invented company, run every stage up to this week's routes, and serve the pages."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--sites", type=int, default=240, metavar="N", help="number of gardens (240)")
        parser.add_argument("--port", type=int, default=8000, metavar="P", help="port on this machine (8000)")
        parser.add_argument("--no-serve", action="store_true", help="build only")
        parser.add_argument(
            "--fresh", action="store_true", help="throw the demo in the data folder away first"
        )
        parser.add_argument("--seed", type=int, default=SEED, metavar="K", help="seed of the invention (7)")

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        if not 9 <= options["sites"] <= 400:
            self.unusable("--sites: expected a number from 9 to 400")
        # Before anything is written: who cannot serve must not get new passwords either.
        door = None if options["no_serve"] else self._door(options["port"])
        started = time.monotonic()
        call_command("migrate", verbosity=0)
        if options["fresh"]:
            self._throw_away()
        company = Company.objects.first()
        if (company is not None and not company.is_demo) or (company is None and Site.objects.exists()):
            self.unusable(
                "This database holds another company; the demo needs an empty one (ROOTROUND_DATA)."
            )
        if company is None:
            company = self._build(options["sites"], options["seed"])
        today = company.demo_today or demo_today(timezone.localdate())
        passwords = {login: secrets.token_urlsafe(9) for login, _ in LOGINS}
        set_passwords(passwords=passwords)
        took = time.monotonic() - started
        self.stdout.write(f"Ready in {took:.0f} s. In the demo it is {today:%A, %d %B %Y}.")
        for login, role in LOGINS:
            self.stdout.write(f"  {role:<11} login {login:<6} password {passwords[login]}")
        if door is not None:
            self._serve(door)
        self.finish(f"demo: {Site.objects.count()} gardens of {company.name}, seed {company.demo_seed}")

    def _tell(self, step: str) -> None:
        """One line of progress."""
        self.stdout.write(f"  {step}")
        self.stdout.flush()

    def _build(self, sites: int, seed: int) -> Company:
        """The company with every stage run."""
        today = demo_today(timezone.localdate())
        try:
            build_demo_company(
                data_dir=settings.DATA_DIR, sites=sites, seed=seed, today=today, tell=self._tell
            )
        except AnotherCompany as error:
            self.unusable(str(error))
        for line in run_day(day=today, clock=timezone.now, seed=seed):
            self._tell(line)
        return Company.objects.get()

    def _throw_away(self) -> None:
        """Empty the database, if it holds a demo or nothing."""
        company = Company.objects.first()
        if company is not None and not company.is_demo:
            self.unusable("--fresh: this database holds a real company; nothing was touched.")
        call_command("flush", interactive=False, verbosity=0)
        shutil.rmtree(Path(settings.DATA_DIR) / "demo", ignore_errors=True)

    def _door(self, port: int) -> socket.socket:
        """The port, held from now on; nobody is let in before the pages are served."""
        if not 1 <= port <= LAST_PORT:
            self.unusable(f"--port: expected a number from 1 to {LAST_PORT}")
        try:
            return _held(port)
        except PermissionError:
            self.unusable(
                f"Port {port} may not be used by you on this machine; nothing was changed. "
                "Choose one from 1024 on, as in: manage.py demo --port 8000"
            )
        except OSError:
            self.unusable(
                f"Port {port} is in use, perhaps by a demo that runs already; nothing was changed. "
                f"Choose another one, as in: manage.py demo --port {_free_after(port)}"
            )

    def _serve(self, door: socket.socket) -> None:
        """Serve until interrupted; the worker with its schedule is a child of this command."""
        signal.signal(signal.SIGTERM, signal.default_int_handler)  # ends as Ctrl-C does, the worker with it
        worker = subprocess.Popen(  # noqa: S603 (our own interpreter and arguments)
            [
                sys.executable, "-m", "celery", "-A", "fleet.config.celery", "worker", "--beat", "--loglevel",
                "warning", "--concurrency", "1", "--schedule", str(Path(settings.DATA_DIR) / "beat-schedule"),
            ],
            cwd=settings.BASE_DIR,
        )  # fmt: skip
        self.stdout.write(f"Open http://localhost:{door.getsockname()[1]}/  (stop with Ctrl-C)")
        self.stdout.flush()
        try:
            waitress.serve(
                get_wsgi_application(),
                sockets=[door],
                threads=6,
                _quiet=True,
                max_request_body_size=MOST_BODY_BYTES,
            )
        except KeyboardInterrupt:
            pass
        finally:
            worker.terminate()
            worker.wait(timeout=20)


def _held(port: int) -> socket.socket:
    """A port of this machine that is ours from now on."""
    door = socket.socket()
    try:
        # What a server that just ended left behind does not count as in use (elsewhere the flag means more).
        if os.name == "posix":
            door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        door.bind(("127.0.0.1", port))
    except OSError:
        door.close()
        raise
    return door


def _free_after(port: int) -> int:
    """The next port that can be had; any where the next ones cannot."""
    for other in range(port + 1, min(port + 50, LAST_PORT)):
        try:
            _held(other).close()
        except OSError:
            continue
        return other
    with _held(0) as door:
        return int(door.getsockname()[1])

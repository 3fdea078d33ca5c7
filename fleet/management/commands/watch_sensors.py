"""`watch_sensors --as-of DATE`: expected against observed bypasses; raises and closes flags."""

from __future__ import annotations

from typing import Any

from django.core.management.base import CommandParser

from fleet.services.watch.sensors import watch_sensors
from weather.commands import RootroundCommand, iso_day


class Command(RootroundCommand):
    help = "Compare expected and observed bypasses of every governed controller; raise and close flags."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--as-of", type=iso_day, required=True, metavar="DATE", help="last day looked at")

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        watched = watch_sensors(as_of=options["as_of"])
        for controller_id, reason in sorted(watched.left_out.items()):
            self.stderr.write(f"controller {controller_id}: {reason}")
        self.finish(watched.summary(), failed=bool(watched.left_out) and not watched.by_status)

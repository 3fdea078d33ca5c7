"""`run_day --date DATE`: every stage in order, as the nightly schedule does."""

from __future__ import annotations

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from fleet.services.run_day import StageFailed, run_day
from weather.commands import RootroundCommand, iso_day


class Command(RootroundCommand):
    help = "Run every stage of a day in order: balance, weekly round, sensor watch, needs, routes, ledger."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--date", type=iso_day, required=True)
        parser.add_argument("--seed", type=int, default=0, metavar="K", help="seed of the planner (0)")

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        count = 0
        try:
            for line in run_day(day=options["date"], clock=timezone.now, seed=options["seed"]):
                self.stdout.write(line)
                self.stdout.flush()
                count += 1
        except StageFailed as error:
            self.finish(f"run_day {options['date']}: stopped", problems=[error])
        self.finish(f"run_day {options['date']}: {count} stages ran")

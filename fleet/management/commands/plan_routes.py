"""`plan_routes --week MONDAY | --date DATE`: visit needs to routes."""

from __future__ import annotations

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from fleet.services.plan.fit import PlanOvertaken
from fleet.services.plan.plan_routes import DEFAULT_SECONDS, plan_routes
from fleet.services.plan.watched import AlreadyPlanning, PlanningStopped
from weather.commands import RootroundCommand, iso_day, iso_monday

LONGEST_SECONDS = 3600.0


class Command(RootroundCommand):
    help = "Plan who visits which site when, for a week or one day. What is told, locked or begun stays."

    def add_arguments(self, parser: CommandParser) -> None:
        span = parser.add_mutually_exclusive_group(required=True)
        span.add_argument("--week", type=iso_monday, metavar="MONDAY", help="plan this week")
        span.add_argument("--date", type=iso_day, metavar="DATE", help="plan this day")
        parser.add_argument(
            "--seconds", type=float, default=DEFAULT_SECONDS, help="time for all [s], default %(default)g"
        )
        parser.add_argument("--seed", type=int, default=0, help="seed of the search, default %(default)s")

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        if not 0 < options["seconds"] <= LONGEST_SECONDS:
            self.unusable(f"--seconds: expected more than 0 and at most {LONGEST_SECONDS:g}")
        if options["seed"] < 0:
            self.unusable("--seed: expected 0 or more")
        try:
            done = plan_routes(
                now=timezone.now(),
                week=options["week"],
                day=options["date"],
                seconds=options["seconds"],
                seed=options["seed"],
                by="plan_routes",
            )
        except (AlreadyPlanning, PlanningStopped, PlanOvertaken) as left:
            self.finish(f"nothing written: {left}", failed=True)
            return
        self.finish(done.summary())

"""`score_watch --seeds 1,2`: the table of the sensor watch on simulated fleets whose truth is known."""

from __future__ import annotations

from argparse import ArgumentTypeError
from typing import Any

from django.core.management.base import CommandParser

from fleet.scoring.watch import SEASONS, score_fleets
from fleet.scoring.watch_climates import CLIMATES
from fleet.scoring.watch_gardens import Errors, scaled
from fleet.scoring.watch_physics import PHYSICS
from fleet.scoring.watch_table import table_lines
from weather.commands import RootroundCommand


def seed_list(text: str) -> list[int]:
    """Seeds of a command-line argument."""
    try:
        return [int(part) for part in text.split(",")]
    except ValueError:
        raise ArgumentTypeError(f"{text!r} is no list of whole numbers as 1,2,3") from None


class Command(RootroundCommand):
    help = (
        "Print detection, false alarms, delay and causes of the sensor watch on simulated fleets, beside a"
        " naive rule and a watch that was told the truth."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--seeds", type=seed_list, default=[1], metavar="1,2", help="one fleet a seed")
        parser.add_argument("--sites", type=int, default=400, help="controllers of a fleet (400)")
        parser.add_argument("--climates", default=",".join(CLIMATES), help="of: " + ", ".join(CLIMATES))
        parser.add_argument("--physics", default=",".join(PHYSICS), help="of: " + ", ".join(PHYSICS))
        parser.add_argument(
            "--seasons",
            type=int,
            choices=(1, 2),
            default=2,
            help="new gardens alone, or the next season too",
        )
        parser.add_argument("--errors", type=float, default=1.0, help="factor on all errors (1)")

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        climates, physics = options["climates"].split(","), options["physics"].split(",")
        for given, known in ((climates, CLIMATES), (physics, PHYSICS)):
            for name in given:
                if name not in known:
                    self.unusable(f"{name!r} is not one of {', '.join(known)}")
        if options["sites"] < 1 or options["errors"] < 0:
            self.unusable("sites must be at least 1 and the factor on errors not below 0")
        scores = score_fleets(
            seeds=options["seeds"],
            climates=climates,
            physics=physics,
            sites=options["sites"],
            errors=scaled(Errors(), options["errors"]),
            seasons=options["seasons"],
        )
        for line in table_lines(scores):
            self.stdout.write(line)
        told = []
        for season in SEASONS[: options["seasons"]]:
            watch = [one for key, one in scores.items() if key[2:] == (season, "watch")]
            healthy, alarms = sum(one.healthy for one in watch), sum(one.false_alarms for one in watch)
            told.append(f"{season}: {alarms} of {healthy} healthy controllers ever flagged")
        self.finish("watch, " + "; ".join(told))

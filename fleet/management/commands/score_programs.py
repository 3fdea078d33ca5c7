"""`score_programs --seeds 1,2`: issued programs on an independent garden with hidden errors."""

from __future__ import annotations

from argparse import ArgumentTypeError
from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from fleet.scoring.program_record import RecordTooShortError, measured_seasons
from fleet.scoring.program_rows import FRONTIER, METHODS, REFILL
from fleet.scoring.programs import RULES, score_programs
from fleet.scoring.watch_climates import CLIMATES
from weather.commands import RootroundCommand

# The strongest rival that knows no weather; rows tell their water beside its.
_PEAK = "peak in ratio, cycle-soak"
_HEAD = (
    f"{'controllers':11} {'climate':11} {'rule':16} {'method':26} {'ETa/ETc':>8} {'zones>=95':>9}"
    f" {'p5 zone':>8} {'gross/need':>10} {'to peak':>8} {'lost':>6} {'runs':>6} {'run-off':>7}"
    f" {'starts/wk':>9} {'changes':>8} {'adjusts':>8} {'past limit':>10}"
)


def seed_list(text: str) -> list[int]:
    """Seeds of a command-line argument."""
    try:
        return [int(part) for part in text.split(",")]
    except ValueError:
        raise ArgumentTypeError(f"{text!r} is no list of whole numbers as 1,2,3") from None


class Command(RootroundCommand):
    help = (
        "Print what issued programs reach in four weeks of high summer on gardens of another physics with"
        " hidden errors, beside programs that know no weather and a round that was told the truth."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--seeds", type=seed_list, default=[1], metavar="1,2", help="one world a seed")
        parser.add_argument("--gardens", type=int, default=40, help="gardens of a world (40)")
        parser.add_argument("--climates", default="arid,humid", help="of: " + ", ".join(CLIMATES))
        parser.add_argument(
            "--frontier", action="store_true", help="rows of the same methods with more and with less water"
        )
        parser.add_argument(
            "--season",
            action="store_true",
            help="22 weeks from the end of April instead of four of high summer",
        )
        parser.add_argument(
            "--weather", type=Path, metavar="FILE", help="measured days instead: date, eto_mm, rain_mm"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        climates = options["climates"].split(",")
        unknown = [name for name in climates if name not in CLIMATES]
        if unknown or options["gardens"] < 1:
            self.unusable(f"climates are of {', '.join(CLIMATES)}; gardens at least 1")
        try:
            record = measured_seasons(options["weather"]) if options["weather"] else ()
        except (OSError, RecordTooShortError) as error:
            self.unusable(str(error))
        if options["season"] and len(record) == 1:
            self.unusable("a season by itself cannot be scored: its first weeks have no past to plan with")
        self.stdout.write(_HEAD)
        ours, peak = {}, {}
        rows = {_PEAK: METHODS[_PEAK], **METHODS, **(FRONTIER if options["frontier"] else {}), REFILL: None}
        for kind, climate, rule, method, found in score_programs(
            seeds=options["seeds"],
            climates=climates,
            gardens=options["gardens"],
            record=record,
            methods=rows,
            is_season=options["season"],
        ):
            if method == _PEAK:
                peak[kind, climate, rule] = found["gross_mm"]
            more = 100 * (found["gross_mm"] / peak[kind, climate, rule] - 1)
            self.stdout.write(
                f"{kind:11} {climate:11} {rule:16} {method:26} {found['adequacy_pct']:7.1f}%"
                f" {found['zones_95_pct']:8.0f}% {found['zone_p5_pct']:7.0f}% {found['gross_per_need']:10.2f}"
                f" {more:+7.1f}% {found['lost_pct']:5.1f}% {found['run_cost_pct']:5.1f}%"
                f" {found['run_off_pct']:6.1f}% {found['starts_a_week']:9.1f} {found['changes']:8.2f}"
                f" {found['adjusts']:8.2f} {found['past_limit']:10.0f}"
            )
            if method == next(iter(METHODS)) and rule == next(iter(RULES)):
                ours[kind, climate] = found["adequacy_pct"]
        words = ", ".join(f"{kind} {climate} {value:.1f} %" for (kind, climate), value in ours.items())
        self.finish(f"need met by ours on free days: {words}")

"""`weekly_round --week MONDAY`: recomputes recommended programs."""

from __future__ import annotations

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from fleet.selectors.company.company import company_day
from fleet.selectors.ledger.prices import water_price_per_m3
from sites.services.weekly_round import UnknownSites, weekly_round
from weather.commands import RootroundCommand, iso_monday


class Command(RootroundCommand):
    help = "Recompute the recommended program of every controller for a week."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--week", type=iso_monday, required=True, metavar="MONDAY")
        parser.add_argument("--sites", metavar="A,B", help="only these sites")

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        today = company_day(now=timezone.now())
        codes = [code.strip() for code in options["sites"].split(",")] if options["sites"] else None
        try:
            report = weekly_round(
                week=options["week"],
                today=min(today, options["week"]),
                price_per_m3=water_price_per_m3(day=today),
                site_codes=codes,
            )
        except UnknownSites as error:
            self.unusable(f"--sites: {error}")
        for code, reason in report.left_out:
            self.stderr.write(f"{code}: {reason}")
        self.finish(
            f"week of {options['week']}: {report.summary()}",
            failed=bool(report.left_out) and not report.controllers,
        )

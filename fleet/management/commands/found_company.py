"""`found_company`: what the company is called, whose clock counts, in which money it reckons."""

from __future__ import annotations

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from fleet.services.company.company import BadCompany, CompanyFacts, set_company
from weather.commands import RootroundCommand


class Command(RootroundCommand):
    help = "Found the company, or change its name, time zone, currency and depot."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--name", required=True, help="as it stands on papers")
        parser.add_argument("--timezone", required=True, help="IANA name, such as America/Denver")
        parser.add_argument("--currency", default="USD", help="three letters (default: USD)")
        parser.add_argument(
            "--depot", nargs=2, type=float, metavar=("LATITUDE", "LONGITUDE"), help="where days begin"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        latitude, longitude = options["depot"] or (None, None)
        try:
            facts = CompanyFacts(
                options["name"], options["timezone"], options["currency"], latitude, longitude
            )
        except BadCompany as problem:
            self.unusable(str(problem))
        done = set_company(facts=facts, by="found_company", at=timezone.now())
        word = "founded" if done.is_new else "changed" if done.is_changed else "as it was"
        self.finish(f"{facts.name}: {word}; gardens that got its clock: {done.gardens}.")

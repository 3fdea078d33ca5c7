"""`import_weather FILE`: daily weather of locations."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from weather.commands import RootroundCommand
from weather.services.import_weather import import_weather


class Command(RootroundCommand):
    help = "Import daily weather, observed or forecast (CSV)."

    def add_arguments(self, parser: CommandParser) -> None:
        self.add_common_import_arguments(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        report = import_weather(
            path=Path(options["file"]),
            now=timezone.now(),
            dry_run=options["dry_run"],
            keep_good=options["keep_good"],
        )
        self.finish(report.summary(), problems=report.problems)

"""`import_readings FILE`: readings of meter registers."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from sites.services.record_meters import import_readings
from weather.commands import RootroundCommand


class Command(RootroundCommand):
    help = "Import readings of meter registers (CSV)."

    def add_arguments(self, parser: CommandParser) -> None:
        self.add_common_import_arguments(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        report = import_readings(
            path=Path(options["file"]),
            now=timezone.now(),
            dry_run=options["dry_run"],
            keep_good=options["keep_good"],
        )
        self.finish(report.summary(), problems=report.problems)

"""`import_programs FILE`: what each controller is set to."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from sites.services.record_programs import import_programs
from weather.commands import RootroundCommand


class Command(RootroundCommand):
    help = "Import what controllers are set to (CSV)."

    def add_arguments(self, parser: CommandParser) -> None:
        self.add_common_import_arguments(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        report = import_programs(
            path=Path(options["file"]),
            by="import_programs",
            now=timezone.now(),
            dry_run=options["dry_run"],
            keep_good=options["keep_good"],
        )
        self.finish(report.summary(), problems=report.problems)

"""`import_visits FILE`: jobs asked for and windows promised."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from fleet.services.bring.record_visits import import_visits
from weather.commands import RootroundCommand


class Command(RootroundCommand):
    help = "Import visits asked for (CSV)."

    def add_arguments(self, parser: CommandParser) -> None:
        self.add_common_import_arguments(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        report = import_visits(
            path=Path(options["file"]),
            by="import_visits",
            now=timezone.now(),
            dry_run=options["dry_run"],
            keep_good=options["keep_good"],
        )
        self.finish(report.summary(), problems=report.problems)

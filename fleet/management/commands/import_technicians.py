"""`import_technicians FILE`: the people on the road."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from fleet.services.bring.record_company import import_technicians
from weather.commands import RootroundCommand


class Command(RootroundCommand):
    help = "Import technicians (CSV)."

    def add_arguments(self, parser: CommandParser) -> None:
        self.add_common_import_arguments(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        report = import_technicians(
            path=Path(options["file"]),
            by="import_technicians",
            now=timezone.now(),
            dry_run=options["dry_run"],
            keep_good=options["keep_good"],
        )
        self.finish(report.summary(), problems=report.problems)

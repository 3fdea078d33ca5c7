"""`import_tariffs FILE`: prices of suppliers."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from fleet.services.bring.record_company import import_tariffs
from weather.commands import RootroundCommand


class Command(RootroundCommand):
    help = "Import tariffs (CSV)."

    def add_arguments(self, parser: CommandParser) -> None:
        self.add_common_import_arguments(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        report = import_tariffs(
            path=Path(options["file"]),
            dry_run=options["dry_run"],
            keep_good=options["keep_good"],
        )
        self.finish(report.summary(), problems=report.problems)

"""`import_contracts FILE`: service contracts of the gardens."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from fleet.services.bring.record_contracts import import_contracts
from weather.commands import RootroundCommand


class Command(RootroundCommand):
    help = "Import service contracts (CSV)."

    def add_arguments(self, parser: CommandParser) -> None:
        self.add_common_import_arguments(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        report = import_contracts(
            path=Path(options["file"]),
            by="import_contracts",
            now=timezone.now(),
            dry_run=options["dry_run"],
            keep_good=options["keep_good"],
        )
        self.finish(report.summary(), problems=report.problems)

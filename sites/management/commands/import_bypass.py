"""`import_bypass FILE`: bypass logs."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from sites.services.record_bypass import import_bypass
from weather.commands import RootroundCommand


class Command(RootroundCommand):
    help = "Import bypass logs (CSV)."

    def add_arguments(self, parser: CommandParser) -> None:
        self.add_common_import_arguments(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        report = import_bypass(
            path=Path(options["file"]),
            today=timezone.localdate(),
            dry_run=options["dry_run"],
            keep_good=options["keep_good"],
        )
        for warning in report.warnings:
            self.stdout.write(f"look at: {warning}")
        self.finish(report.summary(), problems=report.problems)

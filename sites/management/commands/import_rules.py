"""`import_rules FILE`: watering rules."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from sites.services.record_rules import import_rules
from weather.commands import RootroundCommand


class Command(RootroundCommand):
    help = "Import watering rules (JSON)."

    def add_arguments(self, parser: CommandParser) -> None:
        self.add_common_import_arguments(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        report = import_rules(
            path=Path(options["file"]),
            by="import_rules",
            now=timezone.now(),
            dry_run=options["dry_run"],
            keep_good=options["keep_good"],
        )
        for warning in report.warnings:
            self.stdout.write(warning)
        self.finish(report.summary(), problems=report.problems)

"""`restore FILE`: fill an empty database from a backup."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import CommandParser

from fleet.services.company.backup import DatabaseNotEmpty, NotABackup, restore_backup
from weather.commands import RootroundCommand


class Command(RootroundCommand):
    help = "Fill an empty, migrated database from a file that `backup` wrote."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE", help="zip file to read")

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        try:
            report = restore_backup(path=Path(options["file"]), data_dir=settings.DATA_DIR)
        except (NotABackup, DatabaseNotEmpty) as error:
            self.unusable(str(error))
        self.finish(f"{Path(options['file']).name}: {report.summary('restored')}")

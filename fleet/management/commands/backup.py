"""`backup FILE`: the whole state in one zip file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import CommandParser

from fleet.services.company.backup import write_backup
from weather.commands import RootroundCommand


class Command(RootroundCommand):
    help = "Write the whole state (database rows, street network, media) into one zip file."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE", help="zip file to write")

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        path = Path(options["file"])
        if not path.resolve().parent.is_dir():
            self.unusable(f"{path.parent} is no folder")
        report = write_backup(path=path, data_dir=settings.DATA_DIR)
        self.finish(f"{path.name}: {report.summary('saved')}")

"""`build_streets FILE`: the street network from an OSM extract."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import CommandParser

from fleet.services.plan.streets import build_streets
from fleet.streets.osm_file import UnreadableStreets
from weather.commands import RootroundCommand


class Command(RootroundCommand):
    help = "Build the street network for driving times from an OpenStreetMap extract (.osm, .osm.pbf, ...)."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE", help="the extract")
        parser.add_argument(
            "--anyway",
            action="store_true",
            help="take the file although it seems cut off, or much smaller than the present network",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        try:
            done = build_streets(
                path=Path(options["file"]), data_dir=Path(settings.DATA_DIR), anyway=options["anyway"]
            )
        except UnreadableStreets as error:
            self.finish(f"no streets were built: {error}", failed=True)
            return
        self.finish(done.summary())

"""`build_streets FILE`: the street network from an OSM extract."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from fleet.streets.osm_file import UnreadableStreets
from fleet.streets.store import build_streets
from weather.commands import RootroundCommand


class Command(RootroundCommand):
    help = "Build the street network for driving times from an OpenStreetMap extract (.osm, .osm.pbf, ...)."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE", help="the extract")

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        try:
            network = build_streets(source=Path(options["file"]))
        except UnreadableStreets as error:
            self.finish(f"no streets were built: {error}", failed=True)
            return
        self.finish(
            f"{len(network.latitude)} junctions and {len(network.start)} street pieces, all reachable "
            "from each other"
        )

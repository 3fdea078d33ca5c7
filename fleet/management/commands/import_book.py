"""`import_book FILE`: the site book."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from fleet.selectors.company.company import company_day, the_company
from sites.importing.book.offers import EVERY, OF_FORM
from sites.services.book import import_book
from weather.commands import RootroundCommand


class Command(RootroundCommand):
    help = "Import a site book (GeoJSON, GeoPackage, KML, zipped shapefile, or CSV of sites)."

    def add_arguments(self, parser: CommandParser) -> None:
        self.add_common_import_arguments(parser)
        parser.add_argument(
            "--accept-repairs", action="store_true", help="mend shapes as offered; each repair is listed"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        now = timezone.now()
        company = the_company()
        report = import_book(
            path=Path(options["file"]),
            today=company_day(now=now),
            now=now,
            by="import_book",
            timezone=company.timezone if company else "UTC",
            dry_run=options["dry_run"],
            keep_good=options["keep_good"],
            choice=EVERY if options["accept_repairs"] else OF_FORM,
        )
        for warning in report.warnings:
            self.stdout.write(f"look at: {warning}")
        self.finish(report.summary(), problems=report.problems)

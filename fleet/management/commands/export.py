"""`export KIND`: one kind of data as a file."""

from __future__ import annotations

import getpass
import os
from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from fleet.exports.kinds import (
    FORMATS,
    KINDS,
    Kind,
    Span,
    UnusableExport,
    as_csv,
    as_geojson,
    as_json,
    write_csv,
)
from fleet.services.company.audit import record_audit
from sites.exports.geopackage import write_geopackage
from weather.commands import RootroundCommand, iso_day, iso_monday


class Command(RootroundCommand):
    help = "Write one kind of data as CSV, JSON, GeoJSON, GeoPackage or (routes) iCalendar."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("kind", choices=sorted(KINDS), metavar="KIND", help=", ".join(sorted(KINDS)))
        parser.add_argument("--week", type=iso_monday, metavar="MONDAY")
        parser.add_argument("--date", type=iso_day)
        parser.add_argument("--as-of", type=iso_day, metavar="DATE")
        parser.add_argument("--start", type=iso_day, metavar="DATE", help="first day")
        parser.add_argument("--end", type=iso_day, metavar="DATE", help="day after the last")
        parser.add_argument("--period", choices=("day", "month", "season", "all"), default="month")
        parser.add_argument("--format", choices=FORMATS, default="csv")
        parser.add_argument("--output", metavar="FILE", help="file to write; default: standard output")
        parser.add_argument("--private", action="store_true", help="with contacts and codes; is audited")

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        kind = KINDS[options["kind"]]
        if options["output"] and not Path(options["output"]).resolve().parent.is_dir():
            self.unusable(f"--output: {Path(options['output']).parent} is no folder")
        span = Span(
            week=options["week"],
            day=options["date"],
            as_of=options["as_of"],
            start=options["start"],
            end=options["end"],
            period=options["period"],
        )
        if options["private"]:
            record_audit(
                by=getpass.getuser(), what=f"export {options['kind']} with private data", at=timezone.now()
            )
        # A new file with contacts and gate codes is for whoever took it out, not for others of this machine.
        before = os.umask(0o077) if options["private"] else None
        try:
            count = self._write(kind, span, options)
        except UnusableExport as error:
            self.unusable(str(error))
        except OSError as error:
            self.unusable(f"--output {options['output']}: {error.strerror or error}")
        finally:
            if before is not None:
                os.umask(before)
        where = options["output"] or "standard output"
        summary = f"{options['kind']}: {count} rows to {where}"
        # Rows on standard output stay clean: the summary goes beside them.
        if options["output"]:
            self.finish(summary)
        else:
            self.stderr.write(summary)

    def _write(self, kind: Kind, span: Span, options: dict[str, Any]) -> int:
        """Write the rows; how many."""
        form, output, private = options["format"], options["output"], options["private"]
        if form == "ics":
            if kind.calendar is None:
                raise UnusableExport(f"{options['kind']} is no calendar: expected --format csv or json")
            text, count = kind.calendar(span)
            self._text(text, output)
            return count
        if form in ("geojson", "gpkg"):
            if kind.features is None:
                raise UnusableExport(f"{options['kind']} has no shapes: expected --format csv or json")
            features = list(kind.features(span, private))
            if form == "gpkg":
                if not output:
                    raise UnusableExport("gpkg: expected --output FILE")
                return sum(write_geopackage(path=Path(output), features=features).values())
            self._text(as_geojson(features), output)
            return len(features)
        if form == "json":
            rows = list(kind.rows(span, private))
            self._text(as_json(rows), output)
            return len(rows)
        if output:
            with Path(output).open("w", encoding="utf-8", newline="") as file:
                return write_csv(file, kind.columns(private), kind.rows(span, private))
        text = as_csv(kind.columns(private), kind.rows(span, private))
        self.stdout.write(text, ending="")
        return text.count("\n") - 1

    def _text(self, text: str, output: str | None) -> None:
        """Write a text to the file or to standard output."""
        if output:
            Path(output).write_bytes(text.encode())
        else:
            self.stdout.write(text)

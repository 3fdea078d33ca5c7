"""The form of every command: exit codes and a one-line summary last."""

from __future__ import annotations

import sys
from argparse import ArgumentTypeError
from collections.abc import Iterable
from datetime import date
from typing import Any, NoReturn

from django.core.management.base import BaseCommand, CommandError, CommandParser

REFUSED = 1
UNUSABLE = 2


def iso_day(text: str) -> date:
    """The day of a command-line argument."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ArgumentTypeError(f"{text!r} is not a date as 2026-06-15") from None


def iso_monday(text: str) -> date:
    """The Monday of a command-line argument."""
    monday = iso_day(text)
    if monday.weekday() != 0:
        raise ArgumentTypeError(f"{text} is not a Monday")
    return monday


class RootroundCommand(BaseCommand):
    """A command that ends with one line. Exit 0: ran through; 1: rows refused or a place not computed;
    2: unusable arguments.
    """

    def add_common_import_arguments(self, parser: CommandParser) -> None:
        """The arguments of every import."""
        parser.add_argument("file", metavar="FILE", help="file to import")
        parser.add_argument("--dry-run", action="store_true", help="report, write nothing")
        parser.add_argument(
            "--keep-good", action="store_true", help="write the good rows and list the others"
        )

    def unusable(self, message: str) -> NoReturn:
        """Stop: the arguments cannot be used (exit 2)."""
        raise CommandError(message, returncode=UNUSABLE)

    def finish(self, summary: str, *, problems: Iterable[object] = (), failed: bool = False) -> None:
        """List the problems, print the summary last, and leave with 1 where something was refused."""
        listed = list(problems)
        for problem in listed:
            self.stderr.write(str(problem))
        self.stdout.write(summary)
        self.stdout.flush()
        if listed or failed:
            sys.exit(REFUSED)

    def handle(self, *args: Any, **options: Any) -> str | None:  # Django's own signature
        """To be written by each command."""
        raise NotImplementedError

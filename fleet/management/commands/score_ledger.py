"""Coverage and bias of the ledger on invented portfolios whose savings are known."""

from __future__ import annotations

from typing import Any

from django.core.management.base import CommandParser

from fleet.scoring.ledger import score_ledger
from weather.commands import RootroundCommand

_HEADER = f"{'world':<13}{'judge':<26}{'gardens':>9}{'books':>8}{'bias':>8}{'width':>8}{'judged':>8}"


class Command(RootroundCommand):
    help = "Score the ledger's 90 % intervals on simulated portfolios with known savings."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--seeds", type=int, default=20, help="portfolios a world")
        parser.add_argument("--first", type=int, default=1, help="first seed")
        parser.add_argument("--sites", type=int, default=200, help="gardens a portfolio")

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        seeds, sites, first = options["seeds"], options["sites"], options["first"]
        if not 1 <= seeds <= 1000 or not 40 <= sites <= 20_000:
            self.unusable("expected 1 to 1000 seeds and 40 to 20000 sites")
        self.stdout.write("Share of 90 % intervals that hold the truth, of gardens and of whole books;")
        self.stdout.write("bias and mean half width of the book's saving, over the true saving.")
        self.stdout.write("Short histories: every fourth garden with five months of bills before its change;")
        self.stdout.write("their sum is no book: it takes their errors as independent, which they are not.")
        self.stdout.write(_HEADER)
        rows = score_ledger(range(first, first + seeds), sites=sites)
        for row in rows:
            self.stdout.write(
                f"{row.world:<13}{row.judge:<26}{row.site_cover:>9.1%}{row.book_cover:>8.1%}"
                f"{row.book_bias:>+8.1%}{row.book_width:>8.1%}{row.judged:>8.0%}"
            )
        ours = [row for row in rows if row.judge == "ledger"]
        low, high = min(row.site_cover for row in ours), max(row.site_cover for row in ours)
        bias = max(abs(row.book_bias) for row in ours)
        self.finish(
            f"score_ledger: {seeds} seeds, {sites} gardens: intervals hold {low:.1%} to {high:.1%}, "
            f"largest bias {bias:.1%} of the saving"
        )

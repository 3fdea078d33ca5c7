"""Lines of a stored program as they are keyed in."""

from __future__ import annotations

from collections.abc import Iterable

from sites.calc.program.sheet import KeyedLine
from sites.models.program import LineFields


def keyed_of(lines: Iterable[LineFields]) -> list[KeyedLine]:
    """Lines of the database in run order.

    Parameters
    ----------
    lines
        Lines of one program.
    """
    return [
        KeyedLine(line.letter, line.days, line.starts, line.station, line.run_min, line.seasonal_adjust_pct)
        for line in sorted(lines, key=lambda line: (line.letter, line.run_order))
    ]

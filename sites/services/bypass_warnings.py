"""What should be looked at in new bypass logs: more blocked starts than the program as set offers."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sites.calc.program.passes import program_passes
from sites.importing.bypass import BypassRow
from sites.selectors.programs_set import program_lines

MOST_WORDS = 20


def bypass_warnings(*, rows: Sequence[BypassRow]) -> tuple[str, ...]:
    """Words on logs without scheduled starts whose program, where known, offers fewer than were blocked.

    Such a row is kept: somebody may have keyed in another program, which is what the sensor watch looks for.

    Parameters
    ----------
    rows
        Good rows of a file.
    """
    open_rows = [row for row in rows if row.scheduled is None]
    if not open_rows:
        return ()
    ids = np.unique(np.array([row.controller_id for row in open_rows], dtype=np.int64))
    first = min(row.start for row in open_rows)
    last = max(row.end for row in open_rows)
    days = np.arange(np.datetime64(first), np.datetime64(last))
    lines = program_lines(controller_ids=ids)
    passes = program_passes(lines, days=days, controller_ids=ids, zone_ids=np.unique(lines.zone_id))
    found = []
    for row in open_rows:
        column = int(np.searchsorted(ids, row.controller_id))
        span = slice((row.start - first).days, (row.end - first).days)
        offered = float(passes.starts[span, column].sum())
        gone = row.bypassed + row.skipped + row.cut_short
        if passes.is_known[span, column].all() and gone > offered:
            found.append(
                f"row {row.row}: {gone} starts blocked, skipped or cut short, where the program in the book"
                f" offers {offered:.0f}: is another program set?"
            )
    more = len(found) - MOST_WORDS
    return (*found[:MOST_WORDS], *((f"and {more} rows more of that kind",) if more > 0 else ()))

"""On which day each adapter last met its live service, as the marked tests wrote it down.

The table is committed with the code: `pytest -m remote_data` rewrites a source's row when the service
answered as agreed, and the weather page says "never met the live service" of every source without a row that
this installation has not met itself.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Final

MET_LIVE: Final = Path(__file__).with_suffix(".csv")
_HEAD: Final = "source,day"


def met_live(path: Path = MET_LIVE) -> Mapping[str, date]:
    """Day of the last meeting by source.

    Parameters
    ----------
    path
        The table.
    """
    with path.open(newline="", encoding="utf-8") as file:
        return {row["source"]: date.fromisoformat(row["day"]) for row in csv.DictReader(file)}


def write_meeting(source: str, day: date, path: Path = MET_LIVE) -> None:
    """Write down that a source answered as agreed; the other rows stay.

    Parameters
    ----------
    source
        Name of the source.
    day
        Day of the meeting.
    path
        The table.
    """
    rows = sorted({**met_live(path), source: day}.items())
    lines = [_HEAD, *(f"{name},{met.isoformat()}" for name, met in rows)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")

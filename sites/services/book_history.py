"""What the history keeps of an import: the fields that differ, and the repairs that were made on the way."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, time
from typing import Final

from sites.importing.book.tables import BookTable, Fields, RowChange
from sites.models import Change
from sites.services.history import ChangeNote

_DERIVED: Final = frozenset({"min_lon", "min_lat", "max_lon", "max_lat", "longitude", "latitude"})


def reason_of(repaired: Sequence[str]) -> str:
    """Reason of an imported change: each repair made, in order, with the area before and after [m2].

    Parameters
    ----------
    repaired
        Repairs made, in words.
    """
    return f"{Change.IMPORTED}; mended: {'; '.join(repaired)}" if repaired else Change.IMPORTED


def note_of_change(
    table: BookTable, change: RowChange, reason: str, thing_id: int | None = None
) -> ChangeNote:
    """A change as the history keeps it.

    Parameters
    ----------
    table, change
        Where, and what differs.
    reason
        Why.
    thing_id
        Its row, where the key of the change is not the one that it has from now on.
    """
    before = None if change.before is None else _plain(change.before)
    return ChangeNote(
        kind=table.kind,
        key="/".join(str(part)[:60] for part in change.key),
        site_code=str(change.key[0]),
        before=before,
        after=_plain(change.after),
        reason=reason,
        thing_id=thing_id,
    )


def _plain(fields: Fields) -> dict[str, object]:
    """Fields as JSON holds them; shapes as hexadecimal WKB, what follows from a shape left out."""
    return {name: _json(value) for name, value in fields.items() if name not in _DERIVED}


def _json(value: object) -> object:
    """A value as JSON holds it."""
    if isinstance(value, bytes):
        return value.hex()
    return value.isoformat() if isinstance(value, (date, time)) else value

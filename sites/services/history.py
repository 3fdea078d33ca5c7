"""The history of changes: written by every service that changes the book."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from sites.models import Change


@dataclass(frozen=True, slots=True)
class ChangeNote:
    """One change to be kept: only the fields that differ, None where there was nothing."""

    kind: str
    key: str
    site_code: str
    before: dict[str, object] | None
    after: dict[str, object] | None
    reason: str = ""
    thing_id: int | None = None


def record_changes(*, notes: Iterable[ChangeNote], by: str, at: datetime) -> int:
    """Keep the changes with who and when; how many there were."""
    rows = [
        Change(
            at=at,
            by=by[:150],
            kind=note.kind,
            key=note.key[:160],
            thing_id=note.thing_id,
            site_code=note.site_code,
            action=_action(note),
            before=note.before,
            after=note.after,
            reason=note.reason[:300],
        )
        for note in notes
    ]
    Change.objects.bulk_create(rows, batch_size=2_000)
    return len(rows)


def record_difference(
    *,
    kind: str,
    key: str,
    site_code: str,
    before: Mapping[str, object] | None,
    after: Mapping[str, object],
    by: str,
    at: datetime,
    reason: str = "",
    thing_id: int | None = None,
) -> int:
    """Keep what differs between two states of a thing, None before: it is new; 0 where nothing does."""
    old = None if before is None else {k: v for k, v in before.items() if v != after.get(k)}
    new = dict(after) if before is None else {k: v for k, v in after.items() if v != before.get(k)}
    if not new:
        return 0
    note = ChangeNote(kind, key, site_code, old, new, reason, thing_id)
    return record_changes(notes=[note], by=by, at=at)


def _action(note: ChangeNote) -> str:
    """Whether the thing is new, gone, or another."""
    if note.before is None:
        return Change.Action.ADDED
    return Change.Action.REMOVED if note.after is None else Change.Action.CHANGED

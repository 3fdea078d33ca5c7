"""What people decide about the weather, with history: the order of sources, and what published ET is."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction

from sites.services.history import ChangeNote, record_changes
from weather.models import Location
from weather.services.reference_questions import ReferenceAnswer, answer_reference_question
from weather.services.source_order import OrderChange, set_source_order


@transaction.atomic
def decide_source_order(
    *, location_id: int | None, variable: str, sources: Sequence[str] | None, by: str, at: datetime
) -> OrderChange:
    """Set which sources tell a variable, of one location or of all, with who and when.

    Parameters
    ----------
    location_id, variable, sources
        As in `set_source_order`.
    by, at
        Who decided, and when.
    """
    change = set_source_order(location_id=location_id, variable=variable, sources=sources, now=at)
    place = Location.objects.values_list("name", flat=True).get(pk=location_id) if location_id else "all"
    before, after = _order(change.before), _order(change.after)
    if before != after:
        note = ChangeNote("source_order", f"{place}/{variable}", "", before, after)
        record_changes(notes=[note], by=by, at=at)
    return change


def _order(sources: Sequence[str] | None) -> dict[str, object] | None:
    """An order as the history keeps it."""
    return None if sources is None else {"sources": " ".join(sources)}


@transaction.atomic
def decide_reference(*, location_id: int, answer: str, by: str, at: datetime) -> ReferenceAnswer:
    """Keep what somebody says about published ET, with who and when.

    Parameters
    ----------
    location_id, answer
        As in `answer_reference_question`.
    by, at
        Who decided, and when.
    """
    change = answer_reference_question(location_id=location_id, answer=answer, by=by, now=at)
    if change.before != change.after:
        note = ChangeNote(
            "reference_question",
            change.location,
            "",
            {"answer": change.before},
            {"answer": change.after},
        )
        record_changes(notes=[note], by=by, at=at)
    return change

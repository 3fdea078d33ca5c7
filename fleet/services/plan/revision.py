"""Counts how often the plan changed a visit's day, person or time, for calendars that took it in before."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime

from django.db.models import F

from fleet.models import Stop, Visit

# (technician, start, end) by visit id
Places = Mapping[int, tuple[int, datetime, datetime]]


def places_of(visit_ids: Iterable[int]) -> dict[int, tuple[int, datetime, datetime]]:
    """Where these visits stand in the plan; those that stand nowhere are missing."""
    rows = Stop.objects.filter(visit_id__in=list(visit_ids)).values_list(
        "visit_id", "route__technician_id", "arrive", "depart"
    )
    return {visit: (person, arrive, depart) for visit, person, arrive, depart in rows}


def count_changes(*, before: Places, visit_ids: Iterable[int]) -> int:
    """Count a change for each visit that stands elsewhere than before; how many they are."""
    ids = list(visit_ids)
    now = places_of(ids)
    changed = [pk for pk in ids if before.get(pk) != now.get(pk) and (pk in before or pk in now)]
    return Visit.objects.filter(pk__in=changed).update(plan_revision=F("plan_revision") + 1)

"""What a planning does to customers who were told hours: how many keep them, lose them, or are moved."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo

from fleet.models import Visit
from fleet.services.plan.revision import Places
from fleet.services.plan.visits_of_week import hours_of

Hours = tuple[datetime | None, datetime | None]


@dataclass(frozen=True, slots=True)
class ToldKept:
    """Visits whose customers were told hours: all, those with no place now, and those on another day."""

    told: int
    lost: int
    moved: int


def told_hours(visits: Iterable[Visit]) -> dict[int, Hours]:
    """Hours that the customer of each visit was told: its own window, else what its needs promise.

    Parameters
    ----------
    visits
        Visits with their needs loaded; those that promise nothing are missing from the answer.
    """
    found: dict[int, Hours] = {}
    for visit in visits:
        promised = [need for need in visit.needs.all() if need.promised]
        if visit.told_at is not None:
            found[visit.pk] = (visit.window_from, visit.window_to)
        elif promised:
            found[visit.pk] = hours_of(promised)
    return found


def told_kept(*, told: Mapping[int, Hours], before: Places, after: Places, zone: tzinfo) -> ToldKept:
    """Count who keeps what they were told.

    Moved is who starts outside the told hours now, or stands on another day than before although that one was
    within them too. Who comes back into the told hours is not moved.

    Parameters
    ----------
    told
        Hours told, by visit.
    before, after
        Places in the plan before and after, by visit.
    zone
        Time zone in which a day is one.
    """
    kept = [pk for pk in told if pk in after]
    moved = [pk for pk in kept if _is_moved(told[pk], before.get(pk), after[pk], zone)]
    return ToldKept(len(told), len(told) - len(kept), len(moved))


def _is_moved(
    hours: Hours,
    old: tuple[int, datetime, datetime] | None,
    new: tuple[int, datetime, datetime],
    zone: tzinfo,
) -> bool:
    """Whether a told customer has to be told otherwise."""
    if not _holds(hours, new[1]):
        return True
    if old is None or not _holds(hours, old[1]):
        return False
    return old[1].astimezone(zone).date() != new[1].astimezone(zone).date()


def _holds(hours: Hours, moment: datetime) -> bool:
    """Whether a start lies within told hours."""
    return (hours[0] is None or hours[0] <= moment) and (hours[1] is None or moment <= hours[1])

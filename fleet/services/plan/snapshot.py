"""The plan of some days as plain data, to be put back by undo."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Final, TypeVar

from fleet.models import PlanRun, Route, Stop, Technician, Visit, VisitNeed
from fleet.services.plan.revision import count_changes, places_of

ROUTE_FIELDS: Final = (
    "id",
    "technician_id",
    "day",
    "state",
    "start_at",
    "end_at",
    "drive_min",
    "drive_km",
    "end_drive_min",
    "end_drive_km",
    "travel_is_estimated",
    "planned_at",
    "way",
)
STOP_FIELDS: Final = (
    "id",
    "route_id",
    "order",
    "visit_id",
    "is_break",
    "arrive",
    "depart",
    "drive_min",
    "drive_km",
    "state",
    "state_at",
    "not_possible_reason",
)
VISIT_FIELDS: Final = (
    "id",
    "state",
    "window_from",
    "window_to",
    "told_at",
    "is_locked",
    "unserved_reason",
    "unserved_code",
    "unserved_change",
)
MOMENTS: Final = {
    "start_at",
    "end_at",
    "planned_at",
    "arrive",
    "depart",
    "state_at",
    "window_from",
    "window_to",
    "told_at",
}
Row = TypeVar("Row")
# Older plans of a week lose their copy: undo goes back so many steps.
STEPS_KEPT: Final = 10


class CannotUndo(ValueError):
    """There is nothing to undo, or a day of it has begun; the message says which."""


def snapshot(*, days: Sequence[date], monday: date) -> dict[str, object]:
    """Routes, stops and visit marks of these days, as JSON can hold them."""
    routes = Route.objects.filter(day__in=days).values(*ROUTE_FIELDS)
    stops = Stop.objects.filter(route__day__in=days).values(*STOP_FIELDS)
    visits = Visit.objects.filter(week=monday).values(*VISIT_FIELDS)
    return {
        "days": [day.isoformat() for day in days],
        "routes": [_plain(row) for row in routes],
        "stops": [_plain(row) for row in stops],
        "visits": [_plain(row) for row in visits],
    }


def restore_snapshot(*, before: dict[str, object], monday: date) -> int:
    """Put a snapshot back; how many stops it holds. Raises `CannotUndo` where a day has begun since."""
    days = [date.fromisoformat(str(text)) for text in _rows(before, "days", str)]
    begun = Stop.objects.filter(route__day__in=days).exclude(state=Stop.State.AHEAD)
    then = {row["id"] for row in _rows(before, "stops", dict) if row["state"] != Stop.State.AHEAD}
    if begun.exclude(pk__in=then).exists():
        raise CannotUndo("A day of that plan has begun; it can no longer be undone as a whole.")
    alive = set(Visit.objects.filter(week=monday).values_list("pk", flat=True))
    stood = places_of(alive)
    Stop.objects.filter(route__day__in=days).delete()
    Route.objects.filter(day__in=days).delete()
    stops = [row for row in _rows(before, "stops", dict) if row["visit_id"] in (alive | {None})]
    Route.objects.bulk_create([Route(**_typed(row)) for row in _rows(before, "routes", dict)])
    Stop.objects.bulk_create([Stop(**_typed(row)) for row in stops], batch_size=1_000)
    kept = {row["id"]: _typed(row) for row in _rows(before, "visits", dict)}
    changed = []
    for visit in Visit.objects.filter(pk__in=kept):
        # A copy of an earlier version of the program lacks what visits have got since.
        for name in VISIT_FIELDS[1:]:
            setattr(visit, name, kept[visit.pk].get(name, _unset(name)))
        changed.append(visit)
    Visit.objects.bulk_update(changed, list(VISIT_FIELDS[1:]), batch_size=500)
    _restore_book(before)
    count_changes(before=stood, visit_ids=alive)
    return len(stops)


def _unset(name: str) -> object:
    """What a field of a visit holds where nobody has said anything."""
    return getattr(Visit(), name)


def _restore_book(before: dict[str, object]) -> None:
    """Put back what a break of the day changed beside the plan: needs, days off, and visits made for it."""
    needs = {row["id"]: row for row in _rows(before, "needs", dict)}
    rows = list(VisitNeed.objects.filter(pk__in=needs))
    for need in rows:
        for name, value in needs[need.pk].items():
            setattr(need, name, _need_value(name, value))
    names = ["state", "closed_on", "withdrawn_why", "rests_until", "earliest", "latest", "promised"]
    VisitNeed.objects.bulk_update(rows, names, batch_size=500)
    for person in _rows(before, "people", dict):
        Technician.objects.filter(pk=person["id"]).update(days_off=person["days_off"])
    made = _rows(before, "made_visits", int)
    Visit.objects.filter(pk__in=made, stops__isnull=True, findings__isnull=True).delete()


def _need_value(name: str, value: object) -> object:
    """A need's column back from text."""
    if not isinstance(value, str):
        return value
    if name in ("earliest", "latest"):
        return datetime.fromisoformat(value)
    return date.fromisoformat(value) if name in ("closed_on", "rests_until") else value


def keep_run(
    *,
    monday: date,
    day: date | None,
    now: datetime,
    by: str,
    figures: dict[str, object],
    before: dict[str, object],
) -> PlanRun:
    """Write a planning down; older ones of the week lose their copy after some steps."""
    run = PlanRun.objects.create(
        week=monday, day=day, planned_at=now, by=by[:150], figures=figures, before=before
    )
    old = PlanRun.objects.filter(week=monday).values_list("pk", flat=True)[STEPS_KEPT:]
    PlanRun.objects.filter(pk__in=list(old)).update(before=None)
    return run


def _plain(row: dict[str, object]) -> dict[str, object]:
    """A row with days and moments as text."""
    return {
        name: value.isoformat() if isinstance(value, date | datetime) else value
        for name, value in row.items()
    }


def _typed(row: dict[str, object]) -> dict[str, object]:
    """A plain row with its days and moments back."""
    typed = dict(row)
    for name, value in row.items():
        if isinstance(value, str) and name in MOMENTS:
            typed[name] = datetime.fromisoformat(value)
        elif isinstance(value, str) and name == "day":
            typed[name] = date.fromisoformat(value)
    return typed


def _rows(before: dict[str, object], name: str, kind: type[Row]) -> list[Row]:
    """Rows of one part of a snapshot."""
    rows = before.get(name, [])
    return [row for row in rows if isinstance(row, kind)] if isinstance(rows, list) else []

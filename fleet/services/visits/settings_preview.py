"""What other prices would do to this week, by the same code that values needs; nothing is written."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np

from fleet.calc.plan.workdays import monday_of
from fleet.calc.visits.settings import VisitSettings, planned_min
from fleet.calc.visits.value import merged_service_min
from fleet.calc.visits.value_order import order_change
from fleet.models import Stop, Visit, VisitKind
from fleet.services.visits.all_wants import all_wants
from fleet.services.visits.raise_needs import COMPUTED
from fleet.services.visits.wanted import Cause, Wanted, cause_of
from sites.models import Site

SHOWN: Final = 12
DAYS_A_WEEK: Final = 7
NOT_DONE: Final = (
    (
        "It puts visits in order by value, less their driving as planned now, and fills the week's time on "
        "the spot; it tries no route, skill or window. The next planning does."
    ),
    "Stated values and priorities of needs that a person or a file entered stay as they were written.",
    "Minutes that findings have taught are kept in proportion, not learned anew.",
)


@dataclass(frozen=True, slots=True)
class MovedNeed:
    """A need whose value changes, appears (before None) or goes (after None) [money/day]."""

    site: str
    kind: str
    before: float | None
    after: float | None

    @property
    def by(self) -> float:
        """How much a day."""
        return (self.after or 0.0) - (self.before or 0.0)


@dataclass(frozen=True, slots=True)
class MovedVisit:
    """A visit of the week that the order by value would take in or leave out."""

    site: str
    kinds: str
    before: float
    after: float


@dataclass(frozen=True, slots=True)
class Preview:
    """What a change does; lists are cut to the largest, counts are of all."""

    rises: tuple[MovedNeed, ...]
    falls: tuple[MovedNeed, ...]
    rise_count: int
    fall_count: int
    raised: tuple[MovedNeed, ...]
    gone: tuple[MovedNeed, ...]
    raised_count: int
    gone_count: int
    value_before: float
    value_after: float
    driving_before: float
    driving_after: float
    comes_in: tuple[MovedVisit, ...]
    drops_out: tuple[MovedVisit, ...]
    in_count: int
    out_count: int
    visits: int
    not_done: tuple[str, ...] = NOT_DONE


def preview_settings(*, now_used: VisitSettings, tried: VisitSettings, day: date) -> Preview:
    """Needs that rise, fall, appear or go, money, and visits that would come in or drop out.

    Parameters
    ----------
    now_used, tried
        Settings in force, and those to be tried.
    day
        The company's day.
    """
    old, new = _by_cause(day, now_used), _by_cause(day, tried)
    codes = dict(Site.objects.values_list("pk", "code"))
    moved = [
        MovedNeed(codes[cause[2]], _kind(cause[1]), old[cause].value_per_day, new[cause].value_per_day)
        for cause in old
        if cause in new and abs(old[cause].value_per_day - new[cause].value_per_day) > 0.005
    ]
    raised = [MovedNeed(codes[c[2]], _kind(c[1]), None, new[c].value_per_day) for c in new if c not in old]
    gone = [MovedNeed(codes[c[2]], _kind(c[1]), old[c].value_per_day, None) for c in old if c not in new]
    rises = sorted((one for one in moved if one.by > 0), key=lambda one: (-one.by, one.site))
    falls = sorted((one for one in moved if one.by < 0), key=lambda one: (one.by, one.site))
    visits = _visits(day, old, new, now_used, tried, codes)
    driving = _driving(day)
    return Preview(
        rises=tuple(rises[:SHOWN]),
        falls=tuple(falls[:SHOWN]),
        rise_count=len(rises),
        fall_count=len(falls),
        raised=tuple(sorted(raised, key=lambda one: -one.by)[:SHOWN]),
        gone=tuple(sorted(gone, key=lambda one: one.by)[:SHOWN]),
        raised_count=len(raised),
        gone_count=len(gone),
        value_before=sum(one.value_per_day for one in old.values()),
        value_after=sum(one.value_per_day for one in new.values()),
        driving_before=_money(driving, now_used),
        driving_after=_money(driving, tried),
        comes_in=visits[0][:SHOWN],
        drops_out=visits[1][:SHOWN],
        in_count=len(visits[0]),
        out_count=len(visits[1]),
        visits=visits[2],
    )


def _by_cause(day: date, settings: VisitSettings) -> dict[Cause, Wanted]:
    """What the data want today by these settings."""
    return {want.cause: want for want in all_wants(day=day, settings=settings)}


def _kind(kind: str) -> str:
    """A kind of visit in words."""
    return str(VisitKind(kind).label)


def _driving(day: date) -> tuple[float, float]:
    """Kilometres and hours of the week as it is planned."""
    monday = monday_of(day)
    stops = Stop.objects.filter(route__day__gte=monday, route__day__lt=monday + timedelta(days=DAYS_A_WEEK))
    rows = list(stops.values_list("drive_km", "drive_min"))
    return sum(row[0] for row in rows), sum(row[1] for row in rows) / 60.0


def _money(driving: tuple[float, float], settings: VisitSettings) -> float:
    """Cost of driving [money]."""
    return driving[0] * settings.cost_per_km + driving[1] * settings.cost_per_hour


def _visits(
    day: date,
    old: Mapping[Cause, Wanted],
    new: Mapping[Cause, Wanted],
    now_used: VisitSettings,
    tried: VisitSettings,
    codes: Mapping[int, str],
) -> tuple[tuple[MovedVisit, ...], tuple[MovedVisit, ...], int]:
    """Visits of the week that the order by value takes in, leaves out, and how many there are."""
    rows = list(
        Visit.objects.filter(week=monday_of(day), state__in=(Visit.State.PLANNED, Visit.State.TOLD))
        .prefetch_related("needs")
        .order_by("pk")
    )
    if not rows:
        return (), (), 0
    stops = {stop.visit_id: stop for stop in Stop.objects.filter(visit__in=rows)}
    typical = _typical(list(stops.values()))
    drives = [_drive(stops.get(row.pk), typical) for row in rows]
    values = np.array(
        [
            [_worth(row, wants, used) - _money(drive, used) for row, drive in zip(rows, drives, strict=True)]
            for wants, used in ((old, now_used), (new, tried))
        ]
    )
    minutes = np.array([[_minutes(row, now_used, used) for row in rows] for used in (now_used, tried)])
    is_planned = np.array([row.pk in stops for row in rows], dtype=np.bool_)
    is_held = np.array([row.is_locked or row.told_at is not None for row in rows], dtype=np.bool_)
    change = order_change(
        values[0], values[1], minutes[0], minutes[1], is_held, float(minutes[0][is_planned].sum())
    )
    told = [
        MovedVisit(
            codes[row.site_id],
            ", ".join(_kind(need.kind) for need in row.needs.all()),
            round(float(values[0][n]), 2),
            round(float(values[1][n]), 2),
        )
        for n, row in enumerate(rows)
    ]
    found = (
        sorted((told[n] for n in np.flatnonzero(which)), key=lambda one: -abs(one.after - one.before))
        for which in (change.comes_in, change.drops_out)
    )
    comes, drops = (tuple(one) for one in found)
    return comes, drops, len(rows)


def _worth(visit: Visit, wants: Mapping[Cause, Wanted], settings: VisitSettings) -> float:
    """What going this week instead of next is worth [money]."""
    total = 0.0
    for need in visit.needs.all():
        want = wants.get(cause_of(need.origin, need.kind, need.site_id, need.controller_id))
        if need.origin not in COMPUTED:
            total += need.value_per_day * DAYS_A_WEEK
        elif want is not None:
            total += want.value_per_day * DAYS_A_WEEK
    return total + (settings.promise_per_day if any(need.promised for need in visit.needs.all()) else 0.0)


def _minutes(visit: Visit, now_used: VisitSettings, used: VisitSettings) -> float:
    """Time on the spot, each need's in proportion to its kind's planned minutes [min]."""
    needs = list(visit.needs.all())
    own = [
        need.service_min * planned_min(used, need.kind) / max(planned_min(now_used, need.kind), 1.0)
        for need in needs
    ]
    return merged_service_min(own)


def _typical(stops: Sequence[Stop]) -> tuple[float, float]:
    """Kilometres and hours that a stop of the week takes."""
    own = [stop for stop in stops if not stop.is_break]
    count = max(len(own), 1)
    return sum(stop.drive_km for stop in own) / count, sum(stop.drive_min for stop in own) / 60.0 / count


def _drive(stop: Stop | None, typical: tuple[float, float]) -> tuple[float, float]:
    """Kilometres and hours to a stop; one that is on no route takes the typical."""
    return typical if stop is None else (stop.drive_km, stop.drive_min / 60.0)

"""Setting which sources tell a variable: what every source told is put together again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.db.models import Count, Max, Min, Q

from weather.calc.new_days import NewDay, NewPlace
from weather.calc.source_chain import VARIABLES, ChosenDay, choose_sources
from weather.models import Location, SourceDay, SourceOrder
from weather.services.record_daily_weather import changed_days, write_chosen_days
from weather.services.told_days import Key, source_orders, told_days

_LOCATIONS_AT_ONCE = 50


class BadOrder(ValueError):
    """The order cannot be set; the message says why."""


@dataclass(frozen=True, slots=True)
class OrderChange:
    """What setting did: the order before and after (None: the default one), and the days that moved."""

    before: tuple[str, ...] | None
    after: tuple[str, ...] | None
    days: int
    locations: int


@transaction.atomic
def set_source_order(
    *, location_id: int | None, variable: str, sources: Sequence[str] | None, now: datetime
) -> OrderChange:
    """Set the sources of a variable, and put the stored days together anew where that changes them.

    Parameters
    ----------
    location_id
        Location that the order is for; None: all that have none of their own.
    variable
        One of `VARIABLES`.
    sources
        Names, the first one counts; one left out is not used. None: back to the default order.
    now
        When it is set.
    """
    if variable not in VARIABLES:
        raise BadOrder(f"{variable!r} is none of {', '.join(VARIABLES)}")
    if sources is not None and (not sources or len(set(sources)) < len(sources)):
        raise BadOrder("an order names at least one source, and none twice")
    if sources is not None and any(not name or " " in name for name in sources):
        raise BadOrder("the name of a source has no blanks")
    location = None if location_id is None else Location.objects.filter(pk=location_id).first()
    if location_id is not None and location is None:
        raise BadOrder("there is no such location")
    whose = Q(location__isnull=True) if location is None else Q(location=location)
    known = SourceOrder.objects.filter(whose, variable=variable)
    before = known.values_list("sources", flat=True).first()
    if sources is None:
        known.delete()
    else:
        SourceOrder.objects.update_or_create(
            location=location, variable=variable, defaults={"sources": " ".join(sources)}
        )
    days, locations = _put_together_again(location_id, now)
    return OrderChange(
        before=None if before is None else tuple(before.split()),
        after=None if sources is None else tuple(sources),
        days=days,
        locations=locations,
    )


def _put_together_again(location_id: int | None, now: datetime) -> tuple[int, int]:
    """Days and locations that changed."""
    chosen = Location.objects.all() if location_id is None else Location.objects.filter(pk=location_id)
    wanted = set(chosen.values_list("pk", flat=True))
    spans = [
        row
        for row in SourceDay.objects.order_by()
        .values("location_id")
        .annotate(first=Min("day"), last=Max("day"), sources=Count("source", distinct=True))
        if row["location_id"] in wanted
    ]
    days = places = 0
    for left in range(0, len(spans), _LOCATIONS_AT_ONCE):
        some = spans[left : left + _LOCATIONS_AT_ONCE]
        moved = _chosen_again(
            [row["location_id"] for row in some],
            min(row["first"] for row in some),
            max(row["last"] for row in some),
            now,
        )
        days, places = days + moved[0], places + moved[1]
    return days, places


def _chosen_again(ids: Sequence[int], first: date, last: date, now: datetime) -> tuple[int, int]:
    """Days and locations of some that changed."""
    places = {
        row.name: row for row in Location.objects.filter(pk__in=ids).only(
            "name", "latitude", "longitude", "elevation_m", "is_grid"
        )
    }  # fmt: skip
    told = told_days(names=sorted(places), first=first, last=last)
    orders = source_orders(names=places)
    chosen: dict[Key, ChosenDay] = {
        key: choose_sources(by_source, orders[key[0]], key[2]) for key, by_source in told.items()
    }
    points = {
        name: NewPlace(name, row.latitude, row.longitude, row.elevation_m, row.is_grid)
        for name, row in places.items()
    }
    days = [
        NewDay(points[key[0]], key[1], key[2], key[3], day.values, day.flags) for key, day in chosen.items()
    ]
    changed = changed_days(days=days, chosen=chosen)
    touched = {name: places[name].pk for name in {day.place.name for day in changed}}
    if changed:
        write_chosen_days(days=changed, chosen=chosen, ids=touched, now=now)
    return len(changed), len(touched)

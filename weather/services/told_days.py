"""What each source told: kept day by day, and put together in the order that was set."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Final

from django.db.models import Q

from weather.calc.new_days import RAW, NewDay
from weather.calc.source_chain import ChosenDay, Told, choose_sources, source_of_label
from weather.models import SourceDay, SourceOrder

BATCH: Final = 2_000
Key = tuple[str, date, str, date]
Order = dict[str, tuple[str, ...]]
ToldDays = dict[Key, dict[str, Told]]


def told_days(*, names: Sequence[str], first: date, last: date) -> ToldDays:
    """What every source told of some locations, by natural key and source.

    Parameters
    ----------
    names
        Names of the locations.
    first, last
        Days wanted, both inclusive.
    """
    told: ToldDays = defaultdict(dict)
    for left in range(0, len(names), BATCH // 4):
        rows = SourceDay.objects.filter(
            location__name__in=names[left : left + BATCH // 4], day__gte=first, day__lte=last
        ).values_list("location__name", "day", "kind", "issued", "source", "label", "flags", *RAW)
        for name, day, kind, issued, source, label, flags, *values in rows.iterator(chunk_size=BATCH):
            told[name, day, kind, issued][source] = Told(tuple(values), flags, label)
    return told


def source_orders(*, names: Iterable[str]) -> dict[str, Order]:
    """The orders that somebody set, by location and variable; those of all locations stand behind.

    Parameters
    ----------
    names
        Names of the locations.
    """
    general: Order = {}
    own: dict[str, Order] = defaultdict(dict)
    rows = SourceOrder.objects.filter(Q(location=None) | Q(location__name__in=list(names)))
    for name, variable, sources in rows.values_list("location__name", "variable", "sources"):
        (own[name] if name else general)[variable] = tuple(sources.split())
    return {name: general | own.get(name, {}) for name in names}


def put_together(
    *, days: Sequence[NewDay], told: Mapping[Key, Mapping[str, Told]], label: str
) -> dict[Key, ChosenDay]:
    """Each day as its sources tell it together, the new ones among them.

    Parameters
    ----------
    days
        New days of one source.
    told
        What is stored of the same keys.
    label
        Where the new days come from.
    """
    source = source_of_label(label)
    orders = source_orders(names={day.place.name for day in days})
    return {
        day.key: choose_sources(
            {**told.get(day.key, {}), source: Told(day.values, day.flags, label[:80])},
            orders[day.place.name],
            day.kind,
        )
        for day in days
    }


def keep_told_days(
    *, days: Sequence[NewDay], told: Mapping[Key, Mapping[str, Told]], ids: Mapping[str, int], label: str,
    now: datetime,
) -> int:  # fmt: skip
    """Keep what a source told; how many of its days are new or differ from what it told before.

    Parameters
    ----------
    days
        Days of one source.
    told
        What is stored of the same keys.
    ids
        Ids of the locations by name.
    label
        Where the days come from.
    now
        When they were fetched.
    """
    source = source_of_label(label)
    touched = [
        day
        for day in days
        if (before := told.get(day.key, {}).get(source)) is None
        or replace(before, label="") != Told(day.values, day.flags, "")
    ]
    SourceDay.objects.bulk_create(
        [
            SourceDay(
                location_id=ids[day.place.name],
                source=source[:40],
                label=label[:80],
                day=day.day,
                kind=day.kind,
                issued=day.issued,
                flags=day.flags,
                fetched_at=now,
                **dict(zip(RAW, day.values, strict=True)),
            )
            for day in touched
        ],
        batch_size=BATCH,
        update_conflicts=True,
        unique_fields=["location", "day", "kind", "issued", "source"],
        update_fields=[*RAW, "label", "flags", "fetched_at"],
    )
    return len(touched)

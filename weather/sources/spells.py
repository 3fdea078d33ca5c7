"""Values that hold for a spell of time, gathered into local calendar days."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from weather.sources.protocol import SourceChanged

_DURATION = re.compile(r"P(?:(\d+)D)?(?:T(?:(\d+)H)?(?:(\d+)M)?)?")
_MIDNIGHT = time()


@dataclass(frozen=True, slots=True)
class Spell:
    """A value from `start` until `end`, both aware."""

    start: datetime
    end: datetime
    value: float

    @property
    def middle(self) -> datetime:
        """Return the moment half-way."""
        return self.start + (self.end - self.start) / 2


def parse_spell(text: str) -> tuple[datetime, datetime]:
    """Return start and end of an ISO 8601 interval as `2026-06-14T06:00:00+00:00/PT6H`."""
    start, _, length = text.partition("/")
    found = _DURATION.fullmatch(length)
    try:
        moment = datetime.fromisoformat(start)
    except ValueError:
        moment = None
    if found is None or moment is None or moment.tzinfo is None or not any(found.groups()):
        raise SourceChanged(f"{text[:60]!r} is no interval as 2026-06-14T06:00:00+00:00/PT6H")
    days, hours, minutes = (int(part or 0) for part in found.groups())
    return moment, moment + timedelta(days=days, hours=hours, minutes=minutes)


def day_bounds(day: date, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """Return the midnights that bound a local day; on nights when clocks change it is not 24 h long."""
    start = datetime.combine(day, _MIDNIGHT, tzinfo=zone)
    end = datetime.combine(day + timedelta(days=1), _MIDNIGHT, tzinfo=zone)
    return start.astimezone(ZoneInfo("UTC")), end.astimezone(ZoneInfo("UTC"))


def overlap_h(spell: Spell, start: datetime, end: datetime) -> float:
    """Return the hours that a spell shares with a span."""
    shared = min(spell.end, end) - max(spell.start, start)
    return max(0.0, shared.total_seconds() / 3600.0)


def covered_share(spells: Sequence[Spell], start: datetime, end: datetime) -> float:
    """Return the share of a span that spells cover."""
    hours = (end - start).total_seconds() / 3600.0
    return sum(overlap_h(spell, start, end) for spell in spells) / hours


def total(spells: Sequence[Spell], start: datetime, end: datetime) -> float:
    """Return the sum over a span; a spell that crosses midnight gives each day its share."""
    return sum(
        spell.value * overlap_h(spell, start, end) / ((spell.end - spell.start).total_seconds() / 3600.0)
        for spell in spells
    )


def mean(spells: Sequence[Spell], start: datetime, end: datetime) -> float:
    """Return the mean over the covered part of a span, weighted by time."""
    hours = [overlap_h(spell, start, end) for spell in spells]
    return sum(spell.value * part for spell, part in zip(spells, hours, strict=True)) / sum(hours)


def within(spells: Sequence[Spell], start: datetime, end: datetime) -> list[float]:
    """Return the values of spells that share time with a span."""
    return [spell.value for spell in spells if overlap_h(spell, start, end) > 0.0]

"""What the page of the company shows: zones to choose from, and who changed what."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final
from zoneinfo import available_timezones

from sites.models import Change

MOST: Final = 30
# Names of the fields in words, as the history tells them.
FIELD_WORDS: Final[dict[str, str]] = {
    "name": "name",
    "timezone": "time zone",
    "currency": "currency",
    "depot_latitude": "depot, latitude",
    "depot_longitude": "depot, longitude",
}


@dataclass(frozen=True, slots=True)
class CompanyEntry:
    """One change: the entry, what changed in words (field, before, after), whether it can be put back."""

    change: Change
    steps: tuple[tuple[str, object, object], ...]
    can_go_back: bool


def zones_to_choose() -> tuple[str, ...]:
    """Time zones by place, and UTC; neither old names nor fixed hours."""
    named = (name for name in available_timezones() if "/" in name)
    return (*sorted(name for name in named if not name.startswith(("Etc/", "SystemV/", "US/"))), "UTC")


def company_history() -> tuple[CompanyEntry, ...]:
    """The newest changes of what the company says of itself, newest first."""
    rows = Change.objects.filter(kind="company").order_by("-pk")[:MOST]
    return tuple(CompanyEntry(row, _steps(row), bool(row.before)) for row in rows)


def _steps(change: Change) -> tuple[tuple[str, object, object], ...]:
    """What changed."""
    before, after = change.before or {}, change.after or {}
    return tuple(
        (FIELD_WORDS.get(name, name), before.get(name), value)
        for name, value in after.items()
        if value is not None or before.get(name) is not None
    )

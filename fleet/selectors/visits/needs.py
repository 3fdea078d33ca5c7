"""Why somebody must go: the dispatcher's list of visit needs, with value, reason and planned place."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime


@dataclass(frozen=True, slots=True)
class PlannedPlace:
    """Where a need stands in the plan. Times are aware, in the site's own time zone."""

    stop_id: int
    date: date
    technician_id: int
    technician: str
    technician_name: str
    order: int
    arrive: datetime
    depart: datetime
    window_from: datetime | None
    window_to: datetime | None
    is_published: bool
    is_told: bool
    is_locked: bool


@dataclass(frozen=True, slots=True)
class NeedRow:
    """One need of one site. `reason` and `value_reason` are sentences for people, without markup."""

    need_id: int
    visit_id: int | None
    site_id: int
    site: str
    site_name: str
    address: str
    latitude: float | None
    longitude: float | None
    kind: str
    kind_words: str
    source: str
    source_words: str
    reason: str
    value_per_day: float
    currency: str
    value_reason: str
    raised_on: date
    earliest: datetime | None
    latest: datetime | None
    service_min: int
    skills: tuple[str, ...]
    parts: tuple[str, ...]
    # Empty when it may be planned; else the sentence that says what is missing (locate ticket, ...).
    blocked: str
    # The last plan's reason for leaving it out, as a code; and why it waits, whoever found that: empty when
    # planned or blocked.
    unserved_code: str
    unserved: str
    planned: PlannedPlace | None


@dataclass(frozen=True, slots=True)
class NeedsWeek:
    """All open needs of a week: waiting ones first, then planned ones, each by value.

    Counts are of gardens (sites), not of needs: two needs at one site are one visit.
    """

    week: date
    rows: tuple[NeedRow, ...]
    gardens: int
    gardens_planned: int
    gardens_waiting: int
    by_kind: tuple[tuple[str, str, int], ...]  # (kind, words, needs), largest first
    waiting: int  # needs, all of them, whether their row was loaded or not
    planned: int

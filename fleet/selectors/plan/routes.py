"""Who drives where and when: the dispatcher's board of technician-days."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime


@dataclass(frozen=True, slots=True)
class StopRow:
    """One row of a technician's day: a visit, the break, or the way back (`what`).

    Times are aware, in the company's time zone for breaks and ways back, else in the site's.
    """

    stop_id: int
    what: str  # "visit", "break", "back"
    order: int
    visit_id: int | None
    site_id: int | None
    site: str
    site_name: str
    address: str
    latitude: float | None
    longitude: float | None
    kinds: tuple[str, ...]
    kinds_words: str
    reasons: tuple[str, ...]
    arrive: datetime
    depart: datetime
    window_from: datetime | None
    window_to: datetime | None
    drive_min: float
    drive_km: float
    service_min: int
    value_per_day: float
    state: str  # "planned", "told", "on_way", "here", "done", "not_done"
    is_locked: bool
    late_min: int  # minutes after the told window's end at which the service would start; 0: in time
    state_at: datetime | None = None  # when it came into its state
    not_possible: str = ""  # why it was not possible


@dataclass(frozen=True, slots=True)
class BoardDay:
    """One technician's day on the board. Without a route: `route_id` None and no stops.

    `gardens` are those of the visits in order, also where the stops themselves were not asked for.
    """

    date: date
    route_id: int | None
    is_at_work: bool
    off_words: str  # "off", "not at work on Monday"; empty when at work
    shift_from: datetime | None
    shift_to: datetime | None
    stops: tuple[StopRow, ...]
    gardens: tuple[int, ...]
    visits: int
    drive_min: float
    drive_km: float
    service_min: int
    free_min: int  # shift minus driving, service and break
    is_published: bool


@dataclass(frozen=True, slots=True)
class BoardRow:
    """One technician's week. `number` and its line pattern tell routes apart on the map."""

    number: int
    technician_id: int
    technician: str
    name: str
    skills: tuple[str, ...]
    start_latitude: float
    start_longitude: float
    days: tuple[BoardDay, ...]


@dataclass(frozen=True, slots=True)
class UnservedRow:
    """A visit that the last plan left out, with its reason as code and sentence."""

    visit_id: int
    site_id: int
    site: str
    site_name: str
    kinds: tuple[str, ...]
    kinds_words: str
    code: str
    reason: str
    value_per_day: float


@dataclass(frozen=True, slots=True)
class PlanStamp:
    """When the last plan was made and what it rests on."""

    planned_at: datetime
    is_estimated: bool  # driving times from straight distances, no street data
    travel_words: str
    visits: int
    unserved: int
    drive_min: float
    drive_km: float
    told: int  # visits of that planning whose customers were told hours
    told_lost: int  # those of them that it left out
    told_moved: int  # those that it put on another day or outside their hours

    @property
    def told_kept(self) -> int:
        """Told customers who need no call."""
        return self.told - self.told_lost - self.told_moved


@dataclass(frozen=True, slots=True)
class WeekBoard:
    """The board of one week, Monday first. `plan` is None when nothing was planned yet."""

    week: date
    days: tuple[date, ...]
    rows: tuple[BoardRow, ...]
    plan: PlanStamp | None
    can_undo: bool


@dataclass(frozen=True, slots=True)
class RouteLine:
    """A technician-day as a line for the map, (lon, lat) pairs; `is_estimated`: straight lines."""

    number: int
    technician: str
    date: date
    coordinates: tuple[tuple[float, float], ...]
    is_estimated: bool

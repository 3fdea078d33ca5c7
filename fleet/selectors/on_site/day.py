"""A technician's day: ordered stops, and at each stop why, how to get in, what to check and key in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from fleet.calc.on_site.decision_help import Meaning
from fleet.selectors.plan.routes import StopRow
from fleet.selectors.watch.expect import Expected

# A field named `date` hides the type inside its class.
Day = date


@dataclass(frozen=True, slots=True)
class LateDay:
    """How the day runs by the clock: minutes late at the next stop, arrivals by stop, promises at risk."""

    minutes: int
    arrivals: Mapping[int, datetime]  # only of stops that run late
    at_risk: tuple[StopRow, ...]
    back: datetime | None


@dataclass(frozen=True, slots=True)
class TechnicianDay:
    """The day of one technician. `next_stop_id` is the first stop that is not done."""

    technician_id: int
    technician: str
    name: str
    date: Day
    route_id: int | None
    is_published: bool
    leave: datetime | None
    back: datetime | None
    stops: tuple[StopRow, ...]
    visits: int
    done: int
    next_stop_id: int | None
    drive_min: float
    drive_km: float
    is_estimated: bool
    parts: tuple[str, ...]  # to load for the whole day, each once with its count
    late: LateDay | None = None  # None: nothing to tell of another day, or of a demo's fixed day


@dataclass(frozen=True, slots=True)
class CheckRow:
    """One thing to do or read on site, in order."""

    code: str
    text: str
    expect: str  # reading to expect, with unit; empty for a deed
    meaning: str  # what another reading means
    caution: str  # stands before the step; empty for none
    answer: str  # "done", "number", "choice", "text"
    unit: str
    choices: tuple[tuple[str, str], ...]
    means: tuple[Meaning, ...] = ()  # what each answer means, and what to do next
    quantity: str = ""  # kind of a number that is typed in the reader's own units
    photo: str = ""  # what to photograph at this step; empty for nothing


@dataclass(frozen=True, slots=True)
class ReasonRow:
    """Why the technician is here: one need with its checks."""

    need_id: int
    kind: str
    kind_words: str
    reason: str
    flag_id: int | None
    flag_cause: str
    flag_cause_words: str
    evidence: str
    checks: tuple[CheckRow, ...]
    parts: tuple[str, ...]
    controller: str = ""
    expected: Expected | None = None  # readings to expect of a good sensor; None: not watched


@dataclass(frozen=True, slots=True)
class KeyInLine:
    """One thing to key in, old against new, in the order in which a timer asks for it."""

    code: str
    label: str
    old: str
    new: str
    is_change: bool


@dataclass(frozen=True, slots=True)
class KeyInProgram:
    """A controller's program to key in; `barred` says why it may not be, and it has no lines then."""

    controller_id: int
    controller: str
    program_set_id: int
    week: Day
    status: str
    reasons: tuple[str, ...]
    lines: tuple[KeyInLine, ...]
    barred: str = ""


@dataclass(frozen=True, slots=True)
class SensorPlace:
    """Where the sensor sits and what it is set to."""

    controller: str
    station: int
    zone_name: str
    depth_mm: float | None
    threshold_kpa: float | None
    threshold_steps_kpa: tuple[float, ...]
    latitude: float | None
    longitude: float | None


@dataclass(frozen=True, slots=True)
class StopSheet:
    """Everything needed at one stop."""

    stop: StopRow
    date: Day
    technician: str
    number: int  # stop n
    of: int  # of m
    phone: str
    access_notes: str
    gate_code: str
    cautions: tuple[str, ...]
    may_dig: bool | None  # None: no digging in this visit
    locate_ticket: str
    locate_valid_until: Day | None
    reasons: tuple[ReasonRow, ...]
    programs: tuple[KeyInProgram, ...]  # also those that may not be keyed in
    sensors: tuple[SensorPlace, ...]
    visit_id: int = 0
    raw_state: str = ""  # as the stop has it, in the phone's words
    is_published: bool = True

    @property
    def to_key_in(self) -> tuple[KeyInProgram, ...]:
        """Programs that may be keyed in."""
        return tuple(one for one in self.programs if not one.barred)

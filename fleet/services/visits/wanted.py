"""A need as a stage wants it today."""

from __future__ import annotations

from dataclasses import dataclass, field

from fleet.models import VisitNeed

Cause = tuple[str, str, int, int | None]


@dataclass(frozen=True, slots=True)
class Wanted:
    """A need as a stage wants it today."""

    site_id: int
    controller_id: int | None
    kind: str
    origin: str
    key: str
    reason: str
    value_parts: dict[str, float]
    parts: str = ""
    skill: str = field(default="")

    @property
    def value_per_day(self) -> float:
        """All parts together [money/day]."""
        return sum(self.value_parts.values())

    @property
    def cause(self) -> Cause:
        """What makes two wants the same need while it is open."""
        return cause_of(self.origin, self.kind, self.site_id, self.controller_id)


def cause_of(origin: str, kind: str, site_id: int, controller_id: int | None) -> Cause:
    """What makes two wants the same need: what the calendar asks for is what a contract includes."""
    is_calendars = origin == VisitNeed.Origin.CONTRACT
    return (VisitNeed.Origin.CALENDAR if is_calendars else origin, kind, site_id, controller_id)


def rounded_parts(parts: dict[str, float]) -> dict[str, float]:
    """Parts of worth, to the hundredth; what is nothing is left out."""
    return {name: round(value, 2) for name, value in parts.items() if value > 0.005}

"""Technicians as their list shows them, and what was changed of one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from fleet.calc.prerequisites import able_on
from fleet.calc.visit_value import CERTIFIED
from fleet.calc.workdays import off_words
from fleet.models import Technician
from fleet.selectors.prerequisites import certificates_by_code
from sites.models import Change


@dataclass(frozen=True, slots=True)
class TechnicianRow:
    """One technician with what counts today."""

    person: Technician
    skills: tuple[str, ...]  # that count today
    lapsed: tuple[str, ...]  # that ask for a certificate and have none that is valid
    ends: tuple[tuple[str, date], ...]  # last days of certificates
    off: str  # why not at work today, empty: at work
    goes_home: bool  # the day ends elsewhere than it starts


def technician_rows(*, today: date) -> tuple[TechnicianRow, ...]:
    """Everybody, those at work first."""
    certificates = certificates_by_code()
    rows = []
    for person in Technician.objects.select_related("user").order_by("-is_active", "code"):
        own = frozenset(part.strip() for part in person.skills.split(";") if part.strip())
        held = certificates.get(person.code, {})
        able = able_on(own, held, today)
        rows.append(
            TechnicianRow(
                person,
                tuple(sorted(able)),
                tuple(sorted((own & CERTIFIED) - able)),
                tuple(sorted(held.items())),
                "no longer on the road" if not person.is_active else _off(person, today),
                (person.start_latitude, person.start_longitude)
                != (person.end_latitude, person.end_longitude),
            )
        )
    return tuple(rows)


def technician_changes(*, code: str) -> tuple[Change, ...]:
    """The newest changes of one technician."""
    return tuple(Change.objects.filter(kind="technician", key=code).order_by("-at", "-pk")[:20])


def _off(person: Technician, today: date) -> str:
    """Why somebody is not at work today."""
    return off_words(person.workdays, person.days_off, today)

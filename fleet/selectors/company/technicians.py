"""Technicians as their list shows them, and what was changed of one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from fleet.calc.plan.workdays import days_words, off_words
from fleet.calc.visits.prerequisites import able_on
from fleet.calc.visits.value import CERTIFIED
from fleet.models import Technician, User
from fleet.selectors.visits.prerequisites import certificates_by_code
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
    days: str  # working days in words


@dataclass(frozen=True, slots=True)
class TechnicianChange:
    """One change of a technician, in words."""

    pk: int
    at: datetime
    by: str
    steps: tuple[tuple[str, str, str], ...]  # what, before, after; before is empty where it was entered
    can_go_back: bool


WORDS: Final = {
    "name": "name", "start_latitude": "day starts at, latitude",
    "start_longitude": "day starts at, longitude",
    "end_latitude": "day ends at, latitude", "end_longitude": "day ends at, longitude",
    "shift_start": "shift starts", "shift_end": "shift ends", "workdays": "workdays", "days_off": "days off",
    "skills": "skills", "break_min": "break, min", "is_active": "on the road", "user_id": "account",
}  # fmt: skip


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
                days_words(person.workdays),
            )
        )
    return tuple(rows)


def technician_changes(*, code: str) -> tuple[TechnicianChange, ...]:
    """The newest changes of one technician."""
    found = list(Change.objects.filter(kind="technician", key=code).order_by("-at", "-pk")[:20])
    names = {pk: str(user) for pk, user in User.objects.in_bulk(_accounts_in(found)).items()}
    return tuple(
        TechnicianChange(
            one.pk,
            one.at,
            one.by,
            tuple(
                (
                    WORDS.get(name, name.replace("_", " ")),
                    _said(name, (one.before or {}).get(name), names) if one.before else "",
                    _said(name, value, names),
                )
                for name, value in (one.after or {}).items()
                if one.before or value not in ("", None)
            ),
            bool(one.before),
        )
        for one in found
    )


def _accounts_in(changes: list[Change]) -> set[int]:
    """The accounts that changes name."""
    sides = [side for one in changes for side in (one.before, one.after) if side]
    return {side["user_id"] for side in sides if side.get("user_id")}


def _said(name: str, value: object, accounts: dict[int, str]) -> str:
    """A stored value as people say it."""
    if value in ("", None):
        return "none"
    if name == "workdays":
        return days_words(str(value))
    if name == "user_id" and isinstance(value, int):
        return accounts.get(value, "an account that is gone")
    if isinstance(value, bool):
        return "yes" if value else "no"
    if name.startswith("shift"):
        return str(value)[:5]
    return str(value).replace(";", ", ")


def _off(person: Technician, today: date) -> str:
    """Why somebody is not at work today."""
    return off_words(person.workdays, person.days_off, today)

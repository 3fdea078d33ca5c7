"""Writes prices, weights and planning times of needs and routes; each change goes to the history."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from fleet.calc.plan.travel_hours import parse_rush_hours, rush_text
from fleet.calc.visits.setting_facts import FACT_OF
from fleet.calc.visits.settings import PREFIX, RUSH_HOURS, visit_settings
from fleet.models import Company
from sites.models import Change
from sites.services.history import ChangeNote, record_changes

NO_COMPANY = "There is no company yet: an administrator founds it under Company"
KIND = "visit_settings"


class BadSetting(ValueError):
    """A setting out of its bounds, or two that contradict each other; `name` is the first, empty: several."""

    def __init__(self, message: str, name: str = "") -> None:
        super().__init__(message)
        self.name = name


class CannotPutBack(ValueError):
    """The entry of the history tells of nothing that can be put back."""


@dataclass(frozen=True, slots=True)
class SettingsSaved:
    """Names of what changed."""

    changed: tuple[str, ...]


def check_settings(*, changes: Mapping[str, float | None], stored: Mapping[str, object]) -> dict[str, object]:
    """The company's settings with changes laid over, None: the default again; raises `BadSetting`.

    Parameters
    ----------
    changes
        Number by name of a `VisitSettings` field.
    stored
        The company's settings as they are.
    """
    after = {name: value for name, value in stored.items() if name.removeprefix(PREFIX) not in changes}
    for name, value in changes.items():
        fact = FACT_OF.get(name)
        if fact is None:
            raise BadSetting(f"{name}: no such setting", name)
        if value is None:
            continue
        if not fact.low <= value <= fact.high:
            raise BadSetting(
                f"{fact.words}: {value:g}, expected {fact.low:g} to {fact.high:g} {fact.unit}", name
            )
        after[PREFIX + name] = value
    try:
        visit_settings(after)
    except ValueError as error:
        raise BadSetting(str(error)) from error
    return after


@transaction.atomic
def save_settings(
    *, changes: Mapping[str, float | None], by: str, now: datetime, reason: str = ""
) -> SettingsSaved:
    """Keep settings of needs and routes; the next run of needs and plan takes them. Raises `BadSetting`."""
    company = Company.objects.select_for_update().first()
    if company is None:
        raise BadSetting(NO_COMPANY)
    before = _own(company.settings)
    after_all = check_settings(changes=changes, stored=company.settings)
    after = _own(after_all)
    names = sorted(name for name in {*before, *after} if before.get(name) != after.get(name))
    if not names:
        return SettingsSaved(())
    company.settings = after_all
    company.save(update_fields=["settings"])
    note = ChangeNote(
        KIND,
        "visits",
        "",
        {name: before.get(name) for name in names},
        {name: after.get(name) for name in names},
        reason,
    )
    record_changes(notes=[note], by=by, at=now)
    return SettingsSaved(tuple(names))


@transaction.atomic
def save_rush_hours(*, text: str, by: str, now: datetime, reason: str = "") -> SettingsSaved:
    """Keep the hours at which driving takes longer; the next plan takes them. Raises `BadSetting`.

    Parameters
    ----------
    text
        Lines like `x 1.3 from 07:00 to 09:00`; none: at no hour.
    by, now, reason
        Who, when and why, for the history.
    """
    try:
        lines = rush_text(parse_rush_hours(text))
    except ValueError as error:
        raise BadSetting(f"Hours with longer driving: {error}", RUSH_HOURS) from error
    company = Company.objects.select_for_update().first()
    if company is None:
        raise BadSetting(NO_COMPANY)
    before = str(company.settings.get(PREFIX + RUSH_HOURS, ""))
    if lines == before:
        return SettingsSaved(())
    company.settings = {**company.settings, PREFIX + RUSH_HOURS: lines}
    company.save(update_fields=["settings"])
    note = ChangeNote(KIND, "visits", "", {RUSH_HOURS: before}, {RUSH_HOURS: lines}, reason)
    record_changes(notes=[note], by=by, at=now)
    return SettingsSaved((RUSH_HOURS,))


@transaction.atomic
def put_back_settings(*, change_id: int, by: str, now: datetime) -> SettingsSaved:
    """Settings as they were before an entry of the history; itself an entry. Raises `CannotPutBack`."""
    entry = Change.objects.filter(pk=change_id, kind=KIND).first()
    if entry is None or not entry.before:
        raise CannotPutBack("This entry is not in the history of settings.")
    reason = f"as before the change of {entry.at:%Y-%m-%d %H:%M} UTC"
    if RUSH_HOURS in entry.before:
        text = str(entry.before[RUSH_HOURS])
        return _moved(save_rush_hours(text=text, by=by, now=now, reason=reason))
    changes = {
        name: None if value is None else float(value)
        for name, value in entry.before.items()
        if name in FACT_OF
    }
    return _moved(save_settings(changes=changes, by=by, now=now, reason=reason))


def _moved(saved: SettingsSaved) -> SettingsSaved:
    """What was saved; raises `CannotPutBack` where that was nothing."""
    if not saved.changed:
        raise CannotPutBack("All is as it was before this change already.")
    return saved


def _own(settings: Mapping[str, object]) -> dict[str, object]:
    """The company's own numbers by bare name."""
    bare = {name.removeprefix(PREFIX): value for name, value in settings.items()}
    return {name: value for name, value in bare.items() if name in FACT_OF}

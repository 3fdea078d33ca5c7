"""What a person does with a flag: put it to rest, wake it, settle it; and how strict flags are."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from fleet.calc.watch.calibration import FLAG_SCORES
from fleet.calc.watch.settings import FLAG_SCORE_NAME
from fleet.models import Company, Flag, WatchState, WatchStatus
from sites.services.history import ChangeNote, record_changes

LONGEST_REST_DAYS = 120
TRUTHS = {"confirmed": "confirmed", "not_confirmed": "not confirmed", "other": "another cause"}


class CannotDoWithFlag(ValueError):
    """The flag cannot be handled so; the message is a sentence for the page."""


@dataclass(frozen=True, slots=True)
class FlagHandled:
    """A flag that a person has handled."""

    flag_id: int
    site_code: str
    controller: str
    words: str


@dataclass(frozen=True, slots=True)
class SettingChanged:
    """How strict flags were and are [log odds]."""

    before: float | None
    after: float


@transaction.atomic
def rest_flag(*, flag_id: int, until: date, reason: str, by: str, day: date, at: datetime) -> FlagHandled:
    """Let an open flag rest until a day, with a reason; it comes back by itself on that day.

    Raises `CannotDoWithFlag` where the flag is closed, the day is no day to rest to, or the reason lacks.
    """
    flag = _open_flag(flag_id)
    reason = reason.strip()[:200]
    if not reason:
        raise CannotDoWithFlag("Say why it may rest: whoever comes next wants to know.")
    if not 0 < (until - day).days <= LONGEST_REST_DAYS:
        raise CannotDoWithFlag(f"A flag rests from tomorrow on, and for {LONGEST_REST_DAYS} days at most.")
    before: dict[str, object] = {
        "resting_until": _iso(flag.resting_until),
        "resting_reason": flag.resting_reason,
    }
    flag.resting_until, flag.resting_reason = until, reason
    flag.save(update_fields=["resting_until", "resting_reason"])
    WatchState.objects.filter(controller_id=flag.controller_id).update(status=WatchStatus.RESTING)
    _note(flag, before, {"resting_until": until.isoformat(), "resting_reason": reason}, by, at, reason)
    return _handled(flag, f"rests until {until.isoformat()}")


@transaction.atomic
def wake_flag(*, flag_id: int, by: str, at: datetime) -> FlagHandled:
    """End the rest of an open flag now; raises `CannotDoWithFlag`."""
    flag = _open_flag(flag_id)
    if flag.resting_until is None:
        raise CannotDoWithFlag("This flag does not rest.")
    before: dict[str, object] = {
        "resting_until": _iso(flag.resting_until),
        "resting_reason": flag.resting_reason,
    }
    flag.resting_until, flag.resting_reason = None, ""
    flag.save(update_fields=["resting_until", "resting_reason"])
    WatchState.objects.filter(controller_id=flag.controller_id).update(status=WatchStatus.FLAG)
    _note(flag, before, {"resting_until": None, "resting_reason": ""}, by, at, "rest ended")
    return _handled(flag, "is awake again")


@transaction.atomic
def settle_flag(*, flag_id: int, truth: str, note: str, by: str, day: date, at: datetime) -> FlagHandled:
    """Close an open flag by what somebody found, kept as truth for the watch; raises `CannotDoWithFlag`.

    A technician's finding does the same from the stop's page; this is for what the office learns otherwise.
    The evidence up to the day is answered by it: only later days can raise a flag again.
    """
    flag = _open_flag(flag_id)
    note = note.strip()[:300]
    if truth not in TRUTHS:
        raise CannotDoWithFlag(f"Say what was found: one of {', '.join(TRUTHS.values())}.")
    if not note:
        raise CannotDoWithFlag("Write what was found and by whom: a closed flag needs a finding.")
    if flag.raised_on > day:
        raise CannotDoWithFlag("The flag was raised after that day.")
    before: dict[str, object] = {"closed_on": None, "truth": ""}
    flag.closed_on, flag.closed_by, flag.truth = day, Flag.ClosedBy.FINDING, truth
    flag.save(update_fields=["closed_on", "closed_by", "truth"])
    WatchState.objects.filter(controller_id=flag.controller_id).update(
        status=WatchStatus.TOO_LITTLE_DATA,
        cause="",
        cause_probability=None,
        since=None,
        litres_at_stake_per_week=None,
        evidence=f"Settled on {day.isoformat()}: {TRUTHS[truth]}. The days from then on are judged anew.",
    )
    _note(flag, before, {"closed_on": day.isoformat(), "truth": truth}, by, at, note)
    return _handled(flag, f"is closed: {TRUTHS[truth]}")


@transaction.atomic
def set_flag_score(*, flag_score: float, by: str, at: datetime) -> SettingChanged:
    """Make the watch flag earlier or later from its next run on; raises `CannotDoWithFlag`."""
    if flag_score not in FLAG_SCORES:
        raise CannotDoWithFlag("Choose one of the settings of the table.")
    company = Company.objects.select_for_update().first()
    if company is None:
        raise CannotDoWithFlag("There is no company to keep the setting.")
    before = company.settings.get(FLAG_SCORE_NAME)
    company.settings = {**company.settings, FLAG_SCORE_NAME: flag_score}
    company.save(update_fields=["settings"])
    note = ChangeNote(
        kind="setting",
        key=FLAG_SCORE_NAME,
        site_code="",
        before={FLAG_SCORE_NAME: before},
        after={FLAG_SCORE_NAME: flag_score},
    )
    record_changes(notes=[note], by=by, at=at)
    return SettingChanged(before=before if isinstance(before, int | float) else None, after=flag_score)


def _open_flag(flag_id: int) -> Flag:
    """The flag, held for the change."""
    flag = (
        Flag.objects.select_for_update()
        .select_related("controller__site")
        .filter(pk=flag_id, closed_on__isnull=True)
        .first()
    )
    if flag is None:
        raise CannotDoWithFlag("This flag is closed already; nothing was changed.")
    return flag


def _note(
    flag: Flag, before: dict[str, object], after: dict[str, object], by: str, at: datetime, reason: str
) -> None:
    """Keep who did what to the flag, and why."""
    key = f"{flag.controller.site.code}/{flag.controller.code}/{flag.raised_on.isoformat()}"
    note = ChangeNote(
        kind="flag", key=key, site_code=flag.controller.site.code, before=before, after=after, reason=reason
    )
    record_changes(notes=[note], by=by, at=at)


def _handled(flag: Flag, words: str) -> FlagHandled:
    """The answer for the page."""
    return FlagHandled(flag.pk, flag.controller.site.code, flag.controller.code, words)


def _iso(day: date | None) -> str | None:
    """A day for the history."""
    return day.isoformat() if day is not None else None

"""The office checks what technicians found: accepts, corrects or takes back, each with what it changes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from django.db import transaction

from fleet.models import Finding, Stop, Submission, Visit
from fleet.services.on_site.finding_effects import carry_into_book
from fleet.services.on_site.finding_input import SEEN_STATIONS, BadFinding, FindingInput
from fleet.services.on_site.finding_undo import take_back
from fleet.services.on_site.findings import need_of
from fleet.services.on_site.stop_states import set_stop_state
from sites.services.history import ChangeNote, record_changes

SAID: Final = (
    "verdict",
    "cause",
    "resistance_kohm",
    "soil_temperature_c",
    "threshold_kpa",
    "program_keyed_in",
    "turf",
    "parts",
    "parts_used",
    "service_min",
    "follow_up",
    "note",
    "need_is_met",
)
WAITING: Final = (Submission.Outcome.ASIDE, Submission.Outcome.ASKS)


class CannotCheck(ValueError):
    """The finding is gone, or was decided already; the message says which."""


@dataclass(frozen=True, slots=True)
class Checked:
    """What the check did: sentences on what changed, and on what stays because the book moved on."""

    finding_id: int
    words: tuple[str, ...]
    stays: tuple[str, ...] = ()


@transaction.atomic
def accept_finding(*, finding_id: int, by: str, now: datetime) -> Checked:
    """Accept a finding; one that was kept beside changes the book now. Raises `CannotCheck`, `BadFinding`."""
    row = _row(finding_id)
    if row.check_state == Finding.Check.UNDONE:
        raise CannotCheck("It was taken back already; correct it to bring it in again.")
    words: list[str] = []
    if row.check_state == Finding.Check.BESIDE:
        done = carry_into_book(
            finding=input_of(row),
            visit=row.visit,
            need=row.need,
            day=_day(row),
            by=by,
            at=now,
            technician_id=row.technician_id,
        )
        row.effects, row.words, words = done.effects, done.words, done.words
    _settle(row, Finding.Check.ACCEPTED, by, now)
    return Checked(row.pk, tuple(words))


@transaction.atomic
def accept_findings(*, finding_ids: list[int], by: str, now: datetime) -> int:
    """Accept many that changed the book already; how many there were."""
    rows = Finding.objects.filter(pk__in=finding_ids, check_state=Finding.Check.TO_CHECK)
    return rows.update(check_state=Finding.Check.ACCEPTED, checked_by=by[:150], checked_at=now)


@transaction.atomic
def undo_finding(*, finding_id: int, by: str, now: datetime, day: date) -> Checked:
    """Take back what a finding changed; the finding itself stays readable. Raises `CannotCheck`."""
    row = _row(finding_id)
    if row.check_state == Finding.Check.UNDONE:
        raise CannotCheck("It was taken back already.")
    stays = take_back(effects=list(row.effects), site_code=row.visit.site.code, day=day, by=by, at=now)
    kept = [effect["words"] for effect in stays]
    gone = [effect["words"] for effect in row.effects if effect not in stays]
    row.effects = stays
    row.words = kept
    _settle(row, Finding.Check.UNDONE, by, now)
    _note(row, {"changed": gone}, {"changed": kept}, "taken back", by, now)
    return Checked(row.pk, tuple(f"Taken back: {one}" for one in gone), tuple(kept))


@transaction.atomic
def correct_finding(*, finding_id: int, finding: FindingInput, by: str, now: datetime, day: date) -> Checked:
    """Put other values in a finding's place: what it had changed is taken back, then done anew.

    Raises `CannotCheck` and `BadFinding`; then nothing has changed.
    """
    row = _row(finding_id)
    need = need_of(row.visit, finding.need_id)
    before = _facts(row)
    stays = take_back(effects=list(row.effects), site_code=row.visit.site.code, day=day, by=by, at=now)
    for name in SAID:
        setattr(row, name, getattr(finding, name))
    row.need, row.kind = need, need.kind if need is not None else ""
    kept = {name: value for name, value in row.answers.items() if name not in SEEN_STATIONS}
    row.answers = {**kept, **finding.all_answers()}
    done = carry_into_book(
        finding=finding,
        visit=row.visit,
        need=need,
        day=_day(row),
        by=by,
        at=now,
        technician_id=row.technician_id,
    )
    row.effects = [*done.effects, *stays]
    row.words = [*done.words, *(effect["words"] for effect in stays)]
    row.save()
    _settle(row, Finding.Check.CORRECTED, by, now)
    after = _facts(row)
    changed = [name for name in after if after[name] != before[name]]
    was, is_now = ({name: facts[name] for name in changed} for facts in (before, after))
    _note(row, was, is_now, "corrected", by, now)
    return Checked(row.pk, tuple(done.words), tuple(effect["words"] for effect in stays))


@transaction.atomic
def settle_state(*, submission_id: int, holds: bool, by: str) -> bool:
    """Decide on a stop's state that was kept beside: it holds, or the plan does; whether a stop changed."""
    row = Submission.objects.select_for_update().filter(pk=submission_id).first()
    if row is None or row.kind != Submission.Kind.STATE or row.outcome not in WAITING:
        raise CannotCheck("This was decided already, or is gone.")
    fields = row.payload.get("fields", {})
    stop = Stop.objects.filter(visit_id=row.visit_id).first() if row.visit_id else None
    changed = False
    if holds and stop is not None:
        Stop.objects.filter(pk=stop.pk).exclude(state=fields.get("state")).update(state=Stop.State.AHEAD)
        changed = set_stop_state(
            stop_id=stop.pk,
            state=str(fields.get("state", "")),
            at=row.happened_at,
            reason=str(fields.get("reason", "")),
        ).changed
    elif holds and row.visit_id:
        state = Visit.State.DONE if fields.get("state") == Stop.State.FINISHED else Visit.State.NOT_POSSIBLE
        changed = bool(Visit.objects.filter(pk=row.visit_id).update(state=state))
    row.outcome = Submission.Outcome.TAKEN if holds else Submission.Outcome.DROPPED
    row.words = [*row.words, f"Decided by {by}: {'it holds' if holds else 'the plan holds'}."]
    row.save(update_fields=["outcome", "words"])
    return changed


def input_of(row: Finding) -> FindingInput:
    """A kept finding as it was said."""
    return FindingInput(
        client_key=row.client_key,
        stop_id=row.stop_id or 0,
        recorded_at=row.recorded_at,
        need_id=row.need_id,
        verdict=row.verdict,
        cause=row.cause,
        resistance_kohm=row.resistance_kohm,
        soil_temperature_c=row.soil_temperature_c,
        threshold_kpa=row.threshold_kpa,
        program_keyed_in=row.program_keyed_in,
        turf=row.turf,
        parts=dict(row.parts),
        parts_used=row.parts_used,
        service_min=row.service_min,
        follow_up=row.follow_up,
        note=row.note,
        need_is_met=row.need_is_met,
        answers={name: value for name, value in row.answers.items() if name not in SEEN_STATIONS},
        dry_stations=tuple(row.answers.get("dry_stations", ())),
        soggy_stations=tuple(row.answers.get("soggy_stations", ())),
    )


def _row(finding_id: int) -> Finding:
    """The finding, held until the end of the deed."""
    row = Finding.objects.select_for_update().filter(pk=finding_id).first()
    if row is None:
        raise CannotCheck("This finding is not there any more.")
    return row


def _day(row: Finding) -> date:
    """The day of the visit."""
    return row.stop.route.day if row.stop is not None else row.recorded_at.date()


def _settle(row: Finding, state: str, by: str, now: datetime) -> None:
    """Write who decided."""
    row.check_state, row.checked_by, row.checked_at = state, by[:150], now
    row.save()


def _facts(row: Finding) -> dict[str, object]:
    """What a correction may change."""
    return {name: getattr(row, name) for name in ("kind", *SAID)}


def _note(
    row: Finding, before: dict[str, object], after: dict[str, object], why: str, by: str, now: datetime
) -> None:
    """An entry in the history."""
    if before == after:
        return
    code = row.visit.site.code
    note = ChangeNote(
        "finding", f"{code}/{row.recorded_at:%Y-%m-%d}", code, before, after, f"finding {why}", row.pk
    )
    record_changes(notes=[note], by=by, at=now)


__all__ = [
    "BadFinding",
    "CannotCheck",
    "Checked",
    "accept_finding",
    "accept_findings",
    "correct_finding",
    "input_of",
    "settle_state",
    "undo_finding",
]

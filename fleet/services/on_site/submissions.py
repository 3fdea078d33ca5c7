"""What a phone sends: taken once, stamped by both clocks; where the plan changed meanwhile, both are kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

from django.db import IntegrityError, transaction

from fleet.calc.on_site.phone_clock import moments, skew_words
from fleet.models import Finding, Stop, Submission, User, Visit
from fleet.selectors.on_site.stop_ticket import Ticket
from fleet.services.on_site.finding_input import BadFinding, FindingInput
from fleet.services.on_site.findings import keep_beside, record_finding
from fleet.services.on_site.stop_states import UnknownStopState, set_stop_state
from sites.services.found_on_site import NothingToKeyIn, ThresholdNotOffered

RESOLVES = ("", "keep", "drop")


@dataclass(frozen=True, slots=True)
class Sent:
    """One thing as it came.

    Parameters
    ----------
    key, kind
        Key that the phone made; `state` or `finding`.
    said_at, sent_at
        By the phone's clock: when it was done, when it was sent.
    payload
        As sent, kept whatever becomes of it.
    state, reason
        Of a state.
    finding
        Of a finding; None where it could not be read, then `problem` says why.
    resolve
        After the sender was asked: `keep` or `drop`.
    """

    key: str
    kind: str
    said_at: datetime
    sent_at: datetime
    payload: Mapping[str, object] = field(default_factory=dict)
    state: str = ""
    reason: str = ""
    finding: FindingInput | None = None
    problem: str = ""
    resolve: str = ""


@dataclass(frozen=True, slots=True)
class Answer:
    """What the phone is told. `is_new`: False where it had come before."""

    outcome: str
    words: tuple[str, ...]
    received_at: datetime
    is_new: bool


class NotYours(PermissionError):
    """The key belongs to something that another person sent."""


@transaction.atomic
def take_submission(*, sent: Sent, ticket: Ticket, user: User, now: datetime) -> Answer:
    """Take what was sent, once; the same key again gets the same answer. Raises `NotYours`."""
    known = Submission.objects.filter(client_key=sent.key).first()
    if known is None:
        try:
            with transaction.atomic():
                return _take(sent, ticket, user, now)
        except IntegrityError:  # the same thing came twice at once
            known = Submission.objects.filter(client_key=sent.key).first()
            if known is None:
                raise
    if known.user_id != user.pk:
        raise NotYours("this key is taken")
    if known.outcome == Submission.Outcome.ASKS and sent.resolve:
        return _resolve(known, sent, ticket)
    return Answer(known.outcome, tuple(known.words), known.received_at, is_new=False)


def _take(sent: Sent, ticket: Ticket, user: User, now: datetime) -> Answer:
    """Something new."""
    when = moments(sent.said_at, sent.sent_at, now)
    row = Submission.objects.create(
        client_key=sent.key,
        kind=sent.kind,
        user=user,
        visit=Visit.objects.filter(pk=ticket.visit_id).first(),
        said_at=sent.said_at,
        sent_at=sent.sent_at,
        received_at=now,
        skew_s=when.skew_s,
        happened_at=when.happened_at,
        payload=dict(sent.payload),
    )
    conflict = conflict_of(sent=sent, ticket=ticket)
    if conflict:
        outcome: str = Submission.Outcome.ASKS
        words = [conflict]
    else:
        outcome, words = _apply(_at(sent, when.happened_at), ticket, user, when.happened_at)
    clock = skew_words(when.skew_s)
    row.outcome, row.words = outcome, [*words, clock] if clock else words
    row.save(update_fields=["outcome", "words"])
    return Answer(row.outcome, tuple(row.words), now, is_new=True)


def _at(sent: Sent, at: datetime) -> Sent:
    """What was sent, with our time in the finding."""
    if sent.finding is None:
        return sent
    return replace(sent, finding=replace(sent.finding, recorded_at=at))


def _apply(sent: Sent, ticket: Ticket, user: User, at: datetime) -> tuple[str, list[str]]:
    """Let it do what it says; what cannot be done is refused with its reason, and kept."""
    if sent.problem:
        return Submission.Outcome.REFUSED, [sent.problem]
    stop = Stop.objects.get(visit_id=ticket.visit_id)
    try:
        with transaction.atomic():
            if sent.finding is not None:
                own = replace(sent.finding, stop_id=stop.pk)
                return Submission.Outcome.TAKEN, list(
                    record_finding(finding=own, by=user.get_username()).changes
                )
            set_stop_state(stop_id=stop.pk, state=sent.state, at=at, reason=sent.reason)
            return Submission.Outcome.TAKEN, []
    except (BadFinding, NothingToKeyIn, ThresholdNotOffered, UnknownStopState) as error:
        return Submission.Outcome.REFUSED, [str(error)]


def conflict_of(*, sent: Sent, ticket: Ticket) -> str:
    """What has changed since the phone took the stop along, in a sentence; empty: nothing that matters.

    Parameters
    ----------
    sent
        What came.
    ticket
        The stop as the phone knew it.
    """
    visit = Visit.objects.filter(pk=ticket.visit_id).select_related("site").first()
    if visit is None:
        return "This visit is not in the book any more."
    stop = Stop.objects.filter(visit=visit).select_related("route__technician").first()
    code = visit.site.code
    if visit.state == Visit.State.CANCELLED:
        return f"The office cancelled the visit to {code} meanwhile."
    if stop is None:
        return f"The office took {code} out of the plan meanwhile."
    if stop.route.technician_id != ticket.technician_id:
        who, day = stop.route.technician.name, stop.route.day
        return f"{code} was given to {who} on {day.day} {day:%b} meanwhile."
    if stop.route.day != ticket.day:
        day = stop.route.day
        return f"{code} was moved to {day:%A} {day.day} {day:%B} meanwhile."
    other = (
        Finding.objects.that_count()
        .filter(visit=visit)
        .exclude(technician_id=ticket.technician_id)
        .select_related("technician")
        .first()
    )
    if other is not None:
        who = other.technician.name if other.technician is not None else "Somebody else"
        return f"{who} recorded a finding at {code} meanwhile."
    settled = {Stop.State.FINISHED, Stop.State.NOT_POSSIBLE}
    if sent.kind == Submission.Kind.STATE and stop.state in settled and sent.state in settled:
        return (
            "" if stop.state == sent.state else f"{code} was noted as {stop.get_state_display()} meanwhile."
        )
    return ""


def _resolve(row: Submission, sent: Sent, ticket: Ticket) -> Answer:
    """The sender was asked and has answered."""
    if sent.resolve == "drop":
        row.outcome, row.words = Submission.Outcome.DROPPED, ["Thrown away, as you said."]
    else:
        words = ["It is kept beside; the office decides."]
        if sent.finding is not None:
            own = replace(sent.finding, recorded_at=row.happened_at)
            words = list(
                keep_beside(finding=own, visit_id=ticket.visit_id, technician_id=ticket.technician_id).changes
            )
        row.outcome, row.words = Submission.Outcome.ASIDE, words
    row.save(update_fields=["outcome", "words"])
    return Answer(row.outcome, tuple(row.words), row.received_at, is_new=False)

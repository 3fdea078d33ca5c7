"""Writes quotes and moves them between their states; each step goes to the history and can be undone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Final

from django.db import transaction

from fleet.models import Company, Part, Quote, QuoteLine, VisitNeed
from fleet.services.visits.needs_by_hand import BadNeed, NeedInput, add_need
from fleet.services.visits.raise_needs import refresh_prerequisites
from sites.models import Change
from sites.services.history import record_difference

MOST_LINES: Final = 30
KIND: Final = "quote"
TAKEN_BACK: Final = "step taken back"
# From which states a step leads where.
STEPS: Final[dict[str, tuple[tuple[str, ...], str]]] = {
    "send": (("draft", "expired", "declined"), Quote.State.SENT),
    "approve": (("sent",), Quote.State.APPROVED),
    "decline": (("sent",), Quote.State.DECLINED),
}
_STEP_FIELDS: Final = ("state", "sent_on", "valid_until", "decided_on", "decided_how")


class BadQuote(ValueError):
    """A quote that cannot be kept, or a step that its state does not allow; the message says why."""


@dataclass(frozen=True, slots=True)
class LineInput:
    """One line as typed; `part` is a code of the catalogue or empty."""

    words: str
    count: float
    unit: str
    unit_price: float
    part: str = ""

    def __post_init__(self) -> None:
        if not self.words.strip() or not self.unit.strip():
            raise BadQuote("line: expected words and a unit, such as new sensor, piece")
        if not 0 < self.count <= 1e5 or not 0 <= self.unit_price <= 1e7:
            raise BadQuote(f"{self.words}: expected a count above 0 and a price of 0 or more")


@dataclass(frozen=True, slots=True)
class QuoteInput:
    """What a person says of a quote."""

    title: str
    words: str = ""
    tax_share: float = 0.0
    lines: Sequence[LineInput] = field(default_factory=tuple)

    def __post_init__(self) -> None:
        if not self.title.strip():
            raise BadQuote("title: say in a few words what is offered")
        if not 0 <= self.tax_share < 1:
            raise BadQuote("tax: expected a share from 0 to below 1: 0.08 is 8 %")
        if len(self.lines) > MOST_LINES:
            raise BadQuote(f"lines: expected at most {MOST_LINES}")


@dataclass(frozen=True, slots=True)
class QuoteChanged:
    """A quote after a deed; `plannable` visits that lack nothing any more, by need."""

    quote_id: int
    state: str
    plannable: int


@transaction.atomic
def start_quote(
    *, site_id: int, need_id: int | None, kind: str, reason: str, by: str, now: datetime, day: date
) -> QuoteChanged:
    """A draft for extra work: of a need that is there, or of a new one that waits for the customer's word.

    The parts that such a visit cannot do without are its first lines. Raises `BadQuote`.
    """
    if need_id is None:
        try:
            made = add_need(
                site_id=site_id, need=NeedInput(kind=kind, reason=reason, priority=1), by=by, now=now, day=day
            )
        except BadNeed as error:
            raise BadQuote(str(error)) from error
        need_id = made.need_id
    need = VisitNeed.objects.select_for_update().filter(pk=need_id, site_id=site_id, state="open").first()
    if need is None:
        raise BadQuote("This need is not open any more. Load the page again.")
    if need.quote_id is not None:
        raise BadQuote(f"This need has quote Q-{need.quote_id} already.")
    company = Company.objects.first()
    quote = Quote.objects.create(
        site_id=site_id,
        title=need.get_kind_display().capitalize()[:120],
        words=need.reason,
        currency=company.currency if company else "",
        made_on=day,
        made_by=by[:150],
    )
    parts = Part.objects.filter(for_kinds__kind=need.kind).order_by("name")
    counts = {part.pk: part.for_kinds.get(kind=need.kind).count for part in parts}
    QuoteLine.objects.bulk_create(
        QuoteLine(
            quote=quote, order=order, part=part, words=part.name.capitalize(), count=counts[part.pk],
            unit=part.unit, unit_price=part.price or 0.0,
        )
        for order, part in enumerate(parts, start=1)
    )  # fmt: skip
    need.quote, need.needs_approval = quote, True
    need.save(update_fields=["quote", "needs_approval"])
    _note(quote, None, {"state": quote.state, "need": need.key}, by, now)
    return _settled(quote, day)


@transaction.atomic
def save_quote(*, quote_id: int, quote: QuoteInput, by: str, now: datetime, day: date) -> QuoteChanged:
    """Change title, words and lines of a draft; raises `BadQuote`."""
    row = _row(quote_id)
    if row.state != Quote.State.DRAFT:
        raise BadQuote("Only a draft can be changed: take the last step back first")
    before = _facts(row)
    parts = {part.code: part for part in Part.objects.filter(code__in={line.part for line in quote.lines})}
    row.title, row.words, row.tax_share = quote.title.strip()[:120], quote.words.strip(), quote.tax_share
    row.save()
    row.lines.all().delete()
    QuoteLine.objects.bulk_create(
        QuoteLine(
            quote=row, order=order, part=parts.get(line.part), words=line.words.strip()[:160],
            count=line.count, unit=line.unit.strip()[:20], unit_price=line.unit_price,
        )
        for order, line in enumerate(quote.lines, start=1)
    )  # fmt: skip
    _note(row, before, _facts(row), by, now)
    return _settled(row, day)


@transaction.atomic
def step_quote(
    *,
    quote_id: int,
    step: str,
    by: str,
    now: datetime,
    day: date,
    valid_until: date | None = None,
    how: str = "",
) -> QuoteChanged:
    """Send, approve or decline; approval lets its visits be planned. Raises `BadQuote`.

    Parameters
    ----------
    quote_id, step
        Which, and `send`, `approve` or `decline`.
    by, now, day
        Who, when, and on which of the company's days.
    valid_until
        Of sending: the last day on which the customer may approve.
    how
        Of the customer's word: who gave it and how.
    """
    refresh_prerequisites(day=day)  # what is over has expired
    row = _row(quote_id)
    if step not in STEPS:
        raise BadQuote("step: expected send, approve or decline")
    allowed, target = STEPS[step]
    if row.state not in allowed:
        raise BadQuote(f"{row} is {row.get_state_display()}: it cannot be {target} now")
    before = _step_facts(row)
    if step == "send":
        if not row.lines.exists():
            raise BadQuote("There is no line yet: say what it costs")
        if valid_until is None or valid_until < day:
            raise BadQuote("valid until: expected today or a later day")
        row.sent_on, row.valid_until, row.decided_on, row.decided_how = day, valid_until, None, ""
    else:
        if not how.strip():
            raise BadQuote("who: say who gave the word, and how")
        row.decided_on, row.decided_how = day, how.strip()[:200]
    row.state = target
    row.save(update_fields=[*_STEP_FIELDS])
    _note(row, before, _step_facts(row), by, now, reason=how.strip())
    return _settled(row, day)


@transaction.atomic
def undo_quote_step(*, quote_id: int, by: str, now: datetime, day: date) -> QuoteChanged:
    """Take the last step of a quote back; raises `BadQuote` where there is none, or work has begun."""
    row = _row(quote_id)
    entries = Change.objects.filter(kind=KIND, thing_id=row.pk, action=Change.Action.CHANGED)
    entries = entries.exclude(reason=TAKEN_BACK)
    entry = next(
        (one for one in entries.order_by("-pk") if (one.after or {}).get("state") == row.state), None
    )
    before: Mapping[str, Any] = (entry.before if entry else None) or {}
    if "state" not in before:
        raise BadQuote("There is no step to take back.")
    if row.needs.filter(state=VisitNeed.State.DONE).exists():
        raise BadQuote("The work is done already; its finding is taken back first.")
    was = _step_facts(row)
    for name in _STEP_FIELDS:
        if name in before:
            value = before[name]
            is_day = name.endswith("_on") or name == "valid_until"
            setattr(row, name, date.fromisoformat(value) if is_day and value else value)
    row.save(update_fields=[*_STEP_FIELDS])
    _note(row, was, _step_facts(row), by, now, reason=TAKEN_BACK)
    return _settled(row, day)


def _row(quote_id: int) -> Quote:
    """The quote, held until the end of the deed."""
    row = Quote.objects.select_for_update().select_related("site").filter(pk=quote_id).first()
    if row is None:
        raise BadQuote("This quote is not there any more.")
    return row


def _settled(row: Quote, day: date) -> QuoteChanged:
    """The quote, and how many of its needs lack nothing."""
    refresh_prerequisites(day=day)
    free = row.needs.filter(state=VisitNeed.State.OPEN, blocked_by="").count()
    return QuoteChanged(row.pk, row.state, free)


def _facts(row: Quote) -> dict[str, object]:
    """What the history keeps of a draft."""
    lines = [f"{line.count:g} {line.unit} {line.words} at {line.unit_price:g}" for line in row.lines.all()]
    return {"title": row.title, "words": row.words, "tax_share": row.tax_share, "lines": lines}


def _step_facts(row: Quote) -> dict[str, object]:
    """What a step changes."""
    return {
        name: value.isoformat() if isinstance(value := getattr(row, name), date) else value
        for name in _STEP_FIELDS
    }


def _note(
    row: Quote,
    before: Mapping[str, object] | None,
    after: Mapping[str, object],
    by: str,
    now: datetime,
    reason: str = "",
) -> None:
    """Keep what differs."""
    record_difference(
        kind=KIND, key=str(row), site_code=row.site.code, before=before, after=after, by=by, at=now,
        reason=reason, thing_id=row.pk,
    )  # fmt: skip

"""Quotes of the invented office, one in every state: work that technicians found, and sensors asked for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from fleet.demo.last_week import ExtraWork
from fleet.services.visits.quotes import LineInput, QuoteInput, save_quote, start_quote, step_quote
from sites.models import Sensor, Site

TAX: Final = 0.06
BY: Final = "hana"
HOUR: Final = 68.0
VALID: Final = timedelta(days=30)


@dataclass(frozen=True, slots=True)
class Offer:
    """A quote as it is written, how many days ago, how long it is valid, and the customer's word."""

    title: str
    words: str
    lines: tuple[LineInput, ...]
    days_ago: int
    is_sent: bool = True
    valid: timedelta = VALID
    word: str = ""  # approve, decline
    how: str = ""


# Of what Friday's findings ask for, in their order.
FOUND: Final = (
    Offer(
        "New pipe under the drive",
        "We open the edge of the drive, replace the cracked pipe and close it again. Utilities are located "
        "before we dig.",
        (
            LineInput("Pipe, by length", 1, "lot", 26.0),
            LineInput("Pipe coupling", 2, "piece", 4.8, "coupling"),
            LineInput("Work of two people", 5, "h", HOUR),
        ),
        0, word="approve", how="Customer on the phone this morning",
    ),
    Offer(
        "New wire to the back valve box",
        "A new wire in its own trench from the timer to the back valve box, with two spare conductors.",
        (
            LineInput("Two-conductor wire, by length", 1, "lot", 47.5, "wire"),
            LineInput("Watertight splices", 6, "piece", 3.2, "splice"),
            LineInput("Work", 4, "h", HOUR),
        ),
        0, valid=timedelta(days=14),
    ),
    Offer(
        "Front row with heads of one kind",
        "Nine heads of the front row are replaced by one kind, so that all of the lawn gets the same water.",
        (LineInput("Spray head", 9, "piece", 11.4, "spray-head"), LineInput("Work", 2.5, "h", HOUR)),
        0, is_sent=False,
    ),
)  # fmt: skip
_SENSOR: Final = (
    LineInput("Sensor", 1, "piece", 265.0, "sensor"),
    LineInput("Watertight splices", 2, "piece", 3.2, "splice"),
    LineInput("Placing, wiring and first setting", 3, "h", HOUR),
)
_SENSOR_WORDS: Final = (
    "A soil moisture sensor in the lawn that blocks the starts your garden does not need. "
    "Your supplier may pay towards it; we prepare the papers."
)
# Of gardens without a sensor.
ASKED: Final = (
    Offer("Sensor for the lawn", _SENSOR_WORDS, _SENSOR, 6),
    Offer(
        "Sensor for the lawn", _SENSOR_WORDS, _SENSOR, 19,
        word="decline", how="Letter: the garden is to be built over next year",
    ),
    Offer("Sensor for the lawn", _SENSOR_WORDS, _SENSOR, 52),
)  # fmt: skip


def make_demo_quotes(*, extra: Sequence[ExtraWork], today: date, morning: datetime) -> int:
    """Write the quotes through the steps that an office takes; how many there are.

    Parameters
    ----------
    extra
        Needs that findings raised.
    today, morning
        The company's today, and its moment.
    """
    # Where half a sensor is paid for, first.
    without = Site.objects.exclude(pk__in=Sensor.objects.values("controller__site_id"))
    gardens = without.order_by("supplier", "code").values_list("pk", flat=True)[: len(ASKED)]
    wanted: list[tuple[Offer, int, int | None]] = [
        (offer, site_id, None) for site_id, offer in zip(gardens, ASKED, strict=False)
    ]
    wanted += [(offer, work.site_id, work.need_id) for work, offer in zip(extra, FOUND, strict=False)]
    for offer, site_id, need_id in sorted(wanted, key=lambda one: -one[0].days_ago):
        _make(offer, site_id, need_id, today=today, morning=morning)
    return len(wanted)


def _make(offer: Offer, site_id: int, need_id: int | None, *, today: date, morning: datetime) -> None:
    """Draft, send and settle one quote, each step on its day."""
    day = today - timedelta(days=offer.days_ago)
    now = morning - timedelta(days=offer.days_ago)
    quote_id = start_quote(
        site_id=site_id, need_id=need_id, kind="sensor_install", reason="Customer asks for a sensor.",
        by=BY, now=now, day=day,
    ).quote_id  # fmt: skip
    draft = QuoteInput(offer.title, offer.words, TAX, offer.lines)
    save_quote(quote_id=quote_id, quote=draft, by=BY, now=now + timedelta(minutes=6), day=day)
    if not offer.is_sent:
        return
    sent_at = now + timedelta(minutes=8)
    step_quote(quote_id=quote_id, step="send", by=BY, now=sent_at, day=day, valid_until=day + offer.valid)
    if offer.word:
        later = min(day + timedelta(days=4), today)
        step_quote(
            quote_id=quote_id, step=offer.word, by=BY, now=sent_at + (later - day) + timedelta(minutes=40),
            day=later, how=offer.how,
        )  # fmt: skip

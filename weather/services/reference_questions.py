"""Published ET that looks like the tall reference's: the question, and the answer that somebody gave."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from django.db import transaction

from weather.calc.tall_reference import TallMonth
from weather.models import Location, ReferenceQuestion

_LONGEST: Final = 300


class NoSuchQuestion(ValueError):
    """There is no such question, or no such answer to it."""


@dataclass(frozen=True, slots=True)
class ReferenceAnswer:
    """An answer: of which location, and what it was before and is now."""

    location: str
    before: str
    after: str


@transaction.atomic
def ask_about_reference(*, months: Sequence[TallMonth], file: str, now: datetime) -> int:
    """Ask about each place whose published ET looks tall; a question answered before stays answered.

    Parameters
    ----------
    months
        What the check found.
    file
        Name of the file that told the ET.
    now
        When it was found.
    """
    by_place: dict[str, list[str]] = defaultdict(list)
    for one in months:
        by_place[one.place].append(f"{one.month} {one.ratio:.2f} times")
    ids = dict(Location.objects.filter(name__in=list(by_place)).values_list("name", "pk"))
    rows = [
        ReferenceQuestion(
            location_id=ids[place], file=file[:120], words="; ".join(words)[:_LONGEST], asked_at=now
        )
        for place, words in by_place.items()
    ]
    ReferenceQuestion.objects.bulk_create(
        rows,
        update_conflicts=True,
        unique_fields=["location"],
        update_fields=["file", "words", "asked_at"],
    )
    return len(rows)


@transaction.atomic
def answer_reference_question(*, location_id: int, answer: str, by: str, now: datetime) -> ReferenceAnswer:
    """Keep an answer; an earlier one is replaced.

    Parameters
    ----------
    location_id
        Location that the question is about.
    answer
        `tall`, `short` or `unknown`; empty opens the question again.
    by
        Who answers.
    now
        When.
    """
    question = ReferenceQuestion.objects.filter(location_id=location_id).select_related("location").first()
    if question is None or answer not in ReferenceQuestion.Answer.values:
        raise NoSuchQuestion("there is no such question, or no such answer to it")
    before = question.answer
    question.answer = answer
    question.answered_by, question.answered_at = (by[:150], now) if answer else ("", None)
    question.save(update_fields=["answer", "answered_by", "answered_at"])
    return ReferenceAnswer(question.location.name, before, answer)

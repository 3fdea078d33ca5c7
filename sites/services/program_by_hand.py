"""A recommended program changed by a person: held against every limit, its reason kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from django.db import transaction

from sites.calc.program.check import HandCheck, hand_check
from sites.calc.program.sheet import KeyedLine
from sites.calc.search.garden import best_answer, figures
from sites.models import Recommendation, RecommendationLine
from sites.models.choices import ProgramStatus
from sites.selectors.round_garden import garden_book, trial_of_set
from sites.services.history import ChangeNote, record_changes

LEAST_REASON = 8  # letters that a written reason has at least
_LITRES_PER_M3 = 1000.0


class ProgramNotPossible(ValueError):
    """The program breaks a limit of timer, soil or clock; the message says which."""


class ReasonNeeded(ValueError):
    """The program runs outside permitted hours or days, and nobody wrote why."""


class NothingToCheckWith(LookupError):
    """The controller has no zones or no weather, so no program can be tried."""


@dataclass(frozen=True, slots=True)
class EditedProgram:
    """A recommendation with a program by hand, and what the check found."""

    recommendation_id: int
    check: HandCheck


def check_program(*, recommendation: Recommendation, lines: Sequence[KeyedLine], today: date) -> HandCheck:
    """What a program by hand breaks and does; writes nothing.

    Parameters
    ----------
    recommendation
        The round's answer that it would replace.
    lines
        The program, in run order.
    today
        Day of computing.
    """
    book = garden_book(controller_id=recommendation.controller_id, week=recommendation.week, today=today)
    if book is None:
        raise NothingToCheckWith("There are no zones or no weather to try a program with.")
    check = hand_check(book.garden, lines, day_modes=book.day_modes, week=book.week)
    present = trial_of_set(book)
    return replace(
        check,
        as_set=None if present is None else figures(book.garden.problem(), present[0]),
        best=best_answer(book.garden).figures,
    )


@transaction.atomic
def edit_program(
    *,
    recommendation_id: int,
    lines: Sequence[KeyedLine],
    today: date,
    price_per_m3: float,
    by: str,
    at: datetime,
    reason: str = "",
) -> EditedProgram:
    """Put a program by hand in the place of the recommended one, and accept it.

    Raises `ProgramNotPossible` where it breaks a hard limit, `ReasonNeeded` where it breaks a watering rule
    and no reason is written.

    Parameters
    ----------
    recommendation_id
        Which.
    lines
        The program, in run order.
    today
        Day of computing.
    price_per_m3
        Price of water.
    by, at
        Who, and when.
    reason
        Why, in the person's words.
    """
    row = Recommendation.objects.select_related("controller__site").get(pk=recommendation_id)
    if row.status == ProgramStatus.KEYED_IN:
        raise ProgramNotPossible("This program stands in the timer already.")
    check = check_program(recommendation=row, lines=lines, today=today)
    if check.problems:
        raise ProgramNotPossible(" ".join(check.problems))
    reason = reason.strip()[:300]
    if check.outside and len(reason) < LEAST_REASON:
        raise ReasonNeeded(f"{' '.join(check.outside)} Write the reason for which it may.")
    before = [_text(line) for line in row.lines.order_by("letter", "run_order")]
    _replace_lines(row, lines)
    _note_figures(row, check, price_per_m3)
    row.status, row.is_change, row.is_by_hand = ProgramStatus.ACCEPTED.value, True, True
    row.outside_reason = reason if check.outside else ""
    row.note, row.decided_by, row.decided_at = reason, by[:150], at
    why = f": {reason}" if reason else ""
    row.reasons = [f"Written by hand by {by}{why}.", *check.outside, *check.cautions]
    row.save()
    site = row.controller.site
    record_changes(
        notes=[
            ChangeNote(
                kind="recommendation",
                key=f"{site.code}/{row.controller.code}/{row.week.isoformat()}",
                site_code=site.code,
                before={"lines": before},
                after={"lines": [_text(line) for line in lines], "outside_hours": bool(check.outside)},
                reason=reason,
            )
        ],
        by=by,
        at=at,
    )
    return EditedProgram(row.pk, check)


def _replace_lines(row: Recommendation, lines: Sequence[KeyedLine]) -> None:
    """The lines by hand in the place of the others."""
    row.lines.all().delete()
    order: dict[str, int] = {}
    for line in lines:
        order[line.letter] = order.get(line.letter, 0) + 1
        RecommendationLine.objects.create(
            recommendation=row,
            letter=line.letter,
            days=line.days,
            starts=line.starts,
            station=line.station,
            run_min=line.run_min,
            run_order=order[line.letter],
            seasonal_adjust_pct=line.seasonal_adjust_pct,
            cycles_per_event=max(line.starts.count(";") + 1, 1),
        )


def _note_figures(row: Recommendation, check: HandCheck, price_per_m3: float) -> None:
    """Figures of the program by hand against what is set."""
    found = check.figures
    row.adequacy_pct, row.lost_pct = found.adequacy_pct, found.lost_pct
    row.minutes_new, row.expected_bypass_rate = check.minutes_a_week, check.bypass_rate
    if check.as_set is None:
        return
    row.water_at_stake_l = check.as_set.water_l - found.water_l
    row.money_at_stake = row.water_at_stake_l / _LITRES_PER_M3 * price_per_m3
    row.dry_zone_days_spared = check.as_set.dry_days - found.dry_days


def _text(line: RecommendationLine | KeyedLine) -> str:
    """A line as one text for the history."""
    return (
        f"{line.letter} {line.days} {line.starts} station {line.station} {line.run_min:g} min"
        f" {line.seasonal_adjust_pct:g} %"
    )
